"""Edges as real lines and curves, and their parallel curves.

An outline is a closed tuple of segments, each starting where the one before it
ends.  A segment is a ``Line`` or a ``Curve``, a cubic Bézier; an arc becomes
curves of at most 22.5 degrees, which stay within 1e-7 of its radius.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

from piecewright.patchwork.geometry.vectors import (
    Point,
    Vector,
    between,
    cross,
    distance,
    dot,
    length,
    minus,
    normalised,
    plus,
)

FLATNESS = 0.0004
"""How far (inches) the points that stand for a curve may be from it.

That is 0.01 mm, a fourth of a dot of a printer with 600 to the inch, and less than half of the
0.001 in within which answers give curves as points.
"""

PARALLEL_TOLERANCE = 0.0002
"""How far (inches) a parallel curve may be from the true offset: half of ``FLATNESS``, so that the
points of a parallel are within 0.001 in of the true one."""

_MOST_STEPS = 60
"""Of Newton's method; halving alone narrows a bracket down to ``_FINEST`` in 50."""

_FINEST = 1e-15
"""Of a curve's parameter: how closely the point of a curve nearest to another is found."""

_WIDEST_ARC = math.radians(22.5)
"""Of an ellipse, in one cubic. The error grows with the sixth power of the angle: at a quarter of a
right angle it is 1e-7 of the radius, at a right angle 3e-4."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight edge."""

    start: Point
    end: Point


@dataclass(frozen=True, slots=True)
class Curve:
    """A curved edge: a cubic Bézier with its two handles."""

    start: Point
    handle1: Point
    handle2: Point
    end: Point


Segment: TypeAlias = Line | Curve
Outline: TypeAlias = tuple[Segment, ...]


def polygon(points: Sequence[Point]) -> Outline:
    """The outline with straight edges through ``points`` (not closed by a repeated point)."""
    return tuple(Line(p, q) for p, q in zip(points, [*points[1:], points[0]], strict=True))


def arc(
    start: Point, rx: float, ry: float, rotation: float, large: bool, sweep: bool, end: Point
) -> Outline:
    """An SVG elliptical arc as curves.

    The conversion to a centre is that of SVG 2, appendix B.2.4; radii that are
    too small are enlarged as B.2.5 says.

    Args:
        rotation: of the ellipse's x axis, degrees.
        large: whether the arc spans more than 180 degrees.
        sweep: whether it runs clockwise as seen.

    >>> quarter = arc((1.0, 0.0), 1.0, 1.0, 0.0, False, True, (0.0, 1.0))
    >>> len(quarter), quarter[-1].end
    (4, (0.0, 1.0))
    """
    rx, ry = abs(rx), abs(ry)
    if start == end:
        return ()
    if rx == 0 or ry == 0:
        return (Line(start, end),)
    cos, sin = math.cos(math.radians(rotation)), math.sin(math.radians(rotation))
    # In the ellipse's own axes, from the middle of the chord: the point half a chord away.
    half = ((start[0] - end[0]) / 2, (start[1] - end[1]) / 2)
    x, y = cos * half[0] + sin * half[1], -sin * half[0] + cos * half[1]
    excess = math.sqrt((x / rx) ** 2 + (y / ry) ** 2)
    if excess > 1:
        rx, ry = rx * excess, ry * excess
    over = (x / rx) ** 2 + (y / ry) ** 2
    factor = math.sqrt(max(0.0, 1 / over - 1)) * (-1 if large == sweep else 1)
    cx, cy = factor * rx * y / ry, -factor * ry * x / rx
    centre = (
        cos * cx - sin * cy + (start[0] + end[0]) / 2,
        sin * cx + cos * cy + (start[1] + end[1]) / 2,
    )
    first = math.atan2((y - cy) / ry, (x - cx) / rx)
    last = math.atan2((-y - cy) / ry, (-x - cx) / rx)
    span = last - first
    if sweep and span < 0:
        span += math.tau
    elif not sweep and span > 0:
        span -= math.tau

    def on(u: float, v: float) -> Point:
        """A point given in the frame in which the ellipse is the unit circle."""
        return (centre[0] + cos * rx * u - sin * ry * v, centre[1] + sin * rx * u + cos * ry * v)

    # Of even parts, each a cubic with the handles that make its middle lie on the ellipse.
    count = max(1, math.ceil(abs(span) / _WIDEST_ARC - 1e-9))
    reach = 4 / 3 * math.tan(span / count / 4)
    curves: list[Segment] = []
    at = start
    for k in range(1, count + 1):
        a, b = first + span * (k - 1) / count, first + span * k / count
        to = end if k == count else on(math.cos(b), math.sin(b))
        handle1 = on(math.cos(a) - reach * math.sin(a), math.sin(a) + reach * math.cos(a))
        handle2 = on(math.cos(b) + reach * math.sin(b), math.sin(b) - reach * math.cos(b))
        curves.append(Curve(at, handle1, handle2, to))
        at = to
    return tuple(curves)


