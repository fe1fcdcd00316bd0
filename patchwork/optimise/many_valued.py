"""Weighted constraint satisfaction over variables of many values, each written in binary.

A variable of up to ``2 ** b`` values is ``b`` two-valued ones (the logarithmic encoding; M. Ernst,
T. Millstein and D. Weld, IJCAI 1997), and ``bucket_elimination`` does the rest.  A code beyond the
last value stands for the first one, so that each code means something and none is forbidden.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from piecewright.patchwork.optimise.bucket_elimination import (
    I_BOUND,
    CostTable,
    Effort,
    Table,
    assignment,
    minimise,
)

_MOST_AT_I_BOUND = 100
"""Two-valued variables up to which messages are as wide as they may be."""

_NARROW = 12
"""Variables that a message depends on where there are more: a quarter of the work for each."""


@dataclass(frozen=True, slots=True)
class Found:
    """The best values found, and whether it is proven that none are better."""

    values: tuple[int, ...]
    proven: bool


def minimise_many(
    sizes: Sequence[int],
    tables: Mapping[tuple[int, ...], Table],
    effort: Effort,
    start: Sequence[int],
    hubs: int = 0,
) -> Found:
    """The values of least cost.

    Args:
        sizes: of each variable, the number of its values; one or more.
        tables: costs, none of them negative, by their scopes; an axis for each variable.
        start: values to better.
        hubs: so many of the first variables are tied to many others.

    >>> differ = np.array([[0, 3, 3], [3, 0, 3], [3, 3, 0]])
    >>> minimise_many((3, 3), {(0, 1): differ, (1,): np.array([2, 2, 1])}, Effort(1), (0, 0))
    Found(values=(2, 2), proven=True)
    """
    bits: list[range] = []
    count = 0
    for size in sizes:
        bits.append(range(count, count + (size - 1).bit_length()))
        count += len(bits[-1])
    functions = [
        CostTable(tuple(b for v in scope for b in bits[v]), _in_binary(table, scope, bits))
        for scope, table in tables.items()
    ]
    begun = [
        bool(value >> k & 1) for value, own in zip(start, bits, strict=True) for k in _down(own)
    ]
    i_bound = I_BOUND if count <= _MOST_AT_I_BOUND else _NARROW
    of_hubs = [b for own in bits[:hubs] for b in own]
    components = minimise(count, functions, effort, i_bound=i_bound, start=begun, hubs=of_hubs)
    found = assignment(components)
    values = []
    for size, own in zip(sizes, bits, strict=True):
        code = sum(found[b] << k for b, k in zip(own, _down(own), strict=True))
        values.append(code if code < size else 0)
    return Found(tuple(values), all(c.cost == c.bound for c in components))


def _down(bits: range) -> range:
    """The places of a code's bits, the highest first."""
    return range(len(bits) - 1, -1, -1)


def _in_binary(table: Table, scope: Sequence[int], bits: Sequence[range]) -> Table:
    """A table with an axis of length two for each bit."""
    for axis, v in enumerate(scope):
        codes = np.arange(2 ** len(bits[v]))
        table = table.take(np.where(codes < table.shape[axis], codes, 0), axis)
    return table.reshape((2,) * sum(len(bits[v]) for v in scope))
