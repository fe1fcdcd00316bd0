"""The cutting list of a request as an answer, for HTTP and the command line alike."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

from piecewright.patchwork.cutting.borders import Edging
from piecewright.patchwork.cutting.cutting_list import (
    Cut,
    CuttingList,
    FabricCuts,
    Strip,
    cutting_list,
)
from piecewright.patchwork.cutting.wording import edging_text, note, strip_text
from piecewright.patchwork.lengths import Unit, in_unit
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.cutting_list import canvas_drawings, cutting_list_pages, heading
from piecewright.service.measures import size
from piecewright.service.responses.answers import Printout, of_block
from piecewright.service.responses.block_plans import Workup


def cutting_list_printout(work: Workup) -> Printout:
    """What to cut for a request's blocks, from which strips, and what to buy.

    Raises:
        BlockError: the block cannot be sewn as it asks to be, or the cloth does not serve.
    """
    asked = work.request
    found = cutting_list(work.templates, asked.cloth, asked.quilt)
    return Printout(
        "cutting list",
        told=lambda: told(found, asked.unit),
        pages=lambda: cutting_list_pages(found, asked.sheet, work.most_sheets),
        canvas=lambda: canvas_svg(canvas_drawings(found), heading(found), asked.unit),
    )


cutting_list_answer: Final = partial(of_block, cutting_list_printout)


def told(found: CuttingList, unit: Unit) -> dict[str, Any]:
    """A cutting list as the JSON answer has it."""
    return {
        "blocks": found.quilt.blocks,
        "cloth": {
            "width": in_unit(found.cloth.width, unit),
            "shrinkage": found.cloth.shrinkage,
            "spare": found.cloth.spare,
        },
        "fabrics": [_fabric(fabric, unit) for fabric in found.fabrics],
        "edges": [_edge(edging, unit) for edging in found.edgings],
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
        "finished": size(*cut.finished, unit),
        "cut": size(*cut.cut, unit),
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
