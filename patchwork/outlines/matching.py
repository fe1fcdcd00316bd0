"""Matched corners: mitres cut so that no ear sticks out of a unit and raw edges end together.

The cut outline of a piece with ``matched-each`` corners has these properties:

* it is the piece's plain offset, from which only points are cut: the mitres of corners sharper than
  a right angle (others are whole, reflex corners have none);
* no point's mitre sticks out of the plain offset of a sewn unit that holds the piece;
* at both ends of every join's seam the raw edges of the two units end together when they are laid
  right sides together, within ``VISIBLE`` along the seam, unless the one that reaches further is
  that of a corner that stays whole;
* the whole allowance stays along every finished edge: the strip straight out from it, between its
  two ends.  This comes before the others: an ear is not cut where that would take from it, and a
  raw edge is cut back no further.  Ends that therefore do not meet are a ``Mismatch``, too;
* cuts are straight, and each works at its own corner only, so a convex piece stays convex.

What ``matched`` makes of these for like pieces is said in ``patchwork.outlines.template_choice``.

Ears come first.  Round each point of the block the joins put corners together to ever wider runs.
Each run is a unit there, and its own two outer raw edges cut every mitre inside it.  A long mitre
can stick out of a unit elsewhere too; ``patchwork.outlines.dog_ears`` sees to that.

After that the two mitres at each seam's end are compared: the one whose raw edge reaches further
is cut by the mirror image, in the seam line, of the half-plane at which the other one ends.
That may move the raw edge on the mitre's far side, so it is repeated until all agree.  It ends:
a cut nearer to one side than all others leaves the other side's end alone, so each mitre
passes a change on at most once.

Each point costs what its own corners cost, and its joins are sorted once.  Blocks repeat
themselves, at every size: what becomes of the mitres of a run follows from the directions and
allowances of its edges and the order in which they are sewn (its ``_Pattern``).  So it is worked
out once for all runs that agree in these exactly, and cached for the next block.  Where edges are
curves, they have to agree as well, as they are seen from the point.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    Vector,
    dot,
    minus,
    normalised,
    outward,
)
from piecewright.patchwork.outlines.dog_ears import cut_ears
from piecewright.patchwork.outlines.mitres import AGREED, HalfPlane, Mitre, MitreKey, meeting_point

_ROUNDS = 100
"""How often the seam ends round one point are compared before they are given up as they are.

Each round passes changes on to all neighbours, so it takes about as many as corners meet there.
"""

VISIBLE = 0.002
"""Inches along a seam within which raw edges count as ending together: half the tolerance within
which two points of a block are one, and less than an eye sees."""

_CACHED = 20_000
"""Patterns of which the cut mitres are cached: those of some fifty large blocks."""

_FINEST = 1e-14
"""Inches, and of a curve's parameter; a crossing is found as closely as floating point has it."""

_STRIDES = 4
"""Into how many parts of a curve, at least, the search for where its raw edge leaves a mitre falls.

A curve that is all but straight falls into one part by its flatness alone.
"""


Cause: TypeAlias = Literal["allowance", "whole-corner", "shared-shape", "runs-on"]
"""Why raw edges do not end together: trimming further would take allowance; the corner that
reaches further is no point, so that it stays whole; like pieces are cut alike; one edge runs on."""


@dataclass(frozen=True, slots=True)
class SeamEnd:
    """An end of a join's seam, by the two mitres there.

    Attributes:
        point: where, a point number.
        arriving, leaving: the corner that arrives along the seam, and the one on its other side
            that leaves along it.
    """

    point: int
    join: int
    arriving: MitreKey
    leaving: MitreKey


@dataclass(frozen=True, slots=True)
class Mismatch:
    """A seam's end at which raw edges do not end together.

    Attributes:
        point: where, a point number.
        join: the join whose seam ends there.
        by: by how much (inches) the tip of ``piece`` stands out beyond the other raw edge;
            negative where it stays back, infinite where it runs on.
        cause: why that is so.
        longer: the piece that reaches further.
        until: how far (inches) past the point the other one's raw edge goes on.
    """

    point: int
    join: int
    by: float
    piece: int
    cause: Cause
    longer: int
    until: float


