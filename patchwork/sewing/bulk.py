"""How bulky a seam gets on each of its two sides: how many other seams come in there.

The other seams are those of the first rectangle that the seam becomes a part of (its own unit, if
that is one), or of the whole block where it becomes part of none: a goose has its two seams at its
point before any row is sewn.  Each counts on a side if it touches the seam, the ends included, and
next to a point where it does lies on that side of the seam's line, prolonged past the ends.  It may
count on both sides, on each once; one that runs straight on counts on neither.

A partial seam and what it is finished with count as one.

Seams are bulkier at points, so pressing away from bulk presses away from points; and a log, whose
seam is touched from within alone, is pressed away from the middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, TypeAlias

from piecewright.patchwork.block.joins import Order, Seam, Spans
from piecewright.patchwork.block.seams import PIVOT, Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Vector, angle, cross
from piecewright.patchwork.sewing.rectangles import unit_rectangles

Bulk: TypeAlias = tuple[int, int]
"""Seams that come in on the side of the first unit, and on that of the second."""

_STRAIGHT_ON: Final = math.sin(math.radians(PIVOT))
"""How far aside a direction of length one may point that counts as straight on: a seam that turns
by no more has no pivot either."""


def seam_bulks(seams: Seams, order: Order) -> list[Bulk]:
    """The bulk of each join's seam on its two sides."""
    spans = Spans(order)
    enclosing = _enclosing(seams, order)
    around = _directions(seams, order)
    found: list[Bulk] = []
    for k in range(len(order.joins)):
        line = order.pressed_line(k)
        first, last = spans.starts[enclosing[k]], spans.ends[enclosing[k]]
        right: set[int] = set()
        left: set[int] = set()
        for point, arrives, leaves in _points(seams, line):
            bends = point in line.pivots
            for j, way in around[point]:
                made = order.pieces + j
                # Units are spans of one row of pieces, so this asks whether the one has the other.
                if j == k or spans.starts[made] < first or last < spans.ends[made]:
                    continue
                turn = _side_at_bend(arrives, leaves, way) if bends else _side(leaves, way)
                if turn:
                    (right if turn > 0 else left).add(j)
        side = line.sides[0]
        beside, _ = seams.beside(side)
        sides = (len(right), len(left))
        found.append(sides if beside == order.on_first[side.edge] else sides[::-1])
    return found


def _enclosing(seams: Seams, order: Order) -> list[int]:
    """For each join the first rectangle that its seam becomes a part of, or the whole block."""
    rectangles = unit_rectangles(seams, order)
    whole = order.pieces + len(order.joins) - 1
    found = [whole] * len(order.joins)
    # From the whole block down: what a unit becomes part of is known before it is asked for.
    for k in range(len(order.joins) - 1, -1, -1):
        unit = order.pieces + k
        parent = order.parents[unit]
        if rectangles[unit] is not None:
            found[k] = unit
        elif parent is not None:
            found[k] = found[parent - order.pieces]
    return found


def _directions(seams: Seams, order: Order) -> list[list[tuple[int, Vector]]]:
    """For each point the joins that sew the edges there, and which way these go from it."""
    found: list[list[tuple[int, Vector]]] = [[] for _ in seams.points]
    for edge, join in zip(seams.edges, order.pressed_with, strict=True):
        if join is not None:
            found[edge.start].append((join, paths.tangent(edge.segment, 0.0)))
            found[edge.end].append((join, paths.tangent(paths.reverse(edge.segment), 0.0)))
    return found


def _points(seams: Seams, line: Seam) -> Iterator[tuple[int, Vector, Vector]]:
    """The points of a seam, with the directions in which it arrives there and leaves.

    At an end both are the one that there is.
    """
    segments = [seams.segment(side) for side in line.sides]
    starts = [paths.tangent(s, 0.0) for s in segments]
    ends = [paths.tangent(s, 1.0) for s in segments]
    for i, side in enumerate(line.sides):
        closed = line.ends is None
        yield seams.start(side), ends[i - 1] if i or closed else starts[i], starts[i]
    if line.ends is not None:
        yield line.ends[1], ends[-1], ends[-1]


def _side(along: Vector, way: Vector) -> int:
    """1 for a direction to the right of a line, -1 for one to its left, 0 for straight on."""
    aside = cross(along, way)
    return 0 if abs(aside) <= _STRAIGHT_ON else 1 if aside > 0 else -1


def _side_at_bend(arrives: Vector, leaves: Vector, way: Vector) -> int:
    """1 for a direction between the two parts of a bent seam on their right, -1 on their left."""
    # Clockwise from the part that leaves come its right side, the part that arrives, its left side.
    back = (-arrives[0], -arrives[1])
    return 1 if (angle(way) - angle(leaves)) % 360 < (angle(back) - angle(leaves)) % 360 else -1
