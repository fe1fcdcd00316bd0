"""The order of sewing: which units are joined to each other, and along which seam.

A unit is a piece or what an earlier join made.  Units are numbered: the pieces first,
as in the block, then the joins in the order in which they are sewn: a binary tree whose leaves
are the pieces.  A join is legal if both units are connected and their common boundary is one
connected line.  The pivots of that line are its bends, corners of more than a degree; a smooth
curve has none.  A seam with pivots is set in, one without is straight or curved.

A line may end in a stretch that goes straight on from the end of an earlier straight seam, as where
four rectangles run round a square: the last of them also lies against the first.  That saves a
pivot (``block.partial_seams``): the earlier seam is *partial*, sewn from its other end to its
middle only; the later join sews what is left of its line, and then finishes the earlier seam and
the stretch in one.  At most one end of a seam stands open, and a join finishes one seam at most.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, TypeAlias

from piecewright.patchwork.block.join_faults import illegal_join
from piecewright.patchwork.block.model import Joins, Section
from piecewright.patchwork.block.seams import PIVOT, Seams, Side, travelled_back
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, distance, turn

Kind: TypeAlias = Literal["straight", "curved", "set-in"]


@dataclass(frozen=True, slots=True)
class Seam:
    """The line along which two units are sewn.

    Attributes:
        sides: its edges from one end to the other, as they are travelled.
        ends: the two end points, or None for a seam that closes on itself.
        pivots: the points at which it turns by more than a degree.
    """

    sides: tuple[Side, ...]
    ends: tuple[int, int] | None
    pivots: tuple[int, ...]
    kind: Kind


@dataclass(frozen=True, slots=True)
class Partial:
    """How a seam is left open at one end.

    Attributes:
        start: the end from which it is sewn, to its middle.
        open: the end that stands open.
        finished_by: the later join that finishes it.
    """

    start: int
    open: int
    finished_by: int


@dataclass(frozen=True, slots=True)
class Finishing:
    """What a join sews after its own seam: the rest of a partial one, and a stretch straight on.

    Attributes:
        join: the partial one.
        stretch: from the open end of that seam to the end of the later join's line.
        end: that end.
    """

    join: int
    stretch: tuple[Side, ...]
    end: int


@dataclass(frozen=True, slots=True)
class Join:
    """Two units, by their numbers, sewn along a seam.

    Attributes:
        seam: their common boundary without the stretch with which an earlier seam is finished.
        partial: how the seam is left open, if it is.
        finishes: the earlier seam that is finished, if one is.
    """

    first: int
    second: int
    seam: Seam
    partial: Partial | None = None
    finishes: Finishing | None = None

    @property
    def sewn(self) -> tuple[Side, ...]:
        """Its seam, and the stretch with which it finishes another: the whole common boundary."""
        return self.seam.sides + (() if self.finishes is None else self.finishes.stretch)


@dataclass(frozen=True, slots=True)
class Order:
    """All joins of a block, in an order in which they can be sewn.

    Attributes:
        pieces: how many pieces there are; join ``k`` makes the unit ``pieces + k``.
        joins: one fewer than there are pieces; fewer still where sections lie apart.
        sewn_by: for each edge of the block the number of the join that sews it, None
            at the outside.
        parents: for each unit the unit that it becomes part of, None for the whole block, or for
            each of its sections that lie apart.
        pressed_with: for each edge the join with whose seam it is pressed: the one that sews it,
            but for a stretch the partial one that is finished with it.
        on_first: for each edge its piece on the side of that join's first unit.
    """

    pieces: int
    joins: tuple[Join, ...]
    sewn_by: tuple[int | None, ...]
    parents: tuple[int | None, ...]
    pressed_with: tuple[int | None, ...]
    on_first: tuple[int | None, ...]

    def pressed_line(self, join: int) -> Seam:
        """All that is pressed to one side with a join: its seam, and a stretch that finishes it.

        A partial seam begins at the end from which it is sewn.
        """
        seam, partial = self.joins[join].seam, self.joins[join].partial
        if partial is None:
            return seam
        finishing = self.joins[partial.finished_by].finishes
        assert finishing is not None
        assert seam.ends is not None
        own = seam.sides
        if seam.ends[0] != partial.start:
            own = travelled_back(own)
        return Seam((*own, *finishing.stretch), (partial.start, finishing.end), (), "straight")


class BrokenSeam(ValueError):
    """The common boundary of two units is not one connected line."""


def seam_along(seams: Seams, edges: Collection[int]) -> Seam:
    """The seam that consists of ``edges``, in order from the end with the lower number.

    Raises:
        BrokenSeam: the edges are no single connected line.
    """
    # A line has two points at which one of its edges ends, a ring none, and at all others two do.
    at: dict[int, list[int]] = {}
    for e in edges:
        for point in (seams.edges[e].start, seams.edges[e].end):
            at.setdefault(point, []).append(e)
    ends = sorted(p for p, meeting in at.items() if len(meeting) == 1)
    if len(ends) not in (0, 2) or any(len(meeting) > 2 for meeting in at.values()) or not edges:
        raise BrokenSeam
    start = ends[0] if ends else seams.edges[min(edges)].start
    point, sides = start, []
    left = set(edges)
    while True:
        # On a ring the start offers two ways; the edge with the lower number is taken.
        onward = sorted(e for e in at[point] if e in left)
        if not onward:
            break
        side = Side(onward[0], seams.edges[onward[0]].start == point)
        left.discard(onward[0])
        sides.append(side)
        edge = seams.edges[side.edge]
        point = edge.end if side.forward else edge.start
    if left:  # a line and a ring beside it have two ends in all, too
        raise BrokenSeam
    return _seam(seams, sides, (start, point) if ends else None)


def _seam(seams: Seams, sides: Sequence[Side], ends: tuple[int, int] | None) -> Seam:
    """The seam with these sides, as they are travelled."""
    turning = list(zip(sides, sides[1:], strict=False))
    if not ends:
        turning.append((sides[-1], sides[0]))
    pivots = tuple(seams.start(after) for before, after in turning if _bends(seams, before, after))
    curved = any(isinstance(seams.edges[s.edge].segment, Curve) for s in sides)
    kind: Kind = "set-in" if pivots else "curved" if curved else "straight"
    return Seam(tuple(sides), ends, pivots, kind)


def _bends(seams: Seams, before: Side, after: Side) -> bool:
    return seam_bends(seams.segment(before), seams.segment(after))


def seam_bends(before: Segment, after: Segment) -> bool:
    """Whether a seam has a pivot between two of its edges.

    It turns by more than a degree there, and by more than the tolerance aside: a short
    edge may turn by several degrees only because its ends were put onto near points.
    """
    turns = abs(turn(paths.tangent(before, 1.0), paths.tangent(after, 0.0)))
    if turns <= PIVOT:
        return False
    # How far aside of the line between the edges' far ends the point lies: the height of a
    # triangle, with the sum of its two sides for its base (which is hardly shorter where the turn
    # is small, and where it is not the height is plain enough).
    one, other = distance(before.start, before.end), distance(after.start, after.end)
    aside = math.sin(math.radians(min(turns, 90.0))) * one * other / (one + other)
    return aside > TOLERANCE


def order_from(
    seams: Seams, ids: Sequence[str], joins: Joins, pointer: str = "/block/joins"
) -> Order:
    """The order given as nested pairs of piece ids, each exactly once.

    Args:
        ids: of the pieces, as in the block.
        pointer: to the joins in the request.

    Raises:
        BlockError: with a fault for every join that is not legal.
    """
    number = {name: i for i, name in enumerate(ids)}
    pairs: list[tuple[int, int]] = []
    places: list[str] = []
    # An explicit stack: a chain of joins nests deeper than Python's calls may.
    made: list[int] = []
    stack: list[tuple[Joins, str, bool]] = [(joins, pointer, False)]
    while stack:
        unit, here, ready = stack.pop()
        if isinstance(unit, str):
            made.append(number[unit])
        elif ready:
            second, first = made.pop(), made.pop()
            made.append(len(ids) + len(pairs))
            pairs.append((first, second))
            places.append(here)
        else:
            stack += [
                (unit, here, True),
                (unit[1], f"{here}/1", False),
                (unit[0], f"{here}/0", False),
            ]
    return _sewn(seams, ids, pairs, places)


def order_apart(
    seams: Seams, ids: Sequence[str], sections: Sequence[Section], pointer: str = "/block/sections"
) -> Order:
    """The order of sections that lie apart, each sewn by itself, piece after piece.

    It is no tree but several: all pieces that a section's last join holds have no join with others.

    Raises:
        BlockError: with a fault for every piece that has no one seam with those before it.
    """
    number = {name: i for i, name in enumerate(ids)}
    pairs: list[tuple[int, int]] = []
    places: list[str] = []
    for n, section in enumerate(sections):
        unit = number[section.order[0]]
        for k, name in enumerate(section.order[1:], 1):
            pairs.append((unit, number[name]))
            places.append(f"{pointer}/{n}/order/{k}")
            unit = len(ids) + len(pairs) - 1
    return _sewn(seams, ids, pairs, places)


def _sewn(
    seams: Seams,
    ids: Sequence[str],
    pairs: Sequence[tuple[int, int]],
    places: Sequence[str],
) -> Order:
    """Sew the pairs one after the other, each unit keeping the edges that are still open.

    The smaller set of open edges is always poured into the larger, so that all joins
    together take order n log n.
    """
    count = len(ids)
    open_edges: list[set[int]] = [{s.edge for s in own} for own in seams.sides]
    sewn_by: list[int | None] = [None] * len(seams.edges)
    parents: list[int | None] = [None] * (count + len(pairs))
    lines: list[Seam] = []
    faults: list[Fault] = []
    for k, (first, second) in enumerate(pairs):
        small, large = sorted((open_edges[first], open_edges[second]), key=len)
        # An edge that both have open lies between them, and is open no more.
        shared = small & large
        large ^= small
        open_edges.append(large)
        open_edges[first] = open_edges[second] = set()
        parents[first] = parents[second] = count + k
        for e in shared:
            sewn_by[e] = k
        try:
            lines.append(seam_along(seams, shared))
        except BrokenSeam:
            # The two count as joined all the same, so that later joins are checked as well.
            faults.append(illegal_join(seams, ids, pairs, k, places[k], shared))
    if faults:
        raise BlockError(faults)
    joins = _with_partial_seams(seams, pairs, lines, sewn_by)
    plain = Order(count, joins, tuple(sewn_by), tuple(parents), (), ())
    return _with_sides(seams, plain)


def _with_sides(seams: Seams, plain: Order) -> Order:
    """The order with what each edge is pressed with, and its piece on the first unit's side."""
    spans = Spans(plain)
    pressed_with = list(plain.sewn_by)
    on_first: list[int | None] = [None] * len(seams.edges)
    for k, join in enumerate(plain.joins):
        line = plain.pressed_line(k)
        # The first side of a pressed line lies between the two units, whatever comes after it.
        beside = seams.beside(line.sides[0])
        right_is_first = spans.holds(join.first, beside[0])
        for side in line.sides:
            right, left = seams.beside(side)
            pressed_with[side.edge] = k
            on_first[side.edge] = right if right_is_first else left
    return replace(plain, pressed_with=tuple(pressed_with), on_first=tuple(on_first))


