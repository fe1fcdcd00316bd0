"""The signs of a block map: arrows, step numbers in circles, and dots where seams meet."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from piecewright.patchwork.block.joins import Order, Seam, Spans
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Outline
from piecewright.patchwork.geometry.vectors import Point, Vector, plus
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.stops import Stop
from piecewright.render.drawing import fonts
from piecewright.render.drawing.marks import Mark, Stroke, Text, line

MEETING: Final = 0.045
"""Inches; the radius of the dot at a meeting."""

STOP: Final = 0.08
"""Inches; half the length of the bar at which a seam, or the first part of one, stops."""

_BAR: Final = 2.0
"""Points; its weight."""

_HEAD: Final = 0.075
_AROUND: Final = 0.022
"""Inches; the length of an arrow's head, and the room round a number in its circle."""


_QUARTERS: Final = ((-1.0, 0.0), (0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0))
"""The ways from a circle's middle to where its quarters end."""

_HANDLE: Final = 4 / 3 * math.tan(math.pi / 8)
"""How far the handles of a quarter of a circle reach, in radii, so that its middle lies on it."""


def arrow(at: Point, way: Vector, half: float, press: Press) -> list[Mark]:
    """An arrow across a seam toward the side that it is pressed to; two heads for an open one.

    Args:
        way: a unit vector along it.
        half: of its length.
    """
    # The shaft ends inside the heads, so that it does not blunt their tips.
    head = min(_HEAD, half * 0.8)
    tail, tip = plus(at, way, -half), plus(at, way, half)
    marks: list[Mark] = []
    foot = tail
    if press == "open":
        marks.append(_arrow_head(tail, (-way[0], -way[1]), head))
        foot = plus(tail, way, head * 0.8)
    marks.append(line("press", foot, plus(tip, way, -head * 0.8)))
    marks.append(_arrow_head(tip, way, head))
    return marks


def _arrow_head(tip: Point, way: Vector, size: float) -> Stroke:
    base, across = plus(tip, way, -size), (-way[1], way[0])
    corners = [tip, plus(base, across, size * 0.42), plus(base, across, -size * 0.42)]
    return Stroke("press", paths.polygon(corners), closed=True, filled=True, weight=0.2)


def circle(at: Point, radius: float) -> Outline:
    """A circle as four curves, which stray from it by less than a 3,000th of its radius."""
    ends = [plus(at, way, radius) for way in _QUARTERS]
    reach = _HANDLE * radius
    return tuple(
        Curve(ends[k], plus(ends[k], onward, reach), plus(ends[k + 1], back, reach), ends[k + 1])
        for k, (back, onward) in enumerate(zip(_QUARTERS, _QUARTERS[1:], strict=False))
    )


def meeting_mark(at: Point, nests: bool, radius: float = MEETING) -> list[Mark]:
    """A filled dot where seams nest, an open one where they do not."""
    colour = None if nests else "#ffffff"
    return [Stroke("meeting", circle(at, radius), closed=True, filled=True, colour=colour)]


def stop_bar(at: Point, along: Vector, half: float = STOP) -> list[Mark]:
    """A bar across a seam, where it or its first part stops."""
    across = (-along[1], along[0])
    bar = line("meeting", plus(at, across, -half), plus(at, across, half))
    return [replace(bar, weight=_BAR)]


def step_number(message: str, at: Point, letters: float) -> list[Mark]:
    """A step's number in its circle, ``letters`` inches high."""
    baseline = (at[0], at[1] + fonts.cap_height(letters, True) / 2)
    return [
        Stroke("leader", circle(at, number_radius(message, letters)), closed=True),
        Text(message, baseline, letters, "middle", bold=True),
    ]


def number_radius(message: str, letters: float) -> float:
    """Of the circle round a step's number, inches."""
    wide, high = fonts.text_width(message, letters, True), fonts.cap_height(letters, True)
    return math.hypot(wide, high) / 2 + _AROUND


def pressed_way(
    seams: Seams, order: Order, spans: Spans, join: int, edge: int, t: float, press: Press
) -> tuple[Point, Vector]:
    """A point on an edge of a seam, and the direction square to it toward the pressed side."""
    e = seams.edges[edge]
    # With y down, the right of a direction is its quarter turn clockwise as seen.
    at, along = paths.point_at(e.segment, t), paths.tangent(e.segment, t)
    right = (-along[1], along[0])
    first_is_right = spans.holds(order.joins[join].first, e.right)
    if (press != "second") == first_is_right:
        return at, right
    return at, (-right[0], -right[1])


def seam_from_stop(seams: Seams, seam: Seam, stop: Stop) -> tuple[Point, Vector]:
    """The match point at which a seam stops, and the direction in which it leads away from it."""
    if stop.end == "start":
        return seams.points[stop.point], paths.tangent(seams.segment(seam.sides[0]), 0.0)
    dx, dy = paths.tangent(seams.segment(seam.sides[-1]), 1.0)
    return seams.points[stop.point], (-dx, -dy)
