"""The order of sewing: which units are joined to each other, and along which seam.

A unit is a piece or what an earlier join made.  Units are numbered: the pieces first,
as in the block, then the joins in the order in which they are sewn.  A join is legal if
both units are connected and their common boundary is one connected line
(contract, section 5).
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from patchwork import paths
from patchwork.block import Block, Joins
from patchwork.faults import BlockError, Fault
from patchwork.paths import Curve, Segment
from patchwork.points import TOLERANCE, cross, distance, turn
from patchwork.seams import PIVOT, Seams, Side

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
    """Two units sewn along a seam."""

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
    """The seam that consists of ``edges``, in order.

    Raises:
        BrokenSeam: the edges are no single connected line.
    """
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
        onward = sorted(e for e in at[point] if e in left)
        if not onward:
            break
        side = Side(onward[0], seams.edges[onward[0]].start == point)
        left.discard(onward[0])
        sides.append(side)
        edge = seams.edges[side.edge]
        point = edge.end if side.forward else edge.start
    if left:
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
    one, other = distance(before.start, before.end), distance(after.start, after.end)
    aside = math.sin(math.radians(min(turns, 90.0))) * one * other / (one + other)
    return aside > TOLERANCE


def order_from(
    seams: Seams, ids: Sequence[str], joins: Joins, pointer: str = "/block/joins"
) -> Order:
    """The order given as nested pairs of piece ids, each exactly once.

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
        said = f"{first} and {second} share no edge, so they cannot be sewn to each other here"
        piece = next(_members(len(ids), pairs, pairs[k][1]))
        at = seams.points[seams.start(seams.sides[piece][0])]
    else:
        said = (
            f"{first} and {second} meet along several separate lines; "
            "join the pieces between them first, so that one seam is left"
        )
        at = seams.points[seams.edges[min(shared)].start]
    return Fault(pointer, "illegal-join", said, at)


def _members(count: int, pairs: Sequence[tuple[int, int]], unit: int) -> Iterator[int]:
    stack = [unit]
    while stack:
        unit = stack.pop()
        if unit < count:
            yield unit
        else:
            stack += reversed(pairs[unit - count])


def _named(ids: Sequence[str], pairs: Sequence[tuple[int, int]], unit: int) -> str:
    names = [ids[i] for i in _members(len(ids), pairs, unit)]
    shown = "+".join(names[:4])
    return f"unit {shown}{'+…' if len(names) > 4 else ''}" if len(names) > 1 else f"piece {shown}"


def members(order: Order, unit: int) -> list[int]:
    """The pieces of a unit, first unit before second."""
    return list(_members(order.pieces, [(j.first, j.second) for j in order.joins], unit))


def nested(order: Order, ids: Sequence[str]) -> Joins:
    """The order as nested pairs of piece ids."""
    units: list[Joins] = list(ids)
    for join in order.joins:
        units.append((units[join.first], units[join.second]))
    return units[-1]


def order_of(block: Block, seams: Seams) -> Order:
    """The order of sewing of a block: the one given, or else one worked out.

    Raises:
        BlockError: a given join is not legal, or no order can be worked out.
    """
    ids = [p.id for p in block.pieces]
    if block.joins is not None:
        return order_from(seams, ids, block.joins)
    return work_out_order(seams, ids)


# --- an order where none is given -----------------------------------------------------------


def work_out_order(seams: Seams, ids: Sequence[str]) -> Order:
    """An order of sewing for a block that has none.

    Straight through-cuts come first: a seam that runs straight from outside to
    outside divides a unit into two that are sewn last.  A unit without one (set-in
    or partial seams) is built up from its pieces, always by the join with the fewest
    pivots.

    Raises:
        BlockError: no legal join is left although several units are.
    """
    pairs: list[tuple[int, int]] = []
    count = len(seams.sides)
    made: list[int] = []
    # Each entry is a set of pieces to be divided, or the mark to join the last two made.
    stack: list[frozenset[int] | None] = [frozenset(range(count))]
    while stack:
        unit = stack.pop()
        if unit is None:
            second, first = made.pop(), made.pop()
            made.append(count + len(pairs))
            pairs.append((first, second))
        elif len(unit) == 1:
            made.extend(unit)
        elif (halves := _through_cut(seams, unit)) is not None:
            first_half, second_half = halves
            stack += [None, second_half, first_half]
        else:
            made.append(_built_up(seams, unit, pairs, ids))
    return _sewn(seams, ids, pairs, ["/block"] * len(pairs))


_TRIED = 12
"""Through-cuts nearest the middle of a unit that are tried for the most even halves."""