@dataclass(frozen=True, slots=True)
class _Candidate:
    """An earlier seam that may be left open, to be finished with a later join.

    Attributes:
        join, partial: the later join and the earlier one.
        at: the open end, which is a pivot of the later join's whole line.
        stretch: of that line, from there to its end.
        end: that end.
        rest: the seam of the later join without the stretch.
    """

    join: int
    partial: int
    at: int
    stretch: tuple[Side, ...]
    end: int
    rest: Seam


def _with_partial_seams(
    seams: Seams,
    pairs: Sequence[tuple[int, int]],
    lines: Sequence[Seam],
    sewn_by: Sequence[int | None],
) -> tuple[Join, ...]:
    """The joins, with as many partial seams as save a pivot.

    Args:
        lines: the whole line of each join.
    """
    joins = [Join(*pair, line) for pair, line in zip(pairs, lines, strict=True)]
    for one in _chosen(lines, list(_candidates(seams, lines, sewn_by))):
        joins[one.join] = replace(
            joins[one.join],
            seam=one.rest,
            finishes=Finishing(one.partial, one.stretch, one.end),
        )
        # Its own seam is settled: partial seams are chosen in the order of the later joins.
        ends = joins[one.partial].seam.ends
        assert ends is not None
        start = ends[0] + ends[1] - one.at
        joins[one.partial] = replace(joins[one.partial], partial=Partial(start, one.at, one.join))
    return tuple(joins)


