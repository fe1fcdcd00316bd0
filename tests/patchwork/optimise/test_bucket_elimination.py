"""The cheapest assignment of a cost function network, against every assignment that there is."""

from __future__ import annotations

import itertools
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.optimise.bucket_elimination import (
    CostFunction,
    Effort,
    assignment,
    minimise,
)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_assignments_are_the_cheapest_even_where_tables_are_split(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 10))
    rng = random.Random(data.draw(st.integers(0, 2**32)))
    tables = []
    for _ in range(rng.randrange(1, 15)):
        scope = tuple(rng.sample(range(count), rng.randint(1, min(4, count))))
        every = itertools.product((False, True), repeat=len(scope))
        tables.append((scope, {v: rng.randrange(6) for v in every}))
    costs = [
        CostFunction(scope, lambda v, table=table: table[tuple(v)])  # type: ignore[misc]
        for scope, table in tables
    ]
    all_costs = [
        sum(table[tuple(values[v] for v in scope)] for scope, table in tables)
        for values in itertools.product((False, True), repeat=count)
    ]
    for i_bound in (14, 2):
        parts = minimise(count, costs, Effort(60), i_bound=i_bound)
        values = assignment(parts)
        assert sum(p.cost for p in parts) == sum(p.bound for p in parts) == min(all_costs)
        assert min(all_costs) == sum(
            table[tuple(values[v] for v in scope)] for scope, table in tables
        )
