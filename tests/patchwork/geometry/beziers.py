"""Edges by the definition of a Bézier, sampled apart from the code under test.

Bernstein polynomials are evaluated with NumPy, and an ellipse is its equation (SVG 2,
appendix B.2.2).
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import shapely
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely.geometry import LineString

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.vectors import Point, distance

Points: TypeAlias = NDArray[np.float64]

coordinates = st.floats(0, 6).map(lambda c: round(c, 3))
points = st.tuples(coordinates, coordinates)
lines = st.builds(Line, points, points).filter(lambda s: distance(s.start, s.end) > 0.01)
curves = st.builds(Curve, points, points, points, points).filter(
    lambda s: distance(s.start, s.end) > 0.05
)
segments = st.one_of(lines, curves)
parameters = st.floats(0, 1)
sweeps = st.floats(0.05, math.tau - 0.05).flatmap(lambda a: st.sampled_from([a, -a]))


def controls(segment: Segment) -> list[Point]:
    if isinstance(segment, Line):
        return [segment.start, segment.end]
    return [segment.start, segment.handle1, segment.handle2, segment.end]


def bezier(control: list[Point], t: Points) -> Points:
    """Points of a Bézier by its Bernstein polynomials."""
    n = len(control) - 1
    weights = [math.comb(n, k) * t**k * (1 - t) ** (n - k) for k in range(n + 1)]
    found: Points = np.stack(weights, axis=1) @ np.array(control)
    return found


def differences(control: list[Point]) -> list[Point]:
    """The control points of the derivative."""
    n = len(control) - 1
    return [
        (n * (q[0] - p[0]), n * (q[1] - p[1])) for p, q in zip(control, control[1:], strict=False)
    ]


def fine(segment: Segment, turn: float = 0.01) -> Points:
    """Parameters so close that the segment turns by less than ``turn`` radians between them."""
    t = np.linspace(0, 1, 129)
    if isinstance(segment, Line):
        return t
    for _ in range(12):
        along = bezier(differences(controls(segment)), t)
        ways = np.unwrap(np.arctan2(along[:, 1], along[:, 0]))
        wide = np.nonzero(np.abs(np.diff(ways)) > turn)[0]
        t = np.sort(np.concatenate([t, (t[wide] + t[wide + 1]) / 2]))
    return t


def sampled(segment: Segment) -> Points:
    return bezier(controls(segment), fine(segment))


def bends(curve: Curve) -> Points:
    """The curvature all along a curve, clockwise positive."""
    t = fine(curve)
    first = differences(controls(curve))
    u, v = bezier(first, t), bezier(differences(first), t)
    speed = np.maximum(np.hypot(u[:, 0], u[:, 1]), 1e-9)
    found: Points = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / speed**3
    return found


def true_parallel(segment: Segment, away: float) -> Points:
    t = fine(segment)
    p, u = bezier(controls(segment), t), bezier(differences(controls(segment)), t)
    normal = np.stack([u[:, 1], -u[:, 0]], axis=1) / np.hypot(u[:, 0], u[:, 1])[:, None]
    offset: Points = p + away * normal
    return offset


def apart(one: Points, other: Points) -> float:
    """The greatest distance of either line of points from the other."""
    there = shapely.distance(shapely.points(one), LineString(other)).max()
    back = shapely.distance(shapely.points(other), LineString(one)).max()
    return float(max(there, back))


def close(p: Point, q: Point, within: float = 1e-9) -> bool:
    return math.dist(p, q) <= within


class Ellipse:
    """An ellipse by its equation (SVG 2, appendix B.2.2)."""

    def __init__(self, centre: Point, rx: float, ry: float, rotation: float) -> None:
        self.centre, self.rx, self.ry = centre, rx, ry
        self.cos, self.sin = math.cos(math.radians(rotation)), math.sin(math.radians(rotation))
        self.rotation = rotation

    def at(self, angle: float) -> Point:
        u, v = self.rx * math.cos(angle), self.ry * math.sin(angle)
        return (
            self.centre[0] + self.cos * u - self.sin * v,
            self.centre[1] + self.sin * u + self.cos * v,
        )

    def off(self, p: Point) -> float:
        """How far a point is from the ellipse along the ray from its centre (inches)."""
        x, y = p[0] - self.centre[0], p[1] - self.centre[1]
        share = math.hypot(
            (self.cos * x + self.sin * y) / self.rx, (-self.sin * x + self.cos * y) / self.ry
        )
        return abs(share - 1) / share * math.hypot(x, y)

    def arc(self, start: float, sweep: float) -> Outline:
        return paths.arc(
            self.at(start),
            self.rx,
            self.ry,
            self.rotation,
            abs(sweep) > math.pi,
            sweep > 0,
            self.at(start + sweep),
        )
