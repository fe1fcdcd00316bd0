"""Points, outlines, areas and directions as answers give them, to 6 decimals."""

from __future__ import annotations

from collections.abc import Iterable

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import PER_INCH, Unit, in_unit


def place(point: Point, unit: Unit) -> list[float]:
    """A point as answers give it: in ``unit``, to 6 decimals."""
    return [in_unit(point[0], unit), in_unit(point[1], unit)]


def places(points: Iterable[Point], unit: Unit) -> list[list[float]]:
    """Points as answers give them."""
    return [place(point, unit) for point in points]


def area(square_inches: float, unit: Unit) -> float:
    """An area as answers give it: in squares of ``unit``, to 6 decimals."""
    return round(square_inches * float(PER_INCH[unit]) ** 2, 6)


def ring(outline: Outline, unit: Unit) -> list[list[float]]:
    """An outline as answers give it, curves as points within 0.001 in."""
    return places(paths.ring(outline), unit)


def degrees(angle: float) -> float:
    """The direction of a line as answers give it: 0 up to 180, to 6 decimals."""
    return round(angle, 6) % 180.0
