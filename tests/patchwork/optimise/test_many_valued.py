"""Costs of variables with many values, against all assignments."""

from __future__ import annotations

import itertools
import random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.optimise.bucket_elimination import Effort, Table
from piecewright.patchwork.optimise.many_valued import minimise_many

Tables = dict[tuple[int, ...], Table]


def network(seed: int) -> tuple[list[int], Tables]:
    rng = random.Random(seed)
    sizes = [rng.randint(1, 5) for _ in range(rng.randint(1, 5))]
    tables: Tables = {}
    for _ in range(rng.randint(1, 6)):
        scope = tuple(sorted(rng.sample(range(len(sizes)), rng.randint(1, min(3, len(sizes))))))
        shape = [sizes[v] for v in scope]
        cells = [rng.randint(0, 9) for _ in range(int(np.prod(shape)))]
        tables[scope] = np.array(cells, dtype=np.int64).reshape(shape)
    return sizes, tables


def cost(tables: Tables, values: tuple[int, ...]) -> int:
    return sum(int(table[tuple(values[v] for v in scope)]) for scope, table in tables.items())


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_nothing_is_cheaper_than_what_is_found(seed: int) -> None:
    sizes, tables = network(seed)
    found = minimise_many(sizes, tables, Effort(1), [0] * len(sizes))
    assert all(0 <= value < size for value, size in zip(found.values, sizes, strict=True))
    every = itertools.product(*(range(size) for size in sizes))
    assert cost(tables, found.values) == min(cost(tables, values) for values in every)
    assert found.proven


def test_without_any_effort_the_start_is_not_made_worse() -> None:
    for seed in range(20):
        sizes, tables = network(seed)
        start = tuple(size - 1 for size in sizes)
        found = minimise_many(sizes, tables, Effort(0), start)
        assert cost(tables, found.values) <= cost(tables, start)
