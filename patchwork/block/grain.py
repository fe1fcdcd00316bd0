"""The straight grain of each piece, and which of its edges are cut on the bias.

An edge along the straight grain hardly stretches, and one across it little more: a block keeps
its size if its outside lies on the grain, and hangs straight if its pieces lie as the block does
(common practice of the trade).  So the arrow runs with, whichever a piece has first:

1. the longest straight edge that it has at the outside of the block;
2. its long sides, if it is a strip: more than twice as long as wide. Strips are cut along the
   cloth, and a short end that happens to run with the block is no reason to cut one on the bias;
3. the longest of its edges that run with a side of the block;
4. its longest straight edge;
5. where all its edges are curved: its own axis, from tip to tip of a petal; if it has none, as a
   disc or a square with hollow sides, the direction of the block.

Pieces of one shape are cut from one template if they can be: one that has no edge at the outside
takes its grain from the others.  Only where outside edges, or their author, want another grain do
like shapes have several.

A direction here is that of a line, without a sense: 0 <= degrees < 180, clockwise from +x as seen.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.block.seams import Seams, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.congruence import Shape, Way, congruences, laid, ways_onto
from piecewright.patchwork.geometry.paths import Line, Outline, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, angle, cross, distance, minus

PARALLEL = 0.25
"""Degrees within which two edges run the same way; a drawing in decimals is off by less."""

ON_GRAIN = 5.0
"""Degrees off the straight or the cross grain from which an edge counts as bias.

