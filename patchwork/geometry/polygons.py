"""Outlines as Shapely polygons, and the polygons in what Shapely gives back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Segment
from piecewright.patchwork.geometry.vectors import Point


def polygon_of(outline: Iterable[Segment]) -> Polygon:
    """The outline as a valid polygon, curves as points; empty where it has no area.

    Points that were put together may have made an outline touch itself; its largest part
    is then taken.
    """
    return ring_polygon(paths.ring(outline))


def ring_polygon(points: Sequence[Point] | NDArray[np.float64]) -> Polygon:
    """A ring of points as a valid polygon (see ``polygon_of``)."""
    # Shapely looks at each point of a list, and takes an array as it is.
    shape = Polygon(np.asarray(points)) if len(points) > 2 else Polygon()
    if shape.is_valid:
        return shape
    return max(polygons(shape.buffer(0)), key=lambda p: p.area, default=Polygon())


def polygons(geometry: shapely.Geometry) -> list[Polygon]:
    """The parts of a geometry that are polygons with an area."""
    # Twice, as a collection may hold a multipolygon.
    parts = shapely.get_parts(shapely.get_parts(geometry)).tolist()
    return [p for p in parts if isinstance(p, Polygon) and not p.is_empty]


def lines(geometry: shapely.Geometry) -> list[LineString]:
    """The parts of a geometry that are lines with a length."""
    parts = shapely.get_parts(geometry).tolist()
    return [p for p in parts if isinstance(p, LineString) and not p.is_empty]


def point_inside(shape: shapely.Geometry) -> Point:
    """A point inside the largest part of a shape."""
    return inner_point(max(polygons(shape), key=lambda part: part.area))


def inner_point(shape: Polygon) -> Point:
    """A point inside a polygon, whatever its form."""
    at = shape.representative_point()
    return (at.x, at.y)
