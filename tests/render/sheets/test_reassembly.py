"""The sheets of tiled templates, read back from the PDF and laid together, are the whole drawing.

The reader is pdfplumber, which had no part in making the PDF; lines are compared with shapely.
"""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import pdfplumber
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import finished
from piecewright.patchwork.cutting.templates import template_set
from piecewright.render.drawing.linekinds import PENS, LineKind
from piecewright.render.drawing.marks import Drawing, Stroke, path_points
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.printables.templates import template_drawings
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Printer
from piecewright.render.sheets.placed import PlacedDrawing
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sheets.bare import bare_parts, window_on_drawing, window_on_sheet
from tests.render.specimens import HEADING, paper

CLOSE = 0.002
"""Inches between a line of the drawing and the same line of the sheets."""

KINDS: tuple[LineKind, ...] = ("cutting-line", "sewing-line", "notch")

Segments = list[LineString]


@lru_cache
def templates(name: str, width: float) -> tuple[Drawing, ...]:
    block = finished(catalogue.load(name), width=width)
    return template_drawings(template_set(block, Allowance()))


def flattened(path: Iterable[Any]) -> list[tuple[float, float]]:
    """The points of a path as pdfplumber tells it, its curves as 64 chords."""
    points: list[tuple[float, float]] = []
    start = (0.0, 0.0)
    for operator, *operands in path:
        if operator == "m":
            start = operands[0]
            points.append(start)
        elif operator == "l":
            points.append(operands[0])
        elif operator == "c":
            p = points[-1]
            q, r, s = operands
            for n in range(1, 65):
                t, u = n / 64, 1 - n / 64
                weights = (u**3, 3 * u * u * t, 3 * u * t * t, t**3)
                points.append(
                    tuple(
                        sum(w * v[k] for w, v in zip(weights, (p, q, r, s), strict=True))
                        for k in (0, 1)
                    )
                )
        elif operator == "h":
            points.append(start)
    return points


def drawn_lines(page: Any, kind: LineKind, stretched: float = 1.0, turn: float = 0.0) -> Segments:
    """Every line of a kind (by its weight and dashes), in inches on the sheet that was sent.

    Args:
        turn: degrees by which the page is turned for it; widths are then written in other units.
    """
    weight, dashed = PENS[kind].weight, bool(PENS[kind].dash)
    angle = math.radians(turn)
    stretched *= max(abs(math.cos(angle)), abs(math.sin(angle)))
    found = []
    for mark in [*page.lines, *page.rects, *page.curves]:
        of_kind = (
            abs(mark["linewidth"] / stretched - weight) < 0.03
            and bool(mark["dash"] and mark["dash"][0]) == dashed
        )
        if mark["stroke"] and of_kind:
            points = [(x / 72, y / 72) for x, y in flattened(mark["path"])]
            found += [LineString(pair) for pair in zip(points, points[1:], strict=False)]
    return found


def on_drawing(page: Page, placed: PlacedDrawing, lines: Segments) -> BaseGeometry:
    """The lines of a sheet's only part, brought back to the drawing's own coordinates."""
    a, d, e, f = page.sheet.correction or (1.0, 1.0, 0.0, 0.0)
    # A line is cut a hair beyond its window, in a corner beyond both sides.
    window = window_on_sheet(placed).buffer(0.006, join_style="mitre")
    printed = [LineString([((x - e) / a, (y - f) / d) for x, y in one.coords]) for one in lines]
    # Nothing of the drawing leaves its window.
    assert all(window.buffer(1e-6).covers(one) for one in printed)
    back = affinity.translate(MultiLineString(printed), -placed.x, -placed.y)
    return affinity.rotate(back, -placed.turn, origin=(0, 0))


def whole(drawing: Drawing, kind: LineKind) -> BaseGeometry:
    marks = (m for m in drawing.marks if isinstance(m, Stroke) and m.kind == kind)
    return shapely.union_all([LineString(path_points(mark)) for mark in marks])


def check(drawings: tuple[Drawing, ...], on: SheetSettings) -> int:
    """Compare all divided drawings with what their parts show; how many were divided."""
    pages = lay_out(drawings, on, HEADING)
    stretched = 1 / min(on.printer.across, on.printer.down)
    divided = sorted({p.drawing.id for page in pages for p in page.items if p.part is not None})
    for id in divided:
        drawing = next(d for d in drawings if d.id == id)
        found = list(bare_parts(pages, id))
        windows = [window_on_drawing(placed) for _, placed in found]
        no_wider_than(on.overlap, [placed for _, placed in found])
        with pdfplumber.open(io.BytesIO(sheets_pdf([page for page, _ in found]))) as pdf:
            for kind in KINDS:
                parts = [
                    on_drawing(page, placed, drawn_lines(sheet, kind, stretched, placed.own_turn))
                    for (page, placed), sheet in zip(found, pdf.pages, strict=True)
                ]
                compare(whole(drawing, kind), parts, windows)
    return len(divided)


def compare(drawing: BaseGeometry, parts: list[BaseGeometry], windows: list[BaseGeometry]) -> None:
    assembled = shapely.union_all(parts)
    assert drawing.difference(assembled.buffer(CLOSE)).length < 1e-6, "something is missing"
    assert assembled.difference(drawing.buffer(CLOSE)).length < 1e-6, "something was added"
    for part, window in zip(parts, windows, strict=True):
        there = drawing.intersection(window.buffer(0.005, join_style="mitre"))
        assert part.length == pytest.approx(there.length, abs=0.05), "something is there twice"


def no_wider_than(overlap: float, parts: list[PlacedDrawing]) -> None:
    """Neighbours share a strip as wide as the overlap."""
    for one, other in itertools.combinations(parts, 2):
        if abs(one.row - other.row) + abs(one.column - other.column) == 1:
            assert one.window is not None
            both = window_on_drawing(one).intersection(window_on_drawing(other))
            upright = affinity.rotate(both, one.window.turn, origin=(0, 0))
            left, top, right, bottom = upright.bounds
            assert min(right - left, bottom - top) == pytest.approx(overlap, abs=1e-6)


@pytest.mark.parametrize(
    ("block", "width", "name"),
    [
        ("orange-peel", 22.0, "letter"),
        ("grandmothers-fan", 20.0, "a4"),
        ("eight-point-star", 30.0, "letter"),
    ],
)
def test_sheets_laid_together_are_the_templates(block: str, width: float, name: str) -> None:
    assert check(templates(block, width), paper(name)) > 0


@settings(deadline=None, max_examples=4)
@given(
    st.sampled_from([("log-cabin", 20.0), ("eight-point-star", 26.0), ("orange-peel", 14.0)]),
    st.sampled_from(["letter", "a4"]),
    st.sampled_from(["auto", "portrait", "landscape"]),
    st.floats(0.0, 1.2),
    st.floats(0.0, 0.75),
)
def test_with_any_overlap_and_margin(
    block: tuple[str, float], name: str, orientation: str, overlap: float, margin: float
) -> None:
    on = paper(name, orientation, overlap=overlap, margin=margin)
    assert check(templates(*block), on) > 0


@settings(deadline=None, max_examples=3)
@given(st.floats(0.9, 1.1), st.floats(0.9, 1.1))
def test_printed_by_a_printer_that_is_corrected_for(across: float, down: float) -> None:
    on = paper("letter", printer=Printer(across, down))
    assert check(templates("orange-peel", 14.0), on) > 0
