"""The sewing plan and the block map of a request as answers, for HTTP and command line alike."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import Any, Final

from piecewright.patchwork.block.joins import Spans, nested
from piecewright.patchwork.block.model import extent
from piecewright.patchwork.lengths import Unit, in_unit
from piecewright.patchwork.sewing.error_budget import (
    Compared,
    Deviation,
    ErrorBudget,
    PointDeviation,
)
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.patchwork.sewing.rectangles import Size
from piecewright.patchwork.sewing.rounds import Round
from piecewright.patchwork.sewing.steps import Step
from piecewright.patchwork.sewing.wording import Words
from piecewright.render.drawing.fabric_fills import fabric_fills
from piecewright.render.printables import sewing_plan as cards
from piecewright.render.printables.block_map import picture as block_map
from piecewright.service.measures import place, places, ring, size
from piecewright.service.responses.answers import Printout, of_block, of_drawings
from piecewright.service.responses.block_plans import Workup


def sewing_plan_printout(work: Workup) -> Printout:
    """The steps of sewing a block, with pressing, sizes and error budget.

    Raises:
        BlockError: the block cannot be sewn as it asks to be.
    """
    plan = work.plan
    drawings, head = cards.sewing_plan_drawings(plan), cards.heading(plan)
    return of_drawings(
        work, "sewing plan", drawings, head, lambda: told_plan(plan, work.request.unit)
    )


def block_map_printout(work: Workup) -> Printout:
    """A block at its finished size, with steps, pressing and meetings.

    Raises:
        BlockError: the block cannot be sewn as it asks to be.
    """
    plan = work.plan
    drawings, head = block_map.block_map_drawings(plan), block_map.heading(plan)
    return of_drawings(work, "block map", drawings, head, lambda: told_map(plan, work.request.unit))


sewing_plan_answer: Final = partial(of_block, sewing_plan_printout)
block_map_answer: Final = partial(of_block, block_map_printout)


# --- the sewing plan -------------------------------------------------------------------------


def told_plan(plan: SewingPlan, unit: Unit) -> dict[str, Any]:
    """A sewing plan as the JSON answer has it."""
    pressing, words = plan.pressing, Words(plan)
    return {
        "joins": nested(plan.order, [p.id for p in plan.block.pieces]),
        "order": {
            "given": plan.given,
            "fewest_pivots": plan.fewest_pivots,
            "fewest_levels": plan.fewest_levels,
        },
        "steps": [_step(step, words, unit) for step in plan.sewing.steps],
        "levels": [_ids(joins) for joins in plan.sewing.batches],
        "meetings": _meetings(plan, unit),
        "nested": pressing.nested,
        "bound": pressing.bound,
        "optimal": pressing.optimal,
        "darker": pressing.darker,
        "layers": pressing.layers,
        "rounds": [_round(one, unit) for one in plan.sewing.rounds],
        "deviations": _budget(plan, plan.budget, unit),
    }


def _id(join: int) -> str:
    """A step's id: steps are counted from 1."""
    return str(join + 1)


def _ids(joins: Iterable[int]) -> list[str]:
    return [_id(join) for join in joins]


def _step(step: Step, words: Words, unit: Unit) -> dict[str, Any]:
    return {
        "id": _id(step.join),
        "units": [list(pieces) for pieces in step.units],
        "seam": places(step.seam, unit),
        "kind": step.kind,
        "pivots": places(step.pivots, unit),
        "press": step.press,
        "toward": words.pressed_fabric(step),
        "unfinished": _size(step.unfinished, unit),
        "level": step.level,
        "like": _id(step.like),
        "text": words.step(step),
    }


def _size(found: Size | None, unit: Unit) -> dict[str, float] | None:
    return None if found is None else size(found.width, found.height, unit)


