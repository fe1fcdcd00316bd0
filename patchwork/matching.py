"""Matched corners: tips cut so that no ear sticks out of a unit and raw edges end together.

Round each point of the block the joins put corners together to ever wider runs.  Each
run is a unit there, and its own two outer raw edges cut every tip inside it.  A long tip can
stick out of a unit elsewhere too, so every unit's plain offset is then held against the tips
that are not yet covered by the unit itself.

After that the two tips at each seam's end are compared: the one whose raw edge reaches further
is cut by the mirror image, in the seam line, of the bound at which the other one ends.
That may move the raw edge on the tip's far side, so it is repeated until all agree.  It ends:
a cut nearer to one side than all others leaves the other side's end alone, so each tip
passes a change on at most once.

Each point costs what its own corners cost, the joins are sorted once, and a unit is looked at
with its outside and its uncovered tips only: a block whose order of sewing is balanced
takes order n log n.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from patchwork import paths
from patchwork.joins import Order
from patchwork.offsets import offset_outline
from patchwork.paths import Line, Outline
from patchwork.points import Point, Vector, dot, minus, outward, plus, unit
from patchwork.polygons import polygon_of
from patchwork.seams import Corner, Seams, Side, corner_between
from patchwork.tips import AGREED, Bound, Tip, meeting_point

_ROUNDS = 100
"""How often the seam ends round one point are compared before they are given up as they are."""

_VISIBLE = 0.002
"""Inches along a seam within which raw edges count as ending together (contract, section 4)."""

_CLOSE = 2e-6
"""Inches by which a tip may stick out of a unit unseen."""

TipKey = tuple[int, int]
"""A piece and the number of the side that leaves the tip's corner."""


@dataclass(frozen=True, slots=True)
class Mismatch:
    """A seam's end at which raw edges cannot end together without losing allowance.

    Attributes:
        point: where, a point number.
        join: the join whose seam ends there.
        by: how far apart (inches) the raw edges end; infinite where one runs on.
    """

    point: int
    join: int
    by: float


def match(
    seams: Seams, order: Order, widths: Sequence[float], tips: Mapping[TipKey, Tip]
) -> tuple[Mismatch, ...]:
    """Cut all tips of a block as ``matched`` asks; says what could not be matched.

    Args:
        widths: the allowance of each edge, inches.
        tips: the whole tips of all corners; they are cut in place.
    """
    for run in (run for runs in seams.around for run in runs):
        _cut_to_runs(seams, order, widths, run, [tips[c.piece, c.side] for c in run])
    _cut_to_units(seams, order, widths, tips)
    mismatches: list[Mismatch] = []
    for point, runs in enumerate(seams.around):
        for run in runs:
            own = [tips[c.piece, c.side] for c in run]
            mismatches += _end_all_together(seams, order, point, run, own)
    return tuple(mismatches)


def _inner_joins(seams: Seams, order: Order, run: Sequence[Corner]) -> list[tuple[int, int]]:
    """(join, i) in the order of sewing; the join sews the edge between corners i and i + 1."""
    inner = range(len(run) if seams.closes(run) else len(run) - 1)
    sewn = ((order.sewn_by[run[i].arriving], i) for i in inner)
    return sorted((join, i) for join, i in sewn if join is not None)


# --- raw edges end together -------------------------------------------------------------------


def _end_all_together(
    seams: Seams, order: Order, point: int, run: Sequence[Corner], tips: Sequence[Tip]
) -> list[Mismatch]:
    inner = _inner_joins(seams, order, run)
    times = Counter(join for join, _ in inner)
    # A join that sews two edges here only passes through: its seam does not end here.
    ends = [(tips[i], tips[(i + 1) % len(tips)], join) for join, i in inner if times[join] == 1]
    for _ in range(_ROUNDS):
        cuts = [_end_together(one, other) for one, other, _ in ends]
        if not any(cuts):
            break
    gaps = [(join, abs(one.arriving_end - other.leaving_end)) for one, other, join in ends]
    return [Mismatch(point, join, by) for join, by in gaps if by > _VISIBLE]


def _end_together(one: Tip, other: Tip) -> bool:
    """Compare two raw edges at a seam's end and cut the longer; says if that changed it.

    ``one`` arrives along the seam, ``other`` leaves along it, on its other side.
    """
    ahead = one.arriving_end - other.leaving_end
    if abs(ahead) <= AGREED:
        return False
    along = one.corner.arrives
    if ahead > 0:
        return one.cut(other.bounds[-2].mirrored(along))
    return other.cut(one.bounds[1].mirrored(along))


# --- no ear sticks out of a unit: at the point itself -----------------------------------------


