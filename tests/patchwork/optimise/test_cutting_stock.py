"""Lengths into strips, against brute force and against the bound."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.optimise.cutting_stock import Packing, pack_lengths


def fewest_by_brute_force(lengths: tuple[int, ...], counts: tuple[int, ...], room: int) -> int:
    """Every way to fill a strip, over every state of what is left."""

    @cache
    def fewest(left: tuple[int, ...]) -> int:
        if not any(left):
            return 0
        return 1 + min(fewest(rest) for rest in after_a_strip(left, 0, room) if rest != left)

    @cache
    def after_a_strip(left: tuple[int, ...], k: int, space: int) -> tuple[tuple[int, ...], ...]:
        if k == len(left):
            return (left,)
        found: list[tuple[int, ...]] = []
        for number in range(min(left[k], space // lengths[k]) + 1):
            taken = (*left[:k], left[k] - number, *left[k + 1 :])
            found += after_a_strip(taken, k + 1, space - number * lengths[k])
        return tuple(found)

    return fewest(counts)


def assert_packs(
    packing: Packing, lengths: tuple[int, ...], counts: tuple[int, ...], room: int
) -> None:
    for pattern, times in packing.patterns:
        assert times > 0
        assert sum(n * size for n, size in zip(pattern, lengths, strict=True)) <= room
    for k, count in enumerate(counts):
        assert sum(pattern[k] * times for pattern, times in packing.patterns) == count
    assert packing.bound <= packing.strips <= packing.bound + 1


kinds = st.integers(1, 4).flatmap(
    lambda n: st.tuples(
        st.lists(st.integers(3, 24), min_size=n, max_size=n, unique=True).map(tuple),
        st.lists(st.integers(0, 4), min_size=n, max_size=n).map(tuple),
    )
)


@given(kinds, st.integers(24, 40))
@settings(max_examples=150, deadline=None)
def test_small_cases_have_as_few_strips_as_brute_force_finds(
    kinds: tuple[tuple[int, ...], tuple[int, ...]], room: int
) -> None:
    lengths, counts = kinds
    packing = pack_lengths(lengths, counts, room)
    assert_packs(packing, lengths, counts, room)
    assert packing.strips == fewest_by_brute_force(lengths, counts, room)


@given(
    st.lists(st.tuples(st.integers(8, 200), st.integers(1, 300)), min_size=1, max_size=12),
    st.integers(200, 352),
)
@settings(max_examples=60, deadline=None)
def test_large_cases_are_within_a_strip_of_the_bound(
    kinds: list[tuple[int, int]], room: int
) -> None:
    lengths, counts = tuple(k[0] for k in kinds), tuple(k[1] for k in kinds)
    assert_packs(pack_lengths(lengths, counts, room), lengths, counts, room)


def test_one_length_fills_strip_after_strip() -> None:
    # 40 in in eighths; 3 7/8 in squares: 320 // 31 = 10 to a strip.
    assert pack_lengths((31,), (48,), 320).patterns == (((10,), 4), ((8,), 1))


def test_bins_that_longest_first_gets_wrong() -> None:
    # Longest first puts 6+5 and 6+5, then needs a third strip; 6+4+... fits two.
    packing = pack_lengths((6, 5, 4), (2, 0, 2), 10)
    assert packing.strips == packing.bound == 2
    assert pack_lengths((44, 28, 24, 20, 14), (2, 2, 2, 2, 2), 130).strips == 2


def test_a_length_that_no_strip_has_is_refused() -> None:
    with pytest.raises(ValueError, match="fit a strip"):
        pack_lengths((41,), (1,), 40)


def test_nothing_takes_no_strip() -> None:
    assert pack_lengths((), (), 40) == Packing((), 0)
    assert pack_lengths((5,), (0,), 40) == Packing((), 0)
