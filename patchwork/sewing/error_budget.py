"""An error budget: how far off sewn units and their meeting points are, at worst and likely.

The model
---------
*What is off.*  Every cut edge of a piece (a straight side or a smooth curve is one cut) lies
aside of its place by a deviation of its own, up to ``cutting``.  Every seam is sewn wider or
narrower than its allowance by a deviation of its own, up to ``sewing``, the same all along the
seam and taken from both of its units.  All of these are independent of each other.

*How it adds up.*  Units are measured straight across.  A line across a unit runs through
pieces and seams.  A cut that was sewn adds its deviation, and a seam takes its own away twice,
once from each unit: so much farther apart or nearer together are its two sides, and a seam that
lies aslant moves them by that much across itself, along the line by the sine of its angle times
as much.  A raw edge at which the line enters or leaves the unit adds its deviation over the sine.
Cloth gives, so each line across is off by what lies on it alone.  A rectangle is measured along
both of its sides, wherever it is off the most; any other unit along its last seam, and square to
that seam near its middle.

*Meeting points.*  Two units are laid together with their raw edges even at both ends of the
seam, and what one is longer is eased in evenly along it.  Where an earlier seam arrives at
a point from each unit, the mismatch is how far apart the two then lie along the seam; of several
that arrive, of the two that are likely farthest apart.  An arriving seam is off by what lies
before it, and by its own last cut and its width over the sine of its angle.  One that arrives
aslant is off, besides, by the cotangent times what the line of the later seam is off across: by
its own width and by the last cut of the raw edge there (common practice: a unit is cut one
allowance beyond its points).  Where a unit runs on beyond the end of the seam, it is laid there
by a mark as good as a cut.

*Trimming.*  A unit that is a rectangle is trimmed to its size as soon as it is sewn, centred on
what it is: each new edge has a deviation of its own, up to ``cutting``, and what was off in
its size is taken off its two sides in equal parts.  The seams inside stay where they are, so their
distance to the new edge is still off by half of what was off before.

*Worst and likely.*  At worst all deviations are as large as they may be and add up.  The likely
deviation is the root of the sum of their squares: if the deviations are normal and each stays
within what was given 19 times in 20 (1.96 standard deviations), so does the sum stay within
the likely one 19 times in 20.  That sizes of a chain add up like this is common practice in
tolerancing (root sum square).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from piecewright.patchwork.block.joins import Order, Seam, Spans
from piecewright.patchwork.block.seams import PIVOT, Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Vector, cross, dot
from piecewright.patchwork.sewing.crossings import crossings
from piecewright.patchwork.sewing.rectangles import Rectangle, unit_rectangles
from piecewright.patchwork.sewing.transects import MOST_ASLANT, Transect, Transects

CUTTING = 1 / 32
"""Inches; how far off a careful maker's cut is: a quarter of 1/8 in, the finest mark on most
rotary rulers."""

SEWING = 1 / 32
"""Inches; how far off the width of a careful maker's seam is: two threads of quilting cotton."""