def _candidates(
    seams: Seams, lines: Sequence[Seam], sewn_by: Sequence[int | None]
) -> Iterator[_Candidate]:
    """Where lines end in a stretch straight on from an earlier seam, in the order of sewing."""
    at: dict[int, list[int]] = {}
    for line in lines:
        at.update((point, []) for point in line.pivots)
    for e, edge in enumerate(seams.edges):
        for point in (edge.start, edge.end):
            if point in at:
                at[point].append(e)
    for k, line in enumerate(lines):
        if line.ends is None or not line.pivots:
            continue
        back = travelled_back(line.sides)
        for sides, end in ((line.sides, line.ends[0]), (back, line.ends[1])):
            # From the line's end to its first bend, and then back again.
            count = next(n for n, s in enumerate(sides) if n and seams.start(s) in line.pivots)
            point = seams.start(sides[count])
            stretch = travelled_back(sides[:count])
            if any(isinstance(seams.edges[s.edge].segment, Curve) for s in stretch):
                continue
            earlier = _straight_back(seams, at[point], stretch[0], point)
            # Where the unit's outside touches the point some edge is sewn later, or never.
            sewn = [sewn_by[e] for e in at[point]]
            if earlier is not None and all(j is not None and j <= k for j in sewn):
                partial = sewn_by[earlier]
                assert partial is not None
                rest = seam_along(seams, [s.edge for s in sides[count:]])
                yield _Candidate(k, partial, point, stretch, end, rest)


