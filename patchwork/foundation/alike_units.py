"""Units of pieces that are alike: by a turn one lies on the other, piece on piece of one fabric.

Mirror images are not alike here: on a foundation they would have to be printed the other way round.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

import shapely
from shapely.geometry import Polygon

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.geometry.congruence import CUT_TOLERANCE, Isometry
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.vectors import Point, angle, distance, minus

STAYS: Final = Isometry(False, 0.0, (0.0, 0.0))


def turns_onto(outline: Outline, onto: Outline) -> Iterator[Isometry]:
    """Each turn, with the move that goes with it, by which an outline lies on another.

    Args:
        outline, onto: without points on straight stretches, so that corners go to corners.

    >>> from piecewright.patchwork.geometry.paths import polygon
    >>> strip = polygon([(0, 0), (3, 0), (3, 1), (0, 1)])
    >>> [round(one.turned) % 360 for one in turns_onto(strip, strip)]
    [0, 180]
    """
    corners, others = [s.start for s in outline], [s.start for s in onto]
    if len(corners) != len(others):
        return
    middle, other = _middle(corners), _middle(others)
    spoke = angle(minus(corners[0], middle))
    for shift in range(len(others)):
        shifted = [*others[shift:], *others[:shift]]
        turned = (angle(minus(shifted[0], other)) - spoke) % 360.0
        x, y = Isometry(False, turned, (0.0, 0.0)).point(middle)
        laid = Isometry(False, turned, (other[0] - x, other[1] - y))
        if all(
            distance(p, q) <= CUT_TOLERANCE
            for p, q in zip(laid.points(corners), shifted, strict=True)
        ):
            yield laid


def _middle(points: Sequence[Point]) -> Point:
    return (
        math.fsum(p[0] for p in points) / len(points),
        math.fsum(p[1] for p in points) / len(points),
    )


def lies_on(shape: Polygon, onto: Polygon) -> bool:
    """Whether two shapes are one, but for what points are off by.

    >>> lies_on(shapely.box(0, 0, 2, 1), shapely.box(0.001, 0, 2, 1))
    True
    """
    # The centroids first, as they are quickly compared; most shapes are far apart.
    if shape.centroid.distance(onto.centroid) > CUT_TOLERANCE:
        return False
    return bool(shapely.hausdorff_distance(shape.exterior, onto.exterior) <= CUT_TOLERANCE)


def turned_polygon(outline: Outline, laid: Isometry) -> Polygon:
    """An outline laid by an isometry, as a polygon."""
    return polygon_of(laid.outline(outline))


def alike_orders(
    pieces: Sequence[Piece], units: Sequence[Sequence[int]], outlines: Sequence[Outline]
) -> list[list[int]]:
    """The units in their orders of sewing, where alike ones are sewn in the order of the first.

    Any order of a unit serves for all that are alike, as a turn leaves straight what is straight.

    Args:
        units: the numbers of each unit's pieces, in an order in which they can be sewn.
        outlines: of the units, without points on straight stretches.
    """
    orders: list[list[int]] = []
    kinds: dict[frozenset[tuple[str | None, int]], list[int]] = {}
    for n, unit in enumerate(units):
        key = frozenset(Counter(pieces[p].fabric for p in unit).items())
        found = (
            order
            for k in kinds.get(key, ())
            for laid in turns_onto(outlines[n], outlines[k])
            if (order := _in_order_of(pieces, unit, orders[k], laid)) is not None
        )
        order = next(found, None)
        if order is None:
            kinds.setdefault(key, []).append(n)
        orders.append(list(unit) if order is None else order)
    return orders


def _in_order_of(
    pieces: Sequence[Piece], unit: Sequence[int], first: Sequence[int], laid: Isometry
) -> list[int] | None:
    """The pieces of a unit in the order of those that they lie on; None if some lie on none."""
    left = {p: turned_polygon(pieces[p].outline, laid) for p in unit}
    order = []
    for q in first:
        onto = polygon_of(pieces[q].outline)
        own = (p for p in left if pieces[p].fabric == pieces[q].fabric and lies_on(left[p], onto))
        p = next(own, None)
        if p is None:
            return None
        order.append(p)
        del left[p]
    return order
