"""Foundation sections of a request as an answer, for HTTP and the command line alike."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from patchwork.foundation import FabricNeed, Foundation, FoundationSection, foundation
from patchwork.lengths import PER_INCH, Unit, in_unit
from render.foundation import foundation_drawings, foundation_pages, heading
from render.sheets import Page, described
from render.svg import canvas_svg
from service.answers import Answer, Form, Printable, answered, place, places, ring
from service.reading import Request, told_in


def foundation_answer(
    request: Request, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """The foundation sections of a request's block.

    Args:
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        Refused: the block cannot be sewn on foundations, or the sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    unit = request.unit
    with told_in(unit):
        found = foundation(
            request.block, request.allowance, request.corners, request.pieces_pointer
        )
        drawings = foundation_drawings(found, request.looks)
        head = heading(found, request.looks)
        printable = Printable(
            "foundation",
            told=lambda pages: told(found, pages, unit),
            pages=lambda: foundation_pages(drawings, request.sheet, head, most_sheets),
            canvas=lambda: canvas_svg(drawings, head, unit),
        )
        return answered(printable, request.block.name, request.unit, form, sheet)


def told(found: Foundation, pages: Iterable[Page], unit: Unit) -> dict[str, Any]:
    """Foundation sections as the JSON answer has them."""
    return {
        "unit": unit,
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
        "pages": [described(page, unit) for page in pages],
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
                "width": in_unit(patch.width, unit),
                "height": in_unit(patch.height, unit),
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
            {"width": in_unit(width, unit), "height": in_unit(height, unit), "count": count}
            for width, height, count in need.sizes
        ],
        "area": round(need.area * float(PER_INCH[unit]) ** 2, 6),
    }