def _straight_back(seams: Seams, edges: Sequence[int], onward: Side, point: int) -> int | None:
    """The edge at a point that runs on straightest into a side which leaves it, if any does."""
    after = seams.segment(onward)
    found = []
    for e in edges:
        arriving = seams.edges[e].segment
        if seams.edges[e].end != point:
            arriving = paths.reverse(arriving)
        if e != onward.edge and not seam_bends(arriving, after):
            turns = abs(turn(paths.tangent(arriving, 1.0), paths.tangent(after, 0.0)))
            found.append((round(turns, 6), e))
    return min(found)[1] if found else None


_FOLLOWED = 64
"""Choices of partial seams that are followed at once.

They fork only where two joins would finish one seam, or a join one of two; what forked is one again
when no later join regards it.  No block that anybody has drawn comes near."""


def _chosen(lines: Sequence[Seam], candidates: Sequence[_Candidate]) -> tuple[_Candidate, ...]:
    """The most candidates that go together: one for each join, and one for each earlier seam.

    The earlier seam has to be straight, without the stretch that it finishes itself.  By dynamic
    programming in the order of sewing: the seams that candidates leave open are settled before.
    """
    last_use: dict[int, int] = {}
    for number, one in enumerate(candidates):
        last_use[one.partial] = last_use[one.join] = number
    states: list[tuple[_Candidate, ...]] = [()]
    for number, one in enumerate(candidates):
        taken = [(*state, one) for state in states if _goes_with(lines, state, one)]
        best: dict[frozenset[_Candidate], tuple[_Candidate, ...]] = {}
        # What matters later: what is known of seams which a later candidate asks about.
        for state in (*taken, *states):
            key = frozenset(
                c for c in state if last_use[c.partial] > number or last_use[c.join] > number
            )
            if key not in best or len(best[key]) < len(state):
                best[key] = state
        states = sorted(best.values(), key=lambda state: -len(state))[:_FOLLOWED]
    return states[0]


