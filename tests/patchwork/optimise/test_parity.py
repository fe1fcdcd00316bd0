"""Variables that should be equal or opposite: against every way of making them."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.optimise.parity import (
    FIXED,
    Constraint,
    Parities,
    most_satisfied,
    satisfiable,
    values_of,
)
from tests.patchwork.clocks import running_ahead

VARIABLES = 7


def satisfied(constraint: Constraint, values: Sequence[bool]) -> bool:
    return len({values[variable] != negated for variable, negated in constraint}) == 1


@st.composite
def constraints(draw: st.DrawFn) -> list[Constraint]:
    one = st.tuples(st.integers(0, VARIABLES - 1), st.booleans())
    return draw(st.lists(st.lists(one, min_size=2, max_size=4).map(tuple), max_size=14))


@settings(max_examples=120, deadline=None)
@given(constraints())
def test_as_many_constraints_are_satisfied_as_can_be(asked: list[Constraint]) -> None:
    every = [(False, *rest) for rest in itertools.product((False, True), repeat=VARIABLES - 1)]
    most = max(sum(satisfied(constraint, values) for constraint in asked) for values in every)
    classings = [[0, *[1] * (VARIABLES - 1)], list(range(VARIABLES))]
    found = most_satisfied(VARIABLES, asked, classings, 5.0)
    values = values_of(found.parities, VARIABLES, {})
    assert values[FIXED] is False
    assert len(found.constraints) == most
    assert found.bound == most
    assert all(satisfied(asked[w], values) for w in found.constraints)


@settings(max_examples=60, deadline=None)
@given(constraints())
def test_a_bound_holds_without_any_search(asked: list[Constraint]) -> None:
    every = [(False, *rest) for rest in itertools.product((False, True), repeat=VARIABLES - 1)]
    most = max(sum(satisfied(constraint, values) for constraint in asked) for values in every)
    found = most_satisfied(VARIABLES, asked, [], 0.0)
    assert len(found.constraints) <= most <= found.bound


@given(constraints())
def test_a_constraint_that_cannot_be_satisfied_leaves_everything_as_it_was(
    asked: list[Constraint],
) -> None:
    parities = Parities(VARIABLES)
    for constraint in asked:
        before = [parities.find(c) for c in range(VARIABLES)]
        if not parities.satisfy(constraint):
            assert [parities.find(c) for c in range(VARIABLES)] == before
        else:
            assert satisfiable(constraint)
            roots = [parities.find(c) for c, _ in constraint]
            assert len({root for root, _ in roots}) == 1
            odd = {o != negated for (_, o), (_, negated) in zip(roots, constraint, strict=True)}
            assert len(odd) == 1


@pytest.mark.parametrize(("seconds", "proven"), [(2.0, True), (0.02, False)])
def test_the_same_constraints_are_satisfied_however_slow_the_machine_is(
    seconds: float, proven: bool
) -> None:
    rng = random.Random(2)
    asked: list[Constraint] = [
        tuple((rng.randrange(1, 60), rng.random() < 0.5) for _ in range(rng.choice((2, 2, 3))))
        for _ in range(150)
    ]
    classings = [[0, *(1 + variable % 30 for variable in range(59))]]
    found = most_satisfied(60, asked, classings, seconds)
    assert (len(found.constraints) == found.bound) == proven
    assert found.constraints != most_satisfied(60, asked, classings, 0.0).constraints
    with running_ahead():
        again = most_satisfied(60, asked, classings, seconds)
    assert (again.constraints, again.bound) == (found.constraints, found.bound)
