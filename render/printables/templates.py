"""Cutting templates as drawings: outlines, marks, grain arrow and label, each template whole.

A label never lies over a line: it goes inside the finished outline, beside the grain arrow,
as large as there is room for; where there is none it stands outside, with a leader.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.wording import (
    allowance_words,
    block_size,
    counted,
    width_by_height,
)
from piecewright.patchwork.cutting.templates import FabricCount, Template, TemplateSet
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.polygons import lines, polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point, between, plus
from piecewright.patchwork.lengths import Unit
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import (
    CLEAR,
    SIZES,
    TextBlock,
    inside,
    largest_room,
    parts_on_sheets,
    places,
    rectangle_of,
    text_block,
    turns,
)
from piecewright.render.drawing.marks import Box, Drawing, Mark, Stroke, box_of, drawn, line
from piecewright.render.drawing.marks import Dot as DotMark
from piecewright.render.printables.block_map.signs import circle
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.named import NO_WINDOWS, Windows

_NAME: Final = 1.5
"""The template's letter is this much larger than the rest of its label."""

_LONGEST_ARROW: Final = 2.5
_SHORTEST_ARROW: Final = 0.4
"""Inches; a ruler can be laid along the shortest, and no better along more than the longest."""

_HEAD: Final = 0.09
"""Length of an arrow head, inches; short arrows have shorter ones."""

_RING: Final = 0.06
"""Inches; the ring round a dot at which a seam stops: what a 1/8 in hole punch takes out."""

_RING_WEIGHT: Final = 0.6
"""Points."""

_MOST_NAMES: Final = 36
"""Characters of piece names in a label; more are counted instead."""


def heading(templates: TemplateSet) -> Heading:
    """What every sheet says about the whole set."""
    block, allowance = templates.block, templates.allowance
    return Heading(
        block=block.name,
        what="Cutting templates, seen from the right side of the cloth",
        size=f"Finished {block_size(block)}",
        allowance=allowance_words(allowance, block.unit),
        corners=f"{templates.corners.capitalize()} corners"
        + "; stop seams at ringed dots" * any(t.stop_points for t in templates.templates),
    )


def template_drawings(
    templates: TemplateSet, blocks: int = 1, windows: Windows = NO_WINDOWS
) -> tuple[Drawing, ...]:
    """A drawing for each template, in the order of the set.

    Args:
        blocks: how many are made.
        windows: of templates that go over several sheets, what each sheet shows.
    """
    return tuple(
        _template_drawing(templates, template, blocks, windows.get(template.id, ()))
        for template in templates.templates
    )


def _template_drawing(
    templates: TemplateSet, template: Template, blocks: int, windows: Sequence[Polygon]
) -> Drawing:
    marks: list[Mark] = [
        Stroke("cutting-line", template.cut, closed=True),
        Stroke("sewing-line", template.finished, closed=True),
    ]
    marks += [DotMark("match-point", p) for p in template.match_points]
    marks += [
        Stroke("match-point", circle(p, _RING), closed=True, weight=_RING_WEIGHT)
        for p in template.stop_points
    ]
    marks += [
        line("notch", plus(n.at, n.out, n.away), plus(n.at, n.out, n.away / 2))
        for n in (*template.notches, *template.centre_marks)
        if n.away > 0
    ]
    marks += _annotated(template, _label(templates, template, blocks), windows)
    title = f"Template {template.id}"
    description = (
        f"{title} of {templates.block.name}, for {counted(len(template.pieces), 'piece')}: "
        f"{', '.join(template.pieces)}. The solid line is cut, the dashed line is sewn."
    )
    return drawn(template.id, title, description, marks)


# --- what a label says ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Words:
    """What a label says: the template's letter, and the rest in short parts."""

    name: str
    parts: tuple[str, ...]


def _label(templates: TemplateSet, template: Template, blocks: int) -> _Words:
    block = templates.block
    names = {fabric.id: fabric.name for fabric in block.fabrics}
    return _Words(
        template.id,
        (
            _piece_names(template.pieces),
            fonts.shortened(block.name, 1.0, 16.0),
            f"Finished {_finished_size(template, block.unit)}",
            *(_cut_count(cut, names, blocks) for cut in template.cuts),
        ),
    )


