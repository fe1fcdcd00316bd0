"""The offset curve of a piece whose sides' parallels run into each other, by a union of its parts.

Where a piece has a notch narrower than its allowances, or a curve that bends in more
tightly, the parallels of its sides cross.  The offset is then the outer edge of all
that must be kept: the piece, the strip beside each side and the mitre at each corner.
A union has points in place of curves; runs of points on a curve's parallel are made curves again.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import TypeAlias

import shapely
from shapely.geometry import Polygon

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.path_arrays import parallels
from piecewright.patchwork.geometry.paths import FLATNESS, Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.polygons import polygon_of, polygons, ring_polygon
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point, distance, outward, plus
from piecewright.patchwork.outlines.mitres import Mitre

_Place: TypeAlias = tuple[int, float]
"""The number of a curved side, and the parameter on it."""

_SHORTEST_RUN = 1e-6
"""Of a curve's parameter; a shorter part is drawn straight, as it has hardly a direction."""

_GRID_DECIMALS = 8
_GRID = 10.0**-_GRID_DECIMALS
"""Inches; points of the parts are put on a grid this fine: coarser than the rounding of doubles at
the size of a block, and far finer than anything that is cut."""

_ON_CURVE = 5e-4
"""Inches from a curve's parallel within which a point of the outer edge belongs to it.

More than the chords of its strip are off (an eighth of ``FLATNESS``), less than a cutter sees.
"""


def overlapping_offset(
    segments: Sequence[Segment], away: Sequence[float], mitres: Sequence[Mitre]
) -> Outline:
    """The outer edge of a piece with its strips and mitres, clockwise.

    Args:
        segments: the finished outline.
        away: the allowance of each segment, inches.
        mitres: the mitre at the start of each segment.

    Raises:
        BlockError: the parts cannot be overlaid (see ``patchwork.geometry.robust_overlay``).
    """
    parts = [polygon_of(segments)]
    where: dict[Point, _Place] = {}
    for k, (segment, width) in enumerate(zip(segments, away, strict=True)):
        parts += _strips(k, segment, width, where)
        if mitres[k].pointed:
            parts.append(ring_polygon(mitres[k].ring(segment.start)))
    # On a grid, so that parts which share an edge but for rounding leave no slit between them.
    whole = polygons(overlaid(shapely.union_all, parts, grid=_GRID))
    # What a notch closes off inside is cloth as well, and specks of rounding are no part of it.
    edge = max(whole, key=lambda p: p.area).exterior
    points = [(x, y) for x, y in edge.coords[:-1]]
    outline = _with_curves(points, segments, away, where)
    return paths.clockwise(outline)


def _strips(
    k: int, segment: Segment, width: float, where: dict[Point, _Place]
) -> Iterator[Polygon]:
    """The strip straight out from a side, as quadrilaterals.

    ``where`` gets the place on the curve of each point of its rim.
    """
    # One quadrilateral a chord, as the rim of the whole strip may cross itself. Their chords are
    # finer than those drawn elsewhere: points of the union are recognised by them.
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
        yield ring_polygon([inner[j], rim[j], rim[j + 1], inner[j + 1]])


def _on_grid(p: Point) -> Point:
    """A key by which a point is found again after the union has put it on the grid.

    One decimal less than the grid, as its points may be a step off.
    """
    return (round(p[0], _GRID_DECIMALS - 1), round(p[1], _GRID_DECIMALS - 1))


def _with_curves(
    points: Sequence[Point],
    segments: Sequence[Segment],
    away: Sequence[float],
    where: dict[Point, _Place],
) -> Outline:
    """The ring of points as an outline in which runs along a curve's parallel are curves."""
    places = [where.get(_on_grid(p)) for p in points]
    # A run ends where it crosses another part's edge, at a point that no strip has.
    for i, place in enumerate(places):
        if place is None:
            places[i] = _on_neighbours_curve(i, points, places, segments, away)
    # The ring is begun off the curves, so that no run goes on across its beginning.
    start = next((i for i, place in enumerate(places) if place is None), 0)
    order = [*range(start, len(points)), *range(start)]
    outline: list[Segment] = []
    i = 0
    while i < len(order):
        j = i
        while j + 1 < len(order) and _same_run(places, order[i], order[j], order[j + 1]):
            j += 1
        run = order[i : j + 1]
        outline += _run([places[k] for k in run], [points[k] for k in run], segments, away)
        here, on = points[order[j]], points[order[(j + 1) % len(order)]]
        if distance(here, on) > 1e-9:
            outline.append(Line(here, on))
        i = j + 1
    return tuple(outline)


def _on_neighbours_curve(
    i: int,
    points: Sequence[Point],
    places: Sequence[_Place | None],
    segments: Sequence[Segment],
    away: Sequence[float],
) -> _Place | None:
    """The place of a point on the curve on whose parallel the point before or after it lies."""
    for place in (places[i - 1], places[(i + 1) % len(points)]):
        if place is not None:
            k = place[0]
            t, gap = paths.nearest(segments[k], points[i])
            if abs(gap - away[k]) < _ON_CURVE and 0 < t < 1:
                return k, t
    return None


def _same_run(places: Sequence[_Place | None], first: int, last: int, after: int) -> bool:
    """Whether a run goes on to the next point: along the same curve, in the same direction."""
    a, b, c = places[first], places[last], places[after]
    return (
        a is not None
        and b is not None
        and c is not None
        and a[0] == b[0] == c[0]
        and ((c[1] - b[1]) * (b[1] - a[1]) >= 0)
    )


def _run(
    places: Sequence[_Place | None],
    points: Sequence[Point],
    segments: Sequence[Segment],
    away: Sequence[float],
) -> Outline:
    """The outline through points that lie on one side's parallel: curved, if it is a curve."""
    straight = [Line(p, q) for p, q in itertools.pairwise(points) if p != q]
    first, last = places[0], places[-1]
    if first is None or last is None or abs(first[1] - last[1]) < _SHORTEST_RUN:
        return tuple(straight)
    k, (low, high) = first[0], sorted((first[1], last[1]))
    # The parallel of the very part of the curve that the run lies beside.
    part = paths.part(segments[k], low, high)
    assert isinstance(part, Curve), "only a curve's parallel has places"
    (beside,) = parallels([part], [away[k]])
    if beside is None:
        # Beside the tightest part of a bay the parallel runs backward; its points remain.
        return tuple(straight)
    parts = [*(paths.reverse_outline(beside) if first[1] > last[1] else beside)]
    # Its ends are put on the points that the union has, for the outline to stay closed.
    parts[0] = paths.moved_ends(parts[0], points[0], parts[0].end)
    parts[-1] = paths.moved_ends(parts[-1], parts[-1].start, points[-1])
    return tuple(parts)
