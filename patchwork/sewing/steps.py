"""The steps of sewing: what is joined to what, pressed which way, and how big it should then be.

A step is a join.  Its level is one more than that of the units it joins, pieces being at
level 0; all steps of one level can be sewn one after another without cutting the thread
(chain piecing).  Steps of a level that are the same but for their place are alike: a maker
sews the first of them as often as there are.

A sewn unit that is a rectangle, turned by whatever angle, is trimmed to its *unfinished* size:
the finished size and the allowance of each of its four sides, that of the edge where the side lies
at the outside of the block.  Log-cabin kinds, units that grow by single strips or triangles round a
centre, are squared up after each round (common practice), measured from the centre, so
that what is off in one round is not carried into the next.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Kind, Order, Seam, Spans
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    Vector,
    cross,
    distance,
    dot,
    minus,
    normalised,
)
from piecewright.patchwork.sewing.order import unit_levels
from piecewright.patchwork.sewing.pressing import Press

ALIKE = 0.01
"""Inches within which the corners of two steps must agree for them to be alike.

More than twice the ``TOLERANCE`` by which each of two corners may be off, and far less than what
a careful maker's cut is off (``error_budget.CUTTING``)."""

FEWEST_STRIPS = 4
"""A unit that has grown round its centre by fewer than this is not called a log cabin.

A round about a square centre has four."""