_Pattern: TypeAlias = tuple[
    tuple[tuple[Vector, Vector, float, float, float], ...], tuple[tuple[int, int], ...]
]
"""All that the mitres of a run without curves depend on: for each corner what its ``Mitre`` takes;
and (rank, i) for the joins in the order of sewing, which sew the edge between corners i and i + 1.
A join that sews two of the edges has one rank."""


_Curves: TypeAlias = tuple[tuple[Curve | None, Curve | None], ...]
"""For each corner of a run its arriving and its leaving edge as they are seen from the point, None
for straight ones; empty where all are."""


@dataclass(frozen=True, slots=True)
class _Run:
    """A run of corners round a point.

    Attributes:
        curves: its curved edges, of which the pattern says only how they begin.
        joins: the numbers of the joins that sew it together there, by rank.
        keys: those of the corners' mitres.
    """

    point: int
    pattern: _Pattern
    curves: _Curves
    joins: Sequence[int]
    keys: Sequence[MitreKey]

    def end(self, rank: int, i: int) -> SeamEnd:
        """The seam's end between corner ``i``, which arrives along it, and the next one."""
        keys = self.keys
        return SeamEnd(self.point, self.joins[rank], keys[i], keys[(i + 1) % len(keys)])


@dataclass(frozen=True, slots=True)
class Matched:
    """The mitres of all corners of a block, matched piece by piece.

    Runs of one pattern share their mitres, so none is to be cut any more.

    Attributes:
        mitres: so cut that raw edges end together.
        trimmed: the same when ears alone were cut.
        mismatches: what could not be matched.
        runs, cuts: round all points, and what became of the mitres of each.
    """

    mitres: dict[MitreKey, Mitre]
    trimmed: dict[MitreKey, Mitre]
    mismatches: tuple[Mismatch, ...]
    runs: Sequence[_Run]
    cuts: Sequence[_Cuts]

    def ends(self) -> list[SeamEnd]:
        """All ends of seams."""
        return [run.end(rank, i) for run in self.runs for i, rank in _seam_ends(run.pattern)]

    def mismatches_of(self, mitres: Mapping[MitreKey, Mitre]) -> tuple[Mismatch, ...]:
        """What does not match where some mitres are others than these."""
        found = (_mismatch(end, mitres, self.mitres) for end in self.ends())
        return tuple([one for one in found if one is not None])

    @property
    def signature(self) -> tuple[object, ...]:
        """What the mitres follow from, but for ears cut far from their corners.

        Runs of one pattern are known by what they share.
        """
        return tuple(
            [(cut, *run.keys, *run.joins) for run, cut in zip(self.runs, self.cuts, strict=True)]
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Cuts:
    """What becomes of a run's mitres; runs of one pattern have the same one.

    Attributes:
        mitres: so cut that none sticks out of a unit at the point itself.
        reach: of the longest of them, inches.
        ended: the same when raw edges end together too; of use where no ear was cut.
        gaps: the joins of which they still do not, by rank, with the number of the corner that
            arrives along the seam.
    """

    mitres: Sequence[Mitre]
    reach: float
    ended: Sequence[Mitre]
    gaps: Sequence[tuple[int, int]]


def match(seams: Seams, order: Order, widths: Sequence[float]) -> Matched:
    """The mitres of all corners of a block, cut as ``matched-each`` asks.

    Args:
        widths: the allowance of each edge, inches.
    """
    runs = list(_runs(seams, order, widths))
    cuts = [_in_runs(run.pattern, run.curves) for run in runs]
    mitres: dict[MitreKey, Mitre] = {}
    reach = [0.0] * len(seams.points)
    for run, cut in zip(runs, cuts, strict=True):
        mitres.update(zip(run.keys, cut.mitres, strict=True))
        reach[run.point] = max(reach[run.point], cut.reach)
    shortened = cut_ears(seams, order, widths, mitres, reach)
    trimmed = mitres.copy()
    mismatches: list[Mismatch] = []
    for run, cut in zip(runs, cuts, strict=True):
        # What the cache has for the run holds only where no ear was cut off it elsewhere.
        own, gaps = cut.ended, cut.gaps
        if run.point in shortened:
            own = [mitres[key].copy() for key in run.keys]
            gaps = _end_all_together(run.pattern, own)
        mitres.update(zip(run.keys, own, strict=True))
        for rank, i in gaps:
            mismatch = _mismatch(run.end(rank, i), mitres)
            assert mismatch is not None, "the very mitres between which there is a gap"
            mismatches.append(mismatch)
    return Matched(mitres, trimmed, tuple(mismatches), runs, cuts)


def _mismatch(
    end: SeamEnd, mitres: Mapping[MitreKey, Mitre], own: Mapping[MitreKey, Mitre] | None = None
) -> Mismatch | None:
    """What raw edges do not end together at a seam's end; None if they do.

    Args:
        own: the mitres that were matched piece by piece; left out, if ``mitres`` are these.
    """
    one, other = mitres[end.arriving], mitres[end.leaving]
    by = one.arriving_end - other.leaving_end
    if not abs(by) > VISIBLE:  # two that run on differ by no number at all
        return None
    (longer, _), mitre = (end.arriving, one) if by > 0 else (end.leaving, other)
    piece, size = longer, abs(by)
    cause: Cause = "allowance" if mitre.sharp else "whole-corner"
    if math.isinf(by):
        cause = "runs-on"
    elif own is not None:
        # The tip of that piece which is not as it would have been by itself, or is so by more.
        moved = abs(one.arriving_end - own[end.arriving].arriving_end)
        moved_other = abs(other.leaving_end - own[end.leaving].leaving_end)
        if max(moved, moved_other) > VISIBLE:
            cause = "shared-shape"
            piece = end.arriving[0] if moved >= moved_other else end.leaving[0]
            size = size if piece == longer else -size
    until = min(one.arriving_end, other.leaving_end)
    return Mismatch(end.point, end.join, size, piece, cause, longer, until)


def _runs(seams: Seams, order: Order, widths: Sequence[float]) -> Iterator[_Run]:
    """The runs of corners of a block, each with its pattern."""
    curved = {e for e, edge in enumerate(seams.edges) if isinstance(edge.segment, Curve)}
    sewn_by = order.sewn_by
    for point, runs in enumerate(seams.around):
        for run in runs:
            # The last corner's arriving edge closes the ring, or is the block's outside.
            sewn = [(sewn_by[c.arriving], i) for i, c in enumerate(run)]
            joined = sorted((join, i) for join, i in sewn if join is not None)
            # Ranks instead of the joins' numbers: runs sewn in the same order have one pattern.
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
            bent: _Curves = ()
            if curved and any(c.arriving in curved or c.leaving in curved for c in run):
                edges = {e for c in run for e in (c.arriving, c.leaving)}
                seen = {e: _seen(seams, e, seams.points[point]) for e in edges}
                bent = tuple([(seen[c.arriving], seen[c.leaving]) for c in run])
            yield _Run(point, (corners, tuple(ranked)), bent, joins, keys)


def _seen(seams: Seams, e: int, place: Point) -> Curve | None:
    """An edge seen from a point, if it is a curve."""
    edge = seams.edges[e].segment
    if not isinstance(edge, Curve):
        return None
    x, y = place
    controls = (edge.start, edge.handle1, edge.handle2, edge.end)
    return Curve(*[(px - x, py - y) for px, py in controls])


@lru_cache(_CACHED)
def _in_runs(pattern: _Pattern, curves: _Curves) -> _Cuts:
    """What becomes of the mitres of a run."""
    mitres = [Mitre(*corner) for corner in pattern[0]]
    numbers = {id(mitre): i for i, mitre in enumerate(mitres)}
    for unit_mitres in _units(pattern, mitres):
        # First as if the edges ran on straight along their tangents, then along the curves.
        _cut_to_unit(unit_mitres)
        if curves and sum(t.inner_angle for t in unit_mitres) <= 180.0 + 1e-6:
            first, last = (curves[numbers[id(t)]] for t in (unit_mitres[0], unit_mitres[-1]))
            _cut_to_curves(last[0], first[1], unit_mitres)
    return _cuts(pattern, mitres)


def _cuts(pattern: _Pattern, mitres: Sequence[Mitre]) -> _Cuts:
    """What becomes of mitres from which ears have been cut already."""
    reach = max((mitre.reach for mitre in mitres if mitre.sharp), default=0.0)
    ended = [mitre.copy() for mitre in mitres]
    return _Cuts(mitres, reach, ended, _end_all_together(pattern, ended))


# --- raw edges end together -------------------------------------------------------------------


def _seam_ends(pattern: _Pattern) -> list[tuple[int, int]]:
    """The edges at which seams end here, with the ranks of their joins."""
    joined = pattern[1]
    times = Counter(rank for rank, _ in joined)
    # A join that sews two edges here only passes through: its seam does not end here.
    return [(i, rank) for rank, i in joined if times[rank] == 1]


def _end_all_together(pattern: _Pattern, mitres: Sequence[Mitre]) -> list[tuple[int, int]]:
    """Cut the mitres; where they still do not match (see ``_Cuts.gaps``)."""
    seam_ends = _seam_ends(pattern)
    ends = [(mitres[i], mitres[(i + 1) % len(mitres)]) for i, _ in seam_ends]
    # A list, not ``any`` of a generator: every seam's end is compared in every round.
    for _ in range(_ROUNDS):
        cuts = [_end_together(arriving, leaving) for arriving, leaving in ends]
        if not any(cuts):
            break
    gaps = [a.arriving_end - b.leaving_end for a, b in ends]
    return [(rank, i) for (i, rank), by in zip(seam_ends, gaps, strict=True) if abs(by) > VISIBLE]


def _end_together(one: Mitre, other: Mitre) -> bool:
    """Compare two raw edges at a seam's end and cut the longer; whether that changed it.

    ``one`` arrives along the seam, ``other`` leaves along it, on its other side.
    """
    ahead = one.arriving_end - other.leaving_end
    if abs(ahead) <= AGREED:
        return False
    # The half-plane at which a raw edge ends is the one next to it in the chain.
    along = one.arrives
    if ahead > 0:
        return one.cut(one.moved_out(other.half_planes[-2].mirrored(along)))
    return other.cut(other.moved_out(one.half_planes[1].mirrored(along)))


# --- no ear sticks out of a unit: at the point itself -----------------------------------------


def _units(pattern: _Pattern, mitres: Sequence[Mitre]) -> Iterator[list[Mitre]]:
    """The units that the joins make round a point, by their mitres, as they are sewn."""
    joined, count = pattern[1], len(mitres)
    group = [[i] for i in range(count)]  # the corners of the unit that corner i is in, in order
    for k, (join, i) in enumerate(joined):
        first, second = group[i], group[(i + 1) % count]
        if first is not second:
            together = first + second
            for j in together:
                group[j] = together
        if k + 1 < len(joined) and joined[k + 1][0] == join:
            continue  # the same join sews another edge here
        # A join may sew two edges here, this one and the one before, and so make two groups. One
        # that an earlier join made is cut by the same lines again, which changes nothing.
        done = {id(g): g for g in (group[i], group[joined[k - 1][1]] if k else group[i])}
        for corners in done.values():
            # A unit that goes all the way round the point has no raw edge there to cut by.
            closed = len(corners) == count == len(joined)
            if len(corners) > 1 and not closed:
                yield [mitres[j] for j in corners]


def _cut_to_unit(mitres: Sequence[Mitre]) -> None:
    """Cut the mitres of a sewn unit's corners at one point to the unit's plain offset."""
    arriving, leaving = mitres[-1].half_planes[0], mitres[0].half_planes[-1]
    # At a convex corner (or a straight side) what lies beyond either raw edge is outside the unit.
    if sum(t.inner_angle for t in mitres) <= 180.0 + 1e-6:
        for mitre in mitres:
            for half_plane in (arriving, leaving):
                mitre.cut(half_plane)
        return
    # A reflex corner: only what lies beyond both raw edges is outside the unit.
    notch = meeting_point(arriving, leaving)
    for mitre in mitres:
        sticks_out = [x for x in mitre.rim() if arriving.excess(x) > AGREED < leaving.excess(x)]
        if mitre.sharp and (sticks_out or _covers(mitre, notch)):
            # One cut is enough to bring it behind a raw edge: the one that takes less.
            cuts = [b for b in (arriving, leaving) if mitre.keeps_allowance(b)]
            rim = mitre.rim()
            if cuts:
                mitre.cut(min(cuts, key=lambda b: max(b.excess(x) for x in rim)))


def _covers(mitre: Mitre, x: Vector) -> bool:
    """Whether a point seen from the corner lies inside the mitre, by more than rounding."""
    return all(b.excess(x) < -AGREED for b in mitre.half_planes) and (
        dot(x, mitre.arrives) > 0 > dot(x, mitre.leaves)
    )


def _cut_to_curves(ending: Curve | None, beginning: Curve | None, mitres: Sequence[Mitre]) -> None:
    """Cut mitres that stick out where a unit's outer side curves away from its tangent.

    The mitre lies beside the curve, beyond the foot of the tangent's half-plane on the curve's raw
    edge; a chord of that raw edge, from the foot to where the mitre leaves it, keeps it inside.

    Args:
        ending, beginning: the unit's outer edges, which end and begin at the mitres' place, seen
            from there; None for straight ones.
    """
    arriving, leaving = mitres[-1].half_planes[0], mitres[0].half_planes[-1]
    for mitre in mitres:
        if mitre is not mitres[-1] and ending is not None:
            _cut_to_curve(ending, mitre, arriving, at_end=True)
        if mitre is not mitres[0] and beginning is not None:
            _cut_to_curve(beginning, mitre, leaving, at_end=False)


def _cut_to_curve(curve: Curve, mitre: Mitre, tangent: HalfPlane, at_end: bool) -> None:
    """Cut one mitre along the chord.

    Args:
        tangent: the half-plane of the raw edge that would run on straight from the curve's end.
        at_end: whether the curve ends at the point, or begins there.
    """
    if tangent not in mitre.half_planes[1:-1]:
        return  # it took nothing from this mitre, so there is no foot to go on from
    k = mitre.half_planes.index(tangent)
    beside = mitre.half_planes[k - 1] if at_end else mitre.half_planes[k + 1]

    def raw_edge(t: float) -> Vector:
        # Straight out from the curve, written out: it is asked a dozen times for each mitre.
        (x, y), (dx, dy) = paths.point_at(curve, t), paths.tangent(curve, t)
        return (x + tangent.reach * dy, y - tangent.reach * dx)

    def inside(t: float) -> float:
        return -beside.excess(raw_edge(t))

    # Follow the raw edge from its foot, away from the point, to where it leaves the mitre.
    count = max(_STRIDES, paths.steps(curve, TOLERANCE))
    strides = [1 - k / count if at_end else k / count for k in range(count + 1)]
    if inside(strides[0]) <= AGREED:
        return
    far = next((i for i, t in enumerate(strides) if inside(t) < 0), None)
    leaves = strides[-1] if far is None else _where_zero(inside, *strides[far - 1 : far + 1])
    foot, crossing = raw_edge(strides[0]), raw_edge(leaves)
    chord = normalised(minus(foot, crossing) if at_end else minus(crossing, foot))
    normal = outward(chord)
    # Only where the curve bends toward the cloth does the chord take something from the mitre.
    if dot(normal, meeting_point(tangent, beside)) > dot(normal, foot) + AGREED:
        mitre.cut(HalfPlane(normal, dot(normal, foot)))


def _where_zero(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a function falls through zero on the way from ``low`` to ``high``.

    By the Illinois method: regula falsi that does not let one end stand still (M. Dowell and
    P. Jarratt, BIT 11, 1971).
    """
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
