"""A packet: the parts that are asked for, behind a cover, as one document."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.faults import Fault
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.stamping import stamped
from piecewright.render.output.zip import sheets_zip
from piecewright.render.printables.cover import Cover, Picture
from piecewright.render.printables.packet import Chapter, bound, cover_chapter
from piecewright.render.sheets import page as sheet
from piecewright.render.sheets.furniture import Heading
from piecewright.service.requests.parse import Request, refusing_in
from piecewright.service.requests.schemas import PACKET_PARTS, PACKET_TITLES
from piecewright.service.responses import fields
from piecewright.service.responses.answer import Answer, Form
from piecewright.service.responses.block_map import packet_map_pages
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.cutting_list import cutting_list_printout
from piecewright.service.responses.fields import AnswerSchema
from piecewright.service.responses.foundation import foundation_printout
from piecewright.service.responses.pages import Page, SheetCount, Sheets, json_with_sheets
from piecewright.service.responses.printout import Printout
from piecewright.service.responses.problem import Caution
from piecewright.service.responses.sewing_plan import sewing_plan_printout
from piecewright.service.responses.templates import templates_printout

_PRINTOUTS: Final[Mapping[str, Callable[[BlockPlans], Printout]]] = {
    "sewing-plan": sewing_plan_printout,
    "cutting-list": cutting_list_printout,
    "templates": templates_printout,
    "foundation": foundation_printout,
}
"""The parts by their names in a request, but for the cover and the block map."""


@dataclass(frozen=True, slots=True)
class _Contents:
    """What the answer about a packet is made from."""

    request: Request
    chapters: tuple[Chapter, ...]
    cautions: tuple[Fault, ...]

    @property
    def pages(self) -> list[sheet.Page]:
        return [page for chapter in self.chapters for page in chapter.pages]

    @property
    def sheets(self) -> SheetCount:
        return SheetCount.of(self.pages)


_PART_OF_TITLE: Final = {title: part for part, title in PACKET_TITLES.items()}


class PacketPart(AnswerSchema):
    """A part of a packet."""

    part = fields.Word(
        "As a request names it.", PACKET_PARTS, of=lambda chapter: _PART_OF_TITLE[chapter.title]
    )
    title = fields.Text("As the bookmarks have it.")
    first = fields.Count(
        "The number of its first sheet.", least=1, of=lambda chapter: chapter.pages[0].number
    )
    sheets = fields.Count("How many sheets it has.", least=1, of=lambda chapter: len(chapter.pages))


class PacketAnswer(AnswerSchema):
    """What a packet holds, and the sheets that the PDF has."""

    unit = fields.Unit()
    name = fields.Text("The block's name; empty if it has none.", of="request.block.name")
    maker = fields.Text(
        "Whose packet it is; null if it is nobody's.",
        nullable=True,
        data_key="for",
        of=lambda packet: packet.request.maker or None,
    )
    parts = fields.Many(PacketPart, "In their order.", of="chapters")
    cautions = fields.Many(Caution, "As `/v1/check` tells them.")
    pages = fields.Many(Page, "All sheets, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


def packet_answer(
    request: Request, form: Form, most_sheets: int, sheet: int | None = None, svg: bool = False
) -> Answer:
    """The parts of a packet that a request names, as one document.

    Args:
        sheet: None, as a packet is not to be had as SVG.
        svg: for ``json``, whether each sheet is given as SVG too.

    Raises:
        Refused: the block cannot be sewn as it asks to be, or the sheets do not serve.
    """
    with refusing_in(request.unit):
        plans = BlockPlans(request, most_sheets)
        packet = _Contents(request, packet_chapters(plans), plans.templates.cautions)
    title = packet_title(request)
    if form == "json":
        described = PacketAnswer.to_json(packet, request.unit)
        content = json_with_sheets(described, packet.pages, request.unit, svg)
    elif form == "pdf":
        content = stamped(chapters_pdf(packet.chapters, title), request.maker)
    else:
        content = sheets_zip(packet.pages, request.unit)
    return Answer(form, content, title, len(packet.pages))


def packet_title(request: Request) -> str:
    """The document's title."""
    return f"{request.block.name} packet".strip()


def part_pages(plans: BlockPlans, part: str) -> tuple[sheet.Page, ...]:
    """The sheets of a part other than the cover, by its name in a request.

    Raises:
        BlockError: as the part by itself.
    """
    if part == "block-map":
        return packet_map_pages(plans)
    return tuple(_PRINTOUTS[part](plans).pages())


def chapters_pdf(chapters: Sequence[Chapter], title: str) -> bytes:
    """The sheets of all chapters as one PDF, each chapter under a bookmark."""
    pages = [page for chapter in chapters for page in chapter.pages]
    return sheets_pdf(pages, title, [(c.title, len(c.pages)) for c in chapters])


def packet_chapters(plans: BlockPlans) -> tuple[Chapter, ...]:
    """The parts with their sheets, the cover first, counted through.

    Raises:
        BlockError: as each part by itself, or all sheets together are too many.
    """
    asked = plans.request
    chapters = [
        Chapter(title, part_pages(plans, part))
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
            tuple(fault.detail for fault in plans.templates.cautions),
        )
        # The cover lists the other parts with their sheets, so that it is made last.
        chapters.insert(0, cover_chapter(cover, packet_heading(asked), chapters, asked.sheet))
    return bound(chapters, plans.most_sheets)


def packet_heading(asked: Request) -> Heading:
    """What the footer of a cover says."""
    return Heading(
        block=asked.block.name,
        what="Packet",
        size=f"Finished {block_size(asked.block)}",
        allowance=allowance_words(asked.allowance, asked.block.unit),
        corners=f"{asked.corners.capitalize()} corners",
    )