def _goes_with(lines: Sequence[Seam], state: Sequence[_Candidate], one: _Candidate) -> bool:
    """Whether a candidate can be taken after others."""
    own = lines[one.partial]
    for other in state:
        if other.join == one.join or other.partial == one.partial:
            return False
        if other.join == one.partial:
            own = other.rest
    return own.kind == "straight" and own.ends is not None and one.at in own.ends


class Spans:
    """Which pieces are in which unit: a unit's pieces are consecutive in one row of all.

    The nested-set model of the tree of joins: two comparisons say whether a unit has a piece.

    Attributes:
        starts, ends: of each unit; it has the pieces ``p`` with
            ``starts[unit] <= starts[p] < ends[unit]``.
    """

    def __init__(self, order: Order) -> None:
        count = order.pieces
        sizes = [1] * count
        for join in order.joins:
            sizes.append(sizes[join.first] + sizes[join.second])
        self.starts = [0] * len(sizes)
        taken = 0
        for unit, parent in enumerate(order.parents):
            if parent is None:
                self.starts[unit] = taken
                taken += sizes[unit]
        # From the whole block down: a unit's start is known before its parts ask for it.
        for k in range(len(order.joins) - 1, -1, -1):
            join = order.joins[k]
            self.starts[join.first] = self.starts[count + k]
            self.starts[join.second] = self.starts[count + k] + sizes[join.first]
        self.ends = [start + size for start, size in zip(self.starts, sizes, strict=True)]
        self._count = count

    def holds(self, unit: int, piece: int | None) -> bool:
        """Whether a piece is one of the unit's."""
        return piece is not None and self.starts[unit] <= self.starts[piece] < self.ends[unit]

    def pieces(self, unit: int) -> list[int]:
        """The pieces of a unit, first unit before second."""
        return self._row[self.starts[unit] : self.ends[unit]]

    @cached_property
    def _row(self) -> list[int]:
        return sorted(range(self._count), key=self.starts.__getitem__)


def nested(order: Order, ids: Sequence[str]) -> Joins:
    """The order as nested pairs of piece ids, as ``order_from`` takes them."""
    units: list[Joins] = list(ids)
    for join in order.joins:
        units.append((units[join.first], units[join.second]))
    return units[-1]


def renamed(joins: Joins, name: Callable[[str], Joins]) -> Joins:
    """An order of sewing with something else in place of each of its ids.

    >>> renamed((("a", "b"), "c"), {"a": "x", "b": ("y", "z"), "c": "c"}.__getitem__)
    (('x', ('y', 'z')), 'c')
    """
    # An explicit stack: a chain of joins nests deeper than Python's calls may.
    made: list[Joins] = []
    stack: list[Joins | None] = [joins]
    while stack:
        unit = stack.pop()
        if isinstance(unit, str):
            made.append(name(unit))
        elif unit is not None:
            stack += [None, unit[1], unit[0]]
        else:
            second, first = made.pop(), made.pop()
            made.append((first, second))
    return made[-1]
