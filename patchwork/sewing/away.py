"""From which of its two units a seam is pressed away: the larger, or the one in the middle.

It is the unit with more pieces.  Of two single pieces it is the one that holds the middle of the
block (of its cloth) inside it; where neither does, the one round which the pieces after it are sewn
(``sewing.rounds``).  Where none of these says anything, as of two units of as many pieces, a
seam may go either way.
"""

from __future__ import annotations

import shapely

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.vectors import TOLERANCE
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.rounds import centres_of_two


def sides_away(seams: Seams, order: Order) -> list[Press | None]:
    """For each join the side away from its larger or inner unit; None where neither is."""
    sizes = [1] * order.pieces
    middle = _piece_in_the_middle(seams)
    centres = centres_of_two(seams, order)
    found: list[Press | None] = []
    for k, join in enumerate(order.joins):
        one, other = sizes[join.first], sizes[join.second]
        sizes.append(one + other)
        if one != other:
            found.append("second" if one > other else "first")
            continue
        inner = None
        if one == 1:
            inner = middle if middle in (join.first, join.second) else centres.get(k)
        found.append(None if inner is None else "second" if inner == join.first else "first")
    return found


def _piece_in_the_middle(seams: Seams) -> int | None:
    """The piece inside which the middle of the block lies; None where that is on a seam."""
    shapes = [polygon_of(seams.segment(side) for side in own) for own in seams.sides]
    # The centroid of the cloth and not of a box round it, which would change as the block is turned
    # if it is no rectangle.
    areas = shapely.area(shapes)
    middles = shapely.centroid(shapes)
    total = areas.sum()
    at = shapely.Point(
        float((shapely.get_x(middles) * areas).sum() / total),
        float((shapely.get_y(middles) * areas).sum() / total),
    )
    for i, shape in enumerate(shapes):
        if shape.contains(at):
            return i if shape.exterior.distance(at) > TOLERANCE else None
    return None