@dataclass(frozen=True, slots=True)
class Size:
    """Inches along a rectangle's own sides; ``width`` is the one nearer to level."""

    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A unit that is a rectangle, at finished size.

    Attributes:
        along: the direction of its width, within 45 degrees of +x; its height runs across that,
            clockwise.
        left, right: of its sides, along ``along``.
        top, bottom: of its sides, across it.
        sides: the edges of its left, top, right and bottom side.
    """

    along: Vector
    left: float
    top: float
    right: float
    bottom: float
    sides: tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...], tuple[int, ...]]

    @property
    def across(self) -> Vector:
        return (-self.along[1], self.along[0])


@dataclass(frozen=True, slots=True)
class Step:
    """One join, as a maker sews it.

    Attributes:
        join: its number in the order of sewing.
        units: the ids of the pieces of its first and its second unit.
        seam: points along it at finished size, curves as points.
        pivots: where to stop with the needle down and turn.
        unfinished: the size to trim the sewn unit to; None where it is no rectangle.
        level: from 1; its units were made at lower levels.
        like: the first join of the same level that is sewn just like this one; itself if
            none is before it.
    """

    join: int
    units: tuple[tuple[str, ...], tuple[str, ...]]
    seam: tuple[Point, ...]
    kind: Kind
    pivots: tuple[Point, ...]
    press: Press
    unfinished: Size | None
    level: int
    like: int


@dataclass(frozen=True, slots=True)
class Round:
    """A round of strips about a centre, and how to square up after it.

    Attributes:
        number: from 1.
        centre: the ids of the pieces in the middle.
        joins: those that sew its strips; the unit is squared up after the last.
        unfinished: the size to square up to; None where the unit is no rectangle.
        from_centre: from the middle of the centre to the raw edge on the left, above, on the right
            and below, along the unit's own sides.
    """

    number: int
    centre: tuple[str, ...]
    joins: tuple[int, ...]
    unfinished: Size | None
    from_centre: tuple[float, float, float, float] | None


@dataclass(frozen=True, slots=True)
class SewingSteps:
    """All steps of a block.

    Attributes:
        steps: in the order of sewing.
        batches: for each level the joins that can be sewn one after another.
        rounds: of units that grow round a centre, in the order of sewing.
    """

    steps: tuple[Step, ...]
    batches: tuple[tuple[int, ...], ...]
    rounds: tuple[Round, ...]


def sewing_steps(
    block: Block,
    seams: Seams,
    order: Order,
    directions: Sequence[Press],
    allowance: Allowance | None = None,
) -> SewingSteps:
    """The steps of a block at finished size.

    Args:
        directions: which way each join is pressed (``pressing.pressing_plan``).
        allowance: a quarter inch all round by default.
    """
    allowance = allowance or Allowance()
    spans = Spans(order)
    rectangles = unit_rectangles(seams, order)
    levels = unit_levels(order)
    like = _like(seams, order, directions, levels)
    steps = []
    for k, join in enumerate(order.joins):
        first, second = (
            tuple(block.pieces[i].id for i in spans.pieces(u)) for u in (join.first, join.second)
        )
        rectangle = rectangles[order.pieces + k]
        steps.append(
            Step(
                k,
                (first, second),
                tuple(seam_points(seams, join.seam)),
                join.seam.kind,
                tuple(seams.points[p] for p in join.seam.pivots),
                directions[k],
                unfinished(seams, rectangle, allowance) if rectangle else None,
                levels[order.pieces + k],
                like[k],
            )
        )
    last = max((s.level for s in steps), default=0)
    batches = [tuple(s.join for s in steps if s.level == n) for n in range(1, last + 1)]
    return SewingSteps(
        tuple(steps),
        tuple(batches),
        tuple(_rounds(block, seams, order, rectangles, allowance)),
    )


def seam_points(seams: Seams, seam: Seam) -> list[Point]:
    """Points along a seam, from one end to the other; a seam that closes repeats its first."""
    points: list[Point] = []
    for side in seam.sides:
        points += paths.flatten(seams.segment(side))
    return [*points, seams.segment(seam.sides[-1]).end]


# --- rectangles ------------------------------------------------------------------------------


def unit_rectangles(seams: Seams, order: Order) -> list[Rectangle | None]:
    """Each unit as a rectangle, pieces first; None for one that is no rectangle."""
    edges = _Edges(seams)
    # A unit's boundary is that of its two units, without the edges that both have.  Those of the
    # two are let go at once: a chain of n strips would keep order n squared edges otherwise.
    kept = [np.array(sorted({s.edge for s in sides})) for sides in seams.sides]
    areas = [paths.area([seams.segment(s) for s in sides]) for sides in seams.sides]
    found = [edges.rectangle(own, area) for own, area in zip(kept, areas, strict=True)]
    for join in order.joins:
        kept.append(np.setxor1d(kept[join.first], kept[join.second], assume_unique=True))
        kept[join.first] = kept[join.second] = _NONE
        areas.append(areas[join.first] + areas[join.second])
        found.append(edges.rectangle(kept[-1], areas[-1]))
    return found


_NONE = np.array([], dtype=np.int64)


class _Edges:
    """The edges of a block, in arrays: a chain of many strips has many long boundaries."""

    def __init__(self, seams: Seams) -> None:
        segments = [edge.segment for edge in seams.edges]
        self.starts = np.array([s.start for s in segments])
        self.ends = np.array([s.end for s in segments])
        self.lengths = np.array([round(distance(s.start, s.end), 6) for s in segments])
        self.curved = np.array([isinstance(s, Curve) for s in segments])

    def rectangle(self, boundary: NDArray[np.int64], area: float) -> Rectangle | None:
        """The unit with this boundary (edge numbers) as a rectangle, or None if it is none.

        Its corners may be off by the tolerance within which points are one point.
        """
        if self.curved[boundary].any():
            return None
        starts, ends = self.starts[boundary], self.ends[boundary]
        # A side of a rectangle gives its direction, the longest edge most exactly.  Lengths are
        # rounded, so that of equal edges it is the one with the lowest number everywhere.
        longest = self.lengths[boundary].argmax()
        (px, py), (qx, qy) = starts[longest].tolist(), ends[longest].tolist()
        degrees = math.degrees(math.atan2(qy - py, qx - px)) % 90.0
        if degrees >= 45.0 - 1e-6:
            degrees -= 90.0  # within 45 degrees of level; a square on its point leans upward
        along = (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
        if abs(degrees) < 1e-9:
            along = (1.0, 0.0)  # exactly, so that sizes of upright units are those of their points
        across = (-along[1], along[0])
        (from_x, to_x), (from_y, to_y) = (
            [p[:, 0] * way[0] + p[:, 1] * way[1] for p in (starts, ends)] for way in (along, across)
        )
        left, right = float(min(from_x.min(), to_x.min())), float(max(from_x.max(), to_x.max()))
        top, bottom = float(min(from_y.min(), to_y.min())), float(max(from_y.max(), to_y.max()))
        width, height = right - left, bottom - top
        # It fills its bounding box, but for a strip along the sides as wide as corners may be off.
        if abs(area - width * height) > 4 * TOLERANCE * (width + height):
            return None
        # Every edge lies along one of the sides; a short one at a corner counts once (``free``).
        sides = []
        free = np.ones(len(boundary), dtype=np.bool_)
        for one, other, place in (
            (from_x, to_x, left),
            (from_y, to_y, top),
            (from_x, to_x, right),
            (from_y, to_y, bottom),
        ):
            on = free & (abs(one - place) <= 2 * TOLERANCE) & (abs(other - place) <= 2 * TOLERANCE)
            free &= ~on
            sides.append(tuple(boundary[on].tolist()))
        if free.any() or not all(sides):
            return None
        a, b, c, d = sides
        return Rectangle(along, left, top, right, bottom, (a, b, c, d))


def unfinished(seams: Seams, rectangle: Rectangle, allowance: Allowance) -> Size:
    """The rectangle's size with the allowances of its sides."""
    left, top, right, bottom = side_allowances(seams, rectangle, allowance)
    return Size(
        rectangle.right - rectangle.left + left + right,
        rectangle.bottom - rectangle.top + top + bottom,
    )


