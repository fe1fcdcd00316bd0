"""The order of sewing: which units are joined to each other, and along which seam.

A unit is a piece or what an earlier join made.  Units are numbered: the pieces first,
as in the block, then the joins in the order in which they are sewn: a binary tree whose leaves
are the pieces.  A join is legal if both units are connected and their common boundary is one
connected line.  The pivots of that line are its bends, corners of more than a degree; a smooth
curve has none.  A seam with pivots is set in, one without is straight or curved.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeAlias

from piecewright.patchwork.block.model import Joins
from piecewright.patchwork.block.seams import PIVOT, Seams, Side
from piecewright.patchwork.block.wording import unit_name
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
class Join:
    """Two units, by their numbers, sewn along a seam."""

    first: int
    second: int
    seam: Seam


@dataclass(frozen=True, slots=True)
class Order:
    """All joins of a block, in an order in which they can be sewn.

    Attributes:
        pieces: how many pieces there are; join ``k`` makes the unit ``pieces + k``.
        joins: one fewer than there are pieces.
        sewn_by: for each edge of the block the number of the join that sews it, None
            at the outside.
        parents: for each unit the unit that it becomes part of, None for the whole block.
    """

    pieces: int
    joins: tuple[Join, ...]
    sewn_by: tuple[int | None, ...]
    parents: tuple[int | None, ...]


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
    turning = list(zip(sides, sides[1:], strict=False))
    if not ends:
        turning.append((sides[-1], sides[0]))
    pivots = tuple(seams.start(after) for before, after in turning if _bends(seams, before, after))
    curved = any(isinstance(seams.edges[s.edge].segment, Curve) for s in sides)
    kind: Kind = "set-in" if pivots else "curved" if curved else "straight"
    return Seam(tuple(sides), (start, point) if ends else None, pivots, kind)


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
    joins: list[Join] = []
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
            joins.append(Join(first, second, seam_along(seams, shared)))
        except BrokenSeam:
            # The two count as joined all the same, so that later joins are checked as well.
            faults.append(_illegal(seams, ids, pairs, k, places[k], shared))
    if faults:
        raise BlockError(faults)
    return Order(count, tuple(joins), tuple(sewn_by), tuple(parents))


def _illegal(
    seams: Seams,
    ids: Sequence[str],
    pairs: Sequence[tuple[int, int]],
    k: int,
    pointer: str,
    shared: Collection[int],
) -> Fault:
    first, second = (_named(ids, pairs, unit) for unit in pairs[k])
    if not shared:
        message = f"{first} and {second} share no edge, so they cannot be sewn to each other here"
        piece = next(_members(len(ids), pairs, pairs[k][1]))
        at = seams.points[seams.start(seams.sides[piece][0])]
    else:
        message = (
            f"{first} and {second} meet along several separate lines; "
            "join the pieces between them first, so that one seam is left"
        )
        at = seams.points[seams.edges[min(shared)].start]
    return Fault(pointer, "illegal-join", message, at)


def _members(count: int, pairs: Sequence[tuple[int, int]], unit: int) -> Iterator[int]:
    """The pieces of a unit of an order that may not be legal, first unit before second."""
    stack = [unit]
    while stack:
        unit = stack.pop()
        if unit < count:
            yield unit
        else:
            stack += reversed(pairs[unit - count])


def _named(ids: Sequence[str], pairs: Sequence[tuple[int, int]], unit: int) -> str:
    """A unit as a fault names it."""
    return unit_name([ids[i] for i in _members(len(ids), pairs, unit)], 4)


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
