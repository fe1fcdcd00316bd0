"""A group quilt as an answer: its plan, and each maker's packet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.cutting.cutting_list import Quilt
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.lengths import Unit
from piecewright.patchwork.quilt.assembly import Area, Joining
from piecewright.patchwork.quilt.plan import QuiltPlan, Variant, group_quilt
from piecewright.patchwork.sewing.plan import PlanOptions, SewingPlan, sewing_plan
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.cover import Cover, Picture
from piecewright.render.printables.packet import Chapter, bound, cover_chapter
from piecewright.render.printables.quilt_plan import heading, quilt_plan_drawings
from piecewright.render.printables.text_column import column
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.service.json_text import canonical, read_json
from piecewright.service.measures import place, size
from piecewright.service.requests.parse import Refused, Request, told_in
from piecewright.service.requests.quilt import QuiltAsked, moved, read_quilt
from piecewright.service.requests.schemas import PACKET_TITLES
from piecewright.service.responses.answers import Answer, Form, Printout, answered
from piecewright.service.responses.block_plans import Workup
from piecewright.service.responses.packet import chapters_pdf, part_pages
from piecewright.service.settings import Settings

PLAN: Final = "Plan of the quilt"

ON_PAPER: Final = (
    "sewn on paper, seams lie toward the patch that is added last; the plan's ways of pressing "
    "and what it says of seams that nest hold for blocks that are pieced without paper"
)


@dataclass(frozen=True, slots=True)
class PlannedQuilt:
    """A quilt that is asked for, with the plan of each of its blocks and of all together."""

    asked: QuiltAsked
    designs: Mapping[str, SewingPlan]
    plan: QuiltPlan


def planned(asked: QuiltAsked) -> PlannedQuilt:
    """The plan of a quilt.

    Raises:
        Refused: a block cannot be sewn as it asks to be, or the blocks make no quilt.
    """
    designs: dict[str, SewingPlan] = {}
    faults: list[Fault] = []
    for id, request in asked.designs.items():
        try:
            designs[id] = sewing_plan(request.block, request.allowance, request.plan)
        except BlockError as error:
            faults += (moved(fault, asked.pointers[id]) for fault in error.faults)
    if faults:
        raise Refused(tuple(dict.fromkeys(faults)), asked.unit)
    kept = {id: request.plan.kept for id, request in asked.designs.items() if request.plan}
    with told_in(asked.unit):
        plan = group_quilt(asked.quilt, designs, asked.makers or None, kept=kept)
    return PlannedQuilt(asked, designs, plan)


def quilt_plan_answer(
    asked: QuiltAsked, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """Who makes which block of a quilt, pressed which way, and how the blocks are joined.

    Args:
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        Refused: the quilt cannot be made as it asks to be, or the sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    made = planned(asked)
    with told_in(asked.unit):
        return answered(_printout(made, most_sheets), asked.title, asked.unit, form, sheet)


def _printout(made: PlannedQuilt, most_sheets: int, maker: str | None = None) -> Printout:
    """The plan of a quilt; with one maker's blocks marked."""
    asked, room = made.asked, column(made.asked.shared.sheet)
    blocks = {id: request.block for id, request in asked.designs.items()}
    drawings = quilt_plan_drawings(made.plan, blocks, room, maker)
    head = heading(made.plan, asked.title)
    return Printout(
        "plan",
        told=lambda: told(made.plan),
        pages=lambda: lay_out(drawings, room.settings, head, most_sheets),
        canvas=lambda: canvas_svg(drawings, head, asked.unit),
    )


def maker_packet_pdf(given: Mapping[str, Any], settings: Settings) -> bytes:
    """The packet of one maker of a quilt, without the name.

    Args:
        given: a request for a group quilt; its field ``maker`` has the number of the maker,
            counted from 0.

    Raises:
        Refused: the quilt cannot be made as it asks to be, or the sheets do not serve.
    """
    rest = {name: value for name, value in given.items() if name != "maker"}
    # A batch asks for the same quilt once for each of its makers.
    made = _planned_before(canonical(rest), settings)
    number = given.get("maker")
    if type(number) is not int or not 0 <= number < len(made.plan.shares):
        message = f"there is no maker {number!r:.20}; the quilt has {len(made.plan.shares)}"
        raise Refused((Fault("/maker", "range", message),), made.asked.unit)
    with told_in(made.asked.unit):
        chapters = maker_chapters(made, number, settings.max_sheets)
    return chapters_pdf(chapters, f"{made.asked.title} packet")


@lru_cache(maxsize=2)
def _planned_before(text: bytes, settings: Settings) -> PlannedQuilt:
    return planned(read_quilt(read_json(text), settings))


