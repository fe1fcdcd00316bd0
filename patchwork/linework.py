"""A drawing of a block: a frame that lines cut into pieces."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from patchwork import paths
from patchwork.faults import BlockError, Fault
from patchwork.points import TOLERANCE, Point, plus, unit
from patchwork.polygons import lines as strings_of
from patchwork.polygons import polygons
from patchwork.seams import knit

_NUDGE = 1e-6
"""Inches by which a line that ends on another one is drawn past it, so that they surely cross."""


def cut_into_pieces(
    frame: Sequence[Point], lines: Sequence[Sequence[Point]], pointer: str = "/block"
) -> list[list[Point]]:
    """The rings of points of the pieces into which ``lines`` cut the ``frame``.

    A line's end that stops short of another line, or runs past it, by less than
    the tolerance ends on it.  The pieces come in reading order: top to bottom, then left
    to right, by their centroids rounded to 0.01 in.

    Raises:
        BlockError: a frame that is no simple outline, lines that leave the frame,
            that end in the middle of a piece, or that cut nothing off.
    """
    outline = Polygon(frame) if len(frame) > 2 else Polygon()
    if not outline.is_valid or outline.buffer(-TOLERANCE / 2).is_empty:
        said = "the frame must be one simple outline with an area"
        raise BlockError([Fault(f"{pointer}/frame", "frame", said, frame[0] if frame else None)])
    faults = _outside(outline, lines, pointer)
    if faults:
        raise BlockError(faults)
    strings = _meeting([[*frame, frame[0]], *lines])
    network = shapely.unary_union([LineString(s) for s in strings if len(s) > 1])
    faces, cut_edges, dangles, _ = shapely.polygonize_full([network])
    for left_over in (*strings_of(cut_edges), *strings_of(dangles)):
        if left_over.length > 2 * TOLERANCE:
            faults.append(_dangling(left_over, network, lines, pointer))
    for face in polygons(faces):
        for hole in face.interiors:
            said = (
                "these lines enclose a piece that touches no other line or the frame: the piece "
                "round it would be a ring; draw a line from it outward"
            )
            x, y = hole.coords[0]
            faults.append(Fault(f"{pointer}/lines", "ring-shaped", said, (x, y)))
    if faults:
        raise BlockError(faults)
    rings = [[(x, y) for x, y in face.exterior.coords[:-1]] for face in polygons(faces)]
    knitted = knit([paths.clockwise(paths.polygon(r)) for r in rings])
    pieces = [paths.ring(outline) for outline in knitted if len(outline) > 2]
    whole = [p for p in pieces if not Polygon(p).buffer(-TOLERANCE / 2).is_empty]
    return sorted(whole, key=_reading_order)


def _reading_order(ring: Sequence[Point]) -> tuple[float, float]:
    centre = Polygon(ring).centroid
    return (round(centre.y, 2), round(centre.x, 2))


def _outside(outline: Polygon, lines: Sequence[Sequence[Point]], pointer: str) -> list[Fault]:
    faults: list[Fault] = []
    room = outline.buffer(TOLERANCE)
    for i, line in enumerate(lines):
        here = f"{pointer}/lines/{i}"
        if len(set(line)) < 2:
            said = "a line needs two points that differ"
            faults.append(Fault(here, "no-length", said, line[0] if line else None))
            continue
        beyond = LineString(line).difference(room)
        if not beyond.is_empty:
            at = beyond.representative_point()
            said = "this line leaves the frame; end it on the frame"
            faults.append(Fault(here, "outside-frame", said, (at.x, at.y)))
    return faults


def _meeting(strings: Sequence[Sequence[Point]]) -> list[list[Point]]:
    """The lines with near points made one and near ends put onto the line they almost reach."""
    segments: list[tuple[Point, Point]] = []
    spans: list[tuple[int, int]] = []
    merged = _one_point(strings)
    for string in merged:
        spans.append((len(segments), len(segments) + len(string) - 1))
        segments += list(zip(string, string[1:], strict=False))
    shapes = [LineString(s) for s in segments]
    tree = STRtree(shapes)
    on_segment: dict[int, list[tuple[float, Point]]] = {}
    ends: dict[Point, Point] = {}
    for point in dict.fromkeys(p for s in merged for p in s):
        for k in sorted(tree.query(shapely.Point(point), "dwithin", TOLERANCE).tolist()):
            if point in segments[k]:
                continue
            t, gap = paths.nearest(paths.Line(*segments[k]), point)
            if gap <= TOLERANCE and 0 < t < 1:
                on_segment.setdefault(k, []).append((t, point))
                foot = paths.point_at(paths.Line(*segments[k]), t)
                ends.setdefault(point, foot if gap > 1e-12 else point)
    joined: list[list[Point]] = []
    for first, last in spans:
        string = [ends.get(segments[first][0], segments[first][0])] if first < last else []
        for k in range(first, last):
            string += [ends[p] for _, p in sorted(on_segment.get(k, []))]
            string.append(ends.get(segments[k][1], segments[k][1]))
        joined.append(_drawn_past(string))
    return joined


def _one_point(strings: Sequence[Sequence[Point]]) -> list[list[Point]]:
    seen = list(dict.fromkeys(p for s in strings for p in s))
    dots = [shapely.Point(p) for p in seen]
    tree = STRtree(dots)
    first: dict[Point, Point] = {}
    for p, dot in zip(seen, dots, strict=True):
        near = tree.query(dot, "dwithin", TOLERANCE)
        first[p] = next((first[seen[k]] for k in sorted(near.tolist()) if seen[k] in first), p)
    merged = [[first[p] for p in s] for s in strings]
    return [[p for k, p in enumerate(s) if k == 0 or p != s[k - 1]] for s in merged]


def _drawn_past(string: list[Point]) -> list[Point]:
    if len(string) < 2 or string[0] == string[-1]:
        return string
    start = plus(
        string[0], unit((string[0][0] - string[1][0], string[0][1] - string[1][1])), _NUDGE
    )
    end = plus(
        string[-1], unit((string[-1][0] - string[-2][0], string[-1][1] - string[-2][1])), _NUDGE
    )
    return [start, *string, end]


def _dangling(
    left_over: LineString,
    network: shapely.Geometry,
    lines: Sequence[Sequence[Point]],
    pointer: str,
) -> Fault:
    """The fault of a line that ends in the middle of a piece, at its free end."""
    rest = shapely.difference(network, left_over.buffer(1e-9))
    ends = [left_over.coords[0], left_over.coords[-1]]
    free = max(ends, key=lambda p: shapely.Point(p).distance(rest))
    at = (float(free[0]), float(free[1]))
    nearest = min(range(len(lines)), key=lambda i: LineString(lines[i]).distance(shapely.Point(at)))
    said = "this line ends in the middle of a piece; draw it on to a line or to the frame"
    return Fault(f"{pointer}/lines/{nearest}", "dangling-line", said, at)
