"""A drawing of a block: a frame that lines cut into pieces.

The lines are put together where they nearly meet, cut where they cross (noded), and the faces of
the network are the pieces (polygonisation).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence

import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block.model import MOST_PIECES, FaultyBlock, Piece
from piecewright.patchwork.block.seams import knit
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import inner_point, polygons
from piecewright.patchwork.geometry.polygons import lines as strings_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.snapping import snapped
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    distance,
    minus,
    normalised,
    plus,
)

_MOST_CROSSINGS = 4 * MOST_PIECES
"""Many lines may cross in one point and make few pieces, so crossings may outnumber pieces; four
times as many is more than a block has."""

_AT_A_TIME = 50
"""Lines whose crossings are counted in one step: few enough that their pairs take little memory."""

_NUDGE = 1e-6
"""Inches by which a line that ends on another one is drawn past it, so that they surely cross.

Rounding puts an end on either side of the line it lies on, by far less than this.
"""


def cut_into_pieces(
    frame: Sequence[Point], lines: Sequence[Sequence[Point]], pointer: str = "/block"
) -> list[list[Point]]:
    """The rings of points of the pieces into which ``lines`` cut the ``frame``.

    A line's end that stops short of another line, or runs past it, by less than
    the tolerance ends on it.  The pieces come in reading order: top to bottom, then left
    to right, by their centroids rounded to 0.01 in.

    Args:
        frame, lines: points in inches; the frame is not closed by a repeated point.
        pointer: to the block in the request.

    >>> square = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]
    >>> len(cut_into_pieces(square, [[(0.0, 0.0), (4.0, 4.0)], [(2.0, 2.0), (4.0, 0.0)]]))
    3

    Raises:
        BlockError: a frame that is no simple outline, or far too many lines.
        FaultyBlock: lines that leave the frame, that end in the middle of a piece, that cut
            nothing off, or that nearly meet and leave a sliver; with the pieces that the lines
            make all the same.
    """
    outline = Polygon(frame) if len(frame) > 2 else Polygon()
    if not outline.is_valid or outline.buffer(-TOLERANCE / 2).is_empty:
        message = "the frame must be one simple outline with an area"
        raise BlockError([Fault(f"{pointer}/frame", "frame", message, frame[0] if frame else None)])
    faults = _outside(outline, lines, pointer)
    room = outline.buffer(TOLERANCE)
    drawn = {f"{pointer}/lines/{i}": line for i, line in enumerate(lines) if len(set(line)) > 1}
    drawn[f"{pointer}/frame"] = [*frame, frame[0]]
    _check_count(lines, pointer)
    strings = _meeting([[*frame, frame[0]], *lines])
    chains = [LineString(s) for s in strings if len(s) > 1]
    network, faces, left_overs = overlaid(_cut, chains, pointer=f"{pointer}/lines")
    # The stubs by which lines were drawn past each other are left over too, and short; what lies
    # outside the frame is a fault already.
    for left_over in left_overs:
        if left_over.length > 2 * TOLERANCE and room.covers(left_over):
            faults.append(_dangling(left_over, network, drawn))
    for face in faces:
        for hole in face.interiors:
            message = (
                "these lines enclose a piece that lies free inside another one, which would be a "
                "ring; draw lines from it outward in two places at least"
            )
            x, y = hole.coords[0]
            faults.append(Fault(f"{pointer}/lines", "ring-shaped", message, (x, y)))
    # Only lines that leave the frame, which are a fault, can enclose anything outside it.
    faces = [face for face in faces if not faults or room.covers(face)]
    # The nudges have moved points by a hair; knitting makes neighbours' points the same again.
    rings = [[(x, y) for x, y in face.exterior.coords[:-1]] for face in faces]
    knitted = knit([paths.clockwise(paths.polygon(r)) for r in rings])
    pieces = [paths.ring(outline) for outline in knitted if len(outline) > 2]
    slivers = [p for p in pieces if Polygon(p).buffer(-TOLERANCE / 2).is_empty]
    # Beside the frame a sliver can be left off; inside it would be a hole.
    edge = outline.exterior.buffer(_NUDGE * 10)
    beside = (overlaid(shapely.intersection, Polygon(p).exterior, edge) for p in slivers)
    inside = [p for p, on in zip(slivers, beside, strict=True) if on.length < TOLERANCE]
    rings = sorted((p for p in pieces if p not in slivers), key=_reading_order)
    # Next to a fault, slivers are not their author's.
    if not faults:
        faults = [_sliver(ring, pointer) for ring in inside]
    if faults:
        raise FaultyBlock(faults, named_in_order(rings))
    return rings


def named_in_order(rings: Iterable[Sequence[Point]]) -> list[Piece]:
    """Pieces p1, p2, … with these outlines."""
    return [
        Piece(f"p{number}", paths.clockwise(paths.polygon(ring)))
        for number, ring in enumerate(rings, 1)
    ]


def _cut(
    chains: Sequence[LineString], grid_size: float | None = None
) -> tuple[shapely.Geometry, list[Polygon], list[LineString]]:
    """Lines cut where they cross: all of them, the faces between them, and what bounds none."""
    network = shapely.union_all(chains, grid_size=grid_size)
    faces, cut_edges, dangles, _ = shapely.polygonize_full([network])
    return network, polygons(faces), [*strings_of(cut_edges), *strings_of(dangles)]


def _sliver(ring: Sequence[Point], pointer: str) -> Fault:
    """The fault of lines that nearly meet, or nearly lie on each other."""
    message = (
        "these lines leave a sliver between them that is too narrow to be a piece; let them meet "
        "in one point, or draw one line only"
    )
    return Fault(f"{pointer}/lines", "sliver", message, inner_point(Polygon(ring)))


def _check_count(lines: Sequence[Sequence[Point]], pointer: str) -> None:
    """Refuse lines that cross far more often than any block's, before they are cut.

    Lines that cross ``n`` times make more than ``n`` pieces, unless many cross in one point.
    """
    segments = [LineString(s) for line in lines for s in itertools.pairwise(line) if s[0] != s[1]]
    if not segments:
        return
    tree = STRtree(segments)
    crossings = 0
    # A few at a time: where all lines cross all others, most need not be looked at.
    for few in range(0, len(segments), _AT_A_TIME):
        first, second = tree.query(segments[few : few + _AT_A_TIME], predicate="crosses")
        crossings += int((first + few < second).sum())  # each pair is found from both sides
        if crossings > _MOST_CROSSINGS:
            message = (
                f"the lines cross more than {_MOST_CROSSINGS} times, which makes far more than "
                f"{MOST_PIECES} pieces; draw fewer lines"
            )
            raise BlockError([Fault(f"{pointer}/lines", "too-many-pieces", message)])


def _reading_order(ring: Sequence[Point]) -> tuple[float, float]:
    """A key for top to bottom, then left to right; pieces of a row are rarely exactly level."""
    centre = Polygon(ring).centroid
    return (round(centre.y, 2), round(centre.x, 2))


def _outside(outline: Polygon, lines: Sequence[Sequence[Point]], pointer: str) -> list[Fault]:
    """Faults of single lines: no length, or parts outside the frame."""
    faults: list[Fault] = []
    room = outline.buffer(TOLERANCE)
    for i, line in enumerate(lines):
        here = f"{pointer}/lines/{i}"
        if len(set(line)) < 2:
            message = "a line needs two points that differ"
            faults.append(Fault(here, "no-length", message, line[0] if line else None))
            continue
        beyond = overlaid(shapely.difference, LineString(line), room, pointer=here)
        if not beyond.is_empty:
            at = beyond.representative_point()
            message = "this line leaves the frame; end it on the frame"
            faults.append(Fault(here, "outside-frame", message, (at.x, at.y)))
    return faults


def _meeting(strings: Sequence[Sequence[Point]]) -> list[list[Point]]:
    """The lines with near points made one and near ends put onto the line they almost reach."""
    segments: list[tuple[Point, Point]] = []
    spans: list[tuple[int, int]] = []
    merged = _one_point(strings)
    for string in merged:
        spans.append((len(segments), len(segments) + len(string) - 1))
        segments += list(zip(string, string[1:], strict=False))
    # As of outlines in ``seams.knit``, but that no line moves a whole: where a point lies on
    # another line, both get a point there, at the foot of the perpendicular.
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
        joined.append(_drawn_past(_without_repeats(string)))
    return joined


def _one_point(strings: Sequence[Sequence[Point]]) -> list[list[Point]]:
    """The lines with near points made one."""
    first = snapped(p for s in strings for p in s)
    return [_without_repeats([first[p] for p in s]) for s in strings]


def _without_repeats(string: Sequence[Point]) -> list[Point]:
    return [p for k, p in enumerate(string) if k == 0 or p != string[k - 1]]


def _drawn_past(string: list[Point]) -> list[Point]:
    """A line with its two ends prolonged by a nudge; a ring has none."""
    if len(string) < 2 or string[0] == string[-1]:
        return string
    start = plus(string[0], normalised(minus(string[0], string[1])), _NUDGE)
    end = plus(string[-1], normalised(minus(string[-1], string[-2])), _NUDGE)
    return [start, *string, end]


def _dangling(
    left_over: LineString,
    network: shapely.Geometry,
    drawn: Mapping[str, Sequence[Point]],
) -> Fault:
    """The fault of a line that ends in the middle of a piece, at its free end."""
    # Of its two ends the free one is further from all other lines.
    rest = overlaid(shapely.difference, network, left_over.buffer(1e-9))
    ends = [left_over.coords[0], left_over.coords[-1]]
    free = max(ends, key=lambda p: shapely.Point(p).distance(rest))
    # The point as its author wrote it, which drawing past it has moved by a hair.
    written = [p for line in drawn.values() for p in line]
    at = min(written, key=lambda p: distance(p, (free[0], free[1])))
    if distance(at, (free[0], free[1])) > 2 * TOLERANCE:
        at = (float(free[0]), float(free[1]))
    nearest = min(drawn, key=lambda here: LineString(drawn[here]).distance(shapely.Point(at)))
    message = "this line ends in the middle of a piece; draw it on to a line or to the frame"
    return Fault(nearest, "dangling-line", message, at)
