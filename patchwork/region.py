"""Cut outlines of pieces whose sides' parallels run into each other.

Where a piece has a notch narrower than its allowances, or a curve that bends in more
tightly, the parallels of its sides cross.  The cut outline is then the outer edge of all
that must be kept: the piece, the strip beside each side and the tip at each corner.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely
from shapely.geometry import Polygon

from patchwork import paths
from patchwork.paths import FLATNESS, Curve, Line, Outline, Segment
from patchwork.points import Point, distance, outward, plus
from patchwork.polygons import polygons
from patchwork.tips import Tip

_GRID_DECIMALS = 8
_GRID = 10.0**-_GRID_DECIMALS
"""Inches; points of the parts are put on a grid this fine."""

_ON_CURVE = 5e-4
"""Inches from a curve's parallel within which a point of the outer edge belongs to it."""


def region_outline(
    segments: Sequence[Segment], away: Sequence[float], tips: Sequence[Tip]
) -> Outline:
    """The outer edge of a piece with its strips and tips, clockwise.

    Args:
        segments: the finished outline.
        away: the allowance of each segment, inches.
        tips: the tip at the start of each segment.
    """
    parts = [Polygon(paths.ring(segments))]
    where: dict[Point, tuple[int, float]] = {}
    for k, (segment, width) in enumerate(zip(segments, away, strict=True)):
        parts += _strips(k, segment, width, where)
        if tips[k].pointed:
            parts.append(Polygon(tips[k].on_block()))
    # On a grid, so that parts which share an edge but for rounding leave no slit between them.
    valid = [p if p.is_valid else p.buffer(0) for p in parts]
    whole = polygons(shapely.union_all(valid, grid_size=_GRID))
    edge = max(whole, key=lambda p: p.area).exterior
    points = [(x, y) for x, y in edge.coords[:-1]]
    outline = _with_curves(points, segments, away, where)
    return paths.clockwise(outline)


def _strips(
    k: int, segment: Segment, width: float, where: dict[Point, tuple[int, float]]
) -> Iterator[Polygon]:
    """The strip straight out from a side, as quadrilaterals; notes the points of its rim."""
    count = 1 if isinstance(segment, Line) else paths.steps(segment, FLATNESS / 8)
    inner, rim = [], []
    for j in range(count + 1):
        t = j / count
        at = paths.point_at(segment, t)
        beside = plus(at, outward(paths.tangent(segment, t)), width)
        inner.append(at)
        rim.append(beside)
        if isinstance(segment, Curve):
            where[_on_grid(beside)] = (k, t)
    for j in range(count):
        quad = Polygon([inner[j], rim[j], rim[j + 1], inner[j + 1]])
        if quad.is_valid:
            yield quad
        elif isinstance(hull := quad.convex_hull, Polygon):
            yield hull


def _on_grid(p: Point) -> Point:
    return (round(p[0], _GRID_DECIMALS - 1), round(p[1], _GRID_DECIMALS - 1))


def _with_curves(
    points: Sequence[Point],
    segments: Sequence[Segment],
    away: Sequence[float],
    where: dict[Point, tuple[int, float]],
) -> Outline:
    """The ring of points as an outline in which runs along a curve's parallel are curves."""
    places = [where.get(_on_grid(p)) for p in points]
    for i, place in enumerate(places):
        if place is None:
            places[i] = _on_neighbours_curve(i, points, places, segments, away)
    start = next((i for i, place in enumerate(places) if place is None), 0)
    order = [*range(start, len(points)), *range(start)]
    outline: list[Segment] = []
    i = 0
    while i < len(order):
        j = i
        while j + 1 < len(order) and _same_run(places, order[i], order[j], order[j + 1]):
            j += 1
        here, on = points[order[i]], points[order[(j + 1) % len(order)]]
        if j > i:
            outline += _run(places[order[i]], places[order[j]], segments, away, here)
            here = points[order[j]]
        if distance(here, on) > 1e-9:
            outline.append(Line(here, on))
        i = j + 1
    return tuple(outline)


def _on_neighbours_curve(
    i: int,
    points: Sequence[Point],
    places: Sequence[tuple[int, float] | None],
    segments: Sequence[Segment],
    away: Sequence[float],
) -> tuple[int, float] | None:
    for place in (places[i - 1], places[(i + 1) % len(points)]):
        if place is not None:
            k = place[0]
            t, gap = paths.nearest(segments[k], points[i])
            if abs(gap - away[k]) < _ON_CURVE and 0 < t < 1:
                return k, t
    return None


def _same_run(
    places: Sequence[tuple[int, float] | None], first: int, last: int, after: int
) -> bool:
    a, b, c = places[first], places[last], places[after]
    return (
        a is not None
        and b is not None
        and c is not None
        and a[0] == b[0] == c[0]
        and ((c[1] - b[1]) * (b[1] - a[1]) >= 0)
    )


def _run(
    first: tuple[int, float] | None,
    last: tuple[int, float] | None,
    segments: Sequence[Segment],
    away: Sequence[float],
    start: Point,
) -> Iterator[Segment]:
    """The parallel of the part of a segment between two places on it, in ring order."""
    assert first is not None
    assert last is not None
    k, (low, high) = first[0], sorted((first[1], last[1]))
    beside = paths.parallel(paths.part(segments[k], low, high), away[k])
    if first[1] > last[1]:
        beside = paths.reverse_outline(beside)
    for segment in beside:
        yield paths.moved_ends(segment, start, segment.end)
        start = segment.end
