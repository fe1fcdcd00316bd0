"""A sheet as answers describe it: all that a front end needs to draw it by itself.

A place on the sheet is measured from its top left corner, x right and y down, on the print. Each
item's drawing is turned about its own origin by ``turn`` degrees, clockwise as seen, and its
origin then lies at ``x``, ``y``. A drawing that is larger than a sheet is divided into parts, which
share sheets with each other and with whole drawings: an item that is a part shows the ``window`` of
its drawing; ``row`` and ``column`` say where the part lies among the others. What is sent to a
printer that measures ``printer`` is stretched about the middle of the sheet, by an inch over
``across`` and ``down``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.lengths import Unit
from piecewright.render.output.svg import sheet_svg
from piecewright.render.sheets import page as sheet
from piecewright.service.json_text import write_json
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json


class Window(AnswerSchema):
    """A rectangle, upright on the drawing once that is turned by ``turn`` about its origin."""

    x = fields.Length("Its left side.")
    y = fields.Length("Its top.")
    width = fields.Length("Across.")
    height = fields.Length("Down.")
    turn = fields.Angle("Degrees, clockwise as seen; 0 unless the drawing is divided at a slant.")


class Item(AnswerSchema):
    """A drawing on a sheet."""

    drawing = fields.Text("The id of the template, the section, the list, …", of="drawing.id")
    x = fields.Length("Where the drawing's origin lies on the sheet.")
    y = fields.Length("Where the drawing's origin lies on the sheet.")
    turn = fields.Angle(
        "Degrees by which the drawing is turned about its origin, clockwise as seen."
    )
    row = fields.Count("Of a part among those of its drawing, from 1; else 1.", least=1)
    column = fields.Count("Of a part among those of its drawing, from 1; else 1.", least=1)
    window = fields.One(Window, "What a part shows; null for a whole drawing.", nullable=True)


class Paper(AnswerSchema):
    """A sheet of paper; places on it count from its top left corner, x right and y down."""

    width = fields.Length("Across.")
    height = fields.Length("Down.")
    margin = fields.Length("What is left blank along each side.")


class Measured(AnswerSchema):
    """What an inch on the sheet that is sent comes out as on the print."""

    across = fields.Length("Its width.")
    down = fields.Length("Its height.")


class Page(AnswerSchema):
    """A sheet and what it shows."""

    number = fields.Count("From 1.", least=1)
    row = fields.Count("Of the only part on it, from 1; else 1.", least=1)
    column = fields.Count("Of the only part on it, from 1; else 1.", least=1)
    of = fields.Text(
        "The drawing of which it shows one part and nothing else; null for all other sheets.",
        nullable=True,
    )
    sheet = fields.One(Paper, "The paper.")
    printer = fields.One(
        Measured,
        "What the sheet is corrected for: it is stretched about its middle by 1 in over these.",
        of="sheet.printer",
    )
    window = fields.One(
        Window,
        "What the only part shows of its drawing; else the room for drawings on the sheet.",
    )
    items = fields.Many(Item, "What stands on the sheet.")
    svg = fields.Text(
        "The sheet as an SVG element, with `?sheets=svg` alone. No two sheets of an answer have an "
        "id in common, so that all of them can stand in one web page.",
        optional=True,
        of=lambda _: None,  # only ``json_with_sheets`` gives it one
    )


def json_with_sheets(answer: Json, pages: Sequence[sheet.Page], unit: Unit, svg: bool) -> bytes:
    """An answer that describes its sheets, as JSON.

    Args:
        svg: whether each sheet is given as SVG too.
    """
    if svg:
        answer["pages"] = [
            {**one, "svg": sheet_svg(page, unit, declared=False)}
            for one, page in zip(answer["pages"], pages, strict=True)
        ]
    return write_json(answer)


@dataclass(frozen=True, slots=True)
class SheetCount:
    """How many sheets there are, and how many are needed in any layout."""

    count: int
    least: int

    @classmethod
    def of(cls, pages: Sequence[sheet.Page]) -> SheetCount:
        # Each layout begins with its own first sheet, and every sheet knows how few would do.
        return cls(len(pages), sum(page.least for page in pages if page.own == 1))

    @property
    def proven(self) -> bool:
        """Whether no layout takes fewer."""
        return self.count == self.least


def on_sheets(pages: Sequence[sheet.Page]) -> dict[str, object]:
    """The fields of an answer about its sheets."""
    return {"pages": pages, "sheets": SheetCount.of(pages)}


class Sheets(AnswerSchema):
    """How many sheets there are, and what is known of how few would do."""

    count = fields.Count("How many there are.")
    least = fields.Count("No layout of these drawings takes fewer: a proven lower bound.")
    proven = fields.Flag("Whether `count` is proven to be the least.")
