"""The block as a planar subdivision: points, edges, and the corners of pieces round each point.

``knit`` makes the outlines of neighbours share their points and edges exactly; ``planar_map`` then
reads the subdivision off those outlines.  It is held as a doubly connected edge list (DCEL;
M. de Berg et al., Computational Geometry, chapter 2), the class ``Seams``: its vertices are the
points, its faces the pieces, and a ``Side`` is a half-edge, an edge as one piece travels it
(clockwise as seen).  Only half-edges with a piece to their right are kept, none of the outside.

Pieces are numbered as in the block, points and edges from 0.  A ``Corner`` is the part of a
piece between two of its sides at a point; where a seam ends in the middle of a
straight side, the piece on the other side has a corner of 180 degrees there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import STRtree

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.snapping import snapped
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    Vector,
    between,
    cross,
    distance,
    minus,
    turn,
)

PIVOT = 1.0
"""Degrees; a seam that turns by more has a pivot there, at which cloth is turned under the needle.

A drawing in decimals turns a straight seam by less where points lie on it.
"""


@dataclass(frozen=True, slots=True)
class Edge:
    """A part of a seam or of the block's outside, between two points.

    Attributes:
        start, end: point numbers.
        segment: the edge as the piece ``right`` travels it.
        right: the piece with its cloth to the right of the edge.
        left: the piece on the other side, or None at the outside of the block.
        back: the edge as the piece ``left`` travels it.
    """

    start: int
    end: int
    segment: Segment
    right: int
    left: int | None = None
    back: Segment | None = None

    def across(self, piece: int) -> int | None:
        """The other one of the two pieces of the edge, or None outside the block."""
        return self.left if self.right == piece else self.right


@dataclass(frozen=True, slots=True)
class Side:
    """A half-edge: an edge as one piece travels it.

    Attributes:
        forward: whether that is from the edge's start to its end.
    """

    edge: int
    forward: bool


def travelled_back(sides: Sequence[Side]) -> tuple[Side, ...]:
    """Sides that follow each other, as they are travelled the other way."""
    return tuple(Side(side.edge, not side.forward) for side in reversed(sides))


@dataclass(frozen=True, slots=True)
class Corner:
    """A piece at a point: it comes in along side number ``side - 1`` and leaves along ``side``.

    Seen from the point, the cloth lies clockwise from the leaving edge to the
    arriving one.

    Attributes:
        arriving, leaving: edge numbers.
        arrives: the direction of travel at the end of the arriving side.
        leaves: the direction of travel at the start of the leaving side.
        turns: degrees from ``arrives`` to ``leaves``, clockwise; 90 at a square's corner,
            0 on a straight side, negative at a reflex corner.
    """

    piece: int
    side: int
    arriving: int
    leaving: int
    arrives: Vector
    leaves: Vector
    turns: float

    @property
    def inner_angle(self) -> float:
        """Degrees of cloth at the corner: 180 on a straight side, more at a reflex corner."""
        return 180.0 - self.turns


@dataclass(frozen=True, slots=True)
class Seams:
    """The planar subdivision of a block, as a doubly connected edge list.

    Attributes:
        points: where edges end, inches.
        edges: all edges.
        sides: for each piece its half-edges in order, clockwise as seen.
        around: for each point its runs of corners. The corners of a run follow each
            other clockwise, each sharing its arriving edge with the leaving edge of the
            next one. A run is broken by the outside of the block; where there is none,
            the one run closes on itself.
    """

    points: tuple[Point, ...]
    edges: tuple[Edge, ...]
    sides: tuple[tuple[Side, ...], ...]
    around: tuple[tuple[tuple[Corner, ...], ...], ...]

    def segment(self, side: Side) -> Segment:
        """The side as its piece travels it."""
        edge = self.edges[side.edge]
        if side.forward:
            return edge.segment
        assert edge.back is not None, "at the outside there is one way to travel"
        return edge.back

    def start(self, side: Side) -> int:
        """The number of the point at which a side begins."""
        edge = self.edges[side.edge]
        return edge.start if side.forward else edge.end

    def beside(self, side: Side) -> tuple[int | None, int | None]:
        """The pieces to the right and to the left of a side as it is travelled."""
        edge = self.edges[side.edge]
        return (edge.right, edge.left) if side.forward else (edge.left, edge.right)

    def parted(self, point: int, one: int, other: int) -> tuple[list[int], list[int]]:
        """The pieces round a point in two: clockwise from an edge to another one, and on from that.

        The point lies inside the block, and both edges end there.
        """
        (run,) = self.around[point]
        at = next(i for i, corner in enumerate(run) if corner.leaving == one)
        pieces: tuple[list[int], list[int]] = ([], [])
        beyond = False
        for corner in (*run[at:], *run[:at]):
            pieces[beyond].append(corner.piece)
            beyond = beyond or corner.arriving == other
        return pieces

    def closes(self, run: Sequence[Corner]) -> bool:
        """Whether a run of corners goes all the way round its point."""
        return run[-1].arriving == run[0].leaving


def planar_map(outlines: Sequence[Outline]) -> Seams:
    """The planar subdivision of pieces whose outlines were knitted.

    They share their points and edges exactly, so that two half-edges are twins if they run between
    the same points, along the same handles, opposite ways.

    >>> left = paths.polygon([(0, 0), (1, 0), (1, 2), (0, 2)])
    >>> right = paths.polygon([(1, 0), (3, 0), (3, 2), (1, 2)])
    >>> seams = planar_map([left, right])
    >>> [(e.right, e.left) for e in seams.edges if e.left is not None]
    [(0, 1)]
    """
    number: dict[Point, int] = {}
    points: list[Point] = []
    edges: list[Edge] = []
    # Edges that wait for their twin half-edge; one is taken out when its twin has come.
    travelled: dict[tuple[int, int, tuple[Point, ...]], int] = {}
    sides: list[tuple[Side, ...]] = []
    for piece, outline in enumerate(outlines):
        own: list[Side] = []
        for segment in outline:
            for p in (segment.start, segment.end):
                if p not in number:
                    number[p] = len(points)
                    points.append(p)
            a, b = number[segment.start], number[segment.end]
            known = travelled.pop((b, a, _handles(paths.reverse(segment))), None)
            if known is None:
                travelled[a, b, _handles(segment)] = len(edges)
                own.append(Side(len(edges), True))
                edges.append(Edge(a, b, segment, piece))
            else:
                own.append(Side(known, False))
                edge = edges[known]
                edges[known] = replace(edge, left=piece, back=segment)
        sides.append(tuple(own))
    seams = Seams(tuple(points), tuple(edges), tuple(sides), ())
    at: list[list[Corner]] = [[] for _ in points]
    for piece, sides_of_piece in enumerate(sides):
        for k, side in enumerate(sides_of_piece):
            at[seams.start(side)].append(corner_between(seams, piece, k, sides_of_piece))
    return replace(seams, around=tuple(_runs(group) for group in at))


def _handles(segment: Segment) -> tuple[Point, ...]:
    """What besides its ends makes an edge: two curves, or a curve and a line, may share those."""
    return () if isinstance(segment, Line) else (segment.handle1, segment.handle2)


def corner_between(seams: Seams, piece: int, k: int, sides: Sequence[Side]) -> Corner:
    """The corner between side ``k - 1`` and side ``k`` of a ring of sides."""
    before, after = seams.segment(sides[k - 1]), seams.segment(sides[k])
    arrives, leaves = paths.tangent(before, 1.0), paths.tangent(after, 0.0)
    return Corner(
        piece, k, sides[k - 1].edge, sides[k].edge, arrives, leaves, _turns(before, after)
    )


def _turns(before: Segment, after: Segment) -> float:
    """Degrees that an outline turns between two of its segments.

    At a cusp the directions alone do not say whether the cloth is inside it (+180) or
    round it (-180); the curves a little way off do.
    """
    turns = turn(paths.tangent(before, 1.0), paths.tangent(after, 0.0))
    if abs(turns) < 179.0:  # rounding cannot turn its sign
        return turns
    back = minus(paths.point_at(before, 0.95), before.end)
    on = minus(paths.point_at(after, 0.05), after.start)
    return math.copysign(abs(turns), cross(on, back))


def _runs(corners: Sequence[Corner]) -> tuple[tuple[Corner, ...], ...]:
    """The corners at a point in runs, each in the order round it (see ``Seams.around``)."""
    by_leaving = {c.leaving: c for c in corners}
    by_arriving = {c.arriving: c for c in corners}
    # A run begins after the outside: nobody arrives along the edge on which its first one leaves.
    firsts = [c for c in corners if c.leaving not in by_arriving]
    left = dict(by_leaving)
    runs: list[tuple[Corner, ...]] = []
    while left:
        # What is left after those goes all the way round, and may begin anywhere.
        first = firsts.pop() if firsts else next(iter(left.values()))
        run: list[Corner] = []
        corner: Corner | None = first
        while corner is not None and left.pop(corner.leaving, None) is not None:
            run.append(corner)
            corner = by_leaving.get(corner.arriving)
        if run:
            runs.append(tuple(run))
    return tuple(runs)


def knit(outlines: Sequence[Outline], tolerance: float = TOLERANCE) -> tuple[Outline, ...]:
    """Make outlines share their points and edges exactly.

    Points within ``tolerance`` become one; a point that lies within ``tolerance`` of
    another piece's edge is put on that edge and divides it; edges that run within
    ``tolerance`` of each other between the same points become the same edge.  An outline
    that shrinks to nothing comes back empty.

    Args:
        tolerance: inches.
    """
    # Points before edges: whether a point lies on an edge is asked of where the edge comes to lie.
    merged = _merge_points(outlines, tolerance)
    moved, cuts = _points_on_edges(merged, tolerance)
    kept: dict[tuple[Point, Point], list[Segment]] = {}
    knitted: list[Outline] = []
    for outline, outline_cuts in zip(merged, cuts, strict=True):
        own: list[Segment] = []
        for segment, at in zip(outline, outline_cuts, strict=True):
            # Divided at the points as they were, then moved: the point itself is put on the edge,
            # so that the edge stays as straight as it was drawn.
            for divided in _divided(segment, at):
                placed = paths.moved_ends(
                    divided,
                    moved.get(divided.start, divided.start),
                    moved.get(divided.end, divided.end),
                )
                if placed.start != placed.end:
                    own.append(_shared(placed, kept, tolerance))
        knitted.append(_without_spikes(own))
    return tuple(knitted)


def _merge_points(outlines: Sequence[Outline], tolerance: float) -> list[Outline]:
    """The outlines with near points made one, without edges that thereby have no length."""
    place = snapped((s.start for o in outlines for s in o), tolerance)
    merged: list[Outline] = []
    for outline in outlines:
        placed = (paths.moved_ends(s, place[s.start], place[s.end]) for s in outline)
        merged.append(tuple(s for s in placed if s.start != s.end))
    return merged


def _points_on_edges(
    outlines: Sequence[Outline], tolerance: float
) -> tuple[dict[Point, Point], list[list[list[tuple[float, Point]]]]]:
    """Which points move onto an edge, and at which parameters each edge is divided.

    Returns:
        For each point that moves where it comes to lie; and for each edge of each outline the
        (parameter, point as it was) of each point on it.
    """
    cuts: list[list[list[tuple[float, Point]]]] = [[[] for _ in o] for o in outlines]
    owners = [(i, k, s) for i, o in enumerate(outlines) for k, s in enumerate(o)]
    seen = list(dict.fromkeys(s.start for _, _, s in owners))
    moved: dict[Point, Point] = {}
    if not owners:
        return moved, cuts
    strings = [shapely.LineString([*paths.flatten(s), s.end]) for _, _, s in owners]
    dots = [shapely.Point(p) for p in seen]
    # A little further than the tolerance, as these strings are chords of the curves.
    near = STRtree(strings).query(dots, predicate="dwithin", distance=tolerance * 1.1)
    for p, e in sorted(zip(near[0].tolist(), near[1].tolist(), strict=True)):
        point, (i, k, segment) = seen[p], owners[e]
        if point in (segment.start, segment.end):
            continue
        t, gap = paths.nearest(segment, point)
        if gap > tolerance or not 0 < t < 1:
            continue
        # A point near several edges moves onto the first. One that lies on its edge but for
        # rounding stays, so that a block that was knitted before comes back as it is.
        moved.setdefault(point, paths.point_at(segment, t) if gap > 1e-12 else point)
        cuts[i][k].append((t, point))
    return moved, cuts


def _divided(segment: Segment, at: Iterable[tuple[float, Point]]) -> list[Segment]:
    """The parts of an edge between the points at some parameters of it."""
    parts: list[Segment] = []
    done = 0.0
    for t, point in sorted(at):
        if not done < t < 1:
            continue
        # The parameter on what is left of the edge.
        before, segment = paths.split(segment, (t - done) / (1 - done))
        parts.append(paths.moved_ends(before, before.start, point))
        segment = paths.moved_ends(segment, point, segment.end)
        done = t
    return [*parts, segment]


def _shared(
    segment: Segment, kept: dict[tuple[Point, Point], list[Segment]], tolerance: float
) -> Segment:
    """The segment that was kept first among those that run along this one."""
    for known in kept.get((segment.start, segment.end), ()):
        if _run_together(known, segment, tolerance):
            return known
    for known in kept.get((segment.end, segment.start), ()):
        back = paths.reverse(known)
        if _run_together(back, segment, tolerance):
            return back
    kept.setdefault((segment.start, segment.end), []).append(segment)
    return segment


def _run_together(one: Segment, other: Segment, tolerance: float) -> bool:
    """Whether two segments with the same ends lie along each other."""
    if isinstance(one, Line) and isinstance(other, Line):
        return True
    return all(
        paths.nearest(one, paths.point_at(other, t))[1] <= tolerance
        for t in (0.2, 0.4, 0.5, 0.6, 0.8)
    )


def _without_spikes(segments: list[Segment]) -> Outline:
    """The outline without edges that are travelled out and straight back."""
    own: list[Segment] = []
    for segment in segments:
        if own and own[-1] == paths.reverse(segment):
            own.pop()
        else:
            own.append(segment)
    while len(own) >= 2 and own[0] == paths.reverse(own[-1]):
        own = own[1:-1]
    return tuple(own)


def straightened(outline: Outline) -> Outline:
    """The outline without the points in the middle of its straight sides.

    It starts with the side on which the given outline starts, in the same direction.

    >>> len(straightened(paths.polygon([(0, 0), (1, 0), (2, 0), (2, 2), (0, 2)])))
    4
    """
    merged: list[Segment] = []
    for segment in outline:
        if merged and _goes_straight_on(merged[-1], segment):
            merged[-1] = Line(merged[-1].start, segment.end)
        else:
            merged.append(segment)
    while len(merged) > 2 and _goes_straight_on(merged[-1], merged[0]):
        merged[0] = Line(merged[-1].start, merged[0].end)
        merged.pop()
    return tuple(merged)


def _goes_straight_on(before: Segment, after: Segment) -> bool:
    """Whether the point between two lines lies on the line from the first one's start to the end.

    Within a millionth of an inch, far less than the tolerance: many points in a row, each a little
    off, must not add up to a bend that is lost.
    """
    if isinstance(before, Curve) or isinstance(after, Curve):
        return False
    (x, y), (mx, my), (ex, ey) = before.start, before.end, after.end
    along, across = ex - x, ey - y
    aside = along * (my - y) - across * (mx - x)
    square = along * along + across * across
    # Most are corners, and plainly off the chord's line: by more than twice the 1e-6 below.
    if aside * aside > 4e-12 * square or square < 1e-18:
        return False
    chord = Line(before.start, after.end)
    t, gap = paths.nearest(chord, before.end)
    return gap <= 1e-6 and distance(between(chord.start, chord.end, t), before.end) <= 1e-6
