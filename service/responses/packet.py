"""A packet as an answer: the parts that are asked for, behind a cover, as one document."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.faults import Fault
from piecewright.render.output.page_json import page_json
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.stamping import stamped
from piecewright.render.output.zip import sheets_zip
from piecewright.render.printables.cover import Cover, Picture
from piecewright.render.printables.packet import Chapter, bound, cover_chapter
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import Page
from piecewright.service.json_text import write_json
from piecewright.service.problems import told_faults
from piecewright.service.requests.parse import Request, told_in
from piecewright.service.requests.schemas import PACKET_TITLES
from piecewright.service.responses.answers import Answer, Form, Printout, templates_printout
from piecewright.service.responses.block_plans import Workup
from piecewright.service.responses.cutting_list import cutting_list_printout
from piecewright.service.responses.foundation import foundation_printout
from piecewright.service.responses.sewing_plan import block_map_printout, sewing_plan_printout

_PRINTED: Final[Mapping[str, Callable[[Workup], Printout]]] = {
    "block-map": block_map_printout,
    "sewing-plan": sewing_plan_printout,
    "cutting-list": cutting_list_printout,
    "templates": templates_printout,
    "foundation": foundation_printout,
}
"""The parts other than the cover, by their names in a request."""


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
        minded = work.templates.cautions
    title = packet_title(request)
    if form == "json":
        content = write_json(told(request, chapters, minded))
    elif form == "pdf":
        content = stamped(chapters_pdf(chapters, title), request.maker)
    else:
        pages = [page for chapter in chapters for page in chapter.pages]
        content = sheets_zip(pages, request.unit)
    return Answer(form, content, title)


def packet_title(request: Request) -> str:
    """The document's title."""
    return f"{request.block.name} packet".strip()


def part_pages(work: Workup, part: str) -> tuple[Page, ...]:
    """The sheets of a part other than the cover, by its name in a request.

    Raises:
        BlockError: as the part by itself.
    """
    return tuple(_PRINTED[part](work).pages())


def chapters_pdf(chapters: Sequence[Chapter], title: str) -> bytes:
    """The sheets of all chapters as one PDF, each chapter under a bookmark."""
    pages = [page for chapter in chapters for page in chapter.pages]
    return sheets_pdf(pages, title, [(c.title, len(c.pages)) for c in chapters])


def packet_chapters(work: Workup) -> tuple[Chapter, ...]:
    """The parts with their sheets, the cover first, counted through.

    Raises:
        BlockError: as each part by itself, or all sheets together are too many.
    """
    asked = work.request
    chapters = [
        Chapter(title, part_pages(work, part))
        for part, title in PACKET_TITLES.items()
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
            tuple(fault.detail for fault in work.templates.cautions),
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
    by_title = {title: part for part, title in PACKET_TITLES.items()}
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
        "pages": [page_json(page, request.unit) for chapter in chapters for page in chapter.pages],
    }
