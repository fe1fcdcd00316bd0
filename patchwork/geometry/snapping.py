"""Points that were drawn as one: within the tolerance of each other, but for the last decimals."""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from shapely import STRtree

from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, distance

MOST_SPREAD = 2.0
"""Tolerances; points further apart are never put together, even by way of others between them.

The points of a finely drawn curve may each be within the tolerance of the next one, and are not
one point for that.
"""


def made_one(points: Iterable[Point], tolerance: float = TOLERANCE) -> dict[Point, Point]:
    """For each point the one that it is put together with: the first of them, maybe itself.

    Pairs are put together from the nearest to the furthest.
    """
    seen = list(dict.fromkeys(points))
    if not seen:
        return {}
    group = [[i] for i in range(len(seen))]
    dots = [shapely.Point(p) for p in seen]
    first, second = STRtree(dots).query(dots, predicate="dwithin", distance=tolerance)
    near = [
        (distance(seen[i], seen[j]), i, j)
        for i, j in zip(first.tolist(), second.tolist(), strict=True)
        if i < j
    ]
    for _, i, j in sorted(near):
        one, other = group[i], group[j]
        if one is other:
            continue
        widest = max(distance(seen[a], seen[b]) for a in one for b in other)
        if widest <= MOST_SPREAD * tolerance:
            together = sorted(one + other)
            for k in together:
                group[k] = together
    return {p: seen[own[0]] for p, own in zip(seen, group, strict=True)}