SUFFERING = 3
"""How many points are named that will suffer first."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """Inches to either side: at worst, and 19 times in 20."""

    worst: float
    likely: float


@dataclass(frozen=True, slots=True)
class Compared:
    """A deviation where nothing is trimmed, and where each rectangle is as soon as it is sewn."""

    untrimmed: Deviation
    trimmed: Deviation


@dataclass(frozen=True, slots=True)
class UnitDeviation:
    """How far off the size of a sewn unit is.

    Attributes:
        join: the join that makes it.
        rectangle: whether it is one, and is trimmed.
        width, height: along a rectangle's own sides (see ``rectangles.Rectangle``); of another unit
            along its last seam and square to that. None where a line across meets a gap.
    """

    join: int
    rectangle: bool
    width: Compared | None
    height: Compared | None


@dataclass(frozen=True, slots=True)
class PointDeviation:
    """How far apart seams lie that should meet.

    Attributes:
        at: point number.
        join: the join that sews the seam on which they meet.
    """

    at: int
    join: int
    mismatch: Compared


@dataclass(frozen=True, slots=True)
class ErrorBudget:
    """The deviations of all units and meeting points of a block.

    Attributes:
        units: in the order of sewing.
        points: the meeting points, in the order of sewing.
        first_to_suffer: at most three meeting points, the likeliest to be off first.
        first_to_suffer_trimmed: the same where each rectangle is trimmed.
    """

    cutting: float
    sewing: float
    units: tuple[UnitDeviation, ...]
    points: tuple[PointDeviation, ...]
    first_to_suffer: tuple[PointDeviation, ...]
    first_to_suffer_trimmed: tuple[PointDeviation, ...]


def error_budget(
    seams: Seams, order: Order, cutting: float = CUTTING, sewing: float = SEWING
) -> ErrorBudget:
    """How far off a block at finished size will be, with these deviations (inches)."""
    ruler = _Ruler(seams, order, cutting, sewing)
    units = tuple(
        ruler.unit_deviation(k, rectangle)
        for k, rectangle in enumerate(ruler.rectangles[order.pieces :])
    )
    points = tuple(ruler.point_deviations())

    def worst_first(likely: Iterable[float]) -> tuple[PointDeviation, ...]:
        ranked = sorted(zip(likely, range(len(points)), strict=True), key=lambda r: (-r[0], r[1]))
        return tuple(points[i] for _, i in ranked[:SUFFERING])

    return ErrorBudget(
        cutting,
        sewing,
        units,
        points,
        worst_first(round(p.mismatch.untrimmed.likely, 9) for p in points),
        worst_first(round(p.mismatch.trimmed.likely, 9) for p in points),
    )


# --- sums of deviations ----------------------------------------------------------------------

Sum: TypeAlias = dict[int, float]
"""How often each deviation counts in a length, by the number of the deviation."""


def _plus(total: Sum, other: Sum, times: float = 1.0) -> Sum:
    found = dict(total)
    for number, count in other.items():
        found[number] = found.get(number, 0.0) + times * count
    return found


@dataclass(slots=True)
class _Stretch:
    """A part of a transect within one unit: how far its seams are off from where it enters.

    Attributes:
        start, stop: of its pieces.
        leaves: the number of the cut at which the transect leaves it.
        places: by the number of the edge along the transect.
        total: how far off the unit is along the transect.
    """

    unit: int
    start: int
    stop: int
    leaves: int
    places: dict[int, Sum]
    total: Sum


class _Ruler:
    """Measures transects of units: how far off the unit is, and the seams along it.

    Deviations are numbered: the cuts of the pieces, then the seams, then the two edges at which
    a transect enters and leaves each unit that is trimmed, then the edge along which that unit is
    sewn next.
    """

    def __init__(self, seams: Seams, order: Order, cutting: float, sewing: float) -> None:
        self.seams, self.order = seams, order
        self.cutting, self.sewing = cutting, sewing
        self.spans = Spans(order)
        self.cuts = _cuts(seams)
        self.seam_numbers = max(self.cuts.values(), default=0) + 1
        self.trim_numbers = self.seam_numbers + len(order.joins)
        self.along_numbers = self.trim_numbers + 2 * len(order.parents)
        self.rectangles = unit_rectangles(seams, order)
        self.trimmed_units = {
            u
            for u, rectangle in enumerate(self.rectangles)
            if rectangle is not None and u >= order.pieces
        }
        self.turned: dict[tuple[int, int, int], int] = {}
        for point, runs in enumerate(seams.around):
            for c in (c for run in runs for c in run):
                self.turned[c.piece, point, c.arriving] = c.leaving
                self.turned[c.piece, point, c.leaving] = c.arriving
        self.transects = Transects(seams)

    def deviation(self, total: Sum) -> Deviation:
        """The worst case and the root sum square of what a length counts together."""
        sizes = [
            abs(count)
            * (self.sewing if self.seam_numbers <= n < self.trim_numbers else self.cutting)
            for n, count in total.items()
        ]
        return Deviation(sum(sizes), math.hypot(*sizes))

    def measured(self, transect: Transect, unit_number: int, trim: bool) -> _Stretch:
        """A transect of a unit, put together from its pieces in the order of sewing."""
        # Stretches by where they start and by where they stop along the transect: those on both
        # sides of a sewn edge are found at once, whatever was sewn before.
        count = self.order.pieces
        stretches: dict[int, _Stretch] = {}
        stops: dict[int, _Stretch] = {}
        for i, piece in enumerate(transect.pieces):
            enters, leaves = (
                self.cuts[piece, transect.edges[i]],
                self.cuts[piece, transect.edges[i + 1]],
            )
            total = _plus({enters: transect.counts(i)}, {leaves: transect.counts(i + 1)})
            stretches[i] = stops[i + 1] = _Stretch(piece, i, i + 1, leaves, {}, total)
        # The edges that the transect crosses inside the unit, in the order in which they are sewn.
        sewn = sorted(
            ((self.order.sewn_by[e], i) for i, e in enumerate(transect.edges[1:-1], 1)),
            key=lambda s: (s[0] is None, s),
        )
        for join, i in sewn:
            assert join is not None
            before, after = stops.pop(i), stretches.pop(i)
            for part in (before, after):
                self._becomes_part(part, transect, count + join, trim)
            # The seam lies where the cut lies, less its own width, both over the sine along the
            # transect; the total has the cut's deviation already, the sine times.
            number, sine = self.seam_numbers + join, transect.sines[i]
            before.places[i] = _plus(
                before.total, {before.leaves: 1 / sine - sine, number: -1 / sine}
            )
            # It takes its width from both units; all beyond it moves by that.
            upto = _plus(before.total, {number: -2 * sine})
            before.places.update((k, _plus(upto, place)) for k, place in after.places.items())
            before.total = _plus(upto, after.total)
            before.stop, before.leaves = after.stop, after.leaves
            # What is sewn may take in more stretches of the same seam before it is trimmed.
            before.unit = count + join
            stops[before.stop] = before
        (whole,) = stretches.values()
        self._becomes_part(whole, transect, self.order.parents[unit_number], trim)
        return whole

    def _becomes_part(
        self, part: _Stretch, transect: Transect, parent: int | None, trim: bool
    ) -> None:
        """Trim a stretch as the units are trimmed that it is in, below the parent unit."""
        at: int | None = part.unit
        while at is not None and at != parent:
            if trim and at in self.trimmed_units:
                # Centred: half of what the size was off goes to each side, and both edges are new.
                enters = {self.trim_numbers + 2 * at: transect.counts(part.start)}
                part.leaves = self.trim_numbers + 2 * at + 1
                moved = _plus(enters, part.total, -0.5)
                part.places = {k: _plus(place, moved) for k, place in part.places.items()}
                part.total = _plus(enters, {part.leaves: transect.counts(part.stop)})
            part.unit = at
            at = self.order.parents[at]

    def compared(self, transect: Transect, unit_number: int) -> Compared:
        """How far off a unit is along a transect."""
        plain, trimmed = (
            self.deviation(self.measured(transect, unit_number, trim).total)
            for trim in (False, True)
        )
        return Compared(plain, trimmed)

    # --- units ---

    def unit_deviation(self, k: int, rectangle: Rectangle | None) -> UnitDeviation:
        made = self.order.pieces + k
        # A unit that is no rectangle has no sides to measure along: along its last seam, just
        # inside either of the two units, and square to it.
        if rectangle is None:
            beside = [
                self.compared(one.transect, made)
                for child in (self.order.joins[k].first, self.order.joins[k].second)
                if (one := self.along_seam(k, child, self.order.joins[k].seam)) is not None
            ]
            across = self.transects.through_seam(self.spans.pieces(made), self.order.joins[k])
            height = self.compared(across, made) if across is not None else None
            return UnitDeviation(k, False, _most(beside), height)
        both = [
            _most(
                self.compared(transect, made)
                for transect in self.transects.across(self.spans.pieces(made), along)
            )
            for along in (rectangle.along, rectangle.across)
        ]
        return UnitDeviation(k, True, both[0], both[1])

    # --- meeting points ---

    def point_deviations(self) -> Iterator[PointDeviation]:
        found: dict[tuple[int, int], list[tuple[_AlongSeam, list[_Stretch]]]] = {}
        for crossing in crossings(self.seams, self.order):
            if not crossing.meeting:
                continue
            # The transects along a seam serve all meetings on it; a stretch with which an earlier
            # one is finished is laid together by itself.
            join, key = self.order.joins[crossing.step], (crossing.step, crossing.along)
            seam = join.seam
            if join.finishes is not None and crossing.along != crossing.step:
                sides_along = join.finishes.stretch
                ends = (self.seams.start(sides_along[0]), join.finishes.end)
                if crossing.at == ends[0]:
                    continue  # an end, of the join's own seam too
                seam = Seam(sides_along, ends, (), "straight")
            if key not in found:
                found[key] = [
                    (one, [self.measured(one.transect, child, trim) for trim in (False, True)])
                    for child in (join.first, join.second)
                    if (one := self.along_seam(crossing.step, child, seam)) is not None
                ]
            sides = found[key]
            if len(sides) < 2:
                continue
            mismatch = _most(
                self._mismatch(sides, crossing.at, a, b)
                for a in sides[0][0].arrive.get(crossing.at, ())
                for b in sides[1][0].arrive.get(crossing.at, ())
            )
            if mismatch is not None:
                yield PointDeviation(crossing.at, crossing.step, mismatch)

    def _mismatch(
        self, sides: Sequence[tuple[_AlongSeam, list[_Stretch]]], point: int, a: int, b: int
    ) -> Compared:
        """How far apart the edges ``a`` and ``b`` along the two transects of a seam are."""
        plain, trimmed = (
            self.deviation(
                _plus(
                    self._eased(*sides[0], point, a, trim),
                    self._eased(*sides[1], point, b, trim),
                    -1.0,
                )
            )
            for trim in (False, True)
        )
        return Compared(plain, trimmed)

    def _eased(
        self, one: _AlongSeam, stretches: Sequence[_Stretch], point: int, place: int, trim: bool
    ) -> Sum:
        """How far off a seam arrives, once what its unit is too long is shared out along it."""
        stretch, lean = stretches[trim], one.leans[place]
        raw = one.raw[point]
        if trim and one.child in self.trimmed_units:
            raw = self.along_numbers + one.child
        own = {raw: -lean, self.seam_numbers + one.join: lean}
        return _plus(_plus(stretch.places[place], own), stretch.total, -one.shares[point])

    def along_seam(self, k: int, child: int, seam: Seam) -> _AlongSeam | None:
        """The transect along a seam that a join sews, just inside one of its two units.

        None for a seam that closes on itself, or where the unit has a gap along it.
        """
        if seam.ends is None:
            return None
        sides = seam.sides
        segments = [self.seams.segment(side) for side in sides]
        own: list[int] = []
        for side in sides:
            edge = self.seams.edges[side.edge]
            piece = edge.right if self.spans.holds(child, edge.right) else edge.left
            assert piece is not None
            own.append(piece)
        # It enters the unit at the seam's first end, by whatever edge of the unit leaves the
        # point there, and passes all that lies between that edge and the seam.
        start = [*self._fan(child, own[0], seam.ends[0], sides[0].edge)]
        edges = [e for e, _ in reversed(start)]
        pieces = [p for _, p in reversed(start)]
        first = paths.tangent(segments[0], 0.0)
        sines = [self._angle(e, seam.ends[0], first, i > 0)[0] for i, e in enumerate(edges)]
        arrive: dict[int, list[int]] = {}
        leans: dict[int, float] = {}
        raw: dict[int, int] = {}
        lengths = [0.0]
        for i in range(1, len(sides)):
            lengths.append(lengths[-1] + paths.run_length([segments[i - 1]]))
            point = self.seams.start(sides[i])
            along = paths.tangent(segments[i - 1], 1.0)
            raw[point] = self.cuts[own[i - 1], sides[i - 1].edge]
            # From the seam's edge before the point, about it, to the edge after it: what lies
            # between are the seams that arrive there.
            fan = [*self._fan(child, own[i - 1], point, sides[i - 1].edge)]
            if fan[-1][0] != sides[i].edge:
                return None
            arrive[point] = []
            for e, _ in fan[:-1]:
                sine, leans[len(edges)] = self._angle(e, point, along, True)
                arrive[point].append(len(edges))
                edges.append(e)
                sines.append(sine)
            pieces += [p for _, p in fan[1:]]
        length = lengths[-1] + paths.run_length([segments[-1]])
        last = paths.tangent(segments[-1], 1.0)
        stop = [*self._fan(child, own[-1], seam.ends[1], sides[-1].edge)]
        edges += [e for e, _ in stop]
        sines += [
            self._angle(e, seam.ends[1], last, i < len(stop))[0] for i, (e, _) in enumerate(stop, 1)
        ]
        pieces += [p for _, p in stop[1:]]
        shares = {
            self.seams.start(side): done / length for side, done in zip(sides, lengths, strict=True)
        }
        transect = Transect(tuple(pieces), tuple(edges), tuple(sines))
        return _AlongSeam(k, child, transect, arrive, leans, shares, raw)

    def _fan(self, child: int, piece: int, point: int, edge: int) -> Iterator[tuple[int, int]]:
        """The edges of a unit about a point from ``edge`` on, each with the piece before it.

        The last one is not sewn inside the unit.
        """
        while True:
            edge = self.turned[piece, point, edge]
            yield edge, piece
            both = self.seams.edges[edge]
            other = both.left if both.right == piece else both.right
            if other is None or not self.spans.holds(child, other):
                return
            piece = other

    def _angle(self, edge: int, point: int, along: Vector, sewn: bool) -> tuple[float, float]:
        """Sine and cotangent of the angle from a seam, at a point of it, to an edge there."""
        e = self.seams.edges[edge]
        leaving = e.segment if e.start == point else paths.reverse(e.segment)
        leaves = paths.tangent(leaving, 0.0)
        sine = abs(cross(leaves, along))
        # A raw edge that runs on along the seam is the end of the unit's side: the transect is laid
        # there by a mark, as good as a cut square to it.
        if sine < MOST_ASLANT and not sewn:
            return 1.0, 0.0
        sine = max(sine, MOST_ASLANT)
        return sine, dot(leaves, along) / sine


@dataclass(frozen=True, slots=True)
class _AlongSeam:
    """The transect along a seam, just inside one unit.

    Attributes:
        arrive: for points inside the seam, the places along the transect of the edges that arrive.
        leans: for each such place the cotangent of the angle from the seam onward to the edge.
        shares: how much of the seam's length lies before each point.
        raw: for each such point the number of the cut along the seam just before it.
    """

    join: int
    child: int
    transect: Transect
    arrive: dict[int, list[int]]
    leans: dict[int, float]
    shares: dict[int, float]
    raw: dict[int, int]


def _most(found: Iterable[Compared]) -> Compared | None:
    """The largest deviations of several places."""
    all_found = list(found)
    if not all_found:
        return None
    plain, trimmed = (
        Deviation(max(d.worst for d in own), max(d.likely for d in own))
        for own in ([c.untrimmed for c in all_found], [c.trimmed for c in all_found])
    )
    return Compared(plain, trimmed)


def _cuts(seams: Seams) -> dict[tuple[int, int], int]:
    """The number of the cut that makes each side, by piece and edge.

    Sides that run on into each other without a corner are cut in one.
    """
    cuts: dict[tuple[int, int], int] = {}
    number = 0
    for piece, sides in enumerate(seams.sides):
        segments = [seams.segment(s) for s in sides]
        bends = [
            abs(cross(paths.tangent(segments[i - 1], 1.0), paths.tangent(s, 0.0)))
            > math.sin(math.radians(PIVOT))
            or dot(paths.tangent(segments[i - 1], 1.0), paths.tangent(s, 0.0)) < 0
            for i, s in enumerate(segments)
        ]
        # Numbered from a corner on, so that no smooth run is broken where the outline starts; one
        # without a corner, such as a circle, is one cut.
        begin = bends.index(True) if any(bends) else 0
        for i in range(begin, begin + len(sides)):
            k = i % len(sides)
            if bends[k] or i == begin:
                number += 1
            cuts[piece, sides[k].edge] = number
    return cuts