def _meetings(plan: SewingPlan, unit: Unit) -> list[dict[str, Any]]:
    return [
        {
            "at": place(plan.seams.points[meeting.at], unit),
            "step": _id(meeting.step),
            "arrive": [_ids(joins) for joins in meeting.arrive],
            "nests": meeting.nests,
            "reason": meeting.reason,
            "layers": meeting.layers,
        }
        for meeting in plan.pressing.meetings
    ]


def _round(one: Round, unit: Unit) -> dict[str, Any]:
    from_centre = None
    if one.from_centre is not None:
        ways = ("left", "up", "right", "down")
        from_centre = {
            way: in_unit(away, unit) for way, away in zip(ways, one.from_centre, strict=True)
        }
    return {
        "number": one.number,
        "centre": list(one.centre),
        "steps": _ids(one.joins),
        "unfinished": _size(one.unfinished, unit),
        "from_centre": from_centre,
    }


def _budget(plan: SewingPlan, budget: ErrorBudget, unit: Unit) -> dict[str, Any]:
    def points(found: Iterable[PointDeviation]) -> list[dict[str, Any]]:
        return [
            {
                "at": place(plan.seams.points[point.at], unit),
                "step": _id(point.join),
                "mismatch": _compared(point.mismatch, unit),
            }
            for point in found
        ]

    return {
        "cutting": in_unit(budget.cutting, unit),
        "sewing": in_unit(budget.sewing, unit),
        "units": [
            {
                "step": _id(one.join),
                "rectangle": one.rectangle,
                "width": _compared(one.width, unit),
                "height": _compared(one.height, unit),
            }
            for one in budget.units
        ],
        "points": points(budget.points),
        "first_to_suffer": points(budget.first_to_suffer),
        "first_to_suffer_trimmed": points(budget.first_to_suffer_trimmed),
    }


def _compared(found: Compared | None, unit: Unit) -> dict[str, Any] | None:
    if found is None:
        return None

    def told(deviation: Deviation) -> dict[str, float]:
        return {
            "worst": in_unit(deviation.worst, unit),
            "likely": in_unit(deviation.likely, unit),
        }

    return {"untrimmed": told(found.untrimmed), "trimmed": told(found.trimmed)}


# --- the block map ---------------------------------------------------------------------------


def told_map(plan: SewingPlan, unit: Unit) -> dict[str, Any]:
    """A block map as the JSON answer has it."""
    block, spans = plan.block, Spans(plan.order)
    left, top, right, bottom = extent(block.pieces)
    colours = {fabric.id: fabric.colour for fabric in block.fabrics}
    counts: dict[str | None, int] = {}
    for piece in block.pieces:
        counts[piece.fabric] = counts.get(piece.fabric, 0) + 1
    return {
        **size(right - left, bottom - top, unit),
        "pieces": [
            {"id": piece.id, "fabric": piece.fabric, "finished": ring(piece.outline, unit)}
            for piece in block.pieces
        ],
        "fabrics": [
            {
                "id": fabric,
                "name": look.name,
                "colour": colours.get(fabric or "", look.tint),
                "tint": look.tint,
                "pieces": counts[fabric],
            }
            for fabric, look in fabric_fills(block).items()
        ],
        "seams": [
            {
                "step": _id(step.join),
                "seam": places(step.seam, unit),
                "press": step.press,
                "toward": _pressed_pieces(plan, spans, step),
            }
            for step in plan.sewing.steps
        ],
        "meetings": _meetings(plan, unit),
    }


def _pressed_pieces(plan: SewingPlan, spans: Spans, step: Step) -> list[str]:
    """The pieces along the side of a seam that it is pressed to."""
    if step.press == "open":
        return []
    join = plan.order.joins[step.join]
    toward = join.first if step.press == "first" else join.second
    edges = [plan.seams.edges[side.edge] for side in join.seam.sides]
    beside = [piece for edge in edges for piece in (edge.right, edge.left)]
    own = dict.fromkeys(p for p in beside if p is not None and spans.holds(toward, p))
    return [plan.block.pieces[piece].id for piece in own]