def _through_cut(
    seams: Seams, unit: frozenset[int]
) -> tuple[frozenset[int], frozenset[int]] | None:
    cuts = list(_smooth_lines(seams, unit))
    if not cuts:
        return None
    xs = [p for i in unit for p in (seams.points[seams.start(s)] for s in seams.sides[i])]
    middle = (
        (min(p[0] for p in xs) + max(p[0] for p in xs)) / 2,
        (min(p[1] for p in xs) + max(p[1] for p in xs)) / 2,
    )

    def rank(cut: list[int]) -> tuple[tuple[bool, bool], float]:
        half = seams.edges[cut[len(cut) // 2]]
        centre = paths.point_at(half.segment, 0.5)
        return _kind_of_line(seams, cut), round(distance(centre, middle), 6)

    best: tuple[frozenset[int], frozenset[int]] | None = None
    ranked = sorted(cuts, key=rank)
    for cut in ranked[:_TRIED]:
        if rank(cut)[0] != rank(ranked[0])[0]:
            break
        half = _reached(seams, unit, set(cut))
        other = unit - half
        if best is None or max(len(half), len(other)) < max(map(len, best)):
            best = (half, other) if min(half) < min(other) else (other, half)
    return best


def _kind_of_line(seams: Seams, cut: Sequence[int]) -> tuple[bool, bool]:
    """(curved, crooked): straight lines come first, then lines straight but for points that
    were put together (see ``seam_bends``), then curves."""
    segments = [seams.edges[e].segment for e in cut]
    ways = [paths.tangent(s, 0.5) for s in segments]
    crooked = any(
        math.sin(math.radians(PIVOT)) < abs(cross(one, other))
        for one, other in itertools.pairwise(ways)
    )
    return any(isinstance(s, Curve) for s in segments), crooked


def _smooth_lines(seams: Seams, unit: frozenset[int]) -> Iterator[list[int]]:
    """The seams that run without a pivot from outside to outside of a unit, as edges."""
    inner: dict[int, list[int]] = {}
    outside: set[int] = set()
    for i in unit:
        for side in seams.sides[i]:
            edge = seams.edges[side.edge]
            other = edge.left if edge.right == i else edge.right
            if other not in unit:
                outside |= {edge.start, edge.end}
            elif side.forward:
                inner.setdefault(edge.start, []).append(side.edge)
                inner.setdefault(edge.end, []).append(side.edge)
    walked: set[int] = set()
    for start in sorted(outside & inner.keys()):
        for first in inner[start]:
            if first in walked:
                continue
            cut, point = [first], start
            while True:
                edge = seams.edges[cut[-1]]
                forward = edge.start == point
                segment: Segment = edge.segment if forward else paths.reverse(edge.segment)
                point = edge.end if forward else edge.start
                if point in outside:
                    walked.add(cut[-1])
                    yield cut
                    break
                onward = _straight_on(seams, point, segment, inner[point])
                if onward is None or onward in cut:
                    break
                cut.append(onward)


def _straight_on(seams: Seams, point: int, arriving: Segment, choices: Iterable[int]) -> int | None:
    """The edge at a point that goes on from the arriving one without a pivot."""
    best: tuple[float, int] | None = None
    for e in choices:
        edge = seams.edges[e]
        leaving = edge.segment if edge.start == point else paths.reverse(edge.segment)
        turns = abs(turn(paths.tangent(arriving, 1.0), paths.tangent(leaving, 0.0)))
        if turns < 90.0 and not seam_bends(arriving, leaving):
            best = min(best or (turns, e), (turns, e))
    return best[1] if best else None


def _reached(seams: Seams, unit: frozenset[int], cut: set[int]) -> frozenset[int]:
    """The pieces of a unit that hang together with its first piece when ``cut`` is opened."""
    first = min(unit)
    found, stack = {first}, [first]
    while stack:
        i = stack.pop()
        for side in seams.sides[i]:
            if side.edge in cut:
                continue
            edge = seams.edges[side.edge]
            other = edge.left if edge.right == i else edge.right
            if other is not None and other in unit and other not in found:
                found.add(other)
                stack.append(other)
    return frozenset(found)


def _built_up(
    seams: Seams, unit: Iterable[int], pairs: list[tuple[int, int]], ids: Sequence[str]
) -> int:
    """Join the pieces of a unit, always by the join with the fewest pivots; its number."""
    count = len(seams.sides)
    shared: dict[int, dict[int, set[int]]] = {i: {} for i in unit}
    levels = dict.fromkeys(shared, 0)
    for e, edge in enumerate(seams.edges):
        if edge.left is not None and edge.right in shared and edge.left in shared:
            for a, b in ((edge.right, edge.left), (edge.left, edge.right)):
                shared[a].setdefault(b, set()).add(e)
    queue: list[tuple[int, bool, int, int, int]] = []

    def offer(a: int, b: int) -> None:
        try:
            seam = seam_along(seams, shared[a][b])
        except BrokenSeam:
            return
        level = max(levels[a], levels[b])
        heapq.heappush(
            queue, (len(seam.pivots), seam.kind != "straight", level, min(a, b), max(a, b))
        )

    for a, beside in shared.items():
        for b in beside:
            if a < b:
                offer(a, b)
    while len(shared) > 1:
        while queue and not (queue[0][3] in shared and queue[0][4] in shared):
            heapq.heappop(queue)
        if not queue:
            said = "no order of sewing was found for this block; give its joins"
            raise BlockError([Fault("/block", "no-order", said)])
        *_, a, b = heapq.heappop(queue)
        made = count + len(pairs)
        pairs.append((a, b))
        beside = shared.pop(a)
        for c, edges in shared.pop(b).items():
            beside.setdefault(c, set()).update(edges)
        beside.pop(a, None)
        beside.pop(b, None)
        levels[made] = max(levels[a], levels[b]) + 1
        shared[made] = beside
        for c, edges in beside.items():
            shared[c].pop(a, None)
            shared[c].pop(b, None)
            shared[c][made] = edges
        for c in beside:
            offer(made, c)
    return next(iter(shared))
