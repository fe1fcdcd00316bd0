"""Matched corners: tips cut so that no ear sticks out of a unit and raw edges end together.

Round each point of the block the joins put corners together to ever wider runs.  Each
run is a unit there, and its own two outer raw edges cut every tip inside it.  A long tip can
stick out of a unit elsewhere too; ``patchwork.outlines.dog_ears`` sees to that.

After that the two tips at each seam's end are compared: the one whose raw edge reaches further
is cut by the mirror image, in the seam line, of the bound at which the other one ends.
That may move the raw edge on the tip's far side, so it is repeated until all agree.  It ends:
a cut nearer to one side than all others leaves the other side's end alone, so each tip
passes a change on at most once.

Each point costs what its own corners cost, and its joins are sorted once.  Blocks repeat
themselves, at every size: what becomes of the tips of a run follows from the directions and
allowances of its edges and the order in which they are sewn.  So it is worked out once for all
runs that agree in these exactly, and kept for the next block (``_KEPT``).  A run with a curve is
left to itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Corner, Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Segment
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    Vector,
    dot,
    minus,
    normalised,
    outward,
    plus,
)
from piecewright.patchwork.outlines.dog_ears import cut_ears
from piecewright.patchwork.outlines.mitres import AGREED, Bound, Tip, TipKey, meeting_point

_ROUNDS = 100
"""How often the seam ends round one point are compared before they are given up as they are."""

_VISIBLE = 0.002
"""Inches along a seam within which raw edges count as ending together (contract, section 4)."""

_KEPT = 20_000
"""Runs of which it is kept what becomes of their tips: those of some fifty large blocks."""

_FINEST = 1e-14
"""Inches, and of a curve's parameter; a crossing is found as closely as floating point has it."""

_STRIDES = 4
"""Into how many parts of a curve, at least, a search for where its raw edge leaves a tip falls."""


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


_Shape: TypeAlias = tuple[
    tuple[tuple[Vector, Vector, float, float, float], ...], tuple[tuple[int, int], ...]
]
"""All that the tips of a run without curves depend on: for each corner what its ``Tip`` takes;
and (rank, i) for the joins in the order of sewing, which sew the edge between corners i and i + 1.
A join that sews two of the edges has one rank."""


@dataclass(frozen=True, slots=True)
class _Run:
    """A run of corners round a point.

    Attributes:
        joins: the numbers of the joins that sew it together there, by rank.
        curved: whether an edge is a curve, so that the shape does not say all.
        keys: those of the corners' tips.
    """

    point: int
    corners: Sequence[Corner]
    shape: _Shape
    joins: Sequence[int]
    curved: bool
    keys: Sequence[TipKey]


@dataclass(frozen=True, slots=True)
class _Cuts:
    """What becomes of a run's tips.

    Attributes:
        tips: so cut that none sticks out of a unit at the point itself.
        reach: of the longest of them, inches.
        ended: the same when raw edges end together too; of use where no ear was cut.
        gaps: the joins of which they still do not, by rank, and by how much.
    """

    tips: Sequence[Tip]
    reach: float
    ended: Sequence[Tip]
    gaps: Sequence[tuple[int, float]]


def match(
    seams: Seams, order: Order, widths: Sequence[float]
) -> tuple[dict[TipKey, Tip], tuple[Mismatch, ...]]:
    """The tips of all corners of a block, cut as ``matched`` asks, and what could not be matched.

    Corners of one shape may have the same tip, so none is to be cut any more.

    Args:
        widths: the allowance of each edge, inches.
    """
    runs = list(_runs(seams, order, widths))
    cuts = [_along_curves(seams, run) if run.curved else _in_runs(run.shape) for run in runs]
    tips: dict[TipKey, Tip] = {}
    reach = [0.0] * len(seams.points)
    for run, cut in zip(runs, cuts, strict=True):
        tips.update(zip(run.keys, cut.tips, strict=True))
        reach[run.point] = max(reach[run.point], cut.reach)
    shortened = cut_ears(seams, order, widths, tips, reach)
    mismatches: list[Mismatch] = []
    for run, cut in zip(runs, cuts, strict=True):
        own, gaps = cut.ended, cut.gaps
        if run.point in shortened:
            own = [tips[key].copy() for key in run.keys]
            gaps = _end_all_together(run.shape, own)
        tips.update(zip(run.keys, own, strict=True))
        mismatches += [Mismatch(run.point, run.joins[rank], by) for rank, by in gaps]
    return tips, tuple(mismatches)


