"""The cutting list of a request as an answer, for HTTP and the command line alike."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from patchwork.borders import Edging
from patchwork.cutting import Cut, CuttingList, FabricCuts, Strip, cutting_list
from patchwork.cutting_words import edging_text, note, strip_text
from patchwork.lengths import Unit, in_unit
from patchwork.templates import template_set
from render.cutting_list import canvas_drawings, cutting_list_pages, heading
from render.sheets import Page, described
from render.svg import canvas_svg
from service.answers import Answer, Form, Printable, answered
from service.reading import Request, told_in


def cutting_list_answer(
    request: Request, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """What to cut for a request's blocks, from which strips, and what to buy.

    Args:
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        Refused: the block cannot be sewn as it asks to be, or cloth or sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    unit = request.unit
    with told_in(unit):
        templates = template_set(
            request.block, request.allowance, request.corners, request.pieces_pointer
        )
        found = cutting_list(templates, request.cloth, request.quilt)
        printable = Printable(
            "cutting list",
            told=lambda pages: told(found, pages, unit),
            pages=lambda: cutting_list_pages(found, request.sheet, most_sheets),
            canvas=lambda: canvas_svg(canvas_drawings(found), heading(found), unit),
        )
        return answered(printable, request.block.name, request.unit, form, sheet)


def told(found: CuttingList, pages: Iterable[Page], unit: Unit) -> dict[str, Any]:
    """A cutting list as the JSON answer has it."""
    return {
        "unit": unit,
        "blocks": found.quilt.blocks,
        "cloth": {
            "width": in_unit(found.cloth.width, unit),
            "shrinkage": found.cloth.shrinkage,
            "spare": found.cloth.spare,
        },
        "fabrics": [_fabric(fabric, unit) for fabric in found.fabrics],
        "edges": [_edge(edging, unit) for edging in found.edgings],
        "pages": [described(page, unit) for page in pages],
    }


def _fabric(fabric: FabricCuts, unit: Unit) -> dict[str, Any]:
    return {
        "fabric": fabric.fabric,
        "cuts": [_cut(cut, unit) for cut in fabric.cuts],
        "strips": [_strip(strip, fabric, unit) for strip in fabric.strips],
        "fewest_strips": fabric.bound,
        "nested": in_unit(fabric.nested, unit),
        "length": in_unit(fabric.length, unit),
        "yardage": fabric.yardage.amount,
        "yardage_unit": fabric.yardage.unit,
        "buy": str(fabric.yardage),
    }


def _cut(cut: Cut, unit: Unit) -> dict[str, Any]:
    slant = cut.slant
    sides = ("width", "height")
    return {
        "shape": cut.shape,
        "name": cut.name,
        "finished": _size(cut.finished, unit),
        "cut": _size(cut.cut, unit),
        "count": cut.count,
        "blanks": cut.blanks,
        "yields": cut.yields,
        "from": cut.source,
        "lengthwise": None if cut.lengthwise is None else sides[cut.lengthwise],
        "angles": None if slant is None else [round(angle, 6) for angle in slant.angles],
        "reversed": cut.reversed,
        "trim": cut.trim,
        "templates": list(cut.templates),
        "note": note(cut, unit),
    }


def _strip(strip: Strip, fabric: FabricCuts, unit: Unit) -> dict[str, Any]:
    return {
        "width": in_unit(strip.width, unit),
        "count": strip.count,
        "yields": [
            {"cut": part.cut, "count": part.count, "length": in_unit(part.length, unit)}
            for part in strip.parts
        ],
        "length": in_unit(strip.length, unit),
        "used": in_unit(strip.used, unit),
        "purpose": strip.purpose,
        "lengthwise": strip.lengthwise,
        "text": strip_text(strip, fabric.cuts, unit),
    }


def _edge(edging: Edging, unit: Unit) -> dict[str, Any]:
    return {
        "purpose": edging.purpose,
        "fabric": edging.fabric,
        "width": in_unit(edging.width, unit),
        "lengths": [
            {"length": in_unit(length, unit), "count": count, "where": where}
            for length, count, where in edging.lengths
        ],
        "strips": edging.strips,
        "joins": edging.joins,
        "lengthwise": edging.lengthwise,
        "text": edging_text(edging, unit),
    }


def _size(size: tuple[float, float], unit: Unit) -> dict[str, float]:
    return {"width": in_unit(size[0], unit), "height": in_unit(size[1], unit)}
