"""Programs that draw PDF and SVG, none of them ours, behind one small interface.

A pattern is drawn by each of them alike, so that a test can ask whether it is read back alike.
Places are inches from the upper left corner of the page.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Protocol, TypeAlias
from xml.sax.saxutils import escape

import cairocffi
from fpdf import FPDF
from reportlab.pdfgen.canvas import Canvas

Point: TypeAlias = tuple[float, float]
Colour: TypeAlias = tuple[float, float, float]

BLACK: Colour = (0.0, 0.0, 0.0)
WIDTH, HEIGHT = 8.5, 11.0


class Draughtsman(Protocol):
    """What draws a page."""

    media_type: str

    def line(
        self,
        points: Sequence[Point],
        width: float = 0.014,
        colour: Colour = BLACK,
        dashes: tuple[float, float] | None = None,
        closed: bool = False,
    ) -> None:
        """Draws a line through points."""

    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        """Fills a shape."""

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        """Writes a word with its middle at a point."""

    def file(self) -> bytes:
        """The page as a file."""


class ReportLab:
    """ReportLab, which writes PDF from Python."""

    media_type = "application/pdf"

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._canvas = Canvas(self._out, pagesize=(72 * WIDTH, 72 * HEIGHT))

    def line(
        self,
        points: Sequence[Point],
        width: float = 0.014,
        colour: Colour = BLACK,
        dashes: tuple[float, float] | None = None,
        closed: bool = False,
    ) -> None:
        self._canvas.saveState()
        self._canvas.setLineWidth(72 * width)
        self._canvas.setStrokeColorRGB(*colour)
        if dashes:
            self._canvas.setDash([72 * d for d in dashes])
        self._canvas.drawPath(self._path(points, closed), stroke=1, fill=0)
        self._canvas.restoreState()

    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        self._canvas.setFillColorRGB(*colour)
        self._canvas.drawPath(self._path(points, True), stroke=0, fill=1)

    def _path(self, points: Sequence[Point], closed: bool) -> object:
        path = self._canvas.beginPath()
        for i, (x, y) in enumerate(points):
            (path.lineTo if i else path.moveTo)(72 * x, 72 * (HEIGHT - y))
        if closed:
            path.close()
        return path

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        self._canvas.setFillColorRGB(*BLACK)
        self._canvas.setFont("Helvetica", 72 * size)
        self._canvas.drawCentredString(72 * at[0], 72 * (HEIGHT - at[1] - 0.35 * size), text)

    def file(self) -> bytes:
        self._canvas.save()
        return self._out.getvalue()


class Cairo:
    """cairo, which draws for many programs with a window."""

    media_type = "application/pdf"

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._surface = cairocffi.PDFSurface(self._out, 72 * WIDTH, 72 * HEIGHT)
        self._context = cairocffi.Context(self._surface)
        self._context.scale(72, 72)

    def line(
        self,
        points: Sequence[Point],
        width: float = 0.014,
        colour: Colour = BLACK,
        dashes: tuple[float, float] | None = None,
        closed: bool = False,
    ) -> None:
        self._trace(points, closed)
        self._context.set_source_rgb(*colour)
        self._context.set_line_width(width)
        self._context.set_dash(list(dashes or ()))
        self._context.stroke()

    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        self._trace(points, True)
        self._context.set_source_rgb(*colour)
        self._context.fill()

    def _trace(self, points: Sequence[Point], closed: bool) -> None:
        for i, point in enumerate(points):
            (self._context.line_to if i else self._context.move_to)(*point)
        if closed:
            self._context.close_path()

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        self._context.set_source_rgb(*BLACK)
        self._context.select_font_face("sans-serif")
        self._context.set_font_size(size)
        left, top, width, height, *_ = self._context.text_extents(text)
        self._context.move_to(at[0] - left - width / 2, at[1] - top - height / 2)
        self._context.show_text(text)

    def file(self) -> bytes:
        self._surface.finish()
        return self._out.getvalue()


class Outlines(Cairo):
    """cairo again, as programs draw that turn text into outlines: the file has no text."""

    def __init__(self, typeface: str = "sans-serif", italic: bool = False) -> None:
        super().__init__()
        slant = cairocffi.FONT_SLANT_ITALIC if italic else cairocffi.FONT_SLANT_NORMAL
        self._context.select_font_face(typeface, slant)

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        self._context.set_source_rgb(*BLACK)
        self._context.set_font_size(size)
        left, top, width, height, *_ = self._context.text_extents(text)
        self._context.move_to(at[0] - left - width / 2, at[1] - top - height / 2)
        self._context.text_path(text)
        self._context.fill()


class Fpdf:
    """fpdf2, which writes PDF from Python in a way of its own."""

    media_type = "application/pdf"

    def __init__(self) -> None:
        self._pdf = FPDF(unit="in", format=(WIDTH, HEIGHT))
        self._pdf.set_auto_page_break(False)
        self._pdf.add_page()

    def line(
        self,
        points: Sequence[Point],
        width: float = 0.014,
        colour: Colour = BLACK,
        dashes: tuple[float, float] | None = None,
        closed: bool = False,
    ) -> None:
        self._pdf.set_draw_color(*(round(255 * c) for c in colour))
        self._pdf.set_line_width(width)
        self._pdf.set_dash_pattern(*(dashes or ()))
        self._pdf.polyline(points, polygon=closed)

    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        self._pdf.set_fill_color(*(round(255 * c) for c in colour))
        self._pdf.polygon(points, style="F")

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        self._pdf.set_font("Helvetica", size=72 * size)
        self._pdf.set_text_color(0, 0, 0)
        self._pdf.text(at[0] - self._pdf.get_string_width(text) / 2, at[1] + 0.35 * size, text)

    def file(self) -> bytes:
        return bytes(self._pdf.output())


class Svg:
    """SVG as it is written by hand: with a style sheet, and millimetres."""

    media_type = "image/svg+xml"

    def __init__(self) -> None:
        self._marks: list[str] = []

    def line(
        self,
        points: Sequence[Point],
        width: float = 0.014,
        colour: Colour = BLACK,
        dashes: tuple[float, float] | None = None,
        closed: bool = False,
    ) -> None:
        dash = f"stroke-dasharray:{_mm(dashes[0])} {_mm(dashes[1])};" if dashes else ""
        kind = "polygon" if closed else "polyline"
        style = f"fill:none;stroke:{_hex(colour)};stroke-width:{_mm(width)};{dash}"
        self._marks.append(f'<{kind} points="{_points(points)}" style="{style}"/>')

    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        self._marks.append(f'<polygon points="{_points(points)}" fill="{_hex(colour)}"/>')

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        place = f'x="{_mm(at[0])}" y="{_mm(at[1] + 0.35 * size)}" font-size="{_mm(size)}"'
        self._marks.append(f'<text class="n" {place}>{escape(text)}</text>')

    def file(self) -> bytes:
        width, height = _mm(WIDTH), _mm(HEIGHT)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}"><style>.n{{text-anchor:middle}}</style>'
            f"{''.join(self._marks)}</svg>"
        ).encode()


def _mm(inches: float) -> float:
    return round(25.4 * inches, 5)


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{_mm(x)},{_mm(y)}" for x, y in points)


def _hex(colour: Colour) -> str:
    return "#" + "".join(f"{round(255 * c):02x}" for c in colour)


DRAUGHTSMEN: tuple[type[ReportLab | Cairo | Fpdf | Svg], ...] = (ReportLab, Cairo, Fpdf, Svg)