def _piece_names(pieces: Sequence[str]) -> str:
    message = ", ".join(pieces)
    if len(message) <= _MOST_NAMES:
        return message
    shown: list[str] = []
    for name in pieces:
        # Room for " + 123 more".
        if len(", ".join([*shown, name])) > _MOST_NAMES - 12:
            break
        shown.append(name)
    return f"{', '.join(shown)} + {len(pieces) - len(shown)} more" if shown else pieces[0][:24]


def _finished_size(template: Template, unit: Unit) -> str:
    """Width and height of the finished piece, measured along and across its grain."""
    shape = polygon_of(template.finished)
    # Along the grain, as that is how the piece lies on the cloth; across is a quarter turn more.
    turn = 0.0 if template.grain is None else template.grain % 90.0
    left, top, right, bottom = affinity.rotate(shape, -turn, origin=(0, 0)).bounds
    return width_by_height(right - left, bottom - top, unit)


def _cut_count(cut: FabricCount, names: dict[str, str], blocks: int) -> str:
    """What to cut of a fabric: for a block, and for all of them where there are several."""
    cloth = fonts.shortened(names.get(cut.fabric or "", cut.fabric or ""), 1.0, 16.0)
    message = f"Cut {_plain_and_reversed(cut, 1)}{' ' if cloth else ''}{cloth}"
    if blocks > 1:
        message += f" a block, {_plain_and_reversed(cut, blocks)} in all"
    return message


def _plain_and_reversed(cut: FabricCount, blocks: int) -> str:
    """``4``, or ``4 + 2 reversed``."""
    counts = [f"{cut.plain * blocks:,}"] if cut.plain else []
    if cut.reversed:
        counts.append(f"{cut.reversed * blocks:,} reversed")
    return " + ".join(counts)


# --- a label as a block of text ---------------------------------------------------------------


def _text_blocks(words: _Words, size: float) -> Iterator[TextBlock]:
    """The label set in many short lines, in few long ones, and in one."""
    name, parts = words.name, list(words.parts)
    yield text_block([(name, size * _NAME, True), *((part, size, False) for part in parts)])
    halves = [" · ".join(parts[:2]), " · ".join(parts[2:])]
    yield text_block([(f"{name} · {halves[0]}", size, False), (halves[1], size, False)])
    yield text_block([(" · ".join([name, *parts]), size, False)])


# --- where label and arrow go -----------------------------------------------------------------


def _annotated(template: Template, words: _Words, windows: Sequence[Polygon]) -> list[Mark]:
    """The label and the grain arrow of a template, clear of its lines and of each other.

    On paper of several sheets the label stands whole on each sheet that shows enough of the
    template, and the arrow on the one that shows the most.
    """
    shape = polygon_of(template.finished)
    parts = sorted(parts_on_sheets(shape, windows), key=lambda part: -part.area)
    marks = _with_arrow(parts[0], template, words)
    if marks is None and len(parts) > 1:
        marks = _with_arrow(shape, template, words)
    if marks is None:
        arrow = _arrow(largest_room(shape), template.grain, 0.0)
        marks = [*(arrow or ()), *_outside(shape, template.cut, words)]
    for part in parts[1:]:
        blocks = (block for size in SIZES for block in _text_blocks(words, size))
        found = inside(part, blocks)
        if found is not None:
            marks += found[0].placed(*found[1:])
    return marks


def _with_arrow(shape: Polygon, template: Template, words: _Words) -> list[Mark] | None:
    """The label and an arrow of some length beside it, if a shape has room for both."""
    room = largest_room(shape)
    for size in SIZES:
        for block in _text_blocks(words, size):
            for turn in turns(shape):
                for at in places(room, block, turn):
                    label = rectangle_of(block, at, turn)
                    clear = label.buffer(CLEAR, join_style="mitre")
                    left_over = overlaid(shapely.difference, room, clear, on_block=False)
                    arrow = _arrow(left_over, template.grain, _SHORTEST_ARROW)
                    if arrow is not None:
                        return [*arrow, *block.placed(at, turn)]
    return None


