"""Point snapping: points that were drawn as one, but for the last decimals, become one.

It is agglomerative clustering: the nearest pairs are put together first, and a cluster never grows
wider than ``LARGEST_DIAMETER`` allows.
"""

from __future__ import annotations

from collections.abc import Iterable

import shapely
from shapely import STRtree

from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, distance

LARGEST_DIAMETER = 2.0
"""Tolerances; points further apart are never put together, even by way of others between them.

The points of a finely drawn curve may each be within the tolerance of the next one, and are not
one point for that (single linkage would chain them all).
"""


def snapped(points: Iterable[Point], tolerance: float = TOLERANCE) -> dict[Point, Point]:
    """For each point the one that it becomes: the first of its cluster, maybe itself.

    Args:
        tolerance: inches within which two points are put together.

    >>> snapped([(0.0, 0.0), (3.0, 0.0), (3.002, 0.0)])
    {(0.0, 0.0): (0.0, 0.0), (3.0, 0.0): (3.0, 0.0), (3.002, 0.0): (3.0, 0.0)}
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
    # From the nearest to the furthest, and of equally near ones in the order given: what becomes
    # of a crowd of points does not depend on the order in which the tree finds them.
    for _, i, j in sorted(near):
        one, other = group[i], group[j]
        if one is other:
            continue
        widest = max(distance(seen[a], seen[b]) for a in one for b in other)
        if widest <= LARGEST_DIAMETER * tolerance:
            together = sorted(one + other)
            for k in together:
                group[k] = together
    return {p: seen[own[0]] for p, own in zip(seen, group, strict=True)}