def _cut_to_runs(
    seams: Seams,
    order: Order,
    widths: Sequence[float],
    run: Sequence[Corner],
    tips: Sequence[Tip],
) -> None:
    """Cut tips so that none sticks out of any unit that the joins make round their point."""
    count = len(run)
    joined = _inner_joins(seams, order, run)
    group = [[i] for i in range(count)]  # the corners of the unit that corner i is in, in order
    for k, (join, i) in enumerate(joined):
        one, other = group[i], group[(i + 1) % count]
        if one is not other:
            together = one + other
            for j in together:
                group[j] = together
        if k + 1 < len(joined) and joined[k + 1][0] == join:
            continue  # the same join sews another edge here
        done = {id(g): g for g in (group[i], group[joined[k - 1][1]] if k else group[i])}
        for unit_corners in done.values():
            closed = len(unit_corners) == count and seams.closes(run)
            if len(unit_corners) > 1 and not closed:
                inside = [tips[j] for j in unit_corners]
                _cut_to_run(seams, widths, [run[j] for j in unit_corners], inside)


def _cut_to_run(
    seams: Seams, widths: Sequence[float], corners: Sequence[Corner], tips: Sequence[Tip]
) -> None:
    """Cut the tips of a sewn unit's corners at one point to the unit's plain offset."""
    last, first = corners[-1], corners[0]
    arriving = Bound(outward(last.arrives), widths[last.arriving])
    leaving = Bound(outward(first.leaves), widths[first.leaving])
    if sum(c.inner_angle for c in corners) <= 180.0 + 1e-6:
        for tip in tips:
            for bound in (arriving, leaving):
                tip.cut(bound)
        _cut_to_curves(seams, corners, tips, arriving, leaving)
        return
    # A reflex corner: only what lies beyond both raw edges is outside the unit.
    notch = meeting_point(arriving, leaving)
    for tip in tips:
        sticks_out = [x for x in tip.rim() if arriving.excess(x) > AGREED < leaving.excess(x)]
        if tip.pointed and (sticks_out or _covers(tip, notch)):
            cuts = [b for b in (arriving, leaving) if tip.keeps_allowance(b)]
            rim = tip.rim()
            if cuts:
                tip.cut(min(cuts, key=lambda b: max(b.excess(x) for x in rim)))


def _covers(tip: Tip, x: Vector) -> bool:
    """Whether a point seen from the corner lies inside the tip, by more than rounding."""
    return all(b.excess(x) < -AGREED for b in tip.bounds) and (
        dot(x, tip.corner.arrives) > 0 > dot(x, tip.corner.leaves)
    )


def _cut_to_curves(
    seams: Seams,
    corners: Sequence[Corner],
    tips: Sequence[Tip],
    arriving: Bound,
    leaving: Bound,
) -> None:
    """Cut tips that stick out where a unit's outer side curves away from its tangent.

    The tip lies beside the curve, beyond the foot of the bound on the curve's raw edge; a
    chord of that raw edge, from the foot to where the tip leaves it, keeps the tip
    inside.
    """
    for tip in tips:
        if tip.corner is not corners[-1]:
            _cut_to_curve(seams, tip, arriving, corners[-1].arriving, at_end=True)
        if tip.corner is not corners[0]:
            _cut_to_curve(seams, tip, leaving, corners[0].leaving, at_end=False)


def _cut_to_curve(seams: Seams, tip: Tip, bound: Bound, edge: int, at_end: bool) -> None:
    segment = seams.edges[edge].segment
    if isinstance(segment, Line) or bound not in tip.bounds[1:-1]:
        return
    k = tip.bounds.index(bound)
    beside = tip.bounds[k - 1] if at_end else tip.bounds[k + 1]
    far = meeting_point(bound, beside)
    corner = _place(seams, tip.corner)

    def beyond(x: Vector) -> float:
        return paths.nearest(segment, plus(corner, x))[1] - bound.reach

    # Walk along the neighbouring bound, away from the point, to where it crosses the
    # curve's raw edge.
    back = outward(beside.normal) if at_end else minus((0.0, 0.0), outward(beside.normal))
    low, high = 0.0, bound.reach
    if beyond(far) <= AGREED or beyond(plus(far, back, high)) > 0:
        return
    foot = (bound.normal[0] * bound.reach, bound.normal[1] * bound.reach)
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if beyond(plus(far, back, middle)) > 0 else (low, middle)
    crossing = plus(far, back, high)
    chord = unit(minus(foot, crossing) if at_end else minus(crossing, foot))
    normal = outward(chord)
    tip.cut(Bound(normal, dot(normal, foot)))


def _place(seams: Seams, corner: Corner) -> Point:
    return seams.points[seams.start(seams.sides[corner.piece][corner.side])]


# --- no ear sticks out of a unit: anywhere else -----------------------------------------------


