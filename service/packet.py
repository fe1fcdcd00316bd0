"""A packet as an answer: the parts that are asked for, behind a cover, as one document."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any, Final

from patchwork.block_words import allowance_words, block_size
from patchwork.cutting import cutting_list
from patchwork.faults import Fault
from patchwork.foundation import foundation
from patchwork.sewing_plan import SewingPlan, sewing_plan
from patchwork.templates import TemplateSet, template_set
from render import block_map, templates
from render import sewing_plan as cards
from render.archive import sheets_zip
from render.cover import Cover, Picture
from render.cutting_list import cutting_list_pages
from render.foundation import foundation_drawings, foundation_pages
from render.foundation import heading as foundation_heading
from render.furniture import Heading
from render.packet import Chapter, bound, cover_chapter
from render.pdf import sheets_pdf
from render.sheets import Page, described, lay_out
from render.stamping import stamped
from service.answers import Answer, Form, told_faults
from service.json_text import write_json
from service.reading import Request, read_request, told_in
from service.schemas import PacketRequest
from service.settings import Settings

TITLES: Final = {
    "cover": "Cover",
    "block-map": "Block map",
    "sewing-plan": "Sewing plan",
    "cutting-list": "Cutting list",
    "templates": "Cutting templates",
    "foundation": "Foundation sections",
}
"""The parts by their names in a request, in the order in which a packet has them."""


class Workup:
    """The parts of one block's packet; what several of them rest on is worked out once.

    Everything raises ``BlockError`` as the part by itself does.
    """

    def __init__(self, request: Request, most_sheets: int) -> None:
        self.request, self.most_sheets = request, most_sheets

    @cached_property
    def plan(self) -> SewingPlan:
        return sewing_plan(self.request.block, self.request.allowance, self.request.plan)

    @cached_property
    def templates(self) -> TemplateSet:
        asked = self.request
        return template_set(asked.block, asked.allowance, asked.corners, asked.pieces_pointer)

    @property
    def cautions(self) -> tuple[Fault, ...]:
        return self.templates.cautions

    def pages(self, part: str) -> Sequence[Page]:
        """The sheets of a part other than the cover, by its name in a request."""
        asked, most = self.request, self.most_sheets
        if part == "block-map":
            drawings, head = block_map.block_map_drawings(self.plan), block_map.heading(self.plan)
        elif part == "sewing-plan":
            drawings, head = cards.sewing_plan_drawings(self.plan), cards.heading(self.plan)
        elif part == "cutting-list":
            found = cutting_list(self.templates, asked.cloth, asked.quilt)
            return cutting_list_pages(found, asked.sheet, most)
        elif part == "foundation":
            sections = foundation(asked.block, asked.allowance, asked.corners, asked.pieces_pointer)
            drawings = foundation_drawings(sections, asked.looks)
            head = foundation_heading(sections, asked.looks)
            return foundation_pages(drawings, asked.sheet, head, most)
        else:
            drawings = templates.template_drawings(self.templates)
            head = templates.heading(self.templates)
        return lay_out(drawings, asked.sheet, head, most)


def read_packet(given: Any, settings: Settings) -> Request:
    """What a request for a packet asks for.

    Args:
        given: the request's JSON value.

    Raises:
        Refused: with every fault found.
    """
    return read_request(given, settings, PacketRequest)


def packet_answer(
    request: Request, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """The parts of a packet that a request names, as one document.

    Args:
        sheet: None, as a packet has no SVG.

    Raises:
        Refused: the block cannot be sewn as it asks to be, or the sheets do not serve.
    """
    with told_in(request.unit):
        work = Workup(request, most_sheets)
        chapters = packet_chapters(work)
        minded = work.cautions
    title = packet_title(request)
    pages = [page for chapter in chapters for page in chapter.pages]
    if form == "json":
        content = write_json(told(request, chapters, minded))
    elif form == "pdf":
        content = sheets_pdf(pages, title, [(c.title, len(c.pages)) for c in chapters])
        content = stamped(content, request.maker)
    else:
        content = sheets_zip(pages, request.unit)
    return Answer(form, content, title)


def packet_title(request: Request) -> str:
    """The document's title."""
    return f"{request.block.name} packet".strip()


def packet_chapters(work: Workup) -> tuple[Chapter, ...]:
    """The parts with their sheets, the cover first, counted through.

    Raises:
        BlockError: as each part by itself, or all sheets together are too many.
    """
    asked = work.request
    chapters = [
        Chapter(title, tuple(work.pages(part)))
        for part, title in TITLES.items()
        if part in asked.parts and part != "cover"
    ]
    if "cover" in asked.parts:
        facts = (
            f"Finished {block_size(asked.block)}",
            allowance_words(asked.allowance, asked.block.unit),
        )
        cover = Cover(
            asked.block.name or "A block",
            facts,
            (Picture(asked.block),),
            tuple(fault.detail for fault in work.cautions),
        )
        chapters.insert(0, cover_chapter(cover, packet_heading(asked), chapters, asked.sheet))
    return bound(chapters, work.most_sheets)


def packet_heading(asked: Request) -> Heading:
    """What the footer of a cover says."""
    return Heading(
        block=asked.block.name,
        what="Packet",
        size=f"Finished {block_size(asked.block)}",
        allowance=allowance_words(asked.allowance, asked.block.unit),
        corners=f"{asked.corners.capitalize()} corners",
    )


def told(request: Request, chapters: Iterable[Chapter], minded: Iterable[Fault]) -> dict[str, Any]:
    """A packet as the JSON answer has it."""
    by_title = {title: part for part, title in TITLES.items()}
    return {
        "unit": request.unit,
        "name": request.block.name,
        "for": request.maker or None,
        "parts": [
            {
                "part": by_title[chapter.title],
                "title": chapter.title,
                "first": chapter.pages[0].number,
                "sheets": len(chapter.pages),
            }
            for chapter in chapters
        ],
        "cautions": told_faults(minded, request.unit),
        "pages": [described(page, request.unit) for chapter in chapters for page in chapter.pages],
    }
