"""Overlays of shapes that end well where edges lie along each other but for rounding.

Of such edges, and of outlines that cross themselves, GEOS (with which Shapely overlays shapes)
cannot always tell on which side of them a shape lies; it then gives up.  With all points on
a grid it can: its OverlayNG puts crossings on points of the grid, too, until edges meet in their
ends alone (snap-rounding).  That costs time and moves points, so it is what is done when all
else has failed.

Buffers and predicates need none of this: GEOS itself tries buffers again with fewer and fewer
digits, and its RelateNG takes outlines that cross themselves.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import GeometryCollection, MultiPolygon, Polygon

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point

_DECIMALS: Final = (9, 7, 5)
"""Of an inch: the grids, the finest first. On the coarsest nothing moves as far as a
four-hundredth of the tolerance."""

_NUMBER: Final = r"(-?[\d.]+(?:e[+-]?\d+)?)"
_PLACE: Final = re.compile(rf" at {_NUMBER} {_NUMBER}")
"""Where GEOS's message names the point that it was at."""


def overlaid(
    operation: Callable[..., Any],
    *given: Any,
    grid: float = 0.0,
    pointer: str = "/block",
    on_block: bool = True,
) -> Any:
    """What an overlay makes of shapes; on a grid where it fails without one.

    >>> bow = Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    >>> overlaid(shapely.intersection, bow, shapely.box(0, 0, 1, 2)).area
    1.0

    Args:
        operation: ``shapely.difference``, ``shapely.intersection``, ``shapely.union_all`` or
            another that takes a ``grid_size``.
        given: shapes, or sequences of them. On a grid, what is left of a shape with an area
            is its areas alone.
        grid: what it is done on from the first, inches; 0 for none.
        pointer: to what of the request the shapes come of.
        on_block: whether they lie where they do on the block, so that a fault can name the
            place.

    Raises:
        BlockError: even the coarsest grid does not help.
    """
    try:
        return operation(*given, grid_size=grid or None)
    except shapely.GEOSException as error:
        failed = error
    # Only on coarser grids than the one that has failed. Shapes are rounded and
    # made valid first, as one that crosses itself might fail again.
    for decimals in (d for d in _DECIMALS if 10.0**-d > grid):
        try:
            sound = [_rounded(one, decimals) for one in given]
            return operation(*sound, grid_size=10.0**-decimals)
        except shapely.GEOSException:
            continue
    raise BlockError([_too_fine(failed, given, pointer, on_block)]) from failed


def made_valid(shape: shapely.Geometry, pointer: str = "/block") -> shapely.Geometry:
    """``shapely.make_valid``, which may fail too; on a grid where it does.

    Args:
        pointer: as for ``overlaid``.

    Raises:
        BlockError: even the coarsest grid does not help.
    """
    valid: shapely.Geometry = overlaid(_valid, shape, pointer=pointer)
    return valid


def _valid(shape: shapely.Geometry, grid_size: float | None = None) -> shapely.Geometry:
    return shape if grid_size else shapely.make_valid(shape)  # on a grid it is valid by now


def _rounded(given: Any, decimals: int) -> Any:
    """Shapes with their points on a grid, valid there."""
    moved = shapely.transform(given, lambda points: np.round(points, decimals))
    if isinstance(moved, shapely.Geometry):
        return _sound(moved)
    return np.array([_sound(shape) for shape in moved], dtype=object)


def _sound(shape: shapely.Geometry) -> shapely.Geometry:
    """The areas of what should have some; lines and points as they are."""
    if isinstance(shape, Polygon | MultiPolygon | GeometryCollection):
        # An overlay on a grid takes no mixture of areas and lines, and a line is what is left of
        # a part that has no width.
        return shapely.multipolygons(polygons(shapely.make_valid(shape)))
    return shape


def _too_fine(failed: Exception, given: Any, pointer: str, on_block: bool) -> Fault:
    at = _place(failed, given) if on_block else None
    message = (
        f"edges lie so close along each other{' here' if at else ''} that it cannot be told which "
        f"of them is the outer one; leave out points that are less than {TOLERANCE} in apart, and "
        "draw an edge that two pieces share through the same points in both"
    )
    return Fault(pointer, "too-fine", message, at)


def _place(failed: Exception, given: Any) -> Point | None:
    """Where it failed, by GEOS's message; else the middle of what was to be overlaid."""
    if found := _PLACE.search(str(failed)):
        return (float(found[1]), float(found[2]))
    # Some of its messages name no place.
    shapes = [shape for one in given for shape in np.atleast_1d(one)]
    left, top, right, bottom = shapely.total_bounds(shapes).tolist()
    middle = ((left + right) / 2, (top + bottom) / 2)
    return middle if all(map(math.isfinite, middle)) else None
