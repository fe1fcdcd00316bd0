"""Matched corners: tips cut so that no ear sticks out of a unit and raw edges end together.

Round each point of the block the joins put corners together to ever wider runs.  Each
run is a unit there, and its own two outer raw edges cut every tip inside it.  A long tip can
stick out of a unit elsewhere too; ``patchwork.ears`` sees to that.

After that the two tips at each seam's end are compared: the one whose raw edge reaches further
is cut by the mirror image, in the seam line, of the bound at which the other one ends.
That may move the raw edge on the tip's far side, so it is repeated until all agree.  It ends:
a cut nearer to one side than all others leaves the other side's end alone, so each tip
passes a change on at most once.

Each point costs what its own corners cost, and its joins are sorted once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from patchwork import paths
from patchwork.ears import cut_ears
from patchwork.joins import Order
from patchwork.paths import Line
from patchwork.points import Vector, dot, minus, outward, plus, unit
from patchwork.seams import Corner, Seams
from patchwork.tips import AGREED, Bound, Tip, TipKey, meeting_point

_ROUNDS = 100
"""How often the seam ends round one point are compared before they are given up as they are."""

_VISIBLE = 0.002
"""Inches along a seam within which raw edges count as ending together (contract, section 4)."""


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
    cut_ears(seams, order, widths, tips)
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

    def beyond(x: Vector) -> float:
        return paths.nearest(segment, plus(tip.place, x))[1] - bound.reach

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