def point_at(segment: Segment, t: float) -> Point:
    """The point at the parameter ``t``, 0 at the start and 1 at the end."""
    if isinstance(segment, Line):
        return between(segment.start, segment.end, t)
    s = 1 - t
    a, b, c, d = s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t
    p, q, r, e = segment.start, segment.handle1, segment.handle2, segment.end
    return (
        a * p[0] + b * q[0] + c * r[0] + d * e[0],
        a * p[1] + b * q[1] + c * r[1] + d * e[1],
    )


def _derivative(curve: Curve, t: float) -> Vector:
    s = 1 - t
    a, b, c = 3 * s * s, 6 * s * t, 3 * t * t
    (px, py), (qx, qy), (rx, ry), (ex, ey) = curve.start, curve.handle1, curve.handle2, curve.end
    return (
        a * (qx - px) + b * (rx - qx) + c * (ex - rx),
        a * (qy - py) + b * (ry - qy) + c * (ey - ry),
    )


def _second_derivative(curve: Curve, t: float) -> Vector:
    s = 1 - t
    p, q, r, e = curve.start, curve.handle1, curve.handle2, curve.end
    return (
        6 * (s * (r[0] - 2 * q[0] + p[0]) + t * (e[0] - 2 * r[0] + q[0])),
        6 * (s * (r[1] - 2 * q[1] + p[1]) + t * (e[1] - 2 * r[1] + q[1])),
    )


def tangent(segment: Segment, t: float) -> Vector:
    """The direction of travel at ``t``, of length one.

    A handle that lies on its end point gives no derivative there; the chord to
    the next control point is then the direction.
    """
    if isinstance(segment, Line):
        return normalised(minus(segment.end, segment.start))
    x, y = _derivative(segment, t)
    speed = math.hypot(x, y)
    if speed > 1e-9:
        return (x / speed, y / speed)
    controls = (segment.start, segment.handle1, segment.handle2, segment.end)
    if t < 0.5:
        chords = [minus(c, segment.start) for c in controls[1:]]
    else:
        chords = [minus(segment.end, c) for c in reversed(controls[:3])]
    return normalised(
        next((c for c in chords if length(c) > 1e-9), minus(segment.end, segment.start))
    )


def reverse(segment: Segment) -> Segment:
    """The same edge, travelled the other way."""
    if isinstance(segment, Line):
        return Line(segment.end, segment.start)
    return Curve(segment.end, segment.handle2, segment.handle1, segment.start)


def reverse_outline(outline: Iterable[Segment]) -> Outline:
    """The same outline, travelled the other way."""
    return tuple(reverse(s) for s in reversed(tuple(outline)))


def split(segment: Segment, t: float) -> tuple[Segment, Segment]:
    """The two parts of a segment on either side of ``t`` (de Casteljau)."""
    if isinstance(segment, Line):
        middle = between(segment.start, segment.end, t)
        return Line(segment.start, middle), Line(middle, segment.end)
    p, q, r, s = segment.start, segment.handle1, segment.handle2, segment.end
    pq, qr, rs = between(p, q, t), between(q, r, t), between(r, s, t)
    pqr, qrs = between(pq, qr, t), between(qr, rs, t)
    middle = between(pqr, qrs, t)
    return Curve(p, pq, pqr, middle), Curve(middle, qrs, rs, s)


def part(segment: Segment, t0: float, t1: float) -> Segment:
    """The part of a segment from ``t0`` to ``t1``, with ``0 <= t0 < t1 <= 1``."""
    if t1 < 1:
        segment = split(segment, t1)[0]
    if t0 > 0:
        segment = split(segment, t0 / t1)[1]
    return segment


def moved_ends(segment: Segment, start: Point, end: Point) -> Segment:
    """The segment with its ends put on ``start`` and ``end``; handles move with their end."""
    if isinstance(segment, Line):
        return Line(start, end)
    handle1 = plus(segment.handle1, minus(start, segment.start))
    handle2 = plus(segment.handle2, minus(end, segment.end))
    return Curve(start, handle1, handle2, end)


def stretched(segment: Segment, across: float, down: float) -> Segment:
    """The segment with x times ``across`` and y times ``down`` (exact for Béziers)."""

    def at(p: Point) -> Point:
        return (p[0] * across, p[1] * down)

    if isinstance(segment, Line):
        return Line(at(segment.start), at(segment.end))
    return Curve(at(segment.start), at(segment.handle1), at(segment.handle2), at(segment.end))


def steps(curve: Curve, flatness: float = FLATNESS) -> int:
    """Into how many equal steps of t a curve falls for chords within ``flatness`` (inches).

    The chord of a step h is within ``h²/8 · max|B''|`` of the curve, and B'' is
    largest at an end, as it is linear in t (Wang's bound).  All curves are divided so, one by one
    or many at once (``patchwork.geometry.path_arrays.chains``).

    >>> steps(Curve((0.0, 0.0), (1.0, 0.0), (2.0, 1.0), (2.0, 2.0)))
    44
    """
    # Written out: every edge of every outline that is drawn or overlaid comes by here.
    (px, py), (qx, qy), (rx, ry), (ex, ey) = curve.start, curve.handle1, curve.handle2, curve.end
    most = max(
        math.hypot(6 * (rx - 2 * qx + px), 6 * (ry - 2 * qy + py)),
        math.hypot(6 * (ex - 2 * rx + qx), 6 * (ey - 2 * ry + qy)),
    )
    return max(1, math.ceil(math.sqrt(most / (8 * flatness))))


