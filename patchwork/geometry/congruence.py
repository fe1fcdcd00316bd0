"""Congruence of outlines: which shapes an isometry lays onto each other (one template for all).

Two shapes are congruent here if one can be turned, or flipped over and turned, so that its finished
outline, its cut outline and its grain all lie on the other's, within tolerances.  The straight and
the cross grain serve alike, unless an author gave the grain.

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
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, angle, distance, minus

CUT_TOLERANCE = 0.01
"""Inches within which cut outlines are the same: more than ``TOLERANCE``, as a sharp point carries
a small difference of its sides far."""

GRAIN_TOLERANCE = 1.0
"""Degrees within which two grain lines are the same: less than cloth is laid to by eye."""


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
        grain: degrees, or None where any direction will do.
        one_way: whether the author gave the grain, so that the cross grain will not do.
    """

    finished: Outline
    cut: Outline
    grain: float | None
    one_way: bool = False


@dataclass(frozen=True, slots=True)
class Congruence:
    """That ``isometry`` lays a shape onto the first of its kind, the shape numbered ``first``."""

    first: int
    isometry: Isometry


def congruences(shapes: Sequence[Shape]) -> tuple[Congruence, ...]:
    """For each shape the first one that it is congruent to: itself, if it is the first of a kind.

    A shape that can be laid onto another without being flipped is never flipped.

    >>> corner = paths.polygon([(0, 0), (2, 0), (0, 1)])
    >>> turned = Isometry(False, 90.0, (9.0, 0.0)).outline(corner)
    >>> [one.first for one in congruences([Shape(o, o, None) for o in (corner, turned)])]
    [0, 0]
    """
    found: list[Congruence] = []
    firsts = _Firsts()
    # By what copies of a shape have in common: what it fits, of so many firsts.
    known: dict[tuple[float | None, ...], tuple[list[_Fit], int]] = {}
    for i, shape in enumerate(shapes):
        common = _translate_key(shape)
        fits, compared = known.get(common, ([], 0))
        for k in firsts.of_like_size(shape, compared):
            fit = _fit(shape, shapes[k])
            if fit is not None:
                fits.append(_Fit(fit[0], k, fit[1]))
        known[common] = fits, len(firsts)
        if fits:
            # Not flipped before flipped, then the earliest kind, then the earliest corner.
            best = min(fits)
            onto = shapes[best.first].finished
            laid = _laid(shape.finished, onto, best.flipped, best.shift)
            found.append(Congruence(best.first, laid))
        else:
            found.append(Congruence(i, Isometry(False, 0.0, (0.0, 0.0))))
            firsts.add(i, shape)
    return tuple(found)


def isometry_onto(shape: Shape, onto: Shape) -> Isometry | None:
    """The isometry that lays ``shape`` onto the other one, or None if they are not congruent."""
    fit = _fit(shape, onto)
    return None if fit is None else _laid(shape.finished, onto.finished, *fit)


class _Fit(NamedTuple):
    """That a shape is congruent to a first of its kind, flipped over or not; smaller is better.

    Attributes:
        shift: the corner of the first on which the shape's first corner lies.
    """

    flipped: bool
    first: int
    shift: int


def _translate_key(shape: Shape) -> tuple[float | None, ...]:
    """A key that a shape has in common with its translates: the same shape, turned the same way.

    To a millionth of an inch: far less than the tolerances within which shapes are congruent.
    """
    x, y = shape.finished[0].start
    common: list[float | None] = [shape.grain, shape.one_way, len(shape.finished)]
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
        entry = paths.area(shape.cut), self._count, number, _longest_and_shortest(shape.finished)
        insort(self._sorted.setdefault(len(shape.finished), []), entry)
        self._count += 1

    def of_like_size(self, shape: Shape, compared: int) -> list[int]:
        """The numbers of those that a shape may be congruent to.

        Args:
            compared: how many of them, in the order of adding, have been compared already.
        """
        entries = self._sorted.get(len(shape.finished), ())
        if compared == self._count or not entries:
            return []
        size = paths.area(shape.cut)
        # What isometries keep is compared first, as it is cheap: the number of corners, the area
        # and the sides. Areas of congruent shapes differ by the tolerance along the outline at
        # most.
        slack = CUT_TOLERANCE * paths.run_length(shape.cut)
        longest, shortest = _longest_and_shortest(shape.finished)
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


def _longest_and_shortest(outline: Outline) -> tuple[float, float]:
    sides = [distance(s.start, s.end) for s in outline]
    return max(sides), min(sides)


def _fit(shape: Shape, onto: Shape) -> tuple[bool, int] | None:
    """Whether a shape has to be flipped to lie on another one, and which corner its first one
    then lies on; None if they are not congruent."""
    for flipped in (False, True):
        for shift in _shifts(shape.finished, onto.finished, flipped):
            isometry = _laid(shape.finished, onto.finished, flipped, shift)
            if (
                _same_grain(shape, onto, isometry)
                and _lies_on(isometry, shape.cut, onto.cut, CUT_TOLERANCE)
                and _lies_on(isometry, shape.finished, onto.finished, TOLERANCE)
            ):
                return flipped, shift
    return None


def _same_grain(shape: Shape, onto: Shape, isometry: Isometry) -> bool:
    if shape.grain is None or onto.grain is None:
        return shape.grain is onto.grain
    if shape.one_way != onto.one_way:
        return False
    repeats = 180.0 if shape.one_way else 90.0
    apart = abs(isometry.grain(shape.grain) - onto.grain) % repeats
    return min(apart, repeats - apart) <= GRAIN_TOLERANCE


def _corners(outline: Outline, flipped: bool) -> list[Point]:
    if flipped:
        return [(-s.end[0], s.end[1]) for s in reversed(outline)]
    return [s.start for s in outline]


def _shifts(outline: Outline, onto: Outline, flipped: bool) -> Iterator[int]:
    """The corners of another outline on which the first corner may lie, all sides being as long."""
    if len(outline) != len(onto):
        return
    corners = _corners(outline, flipped)
    sides = [distance(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)]
    others = [distance(s.start, s.end) for s in onto] * 2
    for shift in range(len(sides)):
        # Each of a side's two ends may be off by the tolerance.
        if all(abs(sides[k] - others[k + shift]) <= 2 * TOLERANCE for k in range(len(sides))):
            yield shift


def _laid(outline: Outline, onto: Outline, flipped: bool, shift: int) -> Isometry:
    """The isometry that lays corner upon corner, the first one on that with number ``shift``."""
    others = _corners(onto, False)
    return _best_fit(
        list(zip(_corners(outline, flipped), others[shift:] + others[:shift], strict=True)), flipped
    )


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
    return all(
        any(paths.nearest(s, p)[1] <= tolerance for s in to)
        for one, to in ((outline, onto), (onto, outline))
        for segment in one
        for p in (segment.start, paths.point_at(segment, 0.5))
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
