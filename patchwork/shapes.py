"""Which pieces are the same shape, so that one template serves them all.

Two pieces are alike if one can be turned, or flipped over and turned, so that its finished
outline, its cut outline and its grain all lie on the other's.  The straight and the cross grain
serve alike, unless an author gave the grain.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from patchwork import paths
from patchwork.paths import Curve, Line, Outline, Segment
from patchwork.points import TOLERANCE, Point, angle, distance, minus

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
        x, y = (-p[0], p[1]) if self.flipped else p
        cos, sin = math.cos(math.radians(self.turned)), math.sin(math.radians(self.turned))
        return (cos * x - sin * y + self.moved[0], sin * x + cos * y + self.moved[1])

    def outline(self, outline: Outline) -> Outline:
        """The outline laid so; it still runs clockwise."""
        laid: list[Segment] = [
            Line(self.point(s.start), self.point(s.end))
            if isinstance(s, Line)
            else Curve(*(self.point(p) for p in (s.start, s.handle1, s.handle2, s.end)))
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
    sizes: list[float] = []  # the firsts of their kind, by cut area
    firsts: list[int] = []
    for i, shape in enumerate(shapes):
        size = paths.area(shape.cut)
        # Areas of like shapes differ by the tolerance along the outline at most.
        slack = CUT_TOLERANCE * paths.run_length(shape.cut)
        alike: list[Likeness] = []
        for k in range(bisect_left(sizes, size - slack), len(sizes)):
            if sizes[k] > size + slack:
                break
            placement = laid_onto(shape, shapes[firsts[k]])
            if placement is not None:
                alike.append(Likeness(firsts[k], placement))
        if alike:
            found.append(min(alike, key=lambda a: (a.placement.flipped, a.like)))
        else:
            found.append(Likeness(i, Placement(False, 0.0, (0.0, 0.0))))
            at = bisect_left(sizes, size)
            sizes.insert(at, size)
            firsts.insert(at, i)
    return tuple(found)


def laid_onto(shape: Shape, onto: Shape) -> Placement | None:
    """How ``shape`` is laid onto the other one, or None if it is not like it."""
    for flipped in (False, True):
        for placement in _placements(shape.finished, onto.finished, flipped):
            if (
                _same_grain(shape, onto, placement)
                and _lies_on(placement, shape.cut, onto.cut, CUT_TOLERANCE)
                and _lies_on(placement, shape.finished, onto.finished, TOLERANCE)
            ):
                return placement
    return None


def _same_grain(shape: Shape, onto: Shape, placement: Placement) -> bool:
    if shape.grain is None or onto.grain is None:
        return shape.grain is onto.grain
    if shape.one_way != onto.one_way:
        return False
    repeats = 180.0 if shape.one_way else 90.0
    apart = abs(placement.grain(shape.grain) - onto.grain) % repeats
    return min(apart, repeats - apart) <= GRAIN_TOLERANCE


def _placements(outline: Outline, onto: Outline, flipped: bool) -> Iterator[Placement]:
    """The placements that may lay the corners of one outline onto the other's, in turn."""
    if len(outline) != len(onto):
        return
    corners = [s.start for s in Placement(flipped, 0.0, (0.0, 0.0)).outline(outline)]
    sides = [distance(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)]
    others = [s.start for s in onto]
    other_sides = [distance(s.start, s.end) for s in onto]
    for shift in range(len(others)):
        turned = other_sides[shift:] + other_sides[:shift]
        if any(abs(a - b) > 2 * TOLERANCE for a, b in zip(sides, turned, strict=True)):
            continue
        pairs = list(zip(corners, others[shift:] + others[:shift], strict=True))
        yield _best_fit(pairs, flipped)


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
