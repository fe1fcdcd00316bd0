"""Whether convex shapes, laid over each other, cover another one: without an overlay.

A convex shape is the intersection of the half-planes along its edges, so what of a segment lies in
it is one stretch, found by clipping it at each of their lines (M. Cyrus and J. Beck, Computers &
Graphics 3, 1978).  Of shapes with four or five edges that is a few multiplications, where a general
overlay builds a graph of all edges first.

What some shapes leave bare of another one is bounded by edges of that one and by edges of theirs.
So there is nothing bare inside where no edge is: each edge is clipped, and it is asked whether the
shapes cover what lies right beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from piecewright.patchwork.geometry.vectors import Point, cross, minus

Stretch: TypeAlias = tuple[Point, Point]
"""A straight line from one point to another."""

_Line: TypeAlias = tuple[float, float, float]
"""The half-plane ``a x + b y <= c``, where ``(a, b)`` has length one."""

_ROUNDING: Final = 1e-9
"""Inches; a shorter edge has no direction of its own."""

_BARE: Final = 1e-7
"""Inches of an edge that are bare for more than rounding."""


@dataclass(frozen=True, slots=True)
class Convex:
    """A convex shape, by the half-planes along its edges and by its bounds (inches)."""

    lines: tuple[_Line, ...]
    left: float
    top: float
    right: float
    bottom: float


def convex(ring: Sequence[Point]) -> Convex:
    """The convex shape inside a ring of points, clockwise as seen and not closed.

    >>> convex([(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)]).right
    2.0
    """
    lines = []
    ax, ay = ring[-1]
    for bx, by in ring:
        # The direction out of the shape (see ``vectors.outward``), written out: all strips, mitres
        # and pieces near a long mitre come by here.
        a, b = by - ay, ax - bx
        size = math.hypot(a, b)
        if size > _ROUNDING:
            a, b = a / size, b / size
            lines.append((a, b, a * bx + b * by))
        ax, ay = bx, by
    across, down = [x for x, _ in ring], [y for _, y in ring]
    left, top, right, bottom = min(across), min(down), max(across), max(down)
    if len(lines) < 3:  # it has no area, and no half-planes that bound it, either
        box = (1.0, 0.0, right), (-1.0, 0.0, -left), (0.0, 1.0, bottom), (0.0, -1.0, -top)
        lines += box
    return Convex(tuple(lines), left, top, right, bottom)


def is_convex(ring: Sequence[Point]) -> bool:
    """Whether a ring of points, clockwise as seen, turns to one side only."""
    edges = [minus(q, p) for p, q in zip(ring, [*ring[1:], ring[0]], strict=True)]
    turns = (cross(u, v) for u, v in zip(edges, [*edges[1:], edges[0]], strict=True))
    return all(turned >= -_ROUNDING * _ROUNDING for turned in turns)


def distance_to(place: Point, start: Point, end: Point) -> float:
    """Inches from a point to a straight line between two others."""
    (x, y), (dx, dy) = minus(place, start), minus(end, start)
    size = dx * dx + dy * dy
    t = min(1.0, max(0.0, (x * dx + y * dy) / size)) if size else 0.0
    return math.hypot(x - t * dx, y - t * dy)


def clipped(start: Point, end: Point, shape: Convex, wider: float = 0.0) -> Stretch | None:
    """What of the way from ``start`` to ``end`` lies in a shape, None for nothing.

    Args:
        wider: by how much (inches) all lines of the shape are moved out first.

    >>> clipped((-1.0, 0.5), (9.0, 0.5), convex([(0, 0), (2, 0), (2, 1), (0, 1)]))
    ((0.0, 0.5), (2.0, 0.5))
    """
    (x, y), (ex, ey) = start, end
    if _apart(x, y, ex, ey, shape, wider):
        return None
    dx, dy = ex - x, ey - y
    span = _span(x, y, dx, dy, shape.lines, wider)
    if span is None:
        return None
    first, last = span
    return (x + first * dx, y + first * dy), (x + last * dx, y + last * dy)


def _apart(x: float, y: float, ex: float, ey: float, shape: Convex, wider: float) -> bool:
    """Whether the bounds alone say that nothing of a segment lies in a shape."""
    left, right, top, bottom = shape.left, shape.right, shape.top, shape.bottom
    return (
        (x < left - wider and ex < left - wider)
        or (x > right + wider and ex > right + wider)
        or (y < top - wider and ey < top - wider)
        or (y > bottom + wider and ey > bottom + wider)
    )


def _span(
    x: float, y: float, dx: float, dy: float, lines: Iterable[_Line], wider: float
) -> tuple[float, float] | None:
    """From where to where, as fractions of the way ``(dx, dy)`` from a point, it lies inside."""
    first, last = 0.0, 1.0
    for a, b, c in lines:
        rate = a * dx + b * dy
        room = c + wider - a * x - b * y
        if rate > 0:
            if room < last * rate:
                last = room / rate
                if last < first:
                    return None
        elif rate < 0:
            if room < first * rate:
                first = room / rate
                if last < first:
                    return None
        elif room < 0:
            return None
    return first, last


def bare(start: Point, end: Point, cover: Iterable[Convex], wider: float) -> bool:
    """Whether the shapes leave a part of the way from ``start`` to ``end`` uncovered.

    Args:
        wider: by how much (inches) the lines of the shapes are moved out first.
    """
    (x, y), (ex, ey) = start, end
    dx, dy = ex - x, ey - y
    size = math.hypot(dx, dy)
    if size <= _BARE:
        return False
    least = _BARE / size
    open_ = [(0.0, 1.0)]
    for shape in cover:
        if _apart(x, y, ex, ey, shape, wider):
            continue
        span = _span(x, y, dx, dy, shape.lines, wider)
        if span is not None:
            first, last = span
            around = [p for a, b in open_ for p in ((a, min(b, first)), (max(a, last), b))]
            open_ = [(a, b) for a, b in around if b - a > least]
            if not open_:
                return False
    return True


def sticks_out(shape: Convex, cover: Sequence[Convex], rims: Iterable[Stretch], by: float) -> bool:
    """Whether convex shapes leave bare a part of another that is wider than twice ``by``.

    The shape is held against them made smaller by that, and they are made larger by it.

    Args:
        rims: edges of ``cover``, clockwise: all by which it may bound what lies in none of it.
        by: inches.
    """
    left, top, right, bottom = shape.left, shape.top, shape.right, shape.bottom
    near = [
        one
        for one in cover
        if one.left < right and one.right > left and one.top < bottom and one.bottom > top
    ]
    # Each edge of the smaller shape: its line, longer than the shape is, cut at all the others.
    x, y, far = (left + right) / 2, (top + bottom) / 2, right - left + bottom - top
    for a, b, c in shape.lines:
        off = a * x + b * y - (c - by)
        px, py = x - off * a - far * b, y - off * b + far * a
        dx, dy = 2 * far * b, -2 * far * a
        # On its own line, it lies inside that but for rounding.
        span = _span(px, py, dx, dy, shape.lines, _BARE - by)
        if span is not None:
            first, last = span
            start, end = (px + first * dx, py + first * dy), (px + last * dx, py + last * dy)
            if bare(start, end, near, by):
                return True
    for start, end in rims:
        if _apart(*start, *end, shape, 0.0):
            continue
        # What lies right outside the rim, where no shape with the same edge covers it.
        dx, dy = minus(end, start)
        out = (by + _BARE) / math.hypot(dx, dy)
        ox, oy = out * dy, -out * dx
        edge = clipped((start[0] + ox, start[1] + oy), (end[0] + ox, end[1] + oy), shape, -by)
        if edge is not None and bare(*edge, near, by):
            return True
    return False