def side_allowances(
    seams: Seams, rectangle: Rectangle, allowance: Allowance
) -> tuple[float, float, float, float]:
    """The allowance of the left, top, right and bottom side.

    A side that lies partly at the outside of the block has the larger of the two allowances.
    """
    left, top, right, bottom = (
        max(allowance.edge if seams.edges[e].left is None else allowance.seam for e in side)
        for side in rectangle.sides
    )
    return left, top, right, bottom


# --- steps that are alike --------------------------------------------------------------------


def _like(
    seams: Seams, order: Order, directions: Sequence[Press], levels: Sequence[int]
) -> list[int]:
    """For each join the first of its level that is sewn just like it.

    Both units must have the same pieces, turned but not flipped over, with the same seam
    between them, pressed toward the same one.  Fabrics may differ.
    """
    # Only steps of one level and with as many pieces on both sides are compared.
    spans = Spans(order)
    shapes = [_marks(seams, piece) for piece in range(order.pieces)]
    counts = [len(shape) for shape in shapes]
    kinds: list[tuple[int, ...]] = []
    for k, join in enumerate(order.joins):
        one, other = counts[join.first], counts[join.second]
        counts.append(one + other)
        kinds.append((levels[order.pieces + k], *sorted((one, other))))
    several = Counter(kinds)
    firsts: dict[tuple[int, ...], list[tuple[int, _Laid]]] = {}
    like = []
    for k, join in enumerate(order.joins):
        # One that is alone of its kind is like itself only: so are all that sew a long chain.
        if join.seam.ends is None or several[kinds[k]] == 1:
            like.append(k)
            continue
        # From which end of the seam a step is seen makes no difference to a maker.
        laid = _Laid.of(seams, order, spans, k, directions[k], shapes)
        turned = laid.turned()
        known = firsts.setdefault(kinds[k], [])
        for first, other_laid in known:
            if laid.agrees(other_laid) or turned.agrees(other_laid):
                like.append(first)
                break
        else:
            known.append((k, laid))
            like.append(k)
    return like


def _marks(seams: Seams, piece: int) -> list[Point]:
    """The corners and the middles of the sides of a piece, whatever its neighbours are."""
    outline = straightened(tuple(seams.segment(s) for s in seams.sides[piece]))
    return [p for s in outline for p in (s.start, paths.point_at(s, 0.5))]


