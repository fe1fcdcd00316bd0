"""A page as PDF, against nothing but the calls of cairo that draw the same marks."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from bench.ratios import Ratio, compared
from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.cutting.templates import template_set
from piecewright.patchwork.geometry.paths import Line
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import PENS, POINTS_PER_INCH
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, Text
from piecewright.render.drawing.paint_order import in_paint_order
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.svg import sheet_svg
from piecewright.render.printables.templates import heading, template_drawings
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import SheetSettings

fonts.use_own_typeface()
import cairocffi  # noqa: E402
import cairosvg  # noqa: E402

TEMPLATES: Final = 12
MANY: Final = 20
AIM: Final = 3.0

_BLOCKS: Final = ("bear-paw", "ohio-star", "sawtooth-star", "churn-dash")
_Colour = tuple[float, float, float]


def specimen() -> Page:
    """A sheet with twelve small templates on it, and 40 lines of text or more."""
    sets = [template_set(catalogue.load(block), Allowance()) for block in _BLOCKS]
    drawings: list[Drawing] = [
        replace(drawing, id=f"{block} {drawing.id}")
        for block, templates in zip(_BLOCKS, sets, strict=True)
        for drawing in template_drawings(templates)
    ]
    drawings.sort(key=lambda drawing: drawing.box.width * drawing.box.height)
    tabloid = SheetSettings(11.0, 17.0)
    (page,) = lay_out(drawings[:TEMPLATES], tabloid, heading(sets[0]))
    return page


def rows() -> list[Ratio]:
    """Our pages and the way by SVG against the floor, for one page and for many."""
    page = specimen()
    found = []
    for count, rounds in ((1, 9), (MANY, 3)):
        pages = (page,) * count
        floor = floor_of(pages)
        message = "1 page" if count == 1 else f"{count} pages"
        work = f"{TEMPLATES} templates, {_texts(page)} lines of text, {message}"
        ours = compared(lambda p=pages: sheets_pdf(p), floor, rounds)  # type: ignore[misc]
        by_svg = compared(lambda p=pages: drawn_by_svg(p), floor, rounds)  # type: ignore[misc]
        against = "the same marks in bare calls of cairo"
        found.append(Ratio("sheets to PDF", work, against, ours, AIM))
        found.append(Ratio("svgwrite and cairosvg", work, against, by_svg))
    return found


def _texts(page: Page) -> int:
    return sum(isinstance(mark, Text) for mark in marks_of(page))


def marks_of(page: Page) -> list[Mark]:
    """All marks of a sheet of whole drawings, at their places on it."""
    return [
        *(p.on_sheet(mark) for p in page.items for mark in p.drawing.marks),
        *page.furniture,
    ]


def drawn_by_svg(pages: Sequence[Page]) -> bytes:
    """The pages as SVG, and each drawn from that by cairosvg on a surface that all share."""
    out = io.BytesIO()
    paper = cairosvg.surface.PDFSurface.surface_class(out, 1, 1)

    class Leaf(cairosvg.surface.PDFSurface):  # type: ignore[misc]
        def _create_surface(
            self, width: float, height: float
        ) -> tuple[cairocffi.PDFSurface, float, float]:
            paper.set_size(width, height)
            return paper, width, height

    for page in pages:
        tree = cairosvg.parser.Tree(bytestring=sheet_svg(page).encode(), unsafe=False)
        Leaf(tree, None, 96)
        paper.show_page()
    paper.finish()
    return out.getvalue()


# -- the floor


@dataclass(frozen=True, slots=True)
class _Stroke:
    colour: _Colour
    fill: _Colour | None
    weight: float
    dash: tuple[float, ...]
    start: tuple[float, float]
    steps: tuple[tuple[float, ...], ...]
    closed: bool


@dataclass(frozen=True, slots=True)
class _Dot:
    colour: _Colour
    at: tuple[float, float]
    radius: float


@dataclass(frozen=True, slots=True)
class _Text:
    colour: _Colour
    bold: bool
    size: float
    at: tuple[float, float]
    turn: float
    text: str


_Call = _Stroke | _Dot | _Text


def floor_of(pages: Sequence[Page]) -> Callable[[], bytes]:
    """What draws the pages with all that can be known before known before."""
    prepared = [
        (page.sheet.width * POINTS_PER_INCH, page.sheet.height * POINTS_PER_INCH, _calls(page))
        for page in pages
    ]

    def draw() -> bytes:
        out = io.BytesIO()
        surface = cairocffi.PDFSurface(out, 1, 1)
        for width, height, calls in prepared:
            surface.set_size(width, height)
            _draw(cairocffi.Context(surface), calls)
            surface.show_page()
        surface.finish()
        return out.getvalue()

    return draw


def _draw(context: cairocffi.Context, calls: Sequence[_Call]) -> None:
    """Every call once and none that changes nothing."""
    context.set_line_join(cairocffi.LINE_JOIN_ROUND)
    colour: _Colour | None = None
    weight: float | None = None
    dash: tuple[float, ...] = ()
    bold: bool | None = None
    size: float | None = None
    for call in calls:
        if call.colour != colour:
            colour = call.colour
            context.set_source_rgb(*colour)
        if isinstance(call, _Stroke):
            context.move_to(*call.start)
            for step in call.steps:
                if len(step) == 2:
                    context.line_to(*step)
                else:
                    context.curve_to(*step)
            if call.closed:
                context.close_path()
            if call.fill is not None:
                context.set_source_rgb(*call.fill)
                context.fill_preserve()
                context.set_source_rgb(*call.colour)
            if call.weight != weight:
                weight = call.weight
                context.set_line_width(weight)
            if call.dash != dash:
                dash = call.dash
                context.set_dash(dash)
            context.stroke()
        elif isinstance(call, _Dot):
            context.arc(*call.at, call.radius, 0.0, 2 * math.pi)
            context.fill()
        else:
            if call.bold is not bold:
                bold = call.bold
                heavy = cairocffi.FONT_WEIGHT_BOLD if bold else cairocffi.FONT_WEIGHT_NORMAL
                context.select_font_face(fonts.FAMILY, cairocffi.FONT_SLANT_NORMAL, heavy)
                size = None
            if call.size != size:
                size = call.size
                context.set_font_size(size)
            if call.turn:
                context.save()
                context.translate(*call.at)
                context.rotate(call.turn)
                context.move_to(0.0, 0.0)
                context.show_text(call.text)
                context.restore()
            else:
                context.move_to(*call.at)
                context.show_text(call.text)


def _calls(page: Page) -> list[_Call]:
    return [_call(mark) for layer in in_paint_order(marks_of(page)) for mark in layer.marks]


def _call(mark: Mark) -> _Call:
    """A mark in points, its text without its anchor."""
    pen = PENS[mark.kind]
    colour = _rgb(pen.colour)
    if isinstance(mark, Stroke):
        steps = []
        for segment in mark.segments:
            corners = (
                (segment.end,)
                if isinstance(segment, Line)
                else (segment.handle1, segment.handle2, segment.end)
            )
            steps.append(tuple(v * POINTS_PER_INCH for corner in corners for v in corner))
        x, y = mark.segments[0].start
        return _Stroke(
            colour,
            _rgb(mark.colour or pen.colour) if mark.filled else None,
            2 * mark.half * POINTS_PER_INCH,
            () if mark.solid else pen.dash,
            (x * POINTS_PER_INCH, y * POINTS_PER_INCH),
            tuple(steps),
            mark.closed,
        )
    x, y = (v * POINTS_PER_INCH for v in mark.at)
    if isinstance(mark, Text):
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
        back *= fonts.text_width(mark.text, mark.size, mark.bold) * POINTS_PER_INCH
        turn = math.radians(mark.turn % 360.0)
        at = (x - back * math.cos(turn), y - back * math.sin(turn))
        text = fonts.printable(mark.text)
        return _Text(colour, mark.bold, mark.size * POINTS_PER_INCH, at, turn, text)
    return _Dot(colour, (x, y), pen.dot_radius * POINTS_PER_INCH)


def _rgb(colour: str) -> _Colour:
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return red, green, blue