Cloth is laid to its grain by eye, which is good to a few degrees.
"""

_AS_LONG = TOLERANCE
"""Inches within which sides are as long as each other."""

_STRIP: Final = 0.49
"""A strip's width, in lengths of its long side, at most: less than half, which is what the triangle
and the parallelogram of half squares have, whose short sides are cut with the block."""

_ROUND: Final = 0.05
"""How much longer than wide, as a share, a shape of curves has to be for its axis to count: one
that was meant to be as long as wide was drawn by no more exact a hand."""

_TO: Final = 0.1
"""Degrees to which the axis of a shape of curves is given: its curves are measured as points, and
nobody lays cloth more exactly."""


@dataclass(frozen=True, slots=True)
class _Wish:
    """The grain that a piece has for itself.

    Attributes:
        grain: degrees; None where it is free.
        firm: whether it is the author's, or that of an edge at the outside of the block.
    """

    grain: float | None
    firm: bool


def grain_lines(seams: Seams, pieces: Sequence[Piece]) -> tuple[float | None, ...]:
    """For each piece its grain in degrees (0 <= grain < 180), None where it is free."""
    # Many edges at the outside run one way: each way is compared once.
    # (A dict, not a set, for a fixed order.)
    block_sides = dict.fromkeys(
        _way(edge.segment)
        for edge in seams.edges
        if edge.left is None and isinstance(edge.segment, Line)
    )
    wishes = [_wish(seams, i, piece, block_sides) for i, piece in enumerate(pieces)]
    return _agreed(pieces, wishes)


def _wish(seams: Seams, number: int, piece: Piece, block_sides: Iterable[float]) -> _Wish:
    """The grain of one piece (see the top of this module for the rule)."""
    if piece.grain == "free":
        return _Wish(None, True)
    if piece.grain != "auto":
        return _Wish(float(piece.grain) % 180.0, True)
    whole_sides = _straight_sides(seams, number)
    at_outside = [(size, way) for size, way, outside in whole_sides if outside]
    if at_outside:
        return _Wish(_longest(at_outside), True)
    sides = [(size, way) for size, way, _ in whole_sides]
    if not sides:
        return _Wish(_axis(piece.outline, block_sides), False)
    along_block = [
        (size, way) for size, way in sides if any(_apart(way, b) <= PARALLEL for b in block_sides)
    ]
    if along_block and not _is_strip(piece.outline, sides):
        return _Wish(_longest(along_block), False)
    return _Wish(_longest(sides), False)


def _is_strip(outline: Outline, sides: Sequence[tuple[float, float]]) -> bool:
    """Whether a piece of straight sides is far longer than wide, measured along its longest one.

    A triangle is none, however slender: it points along its middle, and its base lies across.
    """
    if len(sides) < 4 or any(not isinstance(s, Line) for s in outline):
        return False
    long = max(size for size, _ in sides)
    turn = math.radians(_longest(sides))
    across = [cross((math.cos(turn), math.sin(turn)), s.start) for s in outline]
    return max(across) - min(across) <= _STRIP * long


def _axis(outline: Outline, block_sides: Iterable[float]) -> float:
    """The direction in which a shape of curves is longest, or that of the block.

    It is the principal axis of the shape's second moments of area (Green's theorem over its ring of
    points), which is its axis of symmetry where it has one, or lies across that.
    """
    ring = paths.ring(outline)
    x0, y0 = ring[0]
    points = [(x - x0, y - y0) for x, y in ring]
    area = mx = my = xx = yy = xy = 0.0
    for p, q in zip(points, points[1:] + points[:1], strict=True):
        twice = cross(p, q)
        area += twice / 2
        mx += (p[0] + q[0]) * twice / 6
        my += (p[1] + q[1]) * twice / 6
        xx += (p[0] * p[0] + p[0] * q[0] + q[0] * q[0]) * twice / 12
        yy += (p[1] * p[1] + p[1] * q[1] + q[1] * q[1]) * twice / 12
        xy += (p[0] * (2 * p[1] + q[1]) + q[0] * (p[1] + 2 * q[1])) * twice / 24
    xx, yy, xy = xx - mx * mx / area, yy - my * my / area, xy - mx * my / area
    apart = math.hypot((xx - yy) / 2, xy)
    # Moments go by the square of lengths.
    if xx + yy + 2 * apart <= (1 + _ROUND) ** 2 * (xx + yy - 2 * apart):
        return min(block_sides, key=lambda way: _apart(way, 90.0), default=90.0)
    degrees = math.degrees(math.atan2(2 * xy, xx - yy)) / 2
    return round(degrees / _TO) * _TO % 180.0


def _agreed(pieces: Sequence[Piece], wishes: Sequence[_Wish]) -> tuple[float | None, ...]:
    """The grain of each piece, once those without a firm wish go by the pieces of their shape."""
    grains = [wish.grain for wish in wishes]
    outlines = [straightened(piece.outline) for piece in pieces]
    bare = [Shape(outline, outline) for outline in outlines]
    found = congruences(bare)
    of_shape: dict[int, list[int]] = {}
    for i, one in enumerate(found):
        # What an author says of one piece, he does not say of others.
        if pieces[i].grain == "auto":
            of_shape.setdefault(one.first, []).append(i)
    for first, own in of_shape.items():
        # In each kind the grain lies the same way in the shape; a kind goes by its first piece.
        kinds: list[int] = []
        known: list[tuple[int, list[float]]] = []
        for i in own:
            lies = _as_laid(grains[i], outlines[i], outlines[first], found[i].ways)
            kind = next((k for k, others in known if _meet(lies, others)), i)
            if kind == i:
                known.append((i, lies))
            kinds.append(kind)
        firm = [kind for i, kind in zip(own, kinds, strict=True) if wishes[i].firm]
        ((most, _),) = Counter(firm or kinds).most_common(1)
        for i, kind in zip(own, kinds, strict=True):
            if kind != most and kind not in firm:
                way, grain = next(ways_onto(bare[most], bare[i])), grains[most]
                assert grain is not None, "none of them is free"
                onto = laid(outlines[most], outlines[i], way)
                grains[i] = round(onto.grain(grain), 6) % 180.0
    return tuple(grains)


def _as_laid(
    grain: float | None, outline: Outline, onto: Outline, ways: Iterable[Way]
) -> list[float]:
    """How the grain of a piece lies in its shape, in each way in which it lies on that."""
    assert grain is not None, "none of them is free"
    return [laid(outline, onto, way).grain(grain) for way in ways]


def _meet(ways: Iterable[float], others: Sequence[float]) -> bool:
    """Whether one of some directions is one of the others."""
    return any(_apart(one, other) <= PARALLEL for one in ways for other in others)


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
    """The direction from a segment's start to its end, degrees."""
    # Rounded, so that a level line that arithmetic turned a hair back is still at 0, not at 180.
    return round(angle(minus(segment.end, segment.start)), 9) % 180.0


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
