"""Seams that are alike: a maker sews them in the same way, and wants to press them in the same way.

Two seams are alike if a turn carries the one, and all pieces that lie along it, onto the other and
its pieces; where no turn does, a flip.  Fabrics do not count.  They are pressed alike if what
carries the one onto the other carries the side too to which it is pressed: so the seams of a fan
are pressed alike if all go one way round, and the two seams of a goose (which only a flip lays onto
each other) if both go away from it, or both toward it.

A partial seam and what it is finished with are one.

Two squares look the same after a half turn, which exchanges the sides of the seam between them:
such seams are pressed alike whichever way they go.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import accumulate, pairwise, product
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.block.joins import Order, Seam, seam_bends
from piecewright.patchwork.block.seams import Seams, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Segment
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    Vector,
    between,
    cross,
    distance,
    dot,
    minus,
    normalised,
)
from piecewright.patchwork.sewing.crossings import Press

NEAR: Final = 4 * TOLERANCE
"""Inches within which corners agree: the two ends of a seam, from which they are measured, and the
corners may each be off by the tolerance within which points are one point."""

_Marks: TypeAlias = tuple[Point, ...]
_Side: TypeAlias = Literal["right", "left"]


@dataclass(frozen=True, slots=True)
class AlikeSeams:
    """Seams that are all alike.

    Attributes:
        joins: those that sew them, in the order of sewing.
        first: for each join whether it is pressed like the others to the one side of the class
            when it is pressed toward its first unit (and to the other side toward its second).
        either: whether they are pressed alike whichever way they go.
    """

    joins: tuple[int, ...]
    first: tuple[bool, ...]
    either: bool

    @property
    def pairs(self) -> int:
        """How many pairs there are."""
        return _pairs(len(self.joins))

    def pressed_alike(self, directions: Sequence[Press]) -> int:
        """How many pairs are pressed alike; two that are pressed open are."""
        opened = sum(directions[j] == "open" for j in self.joins)
        one_way = sum(
            (directions[j] == "first") == first
            for j, first in zip(self.joins, self.first, strict=True)
            if directions[j] != "open"
        )
        aside = len(self.joins) - opened
        if self.either:
            return _pairs(opened) + _pairs(aside)
        return _pairs(opened) + _pairs(one_way) + _pairs(aside - one_way)


def _pairs(count: int) -> int:
    return count * (count - 1) // 2


@dataclass(slots=True)
class _Known:
    """A class of alike seams, as far as it is known.

    Attributes:
        laid: its first seam.
        sizes: of that, how far apart its ends are, and the areas on its two sides, the smaller one
            first.
    """

    laid: _Laid
    sizes: tuple[float, ...]
    either: bool
    joins: list[int] = field(default_factory=list)
    first: list[bool] = field(default_factory=list)


def alike_seams(seams: Seams, order: Order) -> list[AlikeSeams]:
    """The seams of a block in classes of alike ones; those that are like no other are left out."""
    marks = [_marks(seams, piece) for piece in range(order.pieces)]
    areas = [paths.area([seams.segment(s) for s in own]) for own in seams.sides]
    rims = [paths.run_length([seams.segment(s) for s in own]) for own in seams.sides]
    # A turn or a flip keeps the corners on either side, the area of the cloth there, and how far
    # apart the ends are: only what has these in common is compared, and the first of each class are
    # sorted by the area on both sides.
    sorted_firsts: dict[tuple[tuple[int, ...], ...], list[tuple[float, int]]] = {}
    classes: list[_Known] = []
    for k in range(len(order.joins)):
        line = order.pressed_line(k)
        right, left = _pieces_along(seams, line)
        first_is_right = right[0] == order.on_first[line.sides[0].edge]
        length = 0.0
        if line.ends is not None:
            length = distance(*(seams.points[p] for p in line.ends))
        own_areas = sorted(sum(areas[i] for i in own) for own in (right, left))
        sizes = (length, *own_areas)
        key = tuple(sorted(tuple(sorted(len(marks[i]) for i in own)) for own in (right, left)))
        area = sum(own_areas)
        slack = NEAR * sum(rims[i] for i in (*right, *left))
        laid = _Laid(tuple(marks[i] for i in right), tuple(marks[i] for i in left))
        frames = tuple(_frames(seams, line))
        firsts = sorted_firsts.setdefault(key, [])
        near = slice(
            bisect_left(firsts, (area - slack, -1)),
            bisect_right(firsts, (area + slack, len(classes))),
        )
        for _, number in firsts[near]:
            known = classes[number]
            off = [abs(a - b) for a, b in zip(sizes, known.sizes, strict=True)]
            if off[0] > NEAR or max(off[1:]) > slack:
                continue
            sides = known.laid.carried(laid, frames)
            if sides:
                known.joins.append(k)
                known.first.append(first_is_right == (sides[0] == "right"))
                break
        else:
            # The first of its class lies as its seam is travelled.
            standard = laid.seen(frames[0], mirrored=False)
            insort(firsts, (area, len(classes)))
            either = len(standard.carried(laid, frames, flips=False)) == 2
            classes.append(_Known(standard, sizes, either, [k], [first_is_right]))
    return [
        AlikeSeams(tuple(known.joins), tuple(known.first), known.either)
        for known in classes
        if len(known.joins) > 1
    ]


def _marks(seams: Seams, piece: int) -> _Marks:
    """The corners of a piece in order, and points along its curved sides.

    Where its neighbours' seams end on a side it has no corner, nor where an arc is drawn as several
    curves: neither makes it another shape.
    """
    outline = straightened(tuple(seams.segment(s) for s in seams.sides[piece]))
    corners = [k for k, s in enumerate(outline) if seam_bends(outline[k - 1], s)]
    if not corners:
        # Without corners, as a disc is, it has no place to begin; the middle will do for one.
        xs, ys = zip(*paths.ring(outline), strict=True)
        return (((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2),)
    marks: list[Point] = []
    for k, after in zip(corners, [*corners[1:], corners[0] + len(outline)], strict=True):
        side = [outline[n % len(outline)] for n in range(k, after)]
        marks.append(side[0].start)
        if any(isinstance(s, Curve) for s in side):
            marks += _spaced(side)
    return tuple(marks)


def _spaced(side: Sequence[Segment]) -> Iterator[Point]:
    """Points a quarter, a half and three quarters of the way along a curved side."""
    points = [*(p for s in side for p in paths.flatten(s)), side[-1].end]
    lengths = [distance(p, q) for p, q in pairwise(points)]
    gone = list(accumulate(lengths, initial=0.0))
    for quarter in (1, 2, 3):
        at = gone[-1] * quarter / 4
        k = min(bisect_right(gone, at), len(lengths)) - 1
        yield between(points[k], points[k + 1], (at - gone[k]) / lengths[k])


def _pieces_along(seams: Seams, line: Seam) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The pieces along a seam on its right and on its left as it is travelled, each once."""
    rights: dict[int, None] = {}
    lefts: dict[int, None] = {}
    for side in line.sides:
        edge = seams.edges[side.edge]
        assert edge.left is not None, "a seam has a piece on either side"
        right, left = (edge.right, edge.left) if side.forward else (edge.left, edge.right)
        rights[right] = None
        lefts[left] = None
    return tuple(rights), tuple(lefts)


