"""Sheets painted on pages of a PDF with cairo: the one place where a mark becomes ink of a PDF.

It draws what ``render.output.svg`` writes, mark for mark. Lengths are inches; cairo turns them into
points. Text is shown a line at a time, so that a reader finds whole words.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import Final

from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import PENS, POINTS_PER_INCH
from piecewright.render.drawing.marks import ANCHORED, Dot, Mark, Stroke, Text, cos_sin
from piecewright.render.drawing.paint_order import PenLayer, in_paint_order
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.placed import PlacedDrawing

fonts.use_own_typeface()
import cairocffi  # noqa: E402  (fontconfig reads its configuration once, when text is first drawn)

_SAME: Final = 1e-6
"""Inches; a path that ends this close to its start is closed without one more line."""

_WEIGHTS: Final = {False: cairocffi.FONT_WEIGHT_NORMAL, True: cairocffi.FONT_WEIGHT_BOLD}


def pages_pdf(pages: Iterable[Page]) -> bytes:
    """The sheets as pages of one PDF, so that they share their fonts."""
    out = io.BytesIO()
    canvas = PdfCanvas(out)
    for page in pages:
        with canvas.page(page.sheet.width, page.sheet.height) as painter:
            _paint_page(painter, page)
    canvas.finish()
    return out.getvalue()


class PdfCanvas:
    """A PDF that is painted page by page."""

    def __init__(self, out: io.BytesIO) -> None:
        self._surface = cairocffi.PDFSurface(out, 1, 1)

    @contextmanager
    def page(self, width: float, height: float) -> Iterator[Painter]:
        """The next page; inches. Whatever is painted on it is there when the block ends."""
        self._surface.set_size(width * POINTS_PER_INCH, height * POINTS_PER_INCH)
        yield Painter(self._surface)
        self._surface.show_page()

    def finish(self) -> None:
        self._surface.finish()


class Painter:
    """Paints marks on a page; places are inches from its top left corner, y down."""

    def __init__(self, surface: cairocffi.Surface) -> None:
        self._cairo = cairocffi.Context(surface)
        self._cairo.scale(POINTS_PER_INCH, POINTS_PER_INCH)
        self._cairo.set_line_join(cairocffi.LINE_JOIN_ROUND)
        self._bold: bool | None = None

    @contextmanager
    def mapped(self, a: float, d: float, e: float, f: float) -> Iterator[None]:
        """All that is painted inside is taken from ``x, y`` to ``a x + e, d y + f``."""
        with self._cairo:
            self._cairo.transform(cairocffi.Matrix(a, 0, 0, d, e, f))
            yield
        # Leaving the context restores the font that was chosen before it, whichever that was.
        self._bold = None

    @contextmanager
    def clipped(self, corners: Sequence[Point] | None) -> Iterator[None]:
        """Nothing that is painted inside reaches out of a polygon, if there is one."""
        with self._cairo:
            if corners is not None:
                self._cairo.move_to(*corners[0])
                for corner in corners[1:]:
                    self._cairo.line_to(*corner)
                self._cairo.close_path()
                self._cairo.clip()
            yield
        self._bold = None

    @contextmanager
    def in_drawing(self, placed: PlacedDrawing) -> Iterator[None]:
        """What is painted inside is as marks of a drawing are kept."""
        with self._cairo:
            self._cairo.translate(placed.x, placed.y)
            if placed.own_turn:
                self._cairo.transform(cairocffi.Matrix(*_turn(placed.own_turn)))
            yield
        self._bold = None

    def paint(self, marks: Sequence[Mark]) -> None:
        """Marks of every kind, each kind over those before it."""
        for layer in in_paint_order(marks):
            self._layer(layer)

    def _layer(self, layer: PenLayer) -> None:
        pen = PENS[layer.kind]
        colour = _rgb(pen.colour)
        dash = [] if layer.solid else [length / POINTS_PER_INCH for length in pen.dash]
        cairo = self._cairo
        cairo.set_source_rgb(*colour)
        cairo.set_dash(dash)
        for mark in layer.marks:
            if isinstance(mark, Stroke):
                self._stroke(mark, dash, colour)
            elif isinstance(mark, Dot):
                cairo.arc(*mark.at, pen.dot_radius, 0.0, 2 * math.pi)
                cairo.close_path()
                cairo.fill()
            else:
                self._text(mark)

    def _stroke(
        self, stroke: Stroke, dash: Sequence[float], colour: tuple[float, float, float]
    ) -> None:
        if not stroke.segments:
            return
        cairo = self._cairo
        self._path(stroke)
        weight = 2 * stroke.half
        # The layer's colour is set already; a mark of another one leaves it as it was.
        if stroke.filled:
            if stroke.colour:
                cairo.set_source_rgb(*_rgb(stroke.colour))
            cairo.fill_preserve()
            if stroke.colour:
                cairo.set_source_rgb(*colour)
        if weight > 0:
            cairo.set_line_width(weight)
            if dash:
                cairo.set_dash(dash, stroke.offset)
            cairo.stroke()
        else:
            cairo.new_path()

    def _path(self, stroke: Stroke) -> None:
        segments = stroke.segments
        first, last = segments[0].start, segments[-1]
        # Closing draws the last line itself: said twice, it would have a join in its middle.
        closes = stroke.closed and len(segments) > 2 and isinstance(last, Line)
        if closes and _same(last.end, first):
            segments = segments[:-1]
        line_to, curve_to = self._cairo.line_to, self._cairo.curve_to
        self._cairo.move_to(*first)
        for segment in segments:
            if isinstance(segment, Line):
                line_to(*segment.end)
            else:
                curve_to(*segment.handle1, *segment.handle2, *segment.end)
        if stroke.closed:
            self._cairo.close_path()

    def _text(self, text: Text) -> None:
        words = fonts.one_line(text.text)
        if not words:
            return
        cairo = self._cairo
        # To choose a font is slow; a layer has thousands of texts in one.
        if text.bold is not self._bold:
            cairo.select_font_face(fonts.FAMILY, cairocffi.FONT_SLANT_NORMAL, _WEIGHTS[text.bold])
            self._bold = text.bold
        cairo.set_font_size(text.size)
        # Measured as it was when room was made for it, so that it stands in that room.
        before = ANCHORED[text.anchor]
        back = before * fonts.text_width(words, text.size, text.bold) if before else 0.0
        if text.turn % 360.0:
            with cairo:
                cairo.translate(*text.at)
                cairo.transform(cairocffi.Matrix(*_turn(text.turn)))
                cairo.move_to(-back, 0.0)
                cairo.show_text(words)
        else:
            cairo.move_to(text.at[0] - back, text.at[1])
            cairo.show_text(words)
        cairo.new_path()


def _paint_page(painter: Painter, page: Page) -> None:
    # Only what is sent is stretched: all else reckons in lengths of the print.
    with painter.mapped(*(page.sheet.correction or (1.0, 1.0, 0.0, 0.0))):
        for placed in page.items:
            # Lines of a part are cut already; this cuts letters and filled shapes.
            with painter.clipped(placed.clip):
                with painter.in_drawing(placed):
                    painter.paint(placed.kept)
                painter.paint(placed.joins)
        painter.paint(page.furniture)


def _same(p: Point, q: Point) -> bool:
    return abs(p[0] - q[0]) < _SAME and abs(p[1] - q[1]) < _SAME


@lru_cache(maxsize=512)
def _turn(degrees: float) -> tuple[float, float, float, float, float, float]:
    """The matrix of a turn about the origin, clockwise as seen."""
    cos, sin = cos_sin(degrees)
    return cos, sin, -sin, cos, 0.0, 0.0


@lru_cache(maxsize=256)
def _rgb(colour: str) -> tuple[float, float, float]:
    """``#rrggbb`` as cairo takes it."""
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return red, green, blue