def _runs(seams: Seams, order: Order, widths: Sequence[float]) -> Iterator[_Run]:
    curves = {e for e, edge in enumerate(seams.edges) if isinstance(edge.segment, Curve)}
    sewn_by = order.sewn_by
    for point, runs in enumerate(seams.around):
        for run in runs:
            # The last corner's arriving edge closes the ring, or is the block's outside.
            sewn = [(sewn_by[c.arriving], i) for i, c in enumerate(run)]
            joined = sorted((join, i) for join, i in sewn if join is not None)
            joins: list[int] = []
            ranked = []
            for join, i in joined:
                if not joins or join != joins[-1]:
                    joins.append(join)
                ranked.append((len(joins) - 1, i))
            corners = tuple(
                [(c.arrives, c.leaves, c.turns, widths[c.arriving], widths[c.leaving]) for c in run]
            )
            keys = [(c.piece, c.side) for c in run]
            curved = bool(curves) and any(c.arriving in curves or c.leaving in curves for c in run)
            yield _Run(point, run, (corners, tuple(ranked)), joins, curved, keys)


@lru_cache(_KEPT)
def _in_runs(shape: _Shape) -> _Cuts:
    """What becomes of the tips of a run without curves."""
    tips = [Tip(*corner) for corner in shape[0]]
    for unit_tips in _units(shape, tips):
        _cut_to_unit(unit_tips)
    return _cuts(shape, tips)


def _along_curves(seams: Seams, run: _Run) -> _Cuts:
    """The same where edges are curves."""
    tips = [Tip(*corner) for corner in run.shape[0]]
    numbers = {id(tip): i for i, tip in enumerate(tips)}
    for unit_tips in _units(run.shape, tips):
        _cut_to_unit(unit_tips)
        first, last = (run.corners[numbers[id(t)]] for t in (unit_tips[0], unit_tips[-1]))
        if sum(t.inner_angle for t in unit_tips) <= 180.0 + 1e-6:
            ending, beginning = (seams.edges[e].segment for e in (last.arriving, first.leaving))
            _cut_to_curves(ending, beginning, seams.points[run.point], unit_tips)
    return _cuts(run.shape, tips)


def _cuts(shape: _Shape, tips: Sequence[Tip]) -> _Cuts:
    reach = max((tip.reach for tip in tips if tip.pointed), default=0.0)
    ended = [tip.copy() for tip in tips]
    return _Cuts(tips, reach, ended, _end_all_together(shape, ended))


# --- raw edges end together -------------------------------------------------------------------


def _end_all_together(shape: _Shape, tips: Sequence[Tip]) -> list[tuple[int, float]]:
    """Cut the tips; which of the joins still do not match, by rank, and by how much."""
    joined = shape[1]
    times = Counter(rank for rank, _ in joined)
    # A join that sews two edges here only passes through: its seam does not end here.
    ends = [(tips[i], tips[(i + 1) % len(tips)], rank) for rank, i in joined if times[rank] == 1]
    for _ in range(_ROUNDS):
        cuts = [_end_together(arriving, leaving) for arriving, leaving, _ in ends]
        if not any(cuts):
            break
    gaps = ((rank, abs(a.arriving_end - b.leaving_end)) for a, b, rank in ends)
    return [(rank, by) for rank, by in gaps if by > _VISIBLE]


def _end_together(one: Tip, other: Tip) -> bool:
    """Compare two raw edges at a seam's end and cut the longer; says if that changed it.

    ``one`` arrives along the seam, ``other`` leaves along it, on its other side.
    """
    ahead = one.arriving_end - other.leaving_end
    if abs(ahead) <= AGREED:
        return False
    along = one.arrives
    if ahead > 0:
        return one.cut(other.bounds[-2].mirrored(along))
    return other.cut(one.bounds[1].mirrored(along))


# --- no ear sticks out of a unit: at the point itself -----------------------------------------