@dataclass(frozen=True, slots=True)
class _Laid:
    """The marks of a step, laid so that its seam runs along +x from the origin.

    Attributes:
        right, left: the marks of the units on the two sides of the seam so laid.
        toward: the side that the seam is pressed toward, or open.
    """

    length: float
    right: tuple[Point, ...]
    left: tuple[Point, ...]
    toward: str

    @classmethod
    def of(
        cls,
        seams: Seams,
        order: Order,
        spans: Spans,
        k: int,
        press: Press,
        shapes: Sequence[list[Point]],
    ) -> _Laid:
        join = order.joins[k]
        assert join.seam.ends is not None
        side = join.seam.sides[0]
        start, end = (seams.points[p] for p in join.seam.ends)
        edge = seams.edges[side.edge]
        beside = edge.right if side.forward else edge.left
        first = spans.pieces(join.first)
        sides = [first, spans.pieces(join.second)]
        toward = {"first": "right", "second": "left", "open": "open"}[press]
        if not spans.holds(join.first, beside):
            sides.reverse()
            toward = {"right": "left", "left": "right", "open": "open"}[toward]
        along = normalised(minus(end, start))

        def laid(p: Point) -> Point:
            v = minus(p, start)
            return (dot(v, along), cross(along, v))

        right, left = (tuple(laid(p) for i in own for p in shapes[i]) for own in sides)
        return cls(distance(start, end), right, left, toward)

    def turned(self) -> _Laid:
        """The same step, seen from the other end of its seam."""
        right, left = (
            tuple((self.length - x, -y) for x, y in marks) for marks in (self.left, self.right)
        )
        toward = {"right": "left", "left": "right", "open": "open"}[self.toward]
        return _Laid(self.length, right, left, toward)

    def agrees(self, other: _Laid) -> bool:
        return (
            self.toward == other.toward
            and abs(self.length - other.length) <= ALIKE
            and _same_marks(self.right, other.right)
            and _same_marks(self.left, other.left)
        )


def _same_marks(marks: Sequence[Point], others: Sequence[Point]) -> bool:
    """Whether every mark has one of the others within reach, and there are as many."""
    if len(marks) != len(others):
        return False
    # Points in the cells of a grid, so that only those nearby are compared.
    cell = 2 * ALIKE
    near: dict[tuple[int, int], list[Point]] = {}
    for p in others:
        near.setdefault((math.floor(p[0] / cell), math.floor(p[1] / cell)), []).append(p)
    for p in marks:
        x, y = math.floor(p[0] / cell), math.floor(p[1] / cell)
        cells = ((x + i, y + j) for i in (0, -1, 1) for j in (0, -1, 1))
        if not any(distance(p, q) <= ALIKE for c in cells for q in near.get(c, ())):
            return False
    return True


# --- rounds ----------------------------------------------------------------------------------


def _rounds(
    block: Block,
    seams: Seams,
    order: Order,
    rectangles: Sequence[Rectangle | None],
    allowance: Allowance,
) -> Iterator[Round]:
    """The rounds of every unit that grows by single pieces, with straight seams, round a centre."""
    spans = Spans(order)
    for chain in _chains(order):
        first = order.joins[chain[0]]
        # The chain begins with a unit and a piece that is added to it, or with two pieces, of
        # which either may be the centre.
        centres = [u for u in (first.first, first.second) if u < order.pieces]
        if len(centres) == 1:
            centres = [first.first + first.second - centres[0]]
        around = {c: _boundary(seams, spans.pieces(c)) for c in centres}
        grown = [_grown(seams, order, around[c], chain, c) for c in centres]
        rounds, centre = min(
            zip(grown, centres, strict=True), key=lambda g: _rank(order, around[g[1]], g[0])
        )
        if sum(map(len, rounds)) < FEWEST_STRIPS:
            continue
        squared = [rectangles[order.pieces + joins[-1]] is not None for joins in rounds]
        # Two triangles beside a third, a flying goose, are no round.
        gooselike = any(len(own) == 2 and not ok for own, ok in zip(rounds, squared, strict=True))
        if gooselike or not any(squared):
            continue
        ids = tuple(block.pieces[i].id for i in spans.pieces(centre))
        corners = [
            p for i in spans.pieces(centre) for s in seams.sides[i] for p in _ends(seams, s.edge)
        ]
        for number, joins in enumerate(rounds, 1):
            rectangle = rectangles[order.pieces + joins[-1]]
            if rectangle is None:
                yield Round(number, ids, joins, None, None)
                continue
            # From the middle of the centre's bounding box, along the unit's own sides.
            xs = [dot(p, rectangle.along) for p in corners]
            ys = [dot(p, rectangle.across) for p in corners]
            x, y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
            left, top, right, bottom = side_allowances(seams, rectangle, allowance)
            yield Round(
                number,
                ids,
                joins,
                unfinished(seams, rectangle, allowance),
                (
                    x - rectangle.left + left,
                    y - rectangle.top + top,
                    rectangle.right - x + right,
                    rectangle.bottom - y + bottom,
                ),
            )


