"""Sheets as SVG: the one place where a mark is turned into SVG.

``render.output.cairo`` draws the same marks on the pages of a PDF.

``width`` and ``height`` are in inches or millimetres and the viewBox is in the
same unit, so that one user unit is one inch or one millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import svgwrite

from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import Unit
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import PENS, POINTS_PER_INCH, LineKind
from piecewright.render.drawing.marks import Dot, Drawing, Mark, Stroke, Text
from piecewright.render.drawing.paint_order import in_paint_order
from piecewright.render.sheets.canvas import on_one_canvas
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import MILLIMETRES_PER_INCH


@dataclass(frozen=True, slots=True)
class _Scale:
    """User units to the inch, and how many decimals of them are written."""

    unit: str
    per_inch: float
    decimals: int

    def number(self, inches: float) -> str:
        """A length in user units, as short as its precision allows.

        >>> _Scale("in", 1.0, 5).number(-0.0000001)
        '0'
        """
        written = f"{inches * self.per_inch:.{self.decimals}f}"
        if "." in written:
            written = written.rstrip("0").rstrip(".")
        return "0" if written == "-0" else written

    def point(self, p: Point) -> str:
        return f"{self.number(p[0])},{self.number(p[1])}"

    def points(self, points: float) -> str:
        """A length given in points (1/72 in)."""
        return self.number(points / POINTS_PER_INCH)


# A hundred-thousandth of an inch and a ten-thousandth of a millimetre are both far below a
# printer's dot (1/1200 in), so that no rounding is seen.
_INCHES: Final = _Scale("in", 1.0, 5)
_METRIC: Final = _Scale("mm", MILLIMETRES_PER_INCH, 4)


def sheet_svg(page: Page, unit: Unit = "in") -> str:
    """A sheet as an SVG document, in inches, or in millimetres if ``unit`` is metric."""
    scale = _INCHES if unit == "in" else _METRIC
    document = _document(page, scale)
    content = document.g(class_="corrected", **_corrected(page, scale))
    for number, placed in enumerate(page.items, 1):
        group = document.g(class_="drawing")
        _describe(group, placed.drawing.title, placed.drawing.description)
        # A path cut at the window is not enough: letters and filled shapes are left whole.
        if placed.clip is not None:
            id = "window" if len(page.items) == 1 else f"window-{number}"
            _add_clip_path(document, scale, placed.clip, id)
            group["clip-path"] = f"url(#{id})"
        _draw(document, group, scale, placed.shown)
        _draw(document, group, scale, placed.joins)
        content.add(group)
    footer = document.g(class_="sheet")
    _draw(document, footer, scale, page.furniture)
    content.add(footer)
    # Without a correction the group would say nothing, so that its content stands by itself.
    whole = [content] if page.sheet.correction else content.elements
    for element in whole:
        document.add(element)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + str(document.tostring()) + "\n"


def canvas_svg(drawings: Sequence[Drawing], heading: Heading, unit: Unit = "in") -> str:
    """All drawings whole on one canvas, in rows, with the test squares below them."""
    return sheet_svg(on_one_canvas(drawings, heading), unit)


def _corrected(page: Page, scale: _Scale) -> dict[str, str]:
    """What the sheet is corrected for its printer by: a transform of all there is on it."""
    correction = page.sheet.correction
    if correction is None:
        return {}
    a, d, e, f = correction
    e, f = e * scale.per_inch, f * scale.per_inch
    return {"transform": f"matrix({a:.9f} 0 0 {d:.9f} {e:.7f} {f:.7f})"}


def _document(page: Page, scale: _Scale) -> Any:
    width, height = scale.number(page.sheet.width), scale.number(page.sheet.height)
    document = svgwrite.Drawing(
        size=(f"{width}{scale.unit}", f"{height}{scale.unit}"),
        viewBox=f"0 0 {width} {height}",
        debug=False,
    )
    title = page.heading.title
    if page.count > 1:
        title = f"{title}, page {page.number} of {page.count}"
    shown = "; ".join(
        " ".join(part for part in (p.drawing.title, p.drawing.description) if part)
        for p in page.items
    )
    _describe(document, title, shown or page.title)
    return document


def _describe(element: Any, title: str, description: str) -> None:
    element.set_desc(
        title=fonts.printable(title) or None, desc=fonts.printable(description) or None
    )


def _add_clip_path(document: Any, scale: _Scale, corners: Sequence[Point], id: str) -> None:
    path = document.clipPath(id=id)
    path.add(document.path(d="M" + "L".join(map(scale.point, corners)) + "Z"))
    document.defs.add(path)


def _draw(document: Any, parent: Any, scale: _Scale, marks: Sequence[Mark]) -> None:
    """The marks, a group for each layer, in the order in which these are painted."""
    for layer in in_paint_order(marks):
        group = document.g(class_=layer.kind, **_look(layer.kind, scale, layer.solid))
        for mark in layer.marks:
            group.add(_element(document, scale, mark))
        parent.add(group)


def _look(kind: LineKind, scale: _Scale, solid: bool) -> dict[str, str]:
    """A kind's pen as attributes of its group."""
    pen = PENS[kind]
    look = {
        "fill": "none",
        "stroke": pen.colour,
        "stroke_width": scale.points(pen.weight),
        "stroke_linejoin": "round",
    }
    if pen.dash and not solid:
        look["stroke_dasharray"] = " ".join(scale.points(length) for length in pen.dash)
    return look


def _element(document: Any, scale: _Scale, mark: Mark) -> Any:
    if isinstance(mark, Stroke):
        return _path(document, scale, mark)
    if isinstance(mark, Dot):
        return _dot(document, scale, mark)
    return _text(document, scale, mark)


def _path(document: Any, scale: _Scale, stroke: Stroke) -> Any:
    commands = []
    for number, segment in enumerate(stroke.segments):
        if number == 0:
            commands.append(f"M{scale.point(segment.start)}")
        if isinstance(segment, Line):
            commands.append(f"L{scale.point(segment.end)}")
        else:
            corners = (segment.handle1, segment.handle2, segment.end)
            commands.append("C" + " ".join(scale.point(p) for p in corners))
    if stroke.closed:
        # "Z" draws the last line: written too, it would have a join where the path closes.
        if len(commands) > 2 and commands[-1] == "L" + commands[0][1:]:
            commands.pop()
        commands.append("Z")
    look = {"fill": stroke.colour or PENS[stroke.kind].colour} if stroke.filled else {}
    if stroke.weight is not None:
        look["stroke_width"] = scale.points(stroke.weight)
    if stroke.offset:
        look["stroke_dashoffset"] = scale.number(stroke.offset)
    return document.path(d=" ".join(commands), **look)


def _dot(document: Any, scale: _Scale, dot: Dot) -> Any:
    pen = PENS[dot.kind]
    return document.circle(
        center=(scale.number(dot.at[0]), scale.number(dot.at[1])),
        r=scale.number(pen.dot_radius),
        fill=pen.colour,
        stroke="none",
    )


def _text(document: Any, scale: _Scale, text: Text) -> Any:
    x, y = scale.number(text.at[0]), scale.number(text.at[1])
    look = {
        "font_family": f"'{fonts.FAMILY}', sans-serif",
        "font_size": scale.number(text.size),
        "fill": PENS[text.kind].colour,
        "stroke": "none",
    }
    if text.bold:
        look["font_weight"] = "bold"
    if text.anchor != "start":
        look["text_anchor"] = text.anchor
    if text.turn % 360.0:
        look["transform"] = f"rotate({text.turn % 360.0:.4f} {x} {y})"
    return document.text(fonts.printable(text.text), x=[x], y=[y], **look)
