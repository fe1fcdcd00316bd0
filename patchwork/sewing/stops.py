"""Stops: ends of seams that lie at a match point at which a later seam turns.

A seam that is set in turns at a point of its two units.  What was sewn before must leave the
allowances free there, or the cloth cannot be turned under the needle.  So every earlier seam that
ends at that point stops at the match point, not at the raw edge, and is backstitched.  An end at
the outside of the block never has a stop, as no seam turns there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Seams

SeamEnd: TypeAlias = Literal["start", "end"]


@dataclass(frozen=True, slots=True)
class Stop:
    """An end of a seam at which it stops at the match point.

    Attributes:
        point: the number of the match point.
        pivots: the later join that turns there.
    """

    end: SeamEnd
    point: int
    pivots: int


def stops_of(order: Order) -> list[tuple[Stop, ...]]:
    """For each join the ends of its seam that stop at the match point, its start first."""
    # Two seams turn at one point only where a corner of cloth touches another unit there alone:
    # the first of them that comes later is named.
    turning: dict[int, list[int]] = {}
    for k, join in enumerate(order.joins):
        for point in join.seam.pivots:
            turning.setdefault(point, []).append(k)
    found = []
    for k, join in enumerate(order.joins):
        ends: list[tuple[SeamEnd, int]] = []
        if join.seam.ends is not None:
            start, end = join.seam.ends
            ends = [("start", start), ("end", end)]
        later = [(end, p, [m for m in turning.get(p, ()) if m > k]) for end, p in ends]
        found.append(tuple(Stop(end, p, joins[0]) for end, p, joins in later if joins))
    return found


def stop_points(seams: Seams, order: Order) -> list[set[int]]:
    """For each piece the match points at which a seam along one of its sides stops."""
    found: list[set[int]] = [set() for _ in seams.sides]
    for join, stops in zip(order.joins, stops_of(order), strict=True):
        for stop in stops:
            side = join.seam.sides[0 if stop.end == "start" else -1]
            edge = seams.edges[side.edge]
            for piece in (edge.right, edge.left):
                if piece is not None:
                    found[piece].add(stop.point)
    return found
