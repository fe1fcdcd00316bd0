"""Choices that must be equal or opposite: against every way of making them."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.optimise.parity import (
    FIXED,
    Parities,
    Wish,
    can_be_met,
    most_met,
    values_of,
)
from tests.patchwork.clocks import running_ahead

CHOICES = 7


def met(wish: Wish, values: Sequence[bool]) -> bool:
    return len({values[choice] != turned for choice, turned in wish}) == 1


@st.composite
def wishes(draw: st.DrawFn) -> list[Wish]:
    one = st.tuples(st.integers(0, CHOICES - 1), st.booleans())
    return draw(st.lists(st.lists(one, min_size=2, max_size=4).map(tuple), max_size=14))


@settings(max_examples=120, deadline=None)
@given(wishes())
def test_as_many_wishes_are_met_as_can_be(asked: list[Wish]) -> None:
    every = [(False, *rest) for rest in itertools.product((False, True), repeat=CHOICES - 1)]
    most = max(sum(met(wish, values) for wish in asked) for values in every)
    likes = [[0, *[1] * (CHOICES - 1)], list(range(CHOICES))]
    found = most_met(CHOICES, asked, likes, 5.0)
    values = values_of(found.parities, CHOICES, {})
    assert values[FIXED] is False
    assert len(found.wishes) == most
    assert found.bound == most
    assert all(met(asked[w], values) for w in found.wishes)


@settings(max_examples=60, deadline=None)
@given(wishes())
def test_a_bound_holds_without_any_search(asked: list[Wish]) -> None:
    every = [(False, *rest) for rest in itertools.product((False, True), repeat=CHOICES - 1)]
    most = max(sum(met(wish, values) for wish in asked) for values in every)
    found = most_met(CHOICES, asked, [], 0.0)
    assert len(found.wishes) <= most <= found.bound


@given(wishes())
def test_a_wish_that_cannot_be_met_leaves_everything_as_it_was(asked: list[Wish]) -> None:
    parities = Parities(CHOICES)
    for wish in asked:
        before = [parities.leader(c) for c in range(CHOICES)]
        if not parities.meet(wish):
            assert [parities.leader(c) for c in range(CHOICES)] == before
        else:
            assert can_be_met(wish)
            leaders = [parities.leader(c) for c, _ in wish]
            assert len({leader for leader, _ in leaders}) == 1
            odd = {o != turned for (_, o), (_, turned) in zip(leaders, wish, strict=True)}
            assert len(odd) == 1


@pytest.mark.parametrize(("seconds", "proven"), [(2.0, True), (0.02, False)])
def test_the_same_wishes_are_met_however_slow_the_machine_is(seconds: float, proven: bool) -> None:
    rng = random.Random(2)
    asked: list[Wish] = [
        tuple((rng.randrange(1, 60), rng.random() < 0.5) for _ in range(rng.choice((2, 2, 3))))
        for _ in range(150)
    ]
    likes = [[0, *(1 + choice % 30 for choice in range(59))]]
    found = most_met(60, asked, likes, seconds)
    assert (len(found.wishes) == found.bound) == proven
    assert found.wishes != most_met(60, asked, likes, 0.0).wishes
    with running_ahead():
        again = most_met(60, asked, likes, seconds)
    assert (again.wishes, again.bound) == (found.wishes, found.bound)
