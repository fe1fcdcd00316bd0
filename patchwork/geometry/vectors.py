"""Points and directions in the block plane (x right, y down, inches).

A point or a vector is a plain ``(x, y)`` tuple: most of a block's data is
points, and a tuple is what Shapely, svgwrite and JSON take as it is.
"""

from __future__ import annotations

import math
from typing import TypeAlias

Point: TypeAlias = tuple[float, float]
Vector: TypeAlias = tuple[float, float]

TOLERANCE = 0.004
"""Points within this distance (inches) are one point of the block (0.1 mm).

So a drawing with thirds written as 3.333 is clean, and no two points that a maker could tell apart
become one: a drawn or cut line is wider.
"""


def plus(p: Point, v: Vector, times: float = 1.0) -> Point:
    """``p + times * v``."""
    return (p[0] + times * v[0], p[1] + times * v[1])


def minus(p: Point, q: Point) -> Vector:
    """The vector from ``q`` to ``p``."""
    return (p[0] - q[0], p[1] - q[1])


def dot(u: Vector, v: Vector) -> float:
    """The inner product: positive where ``u`` and ``v`` point the same way."""
    return u[0] * v[0] + u[1] * v[1]


def cross(u: Vector, v: Vector) -> float:
    """The cross product: positive where ``v`` lies clockwise of ``u`` as seen (y is down)."""
    return u[0] * v[1] - u[1] * v[0]


def length(v: Vector) -> float:
    """Inches from the start of a vector to its end."""
    return math.hypot(v[0], v[1])


def distance(p: Point, q: Point) -> float:
    """Inches between two points."""
    return math.dist(p, q)


def normalised(v: Vector) -> Vector:
    """``v`` at length one.

    Raises:
        ZeroDivisionError: ``v`` has no length, and so no direction.
    """
    size = math.hypot(v[0], v[1])
    return (v[0] / size, v[1] / size)


def between(p: Point, q: Point, t: float) -> Point:
    """The point at the fraction ``t`` of the way from ``p`` to ``q``."""
    return (p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]))


def outward(direction: Vector) -> Vector:
    """The side away from the cloth of an edge that runs along ``direction``.

    Outlines run clockwise as seen, so that side is on the left: the top edge of
    a square runs along ``(1, 0)`` and its allowance lies toward ``(0, -1)``.
    """
    return (direction[1], -direction[0])


def turn(u: Vector, v: Vector) -> float:
    """Degrees that an outline turns from ``u`` to ``v``: clockwise is positive, -180 to 180.

    >>> turn((1.0, 0.0), (0.0, 1.0)), turn((0.0, 1.0), (1.0, 0.0))
    (90.0, -90.0)
    """
    return math.degrees(math.atan2(cross(u, v), dot(u, v)))


def angle(v: Vector) -> float:
    """The direction of ``v`` in degrees clockwise from +x, from 0 up to 360."""
    return math.degrees(math.atan2(v[1], v[0])) % 360.0
