"""A page as the JSON answers describe it: all that a front end needs to draw its drawings."""

from __future__ import annotations

from piecewright.patchwork.lengths import Unit, in_unit
from piecewright.render.sheets.page import Page


def page_json(page: Page, unit: Unit) -> dict[str, object]:
    """The page with its lengths in ``unit``, as JSON has it.

    A place on the sheet is measured from its top left corner, x right and y down, on the print.
    Each item's drawing is turned about its own origin by ``turn`` degrees, clockwise as seen, and
    its origin then lies at ``x``, ``y``. Of a tiled drawing (``of``) the sheet shows the
    ``window``, an upright rectangle of the drawing before it is turned; ``row`` and ``column``
    count along the turned drawing, as the sheets lie beside each other. What is sent to a printer
    that measures ``printer`` is stretched about the middle of the sheet, by an inch over
    ``across`` and ``down``.
    """
    window, sheet = page.window, page.sheet
    return {
        "number": page.number,
        "row": page.row,
        "column": page.column,
        "of": page.of,
        "sheet": {
            "width": in_unit(sheet.width, unit),
            "height": in_unit(sheet.height, unit),
            "margin": in_unit(sheet.margin, unit),
        },
        "printer": {
            "across": in_unit(sheet.printer.across, unit),
            "down": in_unit(sheet.printer.down, unit),
        },
        "window": {
            "x": in_unit(window.x, unit),
            "y": in_unit(window.y, unit),
            "width": in_unit(window.width, unit),
            "height": in_unit(window.height, unit),
        },
        "items": [
            {
                "drawing": placed.drawing.id,
                "x": in_unit(placed.x, unit),
                "y": in_unit(placed.y, unit),
                "turn": round(placed.turn, 6),
            }
            for placed in page.items
        ],
    }