def _units(shape: _Shape, tips: Sequence[Tip]) -> Iterator[list[Tip]]:
    """The units that the joins make round a point, by their tips, as they are sewn."""
    joined, count = shape[1], len(tips)
    group = [[i] for i in range(count)]  # the corners of the unit that corner i is in, in order
    for k, (join, i) in enumerate(joined):
        first, second = group[i], group[(i + 1) % count]
        if first is not second:
            together = first + second
            for j in together:
                group[j] = together
        if k + 1 < len(joined) and joined[k + 1][0] == join:
            continue  # the same join sews another edge here
        done = {id(g): g for g in (group[i], group[joined[k - 1][1]] if k else group[i])}
        for corners in done.values():
            closed = len(corners) == count == len(joined)
            if len(corners) > 1 and not closed:
                yield [tips[j] for j in corners]


def _cut_to_unit(tips: Sequence[Tip]) -> None:
    """Cut the tips of a sewn unit's corners at one point to the unit's plain offset."""
    arriving, leaving = tips[-1].bounds[0], tips[0].bounds[-1]
    if sum(t.inner_angle for t in tips) <= 180.0 + 1e-6:
        for tip in tips:
            for bound in (arriving, leaving):
                tip.cut(bound)
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
        dot(x, tip.arrives) > 0 > dot(x, tip.leaves)
    )


def _cut_to_curves(ending: Segment, beginning: Segment, place: Point, tips: Sequence[Tip]) -> None:
    """Cut tips that stick out where a unit's outer side curves away from its tangent.

    The tip lies beside the curve, beyond the foot of the bound on the curve's raw edge; a
    chord of that raw edge, from the foot to where the tip leaves it, keeps the tip
    inside.

    Args:
        ending, beginning: the unit's outer edges, which end and begin at the tips' place.
    """
    arriving, leaving = tips[-1].bounds[0], tips[0].bounds[-1]
    for tip in tips:
        if tip is not tips[-1] and isinstance(ending, Curve):
            _cut_to_curve(ending, place, tip, arriving, at_end=True)
        if tip is not tips[0] and isinstance(beginning, Curve):
            _cut_to_curve(beginning, place, tip, leaving, at_end=False)


def _cut_to_curve(curve: Curve, place: Point, tip: Tip, bound: Bound, at_end: bool) -> None:
    if bound not in tip.bounds[1:-1]:
        return
    k = tip.bounds.index(bound)
    beside = tip.bounds[k - 1] if at_end else tip.bounds[k + 1]

    def raw_edge(t: float) -> Vector:
        out = outward(paths.tangent(curve, t))
        return minus(plus(paths.point_at(curve, t), out, bound.reach), place)

    def inside(t: float) -> float:
        return -beside.excess(raw_edge(t))

    # Follow the raw edge from its foot, away from the point, to where it leaves the tip.
    count = max(_STRIDES, paths.steps(curve, TOLERANCE))
    strides = [1 - k / count if at_end else k / count for k in range(count + 1)]
    if inside(strides[0]) <= AGREED:
        return
    far = next((i for i, t in enumerate(strides) if inside(t) < 0), None)
    leaves = strides[-1] if far is None else _where_zero(inside, *strides[far - 1 : far + 1])
    foot, crossing = raw_edge(strides[0]), raw_edge(leaves)
    chord = normalised(minus(foot, crossing) if at_end else minus(crossing, foot))
    normal = outward(chord)
    if dot(normal, meeting_point(bound, beside)) > dot(normal, foot) + AGREED:
        tip.cut(Bound(normal, dot(normal, foot)))


def _where_zero(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a function falls through zero on the way from ``low`` to ``high`` (Illinois method)."""
    above, below = falling(low), falling(high)
    stayed = 0
    for _ in range(60):
        if below == 0.0 or abs(high - low) < _FINEST:
            break
        middle = low + (high - low) * above / (above - below)
        value = falling(middle)
        if abs(value) < _FINEST:
            return middle
        # An end that stays twice running pulls half as much, so that both close in.
        if value > 0:
            below /= 2 if stayed == 1 else 1
            low, above, stayed = middle, value, 1
        else:
            above /= 2 if stayed == -1 else 1
            high, below, stayed = middle, value, -1
    return high
