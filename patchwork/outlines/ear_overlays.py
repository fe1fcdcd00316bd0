"""What of a mitre sticks out of a unit beside curves: overlays of a mitre with strips and cloth.

Beside a curve a unit's plain offset is no union of a few convex shapes, as it is where all edges
are straight (see ``patchwork.geometry.convex_cover``), so its parts are overlaid.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.convex_cover import Stretch
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.outlines.mitres import CLOSE, SHORT

_SLIVER: Final = 1e-8
"""Square inches; what is left over by rounding alone is smaller."""


def left_over(mitre: Polygon, plain_offset: NDArray[np.object_]) -> BaseGeometry:
    """What of a mitre lies outside the parts of a unit's plain offset, or a sliver of it.

    A part at a time is taken away: most often little of the mitre is left after the first.
    """
    rest: BaseGeometry = mitre
    for part in plain_offset[shapely.intersects(mitre, plain_offset)]:
        rest = overlaid(shapely.difference, rest, part)
        if rest.area < _SLIVER:
            break
    return rest


def shows(rest: BaseGeometry) -> bool:
    """Whether what is left over is more than rounding and the points of curves make."""
    return rest.area >= _SLIVER and not rest.buffer(-CLOSE / 2, join_style="mitre").is_empty


def crossed(mitre: Polygon, raw_edges: Sequence[LineString]) -> Iterator[Stretch]:
    """Where raw edges run across a mitre, in the sense of travel.

    A curve's raw edge gives the chord between the points at which it enters and leaves.
    """
    inside = overlaid(shapely.intersection, mitre, np.array(raw_edges, dtype=object))
    for raw_edge, part in zip(raw_edges, inside, strict=True):
        # What lies inside may be several parts in any order; places along the raw edge sort them.
        points = shapely.get_coordinates(part)
        if len(points) > 1:
            along = np.asarray(shapely.line_locate_point(raw_edge, shapely.points(points)))
            first, last = along.argmin(), along.argmax()
            if along[last] - along[first] > SHORT:
                (a, b), (c, d) = points[first].tolist(), points[last].tolist()
                yield (a, b), (c, d)


def rims_crossed(mitre: Polygon, rims: Sequence[Stretch]) -> Iterator[Stretch]:
    """The straight parts of the rims of a unit's mitres that run across a mitre."""
    if rims:
        meeting = shapely.intersects(shapely.linestrings(rims), mitre)
        yield from (rim for rim, meets in zip(rims, meeting.tolist(), strict=True) if meets)