def _arrow(room: BaseGeometry, grain: float | None, shortest: float) -> list[Mark] | None:
    """The grain arrow, as long and as near the middle as the room allows.

    None if there is no room; without a grain there is no arrow, and none is missed.
    """
    if grain is None:
        return []
    if room.is_empty:
        return None
    u = (math.cos(math.radians(grain)), math.sin(math.radians(grain)))
    across = (-u[1], u[0])
    coords = shapely.get_coordinates(room)
    sideways = coords @ across
    low, high = float(sideways.min()), float(sideways.max())
    along = coords @ u
    first, last = float(along.min()) - 1.0, float(along.max()) + 1.0
    # Lines along the grain, evenly over the room; what of one lies in the room may be the arrow.
    stations = [low + (high - low) * (k + 0.5) / 24 for k in range(24)]
    rails = [
        LineString(
            [
                (u[0] * first + across[0] * s, u[1] * first + across[1] * s),
                (u[0] * last + across[0] * s, u[1] * last + across[1] * s),
            ]
        )
        for s in stations
    ]
    # An arrow head is as wide as it is long: the rail stays half of that clear.
    slim = room.buffer(-_HEAD / 3, join_style="mitre")
    cut = overlaid(shapely.intersection, rails, slim, on_block=False)
    chords = [c for part in cut for c in lines(part)]
    longest = min(max((c.length for c in chords), default=0.0), _LONGEST_ARROW)
    if longest < max(shortest, 0.1):
        return None
    # Among those of nearly that length the one nearest to the middle, away from the lines.
    heart = room.convex_hull.centroid
    chord = min((c for c in chords if c.length >= 0.7 * longest), key=heart.distance)
    size = min(chord.length, _LONGEST_ARROW)
    middle = chord.interpolate(0.5, normalized=True)
    # A long arrow keeps some way from the lines at its ends; a short one needs all there is.
    half = size / 2 if size < 1.0 else max(0.5, size * 0.42)
    tail, tip = plus((middle.x, middle.y), u, -half), plus((middle.x, middle.y), u, half)
    head = min(_HEAD, half / 2)
    return [
        line("grain", plus(tail, u, head / 2), plus(tip, u, -head / 2)),
        _arrow_head(tip, u, across, head),
        _arrow_head(tail, (-u[0], -u[1]), across, head),
    ]


def _arrow_head(tip: Point, way: Point, across: Point, size: float) -> Stroke:
    base = plus(tip, way, -size)
    corners = [tip, plus(base, across, size / 3), plus(base, across, -size / 3)]
    return Stroke("grain", paths.polygon(corners), closed=True, filled=True)


def _outside(shape: Polygon, cut: Outline, words: _Words) -> list[Mark]:
    """The label beside or below the cut outline, with a leader into the piece."""
    # On whichever side the drawing stays smaller with it.
    block = next(_text_blocks(words, SIZES[-2]))
    around = box_of([Stroke("cutting-line", cut, closed=True)])
    beside = Box(around.x, around.y, around.width + block.width, max(around.height, block.height))
    below = Box(around.x, around.y, max(around.width, block.width), around.height + block.height)
    inside = shape.representative_point()
    if beside.width * beside.height <= below.width * below.height:
        at = (around.right + 3 * CLEAR + block.width / 2, inside.y)
        start = (around.right + 2.5 * CLEAR, inside.y)
    else:
        at = (inside.x, around.bottom + 3 * CLEAR + block.height / 2)
        start = (inside.x, around.bottom + 2.5 * CLEAR)
    # The leader ends just inside the finished outline, before any arrow in the middle.
    way = LineString([start, (inside.x, inside.y)])
    reach = overlaid(shapely.intersection, way, shape, on_block=False)
    entry = min(lines(reach), key=lambda g: g.distance(shapely.Point(start)), default=None)
    end = (inside.x, inside.y)
    if entry is not None:
        foot = max(entry.coords, key=lambda p: (p[0] - end[0]) ** 2 + (p[1] - end[1]) ** 2)
        size = math.dist(foot, end)
        end = between((foot[0], foot[1]), end, min(1.0, CLEAR / size)) if size else end
    return [line("leader", start, end), *block.placed(at, 0.0)]