def flatten(segment: Segment, flatness: float = FLATNESS) -> list[Point]:
    """Points along a segment, its start included and its end not."""
    if isinstance(segment, Line):
        return [segment.start]
    count = steps(segment, flatness)
    return [segment.start, *(point_at(segment, k / count) for k in range(1, count))]


def ring(outline: Iterable[Segment], flatness: float = FLATNESS) -> list[Point]:
    """The outline as points, curves within ``flatness``; the first point is not repeated."""
    return [p for segment in outline for p in flatten(segment, flatness)]


def area(outline: Iterable[Segment]) -> float:
    """Square inches inside a closed outline, exact for curves; positive if it runs clockwise.

    By Green's theorem; for a cubic the integral of ``x dy - y dx`` is a sum over
    its control points.
    """
    total = 0.0
    for s in outline:
        if isinstance(s, Line):
            total += cross(s.start, s.end)
        else:
            p, q, r, e = s.start, s.handle1, s.handle2, s.end
            total += (
                6 * cross(p, q)
                + 3 * cross(p, r)
                + cross(p, e)
                + 3 * cross(q, r)
                + 3 * cross(q, e)
                + 6 * cross(r, e)
            ) / 10
    return total / 2


def run_length(segments: Iterable[Segment]) -> float:
    """Inches along the segments (curves as fine chords)."""
    total = 0.0
    for segment in segments:
        points = [*flatten(segment, FLATNESS / 10), segment.end]
        total += sum(distance(p, q) for p, q in zip(points, points[1:], strict=False))
    return total


def nearest(segment: Segment, point: Point) -> tuple[float, float]:
    """The parameter of the segment's point nearest to ``point``, and its distance (inches).

    At a curve's tightest bends another point may be nearer, by less than ``FLATNESS``.
    """
    if isinstance(segment, Line):
        along = minus(segment.end, segment.start)
        size = dot(along, along)
        t = dot(minus(point, segment.start), along) / size if size else 0.0
        t = min(1.0, max(0.0, t))
        return t, distance(point, between(segment.start, segment.end, t))
    chain, longest = _chain(segment)
    count = len(chain) - 1
    far = [distance(point, p) for p in chain]
    # No step's inner points are nearer than its ends by more than its length.
    reach = min(far) + longest
    # A curve that runs back beside itself comes near more than once: each step that is nearer
    # than the one before and after it may hold the nearest point.
    around = (
        _nearest_around(segment, point, k, count)
        for k, gap in enumerate(far)
        if gap <= reach and gap == min(far[max(0, k - 1) : k + 2])
    )
    return min(around, key=lambda found: found[1])


@lru_cache(maxsize=256)
def _chain(curve: Curve) -> tuple[tuple[Point, ...], float]:
    """Points along a curve at even steps, and the longest step in inches."""
    count = max(8, steps(curve))
    chain = tuple(point_at(curve, k / count) for k in range(count + 1))
    return chain, max(distance(p, q) for p, q in zip(chain, chain[1:], strict=False))


def _nearest_around(curve: Curve, point: Point, k: int, count: int) -> tuple[float, float]:
    """The nearest point between the steps before and after step ``k`` of ``count``.

    There the line to the point is square to the curve: ``(B - p) · B' = 0``, found by Newton's
    method, and by halving where that would leave the bracket.
    """

    def turning(t: float) -> tuple[float, float]:
        """Half the rate at which the squared distance grows, and how fast that grows."""
        away, along = minus(point_at(curve, t), point), _derivative(curve, t)
        onward = dot(along, along) + dot(away, _second_derivative(curve, t))
        return dot(away, along), onward

    low, t, high = max(0.0, (k - 1) / count), k / count, min(1.0, (k + 1) / count)
    # At an end of the curve from which it leads away the line need not be square to it.
    if (t == low and turning(t)[0] >= 0) or (t == high and turning(t)[0] <= 0):
        return t, distance(point, point_at(curve, t))
    for _ in range(_MOST_STEPS):
        rate, onward = turning(t)
        low, high = (low, t) if rate > 0 else (t, high)
        better = t - rate / onward if onward > 0 else low
        if not low < better < high:
            better = (low + high) / 2
        if abs(better - t) < _FINEST:
            break
        t = better
    return t, distance(point, point_at(curve, t))


def clockwise(outline: Outline) -> Outline:
    """The outline so that it runs clockwise as seen, starting at the same point."""
    if area(outline) >= 0:
        return outline
    return reverse_outline(outline)