@dataclass(frozen=True, slots=True)
class _Frame:
    """From where a seam is seen.

    Attributes:
        origin: a point of it.
        along: the direction from there to the next one, or to the far end.
        back: whether it is travelled the other way than its sides are.
    """

    origin: Point
    along: Vector
    back: bool


def _frames(seams: Seams, line: Seam) -> Iterator[_Frame]:
    """The frames in which a seam may be seen: from either end, or where it has none all round."""
    if line.ends is not None:
        start, end = (seams.points[p] for p in line.ends)
        along = normalised(minus(end, start))
        yield _Frame(start, along, False)
        yield _Frame(end, (-along[0], -along[1]), True)
        return
    for side in line.sides:
        segment = seams.segment(side)
        along = normalised(minus(segment.end, segment.start))
        yield _Frame(segment.start, along, False)
        yield _Frame(segment.end, (-along[0], -along[1]), True)


@dataclass(frozen=True, slots=True)
class _Laid:
    """The marks of the pieces along a seam, on its two sides."""

    right: tuple[_Marks, ...]
    left: tuple[_Marks, ...]

    def seen(self, frame: _Frame, mirrored: bool) -> _Laid:
        """The same with the frame's origin at (0, 0) and the seam along +x, and then flipped."""
        sign = -1.0 if mirrored else 1.0

        def laid(p: Point) -> Point:
            v = minus(p, frame.origin)
            return (dot(v, frame.along), sign * cross(frame.along, v))

        right, left = (
            tuple(tuple(map(laid, marks)) for marks in own) for own in (self.right, self.left)
        )
        return _Laid(left, right) if frame.back != mirrored else _Laid(right, left)

    def carried(
        self, other: _Laid, frames: Sequence[_Frame], flips: bool = True
    ) -> tuple[_Side, ...]:
        """Onto which side of this seam the right side of another one can be carried.

        By turns; only where no turn carries the other one onto this, by flips.  Empty if none
        does, and both sides if either may be.

        Args:
            frames: of the other seam.
        """
        for mirrored in (False, True) if flips else (False,):
            sides: list[_Side] = []
            for frame in frames:
                side: _Side = "left" if frame.back != mirrored else "right"
                if side not in sides and self._agrees(other.seen(frame, mirrored)):
                    sides.append(side)
            if sides:
                return tuple(sides)
        return ()

    def _agrees(self, other: _Laid) -> bool:
        return _same_pieces(self.right, other.right) and _same_pieces(self.left, other.left)


def _same_pieces(pieces: Sequence[_Marks], others: Sequence[_Marks]) -> bool:
    """Whether each piece lies on another one."""
    if len(pieces) != len(others):
        return False
    # Pieces come in the order in which a seam passes them, one way or the other; where a seam
    # closes on itself it may begin with any of them.
    left = list(others)
    for piece in pieces:
        for i in range(len(left)) if len(left) < 3 else (0, -1, *range(1, len(left) - 1)):
            if _same_marks(piece, left[i]):
                del left[i]
                break
        else:
            return False
    return True


def _same_marks(marks: _Marks, others: _Marks) -> bool:
    """Whether two rings of marks agree, the one beginning anywhere, in one order or the other."""
    count = len(marks)
    if count != len(others):
        return False
    for shift, way in product(range(count), (1, -1)):
        if all(distance(p, others[(shift + way * i) % count]) <= NEAR for i, p in enumerate(marks)):
            return True
    return False
