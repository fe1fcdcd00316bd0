"""Sheets as SVG: the one place where a mark is turned into SVG.

``render.output.cairo`` draws the same marks on the pages of a PDF.

``width`` and ``height`` are in inches or millimetres and the viewBox is in the
same unit, so that one user unit is one inch or one millimetre. Groups are layers:
their ids and ``data-name`` say what they hold, their classes the kind of line.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import svgwrite

from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import Unit
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import LAYER_NAMES, PENS, POINTS_PER_INCH, LineKind
from piecewright.render.drawing.marks import Dot, Drawing, Mark, Part, Stroke, Text
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


def sheet_svg(page: Page, unit: Unit = "in", declared: bool = True) -> str:
    """A sheet as an SVG document, in inches, or in millimetres if ``unit`` is metric.

    Args:
        declared: whether it begins with an XML declaration, as a file does; an element of a web
            page has none.
    """
    scale = _INCHES if unit == "in" else _METRIC
    ids = Ids(_ending(page))
    document = _document(page, scale)
    content = document.g(class_="corrected", **_corrected(page, scale))
    for placed in page.items:
        group = document.g(class_="drawing", **ids.layer(_worded(placed.drawing.title)))
        _describe(group, placed.drawing.title, placed.drawing.description)
        # A path cut at the window is not enough: letters and filled shapes are left whole.
        if placed.clip is not None:
            group["clip-path"] = f"url(#{_clip_path(document, scale, placed.clip, ids)})"
        _draw(document, group, scale, placed.shown, ids)
        _draw(document, group, scale, placed.joins, ids)
        content.add(group)
    footer = document.g(class_="sheet", **ids.layer("furniture"))
    _draw(document, footer, scale, page.furniture, ids)
    content.add(footer)
    # Without a correction the group would say nothing, so that its content stands by itself.
    whole = [content] if page.sheet.correction else content.elements
    for element in whole:
        document.add(element)
    return _written(document, declared)


def canvas_svg(drawings: Sequence[Drawing], heading: Heading, unit: Unit = "in") -> str:
    """All drawings whole on one canvas, in rows, with the test squares below them."""
    return sheet_svg(on_one_canvas(drawings, heading), unit)


def picture_svg(drawing: Drawing, ids: Ids, unit: Unit = "in", declared: bool = True) -> str:
    """A drawing alone, all its ink from the origin on, on a canvas of its size.

    Args:
        ids: of its elements.
        declared: as for ``sheet_svg``.
    """
    scale = _INCHES if unit == "in" else _METRIC
    document = _blank(scale, drawing.box.width, drawing.box.height)
    _describe(document, drawing.title, drawing.description)
    _draw(document, document, scale, drawing.marks, ids)
    return _written(document, declared)


class Ids:
    """The ids of the elements of one document: each of them once.

    Args:
        ending: of all of them, so that documents with other endings can stand beside this one.

    >>> ids = Ids("-block-map-2")
    >>> ids.new("piece-b 1"), ids.new("labels"), ids.new("labels")
    ('piece-b_x20_1-block-map-2', 'labels-block-map-2', 'labels.2-block-map-2')
    """

    def __init__(self, ending: str = "") -> None:
        self._ending = ending
        self._given: Counter[str] = Counter()

    def new(self, name: str) -> str:
        """An id that says what it holds: its name, as XML and style sheets take it."""
        word = _escaped(name)
        if not word[:1].isalpha():
            word = f"_{word}"
        self._given[word] += 1
        count = self._given[word]
        # A dot is in no name, once it is written so.
        return f"{word}{f'.{count}' if count > 1 else ''}{self._ending}"

    def layer(self, name: str) -> dict[str, str]:
        """The attributes of a group that holds what ``name`` says."""
        return {"id": self.new(name), "data-name": fonts.printable(name)}


def _escaped(name: str) -> str:
    """A name with letters, digits, ``_`` and ``-`` alone; no two names come out alike."""
    # As drawing programs write what no id may have.
    return re.sub(r"_(?=x)|[^A-Za-z0-9_-]", lambda m: f"_x{ord(m[0]):X}_", name)


def _ending(page: Page) -> str:
    """What the ids of a sheet end in.

    So all sheets of a document, and those of what else is made of a block, can stand in one web
    page. A canvas is no sheet, and stands alone.
    """
    if not page.sheet.orientation:
        return ""
    what = page.heading.what.partition(",")[0]
    return f"-{_escaped(_worded(what))}-{page.number}"


def _worded(title: str) -> str:
    """A title as one word.

    >>> _worded("Template A"), _worded("Block map")
    ('template-A', 'block-map')
    """
    word = "-".join(title.split())
    return word[:1].lower() + word[1:]


def _corrected(page: Page, scale: _Scale) -> dict[str, str]:
    """What the sheet is corrected for its printer by: a transform of all there is on it."""
    correction = page.sheet.correction
    if correction is None:
        return {}
    a, d, e, f = correction
    e, f = e * scale.per_inch, f * scale.per_inch
    return {"transform": f"matrix({a:.9f} 0 0 {d:.9f} {e:.7f} {f:.7f})"}


def _blank(scale: _Scale, across: float, down: float) -> Any:
    width, height = scale.number(across), scale.number(down)
    return svgwrite.Drawing(
        size=(f"{width}{scale.unit}", f"{height}{scale.unit}"),
        viewBox=f"0 0 {width} {height}",
        debug=False,
    )


def _written(document: Any, declared: bool) -> str:
    declaration = '<?xml version="1.0" encoding="UTF-8"?>\n' if declared else ""
    return f"{declaration}{document.tostring()}\n"


def _document(page: Page, scale: _Scale) -> Any:
    document = _blank(scale, page.sheet.width, page.sheet.height)
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


def _clip_path(document: Any, scale: _Scale, corners: Sequence[Point], ids: Ids) -> str:
    id = ids.new("window")
    path = document.clipPath(id=id)
    path.add(document.path(d="M" + "L".join(map(scale.point, corners)) + "Z"))
    document.defs.add(path)
    return id


def _draw(document: Any, parent: Any, scale: _Scale, marks: Sequence[Mark], ids: Ids) -> None:
    """The marks, a group for each layer, in the order in which these are painted."""
    of_parts: dict[Part, list[Mark]] = {}
    others: list[Mark] = []
    for mark in marks:
        part = mark.part if isinstance(mark, Stroke) else None
        (others if part is None else of_parts.setdefault(part, [])).append(mark)
    # Fills lie under all else, and no two pieces lie on each other: they may be painted one by one.
    groups: dict[Part, Any] = {}
    for part, own in of_parts.items():
        _paint(document, _group_of(document, parent, part, groups, ids), scale, own)
    _paint(document, parent, scale, others, ids)


def _group_of(document: Any, parent: Any, part: Part, groups: dict[Part, Any], ids: Ids) -> Any:
    """The group of a part, inside that of the part that it is within."""
    if part not in groups:
        within = part.within
        outer = _group_of(document, parent, within, groups, ids) if within else parent
        group = document.g(**ids.layer(part.name))
        _describe(group, part.title, "")
        outer.add(group)
        groups[part] = group
    return groups[part]


def _paint(
    document: Any, parent: Any, scale: _Scale, marks: Sequence[Mark], ids: Ids | None = None
) -> None:
    """Marks by kind; without ``ids`` in groups that have no name of their own."""
    for layer in in_paint_order(marks):
        named = ids.layer(LAYER_NAMES[layer.kind]) if ids else {}
        look = _look(layer.kind, scale, layer.solid)
        group = document.g(class_=layer.kind, **named, **look)
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
