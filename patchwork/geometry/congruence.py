"""Which pieces are the same shape, so that one template serves them all.

Two pieces are alike if one can be turned, or flipped over and turned, so that its finished
outline, its cut outline and its grain all lie on the other's.  The straight and the cross grain
serve alike, unless an author gave the grain.

Most pieces of a large block are copies of an earlier one, moved and not turned.  What that one is
like, the copy is like too, by the same corners: it is compared with nothing but what is new since.
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
"""Inches within which cut outlines are alike: a sharp point carries a small difference far."""

GRAIN_TOLERANCE = 1.0
"""Degrees within which two grain lines are alike."""


@dataclass(frozen=True, slots=True)
class Placement:
    """How a shape is laid onto another: flipped left to right first, then turned, then moved.

    Attributes:
        turned: degrees clockwise as seen.
    """

    flipped: bool
    turned: float
    moved: Point

    def point(self, p: Point) -> Point:
        return self.points((p,))[0]

    def points(self, points: Iterable[Point]) -> list[Point]:
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
        return ((180.0 - grain if self.flipped else grain) + self.turned) % 180.0


@dataclass(frozen=True, slots=True)
class Shape:
    """A piece as a template sees it.

    Attributes:
        grain: degrees, or None.
        one_way: whether the author gave the grain, so that the cross grain will not do.
    """

    finished: Outline
    cut: Outline
    grain: float | None
    one_way: bool = False


@dataclass(frozen=True, slots=True)
class Likeness:
    """That a shape is laid by ``placement`` onto the shape with the number ``like``."""

    like: int
    placement: Placement


def like_shapes(shapes: Sequence[Shape]) -> tuple[Likeness, ...]:
    """For each shape the first one it is like (itself, if it is the first of its kind).

    A shape that can be laid onto another without being flipped is never flipped.
    """
    found: list[Likeness] = []
    firsts = _Firsts()
    # By what copies of a shape have in common: what it fits, of so many firsts.
    known: dict[tuple[float | None, ...], tuple[list[_Fit], int]] = {}
    for i, shape in enumerate(shapes):
        common = _common_to_copies(shape)
        fits, compared = known.get(common, ([], 0))
        for k in firsts.of_like_size(shape, compared):
            fit = _fit(shape, shapes[k])
            if fit is not None:
                fits.append(_Fit(fit[0], k, fit[1]))
        known[common] = fits, len(firsts)
        if fits:
            best = min(fits)
            onto = shapes[best.first].finished
            laid = _laid(shape.finished, onto, best.flipped, best.shift)
            found.append(Likeness(best.first, laid))
        else:
            found.append(Likeness(i, Placement(False, 0.0, (0.0, 0.0))))
            firsts.add(i, shape)
    return tuple(found)


def laid_onto(shape: Shape, onto: Shape) -> Placement | None:
    """How ``shape`` is laid onto the other one, or None if it is not like it."""
    fit = _fit(shape, onto)
    return None if fit is None else _laid(shape.finished, onto.finished, *fit)


class _Fit(NamedTuple):
    """That a shape is like a first of its kind, flipped over or not.

    Attributes:
        shift: the corner of the first on which the shape's first corner lies.
    """

    flipped: bool
    first: int
    shift: int


def _common_to_copies(shape: Shape) -> tuple[float | None, ...]:
    """What a shape has in common with those that are the same, turned the same way.

    To a millionth of an inch: far less than the tolerances within which shapes are alike.
    """
    x, y = shape.finished[0].start
    common: list[float | None] = [shape.grain, shape.one_way, len(shape.finished)]
    for segment in (*shape.finished, *shape.cut):
        common.append(round(segment.start[0] - x, 6))
        common.append(round(segment.start[1] - y, 6))
        if isinstance(segment, Curve):
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
        """The numbers of those that a shape may be like, without those ``compared`` already."""
        entries = self._sorted.get(len(shape.finished), ())
        if compared == self._count or not entries:
            return []
        size = paths.area(shape.cut)
        # Areas of like shapes differ by the tolerance along the outline at most.
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
    then lies on; None if it is not like it."""
    for flipped in (False, True):
        for shift in _shifts(shape.finished, onto.finished, flipped):
            placement = _laid(shape.finished, onto.finished, flipped, shift)
            if (
                _same_grain(shape, onto, placement)
                and _lies_on(placement, shape.cut, onto.cut, CUT_TOLERANCE)
                and _lies_on(placement, shape.finished, onto.finished, TOLERANCE)
            ):
                return flipped, shift
    return None


def _same_grain(shape: Shape, onto: Shape, placement: Placement) -> bool:
    if shape.grain is None or onto.grain is None:
        return shape.grain is onto.grain
    if shape.one_way != onto.one_way:
        return False
    repeats = 180.0 if shape.one_way else 90.0
    apart = abs(placement.grain(shape.grain) - onto.grain) % repeats
    return min(apart, repeats - apart) <= GRAIN_TOLERANCE


def _corners(outline: Outline, flipped: bool) -> list[Point]:
    if flipped:
        return [(-s.end[0], s.end[1]) for s in reversed(outline)]
    return [s.start for s in outline]


def _shifts(outline: Outline, onto: Outline, flipped: bool) -> Iterator[int]:
    """The corners of another outline on which the first corner may lie, the sides being as long."""
    if len(outline) != len(onto):
        return
    corners = _corners(outline, flipped)
    sides = [distance(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)]
    others = [distance(s.start, s.end) for s in onto] * 2
    for shift in range(len(sides)):
        if all(abs(sides[k] - others[k + shift]) <= 2 * TOLERANCE for k in range(len(sides))):
            yield shift


def _laid(outline: Outline, onto: Outline, flipped: bool, shift: int) -> Placement:
    others = _corners(onto, False)
    return _best_fit(
        list(zip(_corners(outline, flipped), others[shift:] + others[:shift], strict=True)), flipped
    )


def _best_fit(pairs: Sequence[tuple[Point, Point]], flipped: bool) -> Placement:
    """The turn and move that lay the first points nearest to the second (least squares)."""
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
    return Placement(flipped, turned, (qx - cos * px + sin * py, qy - sin * px - cos * py))


def _lies_on(placement: Placement, shape: Outline, onto: Outline, tolerance: float) -> bool:
    """Whether an outline laid by the placement lies within the tolerance of another one."""
    outline = placement.outline(shape)
    if len(outline) == len(onto) and all(isinstance(s, Line) for s in (*outline, *onto)):
        return _same_corners([s.start for s in outline], [s.start for s in onto], tolerance)
    return all(
        any(paths.nearest(s, p)[1] <= tolerance for s in to)
        for one, to in ((outline, onto), (onto, outline))
        for segment in one
        for p in (segment.start, paths.point_at(segment, 0.5))
    )


def _same_corners(corners: Sequence[Point], others: Sequence[Point], tolerance: float) -> bool:
    """Whether two rings of as many corners agree corner by corner, in turn."""
    first = corners[0]
    for shift, other in enumerate(others):
        if distance(first, other) <= tolerance and all(
            distance(p, others[(i + shift) % len(others)]) <= tolerance
            for i, p in enumerate(corners)
        ):
            return True
    return False
