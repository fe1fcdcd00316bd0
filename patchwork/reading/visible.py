"""What of the marks on a page can be seen: not what is clipped off, nor what was painted over.

Programs that draw leave much in a file that does not show: lines that run on beyond a clipping
region, and lines under a white patch. Whoever looks at the page does not know of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Segment
from piecewright.patchwork.geometry.polygons import lines as strings_of
from piecewright.patchwork.geometry.polygons import polygon_of, polygons
from piecewright.patchwork.reading.page import Mark

_SHOWS = 0.01
"""Inches by which a line must lie inside of what is painted over it before it is hidden: the border
of a patch that was filled after it runs along its middle."""

_SMALLEST_COVER = 0.05
"""Square inches: what is smaller hides no line worth having."""


@dataclass(frozen=True, slots=True)
class Painted:
    """A mark as it was painted, in the order of painting.

    Attributes:
        clip: what of the page it was painted on; None for all.
        covers: whether it hides what lies under it: a filled shape without transparency.
    """

    mark: Mark
    clip: Polygon | None = None
    covers: bool = False


def visible(painted: Sequence[Painted]) -> list[Mark]:
    """The marks of a page, or the parts of them, that can be seen."""
    covers = [(i, _cover(one)) for i, one in enumerate(painted) if one.covers]
    covers = [(i, cover) for i, cover in covers if cover.area > _SMALLEST_COVER]
    tree = STRtree([cover for _, cover in covers])
    seen: list[Mark] = []
    for i, one in enumerate(painted):
        parts = [one.mark]
        if one.clip is not None:
            parts = [p for mark in parts for p in _within(mark, one.clip)]
        if covers:
            string = LineString([*paths.ring(one.mark.path), one.mark.path[-1].end])
            for k in sorted(tree.query(string, predicate="intersects").tolist()):
                if covers[k][0] > i:
                    hidden = covers[k][1]
                    parts = [p for mark in parts for p in _outside(mark, hidden)]
        seen += parts
    return seen


def _cover(one: Painted) -> Polygon:
    """What a filled shape hides for sure."""
    shape: shapely.Geometry = polygon_of(one.mark.path)
    if one.clip is not None:
        shape = shapely.intersection(shape, one.clip)
    inner = polygons(shapely.buffer(shape, -_SHOWS))
    return max(inner, key=lambda part: part.area, default=Polygon())


def _within(mark: Mark, region: Polygon) -> list[Mark]:
    """The parts of a mark inside a region; all of it where it does not leave it."""
    room = region.buffer(_SHOWS)
    return _parts(mark, lambda line: line.intersection(room), lambda line: room.covers(line))


def _outside(mark: Mark, region: Polygon) -> list[Mark]:
    """The parts of a mark outside a region."""
    return _parts(mark, lambda line: line.difference(region), lambda line: region.disjoint(line))


def _parts(
    mark: Mark,
    cut: Callable[[LineString], shapely.Geometry],
    is_whole: Callable[[LineString], bool],
) -> list[Mark]:
    """A mark cut segment by segment; a curve stays or goes as a whole."""
    if is_whole(LineString([*paths.ring(mark.path), mark.path[-1].end])):
        return [mark]
    found = []
    for segment in mark.path:
        string = LineString([*paths.flatten(segment), segment.end])
        if string.length == 0:
            continue
        if is_whole(string):
            found.append(_open(mark, segment))
        elif isinstance(segment, Line):
            for part in strings_of(cut(string)):
                (a, b), (c, d) = part.coords[0], part.coords[-1]
                found.append(_open(mark, Line((a, b), (c, d))))
        elif shapely.length(cut(string)) > 0.5 * string.length:
            found.append(_open(mark, segment))
    return found


def _open(mark: Mark, segment: Segment) -> Mark:
    return replace(mark, path=(segment,), closed=False)


def clip_region(outlines: Iterable[Sequence[Segment]]) -> Polygon | None:
    """What several clipping paths leave, one after the other; None where that is no one shape."""
    region: shapely.Geometry | None = None
    for outline in outlines:
        shape = polygon_of(outline)
        region = shape if region is None else shapely.intersection(region, shape)
    return region if isinstance(region, Polygon) else None
