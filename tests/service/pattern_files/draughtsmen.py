"""Programs that draw PDF and SVG, none of them ours, behind one small interface.

A pattern is drawn by each of them alike, so that a test can ask whether it is read back alike.
Places are inches from the upper left corner of the page.
"""

from __future__ import annotations

import io
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias
from xml.sax.saxutils import escape

import cairocffi
from fpdf import FPDF
from reportlab.pdfgen.canvas import Canvas

Point: TypeAlias = tuple[float, float]
Colour: TypeAlias = tuple[float, float, float]

BLACK: Colour = (0.0, 0.0, 0.0)
WIDTH, HEIGHT = 8.5, 11.0


@dataclass(frozen=True)
class Look:
    """How a line is drawn; widths and dashes are in inches."""

    width: float
    colour: Colour
    dashes: tuple[float, float] | None
    closed: bool


class Draughtsman(ABC):
    """What draws a page."""

    media_type = "application/pdf"

    @abstractmethod
    def __init__(self) -> None:
        """Begins a page."""

    def line(
        self,
        points: Sequence[Point],
        width: float = 0.014,
        colour: Colour = BLACK,
        dashes: tuple[float, float] | None = None,
        closed: bool = False,
    ) -> None:
        """Draws a line through points."""
        self.stroke(points, Look(width, colour, dashes, closed))

    @abstractmethod
    def stroke(self, points: Sequence[Point], look: Look) -> None:
        """Draws a line through points with a look."""

    @abstractmethod
    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        """Fills a shape."""

    @abstractmethod
    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        """Writes a word with its middle at a point."""

    @abstractmethod
    def file(self) -> bytes:
        """The page as a file."""


class ReportLab(Draughtsman):
    """ReportLab, which writes PDF from Python."""

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._canvas = Canvas(self._out, pagesize=(72 * WIDTH, 72 * HEIGHT))

    def stroke(self, points: Sequence[Point], look: Look) -> None:
        self._canvas.saveState()
        self._canvas.setLineWidth(72 * look.width)
        self._canvas.setStrokeColorRGB(*look.colour)
        if look.dashes:
            self._canvas.setDash([72 * d for d in look.dashes])
        self._canvas.drawPath(self._path(points, look.closed), stroke=1, fill=0)
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


class Cairo(Draughtsman):
    """cairo, which draws for many programs with a window."""

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._surface = cairocffi.PDFSurface(self._out, 72 * WIDTH, 72 * HEIGHT)
        self._context = cairocffi.Context(self._surface)
        self._context.scale(72, 72)
        self._context.select_font_face("sans-serif")

    def stroke(self, points: Sequence[Point], look: Look) -> None:
        self._trace(points, look.closed)
        self._context.set_source_rgb(*look.colour)
        self._context.set_line_width(look.width)
        self._context.set_dash(list(look.dashes or ()))
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
        self._context.set_font_size(size)
        left, top, width, height, *_ = self._context.text_extents(text)
        self._context.move_to(at[0] - left - width / 2, at[1] - top - height / 2)
        self._write(text)

    def _write(self, text: str) -> None:
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

    def _write(self, text: str) -> None:
        self._context.text_path(text)
        self._context.fill()


class Fpdf(Draughtsman):
    """fpdf2, which writes PDF from Python in a way of its own."""

    def __init__(self) -> None:
        self._pdf = FPDF(unit="in", format=(WIDTH, HEIGHT))
        self._pdf.set_auto_page_break(False)
        self._pdf.add_page()

    def stroke(self, points: Sequence[Point], look: Look) -> None:
        self._pdf.set_draw_color(*(round(255 * c) for c in look.colour))
        self._pdf.set_line_width(look.width)
        self._pdf.set_dash_pattern(*(look.dashes or ()))
        self._pdf.polyline(points, polygon=look.closed)

    def fill(self, points: Sequence[Point], colour: Colour) -> None:
        self._pdf.set_fill_color(*(round(255 * c) for c in colour))
        self._pdf.polygon(points, style="F")

    def text(self, at: Point, text: str, size: float = 0.16) -> None:
        self._pdf.set_font("Helvetica", size=72 * size)
        self._pdf.set_text_color(0, 0, 0)
        self._pdf.text(at[0] - self._pdf.get_string_width(text) / 2, at[1] + 0.35 * size, text)

    def file(self) -> bytes:
        return bytes(self._pdf.output())


class Svg(Draughtsman):
    """SVG as it is written by hand: with a style sheet, and millimetres."""

    media_type = "image/svg+xml"

    def __init__(self) -> None:
        self._marks: list[str] = []

    def stroke(self, points: Sequence[Point], look: Look) -> None:
        dash = (
            f"stroke-dasharray:{_mm(look.dashes[0])} {_mm(look.dashes[1])};" if look.dashes else ""
        )
        kind = "polygon" if look.closed else "polyline"
        style = f"fill:none;stroke:{_hex(look.colour)};stroke-width:{_mm(look.width)};{dash}"
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


DRAUGHTSMEN: tuple[type[Draughtsman], ...] = (ReportLab, Cairo, Fpdf, Svg)
