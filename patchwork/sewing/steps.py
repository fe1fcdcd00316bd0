"""The steps of sewing: what is joined to what, pressed which way, and how big it should then be.

A step is a join.  Its level is one more than that of the units it joins, pieces being at
level 0; all steps of one level can be sewn one after another without cutting the thread
(chain piecing).  Steps of a level that are the same but for their place are alike
(``sewing.alike``): a maker sews the first of them as often as there are.

A sewn unit that is a rectangle is trimmed to its unfinished size (``sewing.rectangles``); those
that grow round a centre are squared up after each round (``sewing.rounds``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Kind, Order, Seam, Spans
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import (
    Point,
)
from piecewright.patchwork.sewing.alike import first_alike
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.order import unit_levels
from piecewright.patchwork.sewing.rectangles import Size, unfinished, unit_rectangles
from piecewright.patchwork.sewing.rounds import Round, rounds_of
from piecewright.patchwork.sewing.stops import Stop, stops_of


@dataclass(frozen=True, slots=True)
class Step:
    """One join, as a maker sews it.

    Attributes:
        join: its number in the order of sewing.
        units: the ids of the pieces of its first and its second unit.
        seam: points along it at finished size, curves as points.
        pivots: where to stop with the needle down and turn.
        stops: the ends of the seam at which it stops at the match point.
        unfinished: the size to trim the sewn unit to; None where it is no rectangle.
        level: from 1; its units were made at lower levels.
        like: the first join of the same level that is sewn just like this one; itself if
            none is before it.
    """

    join: int
    units: tuple[tuple[str, ...], tuple[str, ...]]
    seam: tuple[Point, ...]
    kind: Kind
    pivots: tuple[Point, ...]
    stops: tuple[Stop, ...]
    press: Press
    unfinished: Size | None
    level: int
    like: int


@dataclass(frozen=True, slots=True)
class SewingSteps:
    """All steps of a block.

    Attributes:
        steps: in the order of sewing.
        batches: for each level the joins that can be sewn one after another.
        rounds: of units that grow round a centre, in the order of sewing.
    """

    steps: tuple[Step, ...]
    batches: tuple[tuple[int, ...], ...]
    rounds: tuple[Round, ...]


def sewing_steps(
    block: Block,
    seams: Seams,
    order: Order,
    directions: Sequence[Press],
    allowance: Allowance | None = None,
) -> SewingSteps:
    """The steps of a block at finished size.

    Args:
        directions: which way each join is pressed (``pressing.pressing_plan``).
        allowance: a quarter inch all round by default.
    """
    allowance = allowance or Allowance()
    spans = Spans(order)
    rectangles = unit_rectangles(seams, order)
    levels = unit_levels(order)
    stops = stops_of(order)
    like = first_alike(seams, order, directions, levels, stops)
    steps = []
    for k, join in enumerate(order.joins):
        first, second = (
            tuple(block.pieces[i].id for i in spans.pieces(u)) for u in (join.first, join.second)
        )
        rectangle = rectangles[order.pieces + k]
        steps.append(
            Step(
                k,
                (first, second),
                tuple(seam_points(seams, join.seam)),
                join.seam.kind,
                tuple(seams.points[p] for p in join.seam.pivots),
                stops[k],
                directions[k],
                unfinished(seams, rectangle, allowance) if rectangle else None,
                levels[order.pieces + k],
                like[k],
            )
        )
    last = max((s.level for s in steps), default=0)
    batches = [tuple(s.join for s in steps if s.level == n) for n in range(1, last + 1)]
    return SewingSteps(
        tuple(steps),
        tuple(batches),
        tuple(rounds_of(block, seams, order, rectangles, allowance)),
    )


def seam_points(seams: Seams, seam: Seam) -> list[Point]:
    """Points along a seam, from one end to the other; a seam that closes repeats its first."""
    points: list[Point] = []
    for side in seam.sides:
        points += paths.flatten(seams.segment(side))
    return [*points, seams.segment(seam.sides[-1]).end]
