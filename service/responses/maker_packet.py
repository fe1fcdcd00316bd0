"""The packets of the makers of a group quilt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any, Final

from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.cutting.cutting_list import Quilt
from piecewright.patchwork.faults import Fault
from piecewright.patchwork.quilt.plan import Variant
from piecewright.patchwork.sewing.plan import PlanOptions
from piecewright.render.printables.cover import Cover, Picture
from piecewright.render.printables.packet import Chapter, bound, cover_chapter
from piecewright.render.sheets.furniture import Heading
from piecewright.service.json_text import canonical, read_json
from piecewright.service.requests.parse import Refused, Request, refusing_in
from piecewright.service.requests.quilt import read_quilt
from piecewright.service.requests.schemas import PACKET_TITLES
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.packet import chapters_pdf, part_pages
from piecewright.service.responses.quilt_plan import PlannedQuilt, planned, quilt_plan_printout
from piecewright.service.settings import Settings

PLAN: Final = "Plan of the quilt"

ON_PAPER: Final = (
    "sewn on paper, seams lie toward the patch that is added last; the plan's ways of pressing "
    "and what it says of seams that nest hold for blocks that are pieced without paper"
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
    # A batch asks for the same quilt once for each of its makers; it is planned once for all.
    made = _planned_before(canonical(rest), settings)
    number = given.get("maker")
    if type(number) is not int or not 0 <= number < len(made.plan.shares):
        message = f"there is no maker {number!r:.20}; the quilt has {len(made.plan.shares)}"
        raise Refused((Fault("/maker", "range", message),), made.asked.unit)
    with refusing_in(made.asked.unit):
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
    # Variants of a block differ in their pressing alone: a map and a plan for each of them, but one
    # cutting list and one set of templates for all.
    chapters = [Chapter(PLAN, tuple(quilt_plan_printout(made, most_sheets, share.maker).pages()))]
    pictures: list[Picture] = []
    cautions: list[str] = []
    for id in dict.fromkeys(variant.design for variant, _ in own):
        request = asked.designs[id]
        name = request.block.name
        mine = [(variant, count) for variant, count in own if variant.design == id]
        for variant, count in mine:
            pressed = _pressed(request, variant)
            plans = BlockPlans(pressed, most_sheets)
            chapters += _chapters(plans, f"{pressed.block.name}: ", ("block-map", "sewing-plan"))
            pictures.append(Picture(pressed.block, f"{pressed.block.name}, make {count}"))
        blocks = Quilt(sum(count for _, count in mine))
        plans = BlockPlans(replace(request, quilt=blocks), most_sheets)
        chapters += _chapters(plans, f"{name}: ", ("cutting-list", "templates", "foundation"))
        cautions += (f"{name}: {fault.detail}" for fault in plans.templates.cautions)
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


def _chapters(plans: BlockPlans, of: str, parts: Iterable[str]) -> list[Chapter]:
    """Those of some parts that the request names."""
    return [
        Chapter(of + PACKET_TITLES[part].lower(), part_pages(plans, part))
        for part in parts
        if part in plans.request.parts
    ]
