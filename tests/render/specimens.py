"""Drawings, headings and sheets that several tests of ``render`` share."""

from __future__ import annotations

import io
from typing import Any

import pikepdf

from piecewright.patchwork.geometry.paths import Line, arc, polygon
from piecewright.render.drawing.marks import Dot, Drawing, Mark, Stroke, Text, drawn
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.papers import PAPERS
from piecewright.render.sheets.sheet_settings import SheetSettings

HEADING = Heading(
    block="Churn Dash",
    what="Cutting templates",
    size="Finishes 12 × 12 in",
    allowance="Seam allowance 1/4 in",
    corners="matched corners",
)

LONG_HEADING = Heading(
    block="The block that grandmother Wilhelmina pieced in the winter of the great snow " * 5,
    what="Cutting templates",
    size="Finishes 12 3/16 × 12 3/16 in",
    allowance="Seam allowance 1/4 in, 1/2 in at the edge of the block",
    corners="matched corners",
)


def paper(name: str, orientation: str = "auto", **more: Any) -> SheetSettings:
    """Settings for a paper by name."""
    size = PAPERS[name]
    return SheetSettings(
        size.width,
        size.height,
        orientation,  # type: ignore[arg-type]
        paper=name,
        **more,
    )


def plain(id: str, width: float, height: float) -> Drawing:
    """A rectangle, cutting line only; ``width`` by ``height`` with the ink of the line."""
    w, h = width - 0.0125, height - 0.0125  # 0.9 pt
    outline = polygon([(0, 0), (w, 0), (w, h), (0, h)])
    return drawn(id, f"Template {id}", "", [Stroke("cutting-line", outline, closed=True)])


def quarter_circle(id: str, radius: float) -> Drawing:
    """A quarter circle with every kind of mark, not at the origin."""
    r = radius
    outline = (
        *arc((0, r), r, r, 0, False, True, (r, 0)),
        Line((r, 0), (r, r)),
        Line((r, r), (0, r)),
    )
    inner = arc((r / 4, r), r * 0.75, r * 0.75, 0, False, True, (r, r / 4))
    marks: list[Mark] = [
        Stroke("cutting-line", outline, closed=True),
        Stroke("sewing-line", inner),
        Dot("match-point", (r / 4, r - 0.25)),
        Stroke("grain", (Line((r * 0.8, r * 0.9), (r * 0.8, r * 0.5)),)),
        Stroke(
            "grain",
            polygon(
                [(r * 0.8, r * 0.5 - 0.15), (r * 0.8 + 0.05, r * 0.5), (r * 0.8 - 0.05, r * 0.5)]
            ),
            closed=True,
            filled=True,
        ),
        Text(id, (r * 0.6, r * 0.7), 0.2, "middle", bold=True),
        Text("cut 4", (r * 0.6, r * 0.7 + 0.2), 0.12, "middle", turn=30),
    ]
    return drawn(id, f"Template {id}", "A quarter circle.", marks)


def pdf_from_elsewhere() -> bytes:
    """A PDF that is not ours: one blank page, without a place for a name."""
    out = io.BytesIO()
    with pikepdf.new() as document:
        document.add_blank_page()
        document.save(out)
    return out.getvalue()