def _cut_to_units(
    seams: Seams, order: Order, widths: Sequence[float], tips: Mapping[TipKey, Tip]
) -> None:
    """Hold every unit's plain offset against the tips in it that stick out of the unit."""
    outside: list[dict[int, bool]] = [{s.edge: s.forward for s in own} for own in seams.sides]
    shapes = {key: _shape(seams, tip) for key, tip in tips.items() if tip.pointed}
    uncovered = [
        [(piece, k) for k in range(len(own)) if (piece, k) in shapes]
        for piece, own in enumerate(seams.sides)
    ]
    for join in order.joins:
        small, large = sorted((outside[join.first], outside[join.second]), key=len)
        for e, forward in small.items():
            if large.pop(e, None) is None:
                large[e] = forward
        outside.append(large)
        keys = uncovered[join.first] + uncovered[join.second]
        outside[join.first] = outside[join.second] = {}
        uncovered[join.first] = uncovered[join.second] = []
        uncovered.append(_cut_to_unit(seams, widths, tips, shapes, large, keys))


def _cut_to_unit(
    seams: Seams,
    widths: Sequence[float],
    tips: Mapping[TipKey, Tip],
    shapes: dict[TipKey, Polygon],
    outside: Mapping[int, bool],
    keys: Sequence[TipKey],
) -> list[TipKey]:
    """Cut the tips ``keys`` to a unit's plain offset; the ones that the unit does not cover."""
    sides = _outer_ring(seams, outside)
    segments = [seams.segment(s) for s in sides]
    rim = offset_outline(
        segments,
        [widths[s.edge] for s in sides],
        [
            Tip(corner_between(seams, -1, k, sides), widths[sides[k - 1].edge], widths[s.edge])
            for k, s in enumerate(sides)
        ],
    )
    cloth = polygon_of(segments)
    room = polygon_of(rim).buffer(_CLOSE, join_style="mitre")
    shapely.prepare(cloth)
    shapely.prepare(room)
    waiting = np.array([shapes[key] for key in keys])
    left = [
        key for key, inside in zip(keys, shapely.covers(cloth, waiting), strict=True) if not inside
    ]
    for key, inside in zip(keys, shapely.covers(room, waiting), strict=True):
        if not inside and _cut_to_room(seams, tips[key], room, rim):
            shapes[key] = _shape(seams, tips[key])
    return left


def _cut_to_room(seams: Seams, tip: Tip, room: Polygon, rim: Outline) -> bool:
    """Cut a tip along those edges of a unit's raw edge over which it sticks out.

    The edge nearest to the corner is cut along first, and only as many as are needed.
    """
    corner = _place(seams, tip.corner)
    shape = _shape(seams, tip)
    crossed = []
    for segment in rim:
        for piece in _chords(segment):
            string = LineString([piece.start, piece.end])
            if string.intersects(shape):
                crossed.append((string.distance(shapely.Point(corner)), piece))
    cut = False
    for _, line in sorted(crossed, key=lambda found: found[0]):
        if room.covers(shape):
            break
        normal = outward(paths.tangent(line, 0.0))
        if tip.cut(Bound(normal, dot(normal, minus(line.start, corner)))):
            cut = True
            shape = _shape(seams, tip)
    return cut


def _chords(segment: paths.Segment) -> list[Line]:
    if isinstance(segment, Line):
        return [segment]
    points = [*paths.flatten(segment), segment.end]
    return [Line(p, q) for p, q in zip(points, points[1:], strict=False)]


def _shape(seams: Seams, tip: Tip) -> Polygon:
    """A tip as a polygon on the block, from the corner round its rim."""
    corner = _place(seams, tip.corner)
    return Polygon([plus(corner, x) for x in ((0.0, 0.0), tip.ends[0], *tip.rim(), tip.ends[1])])


def _outer_ring(seams: Seams, outside: Mapping[int, bool]) -> list[Side]:
    """The sides round the outside of a unit, clockwise; rings round holes are left out."""
    leaving: dict[int, list[Side]] = {}
    for e, forward in sorted(outside.items()):
        side = Side(e, forward)
        leaving.setdefault(seams.start(side), []).append(side)
    best: tuple[float, list[Side]] = (float("-inf"), [])
    while leaving:
        point = next(iter(leaving))
        ring: list[Side] = []
        while point in leaving:
            choices = leaving[point]
            side = _rightmost(seams, ring[-1], choices) if ring else choices[0]
            choices.remove(side)
            if not choices:
                del leaving[point]
            ring.append(side)
            edge = seams.edges[side.edge]
            point = edge.end if side.forward else edge.start
        best = max(best, (paths.area([seams.segment(s) for s in ring]), ring), key=lambda r: r[0])
    return best[1]


def _rightmost(seams: Seams, arriving: Side, choices: Sequence[Side]) -> Side:
    """The side that keeps to the same cloth where a unit touches itself in one point."""
    if len(choices) == 1:
        return choices[0]
    return max(choices, key=lambda s: corner_between(seams, -1, 1, [arriving, s]).turns)
