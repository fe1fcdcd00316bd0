"""Where in a piece its name goes, and which pieces lie beside it."""

from __future__ import annotations

from typing import Final

import shapely
from shapely.geometry import Polygon

from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.vectors import Point

_ENOUGH: Final = 0.75
"""Of the largest circle's radius, what is room enough about the centroid: the eye expects a name in
the middle. So it is in all half-square triangles (0.8), and in a strip that is a little wider at
one end, where the largest circle lies at that end."""


def label_point(shape: Polygon) -> Point:
    """A point well inside a shape, also of one that is bent round its centroid.

    It is the centroid where there is room enough about it, else the middle of
    the largest circle inside (the pole of inaccessibility).

    >>> label_point(Polygon([(0, 0), (4, 0), (4, 1), (0, 1)]))
    (2.0, 0.5)
    """
    circle = shapely.maximum_inscribed_circle(shape)
    centre = shape.centroid
    away = shapely.distance(centre, shape.exterior) if shape.contains(centre) else 0.0
    if away >= _ENOUGH * circle.length:
        return (centre.x, centre.y)
    x, y = circle.coords[0]
    return (x, y)


def neighbours(seams: Seams) -> list[list[int]]:
    """For each piece those with which it shares an edge, in the order round it, clockwise."""
    found: list[list[int]] = []
    for piece, sides in enumerate(seams.sides):
        edges = [seams.edges[side.edge] for side in sides]
        beside = (edge.across(piece) for edge in edges)
        # A dict names a neighbour once that lies along several edges, and keeps the order.
        found.append(list(dict.fromkeys(other for other in beside if other is not None)))
    return found