def _boundary(seams: Seams, pieces: Iterable[int]) -> set[int]:
    """The edges round some pieces."""
    edges: set[int] = set()
    for piece in pieces:
        edges ^= {s.edge for s in seams.sides[piece]}
    return edges


def _ends(seams: Seams, edge: int) -> tuple[Point, Point]:
    return seams.edges[edge].segment.start, seams.edges[edge].segment.end


def _chains(order: Order) -> Iterator[list[int]]:
    """Joins that each add one piece with a straight seam to what the one before made."""

    def adds(k: int) -> bool:
        join = order.joins[k]
        return min(join.first, join.second) < order.pieces and join.seam.kind == "straight"

    for k, join in enumerate(order.joins):
        made = max(join.first, join.second)
        # A chain starts where the larger unit was not itself made by adding one piece.
        if not adds(k) or (made >= order.pieces and adds(made - order.pieces)):
            continue
        chain = [k]
        while (parent := order.parents[order.pieces + chain[-1]]) is not None:
            if not adds(parent - order.pieces):
                break
            chain.append(parent - order.pieces)
        yield chain


def _rank(
    order: Order, around: Iterable[int], rounds: Sequence[tuple[int, ...]]
) -> tuple[int, int]:
    """Lower for that one of two pieces which is rather the centre of what grows from them.

    Each strip of the first round lies along the centre, and of two such pieces the
    centre is enclosed first; where strips come in mixed order, more lie along the centre.

    Args:
        around: the edges round the piece.
    """
    if not rounds:
        return 2, 0
    along = {order.sewn_by[e] for e in around}.intersection(rounds[0])
    return (0, rounds[0][-1]) if len(along) == len(rounds[0]) else (1, -len(along))


def _grown(
    seams: Seams, order: Order, around: Iterable[int], chain: Sequence[int], centre: int
) -> list[tuple[int, ...]]:
    """The complete rounds about a centre: each encloses all sides that ever get a strip.

    Strips on one pair of opposite sides alone make a row and not a round.

    Args:
        around: the edges round the centre.
    """
    rounds: list[tuple[int, ...]] = []
    left = list(chain)
    boundary = set(around)
    while left:
        # The round ends with the last strip of those that are sewn to what is there now.
        inside = set(left)
        sewn = {order.sewn_by[e]: e for e in sorted(boundary) if order.sewn_by[e] in inside}
        ways = [normalised(minus(*_ends(seams, e))) for e in sewn.values()]
        # A row: strips on parallel sides alone, within about a degree (its sine is 0.017).
        if all(abs(cross(u, v)) < 0.02 for u in ways[:1] for v in ways):
            break
        last = max(k for k in sewn if k is not None)
        rounds.append(tuple(k for k in left if k <= last))
        left = [k for k in left if k > last]
        strips = (u for k in rounds[-1] for u in (order.joins[k].first, order.joins[k].second))
        boundary ^= _boundary(seams, (u for u in strips if u < order.pieces and u != centre))
    return rounds
