"""The straight grain of each piece, and which of its edges are cut on the bias.

An edge along the straight grain hardly stretches, so a block keeps its size if its outside lies
on the grain (common practice of the trade): the arrow runs with the longest straight
edge that a piece has at the outside of the block; a piece without one takes the direction
of a side of the block if one of its edges runs that way, and else that of its longest edge.

A direction here is that of a line, without a sense: 0 <= degrees < 180, clockwise from +x as seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, angle, distance, minus

PARALLEL = 0.25
"""Degrees within which two edges run the same way; a drawing in decimals is off by less."""

ON_GRAIN = 5.0
"""Degrees off the straight or the cross grain from which an edge counts as bias.

Cloth is laid to its grain by eye, which is good to a few degrees.
"""

_AS_LONG = TOLERANCE
"""Inches within which sides are as long as each other."""


def grain_lines(seams: Seams, pieces: Sequence[Piece]) -> tuple[float | None, ...]:
    """For each piece its grain in degrees (0 <= grain < 180), None where it is free."""
    # Many edges at the outside run one way: each way is compared once.
    # (A dict, not a set, for a fixed order.)
    block_sides = dict.fromkeys(
        _way(edge.segment)
        for edge in seams.edges
        if edge.left is None and isinstance(edge.segment, Line)
    )
    return tuple(_grain(seams, i, piece, block_sides) for i, piece in enumerate(pieces))


def _grain(seams: Seams, number: int, piece: Piece, block_sides: Iterable[float]) -> float | None:
    """The grain of one piece (see the top of this module for the rule)."""
    if piece.grain == "free":
        return None
    if piece.grain != "auto":
        return float(piece.grain) % 180.0
    whole_sides = _straight_sides(seams, number)
    at_outside = [(size, way) for size, way, outside in whole_sides if outside]
    if at_outside:
        return _longest(at_outside)
    along_block = [
        (size, way)
        for size, way, _ in whole_sides
        if any(_apart(way, side) <= PARALLEL for side in block_sides)
    ]
    for choice in (along_block, [(size, way) for size, way, _ in whole_sides]):
        if choice:
            return _longest(choice)
    # All its sides are curved: their chords say how it lies.
    return _longest([(distance(s.start, s.end), _way(s)) for s in piece.outline])


def outside_grains(seams: Seams, piece: int) -> tuple[float, ...]:
    """The directions in which a piece's longest straight edges at the outside of the block run.

    The outside lies on the grain if any of them does; none where the piece has no such edge.
    """
    sides = [(size, way) for size, way, outside in _straight_sides(seams, piece) if outside]
    most = max((size for size, _ in sides), default=0.0)
    return tuple(way for size, way in sides if size >= most - _AS_LONG)


def _straight_sides(seams: Seams, piece: int) -> list[tuple[float, float, bool]]:
    """(inches, degrees, whether at the outside) of a piece's straight sides.

    Parts of a side that follow each other straight on are one, as long as they are all
    inside the block or all at its outside.
    """
    found: list[tuple[float, float, bool]] = []
    for side in seams.sides[piece]:
        segment = seams.segment(side)
        if isinstance(segment, Line):
            outside = seams.edges[side.edge].left is None
            size, way = distance(segment.start, segment.end), _way(segment)
            if found and found[-1][2] == outside and _apart(found[-1][1], way) <= PARALLEL:
                found[-1] = (found[-1][0] + size, way, outside)
            else:
                found.append((size, way, outside))
    # The outline may begin in the middle of a side: its last part belongs to the first then.
    if (
        len(found) > 1
        and found[0][2] == found[-1][2]
        and _apart(found[0][1], found[-1][1]) <= PARALLEL
    ):
        size, way, outside = found.pop()
        found[0] = (found[0][0] + size, way, outside)
    return found


def _longest(sides: Sequence[tuple[float, float]]) -> float:
    """The direction of the longest side; the one nearest to upright among equals."""
    most = max(size for size, _ in sides)
    longest = (way for size, way in sides if size >= most - _AS_LONG)
    return min(longest, key=lambda way: _apart(way, 90.0))


def _way(segment: Segment) -> float:
    """The direction of a segment's chord, degrees."""
    way = angle(minus(segment.end, segment.start)) % 180.0
    return 0.0 if way > 180.0 - 1e-9 else way  # a level line that rounding turned back


def _apart(one: float, other: float) -> float:
    """Degrees between two directions without a sense, 0 to 90."""
    apart = abs(one - other) % 180.0
    return min(apart, 180.0 - apart)


def bias_edges(outline: Outline, grain: float | None) -> tuple[int, ...]:
    """The numbers of the edges that lie on the bias.

    Edge ``i`` runs from point ``i`` of ``paths.ring(outline)`` to the one after it.  A curved
    edge is on the bias with all its parts.  Without a grain none is named.

    >>> bias_edges(paths.polygon([(0, 0), (1, 0), (0, 1)]), 90.0)
    (1,)
    """
    if grain is None:
        return ()
    numbers: list[int] = []
    i = 0
    for segment in outline:
        count = len(paths.flatten(segment))
        off = _apart(_way(segment), grain)
        if not isinstance(segment, Line) or ON_GRAIN < off < 90.0 - ON_GRAIN:
            numbers += range(i, i + count)
        i += count
    return tuple(numbers)
