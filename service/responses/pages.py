"""A sheet as answers describe it: all that a front end needs to draw it by itself.

A place on the sheet is measured from its top left corner, x right and y down, on the print. Each
item's drawing is turned about its own origin by ``turn`` degrees, clockwise as seen, and its
origin then lies at ``x``, ``y``. Of a tiled drawing (``of``) the sheet shows the ``window``, an
upright rectangle of the drawing before it is turned; ``row`` and ``column`` count along the
turned drawing, as the sheets lie beside each other. What is sent to a printer that measures
``printer`` is stretched about the middle of the sheet, by an inch over ``across`` and ``down``.
"""

from __future__ import annotations

from collections.abc import Sequence

from piecewright.patchwork.lengths import Unit
from piecewright.render.output.svg import sheet_svg
from piecewright.render.sheets import page as sheet
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json


class Window(AnswerSchema):
    """A rectangle."""

    x = fields.Length("Its left side.")
    y = fields.Length("Its top.")
    width = fields.Length("Across.")
    height = fields.Length("Down.")


class Item(AnswerSchema):
    """A drawing on a sheet."""

    drawing = fields.Text("The id of the template, the section, the list, …", of="drawing.id")
    x = fields.Length("Where the drawing's origin lies on the sheet.")
    y = fields.Length("Where the drawing's origin lies on the sheet.")
    turn = fields.Angle(
        "Degrees by which the drawing is turned about its origin, clockwise as seen."
    )


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
    row = fields.Count("Of the tile, from 1; 1 for a sheet of whole drawings.", least=1)
    column = fields.Count("Of the tile, from 1; 1 for a sheet of whole drawings.", least=1)
    of = fields.Text("The drawing of which it shows a tile; null for whole ones.", nullable=True)
    sheet = fields.One(Paper, "The paper.")
    printer = fields.One(
        Measured,
        "What the sheet is corrected for: it is stretched about its middle by 1 in over these.",
        of="sheet.printer",
    )
    window = fields.One(
        Window,
        "What a tile shows, in its drawing's coordinates before it is turned; for a sheet of "
        "whole drawings the room for them on it.",
    )
    items = fields.Many(Item, "What stands on the sheet.")
    svg = fields.Text(
        "The sheet as an SVG element, with `?sheets=svg` alone. No two sheets of an answer have an "
        "id in common, so that all of them can stand in one web page.",
        optional=True,
        of=lambda _: None,  # only ``with_svg`` gives it one
    )


def with_svg(described: Sequence[Json], pages: Sequence[sheet.Page], unit: Unit) -> list[Json]:
    """Sheets as an answer describes them, each with its SVG."""
    return [
        {**one, "svg": sheet_svg(page, unit, declared=False)}
        for one, page in zip(described, pages, strict=True)
    ]