def maker_chapters(made: PlannedQuilt, maker: int, most_sheets: int) -> tuple[Chapter, ...]:
    """What one maker needs, counted through: the plan of the quilt with the maker's blocks
    marked, block map and sewing plan of each variant, cutting list and templates of each block.

    Raises:
        BlockError: as each part by itself, or all sheets together are too many.
    """
    asked, shared = made.asked, made.asked.shared
    share = made.plan.shares[maker]
    variants = {variant.id: variant for variant in made.plan.variants}
    own = [(variants[id], count) for id, count in share.variants]
    chapters = [Chapter(PLAN, tuple(_printout(made, most_sheets, share.maker).pages()))]
    pictures: list[Picture] = []
    cautions: list[str] = []
    for id in dict.fromkeys(variant.design for variant, _ in own):
        request = asked.designs[id]
        name = request.block.name
        mine = [(variant, count) for variant, count in own if variant.design == id]
        for variant, count in mine:
            pressed = _pressed(request, variant)
            work = Workup(pressed, most_sheets)
            chapters += _chapters(work, f"{pressed.block.name}: ", ("block-map", "sewing-plan"))
            pictures.append(Picture(pressed.block, f"{pressed.block.name}, make {count}"))
        blocks = Quilt(sum(count for _, count in mine))
        work = Workup(replace(request, quilt=blocks), most_sheets)
        chapters += _chapters(work, f"{name}: ", ("cutting-list", "templates", "foundation"))
        cautions += (f"{name}: {fault.detail}" for fault in work.templates.cautions)
    if "cover" in shared.parts:
        total = sum(count for _, count in own)
        seams = allowance_words(shared.allowance, shared.block.unit)
        if "foundation" in shared.parts:
            cautions.insert(0, ON_PAPER)
        facts = (
            f"{total} block{'s' * (total != 1)} of a quilt of {len(made.plan.placements)}",
            f"Finished {block_size(shared.block)} each, {seams[:1].lower()}{seams[1:]}",
        )
        cover = Cover(asked.title, facts, tuple(pictures), tuple(cautions))
        front = Heading(
            block=asked.title,
            what="Packet",
            allowance=seams,
            corners=f"{shared.corners.capitalize()} corners",
        )
        chapters.insert(0, cover_chapter(cover, front, chapters, shared.sheet))
    return bound(chapters, most_sheets)


def _pressed(request: Request, variant: Variant) -> Request:
    """What is asked for of a block, pressed as one of its variants and named after it."""
    options = replace(request.plan or PlanOptions(), kept=variant.kept)
    block = replace(request.block, name=f"{request.block.name} {variant.letter}")
    return replace(request, plan=options, block=block)


def _chapters(work: Workup, of: str, parts: Iterable[str]) -> list[Chapter]:
    """Those of some parts that the request names."""
    return [
        Chapter(of + PACKET_TITLES[part].lower(), part_pages(work, part))
        for part in parts
        if part in work.request.parts
    ]


# --- in JSON ---------------------------------------------------------------------------------


def told(plan: QuiltPlan) -> dict[str, Any]:
    """A plan of a quilt as the JSON answer has it."""
    unit = plan.unit
    return {
        "rows": plan.quilt.rows,
        "columns": plan.quilt.columns,
        **size(sum(plan.widths), sum(plan.heights), unit),
        "placements": [
            {
                "row": one.row + 1,
                "column": one.column + 1,
                "block": one.design,
                "turn": one.turn,
                "variant": one.variant,
                "maker": one.maker,
            }
            for one in plan.placements
        ],
        "variants": [_variant(variant) for variant in plan.variants],
        "makers": [
            {
                "name": share.maker,
                "blocks": sum(count for _, count in share.variants),
                "variants": [{"id": id, "count": count} for id, count in share.variants],
            }
            for share in plan.shares
        ],
        "steps": [_step(step, unit) for step in plan.joinings],
        "meetings": [
            {
                "at": place(meeting.at, unit),
                "step": str(meeting.joining),
                "blocks": [[row + 1, column + 1] for row, column in meeting.blocks],
                "nests": meeting.nests,
                "reason": meeting.reason,
            }
            for meeting in plan.meetings
        ],
        "inside": plan.inside_nested,
        "nested": plan.nested,
        "bound": plan.bound,
        "optimal": plan.optimal,
        "fewest_variants": plan.fewest_variants,
    }


def _variant(variant: Variant) -> dict[str, Any]:
    return {
        "id": variant.id,
        "block": variant.design,
        "count": variant.count,
        "pressing": {"keep": [{"step": str(one.step), "press": one.press} for one in variant.kept]},
    }


def _step(step: Joining, unit: Unit) -> dict[str, Any]:
    return {
        "id": str(step.number),
        "level": step.level,
        "joins": step.kind,
        "units": [_area(step.first), _area(step.second)],
        "press": step.press,
        "unfinished": size(step.unfinished.width, step.unfinished.height, unit),
    }


def _area(area: Area) -> dict[str, int]:
    return {
        "top": area.top + 1,
        "left": area.left + 1,
        "bottom": area.bottom + 1,
        "right": area.right + 1,
    }
