"""The sewing plan and the block map of a request as answers, for HTTP and command line alike."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from patchwork.block import extent
from patchwork.deviations import Compared, Deviation, ErrorBudget, PointDeviation
from patchwork.joins import nested
from patchwork.lengths import Unit, in_unit
from patchwork.pressing import Spans
from patchwork.sewing_plan import SewingPlan, sewing_plan
from patchwork.sewing_words import Words
from patchwork.steps import Round, Size, Step
from render import block_map
from render import sewing_plan as cards
from render.fabric_fills import looks
from render.sheets import Page, described
from service.answers import Answer, Form, answered, of_drawings, place, places, ring
from service.reading import Request, told_in


def sewing_plan_answer(
    request: Request, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """The steps of sewing a request's block, with pressing, sizes and error budget.

    Args:
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        Refused: the block cannot be sewn as it asks to be, or the sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    with told_in(request.unit):
        plan = sewing_plan(request.block, request.allowance, request.plan)
        printable = of_drawings(
            "sewing plan",
            cards.sewing_plan_drawings(plan),
            cards.heading(plan),
            lambda pages: told_plan(plan, pages, request.unit),
            settings=request.sheet,
            unit=request.unit,
            most_sheets=most_sheets,
        )
        return answered(printable, request.block.name, request.unit, form, sheet)


def block_map_answer(
    request: Request, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """A request's block at its finished size, with steps, pressing and meetings.

    Args:
        sheet: as for ``sewing_plan_answer``.

    Raises:
        Refused, NoSuchSheet: as ``sewing_plan_answer``.
    """
    with told_in(request.unit):
        plan = sewing_plan(request.block, request.allowance, request.plan)
        printable = of_drawings(
            "block map",
            block_map.block_map_drawings(plan),
            block_map.heading(plan),
            lambda pages: told_map(plan, pages, request.unit),
            settings=request.sheet,
            unit=request.unit,
            most_sheets=most_sheets,
        )
        return answered(printable, request.block.name, request.unit, form, sheet)


# --- the sewing plan -------------------------------------------------------------------------


def told_plan(plan: SewingPlan, pages: Iterable[Page], unit: Unit) -> dict[str, Any]:
    """A sewing plan as the JSON answer has it."""
    pressing, words = plan.pressing, Words(plan)
    return {
        "unit": unit,
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
        "pages": [described(page, unit) for page in pages],
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


def _size(size: Size | None, unit: Unit) -> dict[str, float] | None:
    if size is None:
        return None
    return {"width": in_unit(size.width, unit), "height": in_unit(size.height, unit)}


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


def told_map(plan: SewingPlan, pages: Iterable[Page], unit: Unit) -> dict[str, Any]:
    """A block map as the JSON answer has it."""
    block, spans = plan.block, Spans(plan.order)
    left, top, right, bottom = extent(block.pieces)
    colours = {fabric.id: fabric.colour for fabric in block.fabrics}
    counts: dict[str | None, int] = {}
    for piece in block.pieces:
        counts[piece.fabric] = counts.get(piece.fabric, 0) + 1
    return {
        "unit": unit,
        "width": in_unit(right - left, unit),
        "height": in_unit(bottom - top, unit),
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
            for fabric, look in looks(block).items()
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
        "pages": [described(page, unit) for page in pages],
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
