"""Foundation sections of a request as an answer, for HTTP and the command line alike."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

from piecewright.patchwork.foundation.plan import (
    FabricNeed,
    Foundation,
    FoundationSection,
    foundation,
)
from piecewright.patchwork.lengths import Unit
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.foundation import foundation_drawings, foundation_pages, heading
from piecewright.service.measures import area, place, places, ring, size
from piecewright.service.responses.answers import Printout, of_block
from piecewright.service.responses.block_plans import Workup


def foundation_printout(work: Workup) -> Printout:
    """The foundation sections of a block.

    Raises:
        BlockError: the block cannot be sewn on foundations.
    """
    asked = work.request
    found = foundation(asked.block, asked.allowance, asked.corners, asked.pieces_pointer)
    drawings, head = foundation_drawings(found, asked.looks), heading(found, asked.looks)
    return Printout(
        "foundation",
        told=lambda: told(found, asked.unit),
        pages=lambda: foundation_pages(drawings, asked.sheet, head, work.most_sheets),
        canvas=lambda: canvas_svg(drawings, head, asked.unit),
    )


foundation_answer: Final = partial(of_block, foundation_printout)


def told(found: Foundation, unit: Unit) -> dict[str, Any]:
    """Foundation sections as the JSON answer has them."""
    return {
        "sections": [_section(section, unit) for section in found.sections],
        "joins": found.joins,
        "steps": [
            {
                "units": [list(step.first), list(step.second)],
                "seam": places([step.seam[0].start, step.seam[-1].end], unit),
            }
            for step in found.steps
        ],
        "optimal": found.optimal,
        "fabrics": [_need(need, unit) for need in found.fabrics],
    }


def _section(section: FoundationSection, unit: Unit) -> dict[str, Any]:
    return {
        "id": section.id,
        "order": list(section.order),
        "outline": ring(section.outline, unit),
        "cut": ring(section.cut, unit),
        "patches": [
            {
                "piece": patch.piece,
                "number": patch.number,
                "fabric": patch.fabric,
                **size(patch.width, patch.height, unit),
            }
            for patch in section.patches
        ],
        "seams": [places([seam.start, seam.end], unit) for seam in section.seams],
        "marks": [{"number": mark.number, "at": place(mark.at, unit)} for mark in section.marks],
    }


def _need(need: FabricNeed, unit: Unit) -> dict[str, Any]:
    return {
        "fabric": need.fabric,
        "sizes": [
            {**size(width, height, unit), "count": count} for width, height, count in need.sizes
        ],
        "area": area(need.area, unit),
    }
