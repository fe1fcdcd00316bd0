"""Straight cuts and what comes off a unit: against the rule of a section's step, by Shapely alone.

The rule stands in ``tests.patchwork.foundation.foundations``, for every piece of a section.
"""

from __future__ import annotations

import itertools
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.foundation.straight_cuts import StraightCuts, Unpicking
from piecewright.patchwork.sewing.bitset import pieces_of
from tests.patchwork.foundation.foundations import Exhaustive, bowed, notched, strips
from tests.patchwork.partitions import straight_blocks, through_cut


def _cuts(block: Block) -> StraightCuts:
    return StraightCuts(planar_map([p.outline for p in block.pieces]))


def _comes_off_by_the_rule(exhaustive: Exhaustive, unit: int) -> set[int]:
    pieces = frozenset(pieces_of(unit))
    return {p for p in pieces if len(pieces) > 1 and exhaustive.may_follow(pieces - {p}, p)}


def _unpicked_by_the_rule(block: Block, seed: int) -> None:
    """At every step of taking a block, and the parts of its cuts, to pieces: what comes off."""
    exhaustive, cuts, rng = Exhaustive(block), _cuts(block), random.Random(seed)
    parts = [part for cut in cuts.through(cuts.whole) for part in (cut.first, cut.second)]
    for unit in [cuts.whole, *rng.sample(parts, min(3, len(parts)))]:
        left = Unpicking(cuts, unit)
        while True:
            assert set(left.ends) == _comes_off_by_the_rule(exhaustive, left.unit)
            if not left.ends:
                break
            left.take_off(rng.choice(sorted(left.ends)))


@given(straight_blocks(12), st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_what_comes_off_keeps_to_the_rule_until_nothing_does(block: Block, seed: int) -> None:
    _unpicked_by_the_rule(block, seed)


@given(st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_the_same_in_blocks_that_are_not_convex(seed: int) -> None:
    block = notched(seed)
    if block is not None:
        _unpicked_by_the_rule(block, seed)


@given(st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_the_same_where_a_seam_bends_a_little_at_each_of_its_points(seed: int) -> None:
    block = bowed(seed)
    if block is not None:
        _unpicked_by_the_rule(block, seed)


@given(st.integers(0, 2**32), st.booleans())
@settings(max_examples=40, deadline=None)
def test_a_cut_parts_a_unit_along_one_straight_seam(seed: int, convex: bool) -> None:
    block = through_cut(seed, 9) if convex else notched(seed)
    if block is None:
        return
    exhaustive, cuts = Exhaustive(block), _cuts(block)
    units = [cuts.whole]
    for unit in itertools.islice(iter(units), 30):
        for cut in cuts.through(unit):
            assert cut.first | cut.second == unit
            assert not cut.first & cut.second
            one, other = (frozenset(pieces_of(part)) for part in (cut.first, cut.second))
            assert exhaustive.seam(one, other) is not None
            units += [cut.first, cut.second]


def test_what_is_narrower_than_the_tolerance_lies_on_its_own_side() -> None:
    """Half an inch of binding at either end of a banner 100 feet long.

    A line may be off by a two-thousandth of that length, more than the strip is wide.
    """
    block = strips([0.5, 1199.0, 0.5])
    cuts = _cuts(block)
    assert {frozenset((cut.first, cut.second)) for cut in cuts.through(cuts.whole)} == {
        frozenset((0b001, 0b110)),
        frozenset((0b011, 0b100)),
    }
    assert set(Unpicking(cuts, cuts.whole).ends) == {0, 2}
