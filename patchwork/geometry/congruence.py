"""Congruence of outlines: which shapes an isometry lays onto each other (one template for all).

Two shapes are congruent here if one can be turned, or flipped over and turned, so that its finished
and its cut outline lie on the other's, within tolerances.  A shape that is symmetric can be laid in
several ways: a square in eight, a rectangle in four.

Most pieces of a large block are copies of an earlier one, moved and not turned (translates).  What
that one is congruent to, the copy is too, by the same corners: it is compared with nothing but what
is new since.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, angle, distance, minus, turn

SMOOTH = 1.0
"""Degrees by which an outline may turn where a side goes on."""

CUT_TOLERANCE = 0.01
"""Inches within which cut outlines are the same: more than ``TOLERANCE``, as a sharp point carries
a small difference of its sides far."""


@dataclass(frozen=True, slots=True)
class Isometry:
    """An isometry of the plane: flipped left to right first, then turned, then moved.

    Attributes:
        turned: degrees clockwise as seen, about the origin.
        moved: inches.

    >>> Isometry(True, 0.0, (5.0, 0.0)).point((1.0, 2.0))
    (4.0, 2.0)
    """

    flipped: bool
    turned: float
    moved: Point

    def point(self, p: Point) -> Point:
        """Where a point comes to lie."""
        return self.points((p,))[0]

    def points(self, points: Iterable[Point]) -> list[Point]:
        """Where points come to lie."""
        cos, sin = math.cos(math.radians(self.turned)), math.sin(math.radians(self.turned))
        right, down = self.moved
        if self.flipped:
            points = [(-x, y) for x, y in points]
        return [(cos * x - sin * y + right, sin * x + cos * y + down) for x, y in points]

    def outline(self, outline: Outline) -> Outline:
        """The outline laid so; it still runs clockwise."""
        laid: list[Segment] = [
            Line(*self.points((s.start, s.end)))
            if isinstance(s, Line)
            else Curve(*self.points((s.start, s.handle1, s.handle2, s.end)))
            for s in outline
        ]
        return paths.reverse_outline(laid) if self.flipped else tuple(laid)

    def grain(self, grain: float) -> float:
        """The direction in which a grain line comes to lie, 0 <= degrees < 180."""
        return ((180.0 - grain if self.flipped else grain) + self.turned) % 180.0


@dataclass(frozen=True, slots=True)
class Shape:
    """A piece as a template sees it.

    Attributes:
        finished, cut: its outlines without and with allowance, clockwise.
        marked: the segments of the finished outline that begin at its corners; where it is left
            out, those at which it turns (``corners_of``).
    """

    finished: Outline
    cut: Outline
    marked: tuple[int, ...] | None = None

    @property
    def corners(self) -> list[Point]:
        """The corners of the finished outline."""
        marked = corners_of(self.finished) if self.marked is None else self.marked
        return [self.finished[k].start for k in marked]


class Way(NamedTuple):
    """A way in which a shape lies on one that it is congruent to; smaller comes first.

    Attributes:
        shift: the corner of the other on which the shape's first corner lies.
    """

    flipped: bool
    shift: int

    def corner(self, number: int, count: int) -> int:
        """The corner of the other on which the corner ``number`` of ``count`` lies.

        >>> [Way(True, 1).corner(i, 4) for i in range(4)]
        [1, 0, 3, 2]
        """
        return (self.shift - number if self.flipped else self.shift + number) % count

    def side(self, number: int, count: int) -> int:
        """The side of the other on which the side after the corner ``number`` lies."""
        return (self.corner(number, count) - self.flipped) % count


@dataclass(frozen=True, slots=True)
class Congruence:
    """The ways in which a shape lies on the first of its kind, the shape numbered ``first``."""

    first: int
    ways: tuple[Way, ...]


def congruences(shapes: Sequence[Shape]) -> tuple[Congruence, ...]:
    """For each shape the first one that it is congruent to: itself, if it is the first of a kind.

    Ways without flipping come first.

    >>> corner = paths.polygon([(0, 0), (2, 0), (0, 1)])
    >>> turned = Isometry(False, 90.0, (9.0, 0.0)).outline(corner)
    >>> congruences([Shape(o, o) for o in (corner, turned)])[1]
    Congruence(first=0, ways=(Way(flipped=False, shift=0),))
    """
    found: list[Congruence] = []
    firsts = _Firsts()
    # By what copies of a shape have in common: what it fits, of so many firsts.
    known: dict[tuple[float | None, ...], tuple[list[Congruence], int]] = {}
    for i, shape in enumerate(shapes):
        common = _translate_key(shape)
        fits, compared = known.get(common, ([], 0))
        for k in firsts.of_like_size(shape, compared):
            ways = tuple(ways_onto(shape, shapes[k]))
            if ways:
                fits.append(Congruence(k, ways))
        known[common] = fits, len(firsts)
        if not fits:
            # It is congruent to itself, in as many ways as it is symmetric, and so are its copies.
            fits.append(Congruence(i, tuple(ways_onto(shape, shape))))
            firsts.add(i, shape)
            known[common] = fits, len(firsts)
        # Not flipped before flipped, then the earliest kind.
        found.append(min(fits, key=lambda fit: (fit.ways[0].flipped, fit.first)))
    return tuple(found)


def laid(outline: Outline, onto: Outline, way: Way) -> Isometry:
    """The isometry that lays an outline onto one that it is congruent to, in a way."""
    return _laid(Shape(outline, outline).corners, Shape(onto, onto).corners, way)


def corners_of(outline: Outline) -> tuple[int, ...]:
    """The segments of an outline that begin at its corners, where it turns by more than a degree.

    A curve that goes on smoothly is one side, however it is divided; an outline with fewer than
    two corners has one wherever a segment begins.
    """
    found = [
        k
        for k, after in enumerate(outline)
        if abs(turn(paths.tangent(outline[k - 1], 1.0), paths.tangent(after, 0.0))) > SMOOTH
    ]
    return tuple(found if len(found) > 1 else range(len(outline)))


def _laid(corners: Sequence[Point], onto: Sequence[Point], way: Way) -> Isometry:
    """The isometry that lays corner upon corner."""
    others = (*onto[way.shift :], *onto[: way.shift])
    return _best_fit(list(zip(_seen(corners, way.flipped), others, strict=True)), way.flipped)


def _translate_key(shape: Shape) -> tuple[float | None, ...]:
    """A key that a shape has in common with its translates: the same shape, turned the same way.

    To a millionth of an inch: far less than the tolerances within which shapes are congruent.
    """
    x, y = shape.finished[0].start
    common: list[float | None] = [len(shape.finished), *(shape.marked or ())]
    for segment in (*shape.finished, *shape.cut):
        common.append(round(segment.start[0] - x, 6))
        common.append(round(segment.start[1] - y, 6))
        if isinstance(segment, Curve):
            # None marks a handle, so that no row of lines has the key of a curve.
            for handle in (segment.handle1, segment.handle2):
                common += (None, round(handle[0] - x, 6), round(handle[1] - y, 6))
    return tuple(common)


class _Firsts:
    """The first shapes of each kind, by the number of their corners and by their cut area."""

    def __init__(self) -> None:
        self._count = 0
        # For each number of corners: (area, place in the order of adding, number, sides).
        self._sorted: dict[int, list[tuple[float, int, int, tuple[float, float]]]] = {}

    def __len__(self) -> int:
        return self._count

    def add(self, number: int, shape: Shape) -> None:
        corners = shape.corners
        entry = paths.area(shape.cut), self._count, number, _longest_and_shortest(corners)
        insort(self._sorted.setdefault(len(corners), []), entry)
        self._count += 1

    def of_like_size(self, shape: Shape, compared: int) -> list[int]:
        """The numbers of those that a shape may be congruent to.

        Args:
            compared: how many of them, in the order of adding, have been compared already.
        """
        corners = shape.corners
        entries = self._sorted.get(len(corners), ())
        if compared == self._count or not entries:
            return []
        size = paths.area(shape.cut)
        # What isometries keep is compared first, as it is cheap: the number of corners, the area
        # and the sides. Areas of congruent shapes differ by the tolerance along the outline at
        # most.
        slack = CUT_TOLERANCE * paths.run_length(shape.cut)
        longest, shortest = _longest_and_shortest(corners)
        found = []
        for k in range(bisect_left(entries, (size - slack,)), len(entries)):
            area, place, number, sides = entries[k]
            if area > size + slack:
                break
            if (
                place >= compared
                and abs(longest - sides[0]) <= 2 * TOLERANCE
                and abs(shortest - sides[1]) <= 2 * TOLERANCE
            ):
                found.append(number)
        return found


def _longest_and_shortest(corners: Sequence[Point]) -> tuple[float, float]:
    sides = _sides(corners)
    return max(sides), min(sides)


def ways_onto(shape: Shape, onto: Shape) -> Iterator[Way]:
    """The ways in which a shape lies on another one; none if they are not congruent.

    >>> square = paths.polygon([(0, 0), (1, 0), (1, 1), (0, 1)])
    >>> len(list(ways_onto(Shape(square, square), Shape(square, square))))
    8
    """
    corners, others = shape.corners, onto.corners
    for flipped in (False, True):
        for shift in _shifts(corners, others, flipped):
            way = Way(flipped, shift)
            isometry = _laid(corners, others, way)
            # The finished outlines first: where they differ, that shows at the first few points.
            if _lies_on(isometry, shape.finished, onto.finished, TOLERANCE) and (
                (shape.cut is shape.finished and onto.cut is onto.finished)
                or _lies_on(isometry, shape.cut, onto.cut, CUT_TOLERANCE)
            ):
                yield way


def _seen(corners: Sequence[Point], flipped: bool) -> list[Point]:
    """The corners, clockwise again where they are flipped over."""
    if flipped:
        return [(-x, y) for x, y in (corners[0], *reversed(corners[1:]))]
    return list(corners)


def _sides(corners: Sequence[Point]) -> list[float]:
    """How long it is (inches) from each corner straight to the next."""
    return [distance(p, q) for p, q in zip(corners, (*corners[1:], corners[0]), strict=True)]


def _shifts(corners: Sequence[Point], onto: Sequence[Point], flipped: bool) -> Iterator[int]:
    """The corners of another outline on which the first corner may lie, all sides being as long."""
    if len(corners) != len(onto):
        return
    sides = _sides(_seen(corners, flipped))
    others = _sides(onto) * 2
    for shift in range(len(sides)):
        # Each of a side's two ends may be off by the tolerance.
        if all(abs(sides[k] - others[k + shift]) <= 2 * TOLERANCE for k in range(len(sides))):
            yield shift


def _best_fit(pairs: Sequence[tuple[Point, Point]], flipped: bool) -> Isometry:
    """The turn and move that lay the first points nearest to the second (least squares).

    The orthogonal Procrustes problem in the plane: the centroids are laid on each other, and the
    best turn is the direction of the sum of ``conj(u) · v`` over the pairs as complex numbers.
    """
    count = len(pairs)
    px, py = sum(p[0] for p, _ in pairs) / count, sum(p[1] for p, _ in pairs) / count
    qx, qy = sum(q[0] for _, q in pairs) / count, sum(q[1] for _, q in pairs) / count
    along = across = 0.0
    for p, q in pairs:
        u, v = minus(p, (px, py)), minus(q, (qx, qy))
        along += u[0] * v[0] + u[1] * v[1]
        across += u[0] * v[1] - u[1] * v[0]
    turned = angle((along, across))
    cos, sin = math.cos(math.radians(turned)), math.sin(math.radians(turned))
    return Isometry(flipped, turned, (qx - cos * px + sin * py, qy - sin * px - cos * py))


def _lies_on(isometry: Isometry, shape: Outline, onto: Outline, tolerance: float) -> bool:
    """Whether an outline laid by the isometry lies within the tolerance of another one."""
    outline = isometry.outline(shape)
    if len(outline) == len(onto) and all(isinstance(s, Line) for s in (*outline, *onto)):
        return _same_corners([s.start for s in outline], [s.start for s in onto], tolerance)
    # Curves may be divided differently, so points of each are looked for on the other.
    return _points_on(outline, onto, tolerance) and _points_on(onto, outline, tolerance)


def _points_on(outline: Outline, onto: Outline, tolerance: float) -> bool:
    """Whether the corners and the middles of an outline lie within the tolerance of another one."""
    boxes = []
    for segment in onto:
        # A curve lies within the hull of its handles.
        points = [segment.start, segment.end]
        points += [segment.handle1, segment.handle2] if isinstance(segment, Curve) else []
        xs, ys = zip(*points, strict=True)
        boxes.append((min(xs), min(ys), max(xs), max(ys), segment))
    # The middles first, as different shapes may share their corners.
    places = [paths.point_at(s, 0.5) for s in outline] + [s.start for s in outline]
    return all(
        any(
            left - tolerance <= x <= right + tolerance
            and top - tolerance <= y <= bottom + tolerance
            and paths.nearest(segment, (x, y))[1] <= tolerance
            for left, top, right, bottom, segment in boxes
        )
        for x, y in places
    )


def _same_corners(corners: Sequence[Point], others: Sequence[Point], tolerance: float) -> bool:
    """Whether two rings of as many corners agree corner by corner, in turn."""
    # The isometry was fitted to finished outlines; cut ones may begin at another corner.
    first = corners[0]
    for shift, other in enumerate(others):
        if distance(first, other) <= tolerance and all(
            distance(p, others[(i + shift) % len(others)]) <= tolerance
            for i, p in enumerate(corners)
        ):
            return True
    return False
