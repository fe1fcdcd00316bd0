"""The walk round an outline's allowance: the parallels of its sides and the rims of its tips."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from piecewright.patchwork.block.seams import straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.path_arrays import chains, parallels
from piecewright.patchwork.geometry.paths import FLATNESS, Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, Vector, between, distance
from piecewright.patchwork.outlines.mitres import AGREED, FLAT, Tip
from piecewright.patchwork.outlines.offset_overlap import region_outline

_ROUNDING = 1e-9

_WELDED = 5e-5
"""Inches; a parallel's end this close to the rim is put on it."""


@dataclass(frozen=True, slots=True)
class Finished:
    """A finished outline, clockwise, with what its allowance takes.

    Attributes:
        away: the allowance of each segment, inches.
        tips: the tip at the start of each segment.
    """

    segments: Sequence[Segment]
    away: Sequence[float]
    tips: Sequence[Tip]

    @property
    def convex(self) -> bool:
        """Whether it has neither reflex corners nor curves: then its walk cannot cross itself."""
        curved = Curve in map(type, self.segments)
        return not curved and min([tip.turns for tip in self.tips]) >= -FLAT


def offset_outlines(pieces: Sequence[Finished]) -> tuple[Outline, ...]:
    """Outlines moved out by their allowances, clockwise as seen."""
    curved = [
        (segment, away)
        for piece in pieces
        for segment, away in zip(piece.segments, piece.away, strict=True)
        if isinstance(segment, Curve)
    ]
    beside = iter(parallels([segment for segment, _ in curved], [away for _, away in curved]))
    walks: list[Outline | None] = []
    for piece in pieces:
        own = [next(beside) for s in piece.segments if isinstance(s, Curve)]
        unfolded = [parallel for parallel in own if parallel is not None]
        walks.append(_walk(piece, unfolded) if len(unfolded) == len(own) else None)
    doubtful = [
        (i, walk)
        for i, (piece, walk) in enumerate(zip(pieces, walks, strict=True))
        if walk is not None and not piece.convex
    ]
    for i in _crossing(doubtful):
        walks[i] = None
    return tuple(
        straightened(region_outline(p.segments, p.away, p.tips) if walk is None else walk)
        for p, walk in zip(pieces, walks, strict=True)
    )


def _crossing(walks: Sequence[tuple[int, Outline]]) -> Iterator[int]:
    """The numbers of walks that cross themselves."""
    if walks:
        along = chains([s for _, walk in walks for s in walk], FLATNESS)
        lengths = [len(walk) for _, walk in walks]
        owner = np.repeat(np.repeat(np.arange(len(walks)), lengths), np.diff(along.starts))
        # The last point of a side is the first of the next one.
        ends = along.starts[1:] - 1
        points, owner = np.delete(along.points, ends, axis=0), np.delete(owner, ends)
        shapes = shapely.polygons(shapely.linearrings(points, indices=owner))
        for k in np.flatnonzero(~shapely.is_valid(shapes)).tolist():
            yield walks[k][0]


def _walk(piece: Finished, beside: Sequence[Outline]) -> Outline | None:
    """The outline walked side by side; None where parallels meet beyond their sides' ends.

    Args:
        beside: the parallels of the sides that are curves.
    """
    tips, parallel = piece.tips, iter(beside)
    rims: list[list[Point]] = []
    for tip, segment in zip(tips, piece.segments, strict=True):
        px, py = segment.start
        rims.append([(px + x, py + y) for x, y in tip.rim() or _step(tip)])
    walked: list[Segment] = []
    for k, segment in enumerate(piece.segments):
        start, rim = rims[k][-1], rims[(k + 1) % len(tips)]
        if isinstance(segment, Line):
            (ax, ay), (bx, by), (px, py), (qx, qy) = start, rim[0], segment.start, segment.end
            if (bx - ax) * (qx - px) + (by - ay) * (qy - py) <= 0:
                return None
            walked.append(Line(start, rim[0]))
        else:
            before, after = tips[k], tips[(k + 1) % len(tips)]
            if before.leaving_end < -AGREED or after.arriving_end < -AGREED:
                return None
            walked += _from_to(start, next(parallel), rim[0])
        if len(rim) > 1:
            walked += [Line(p, q) for p, q in itertools.pairwise(rim)]
    return tuple([s for s in walked if math.dist(s.start, s.end) > _ROUNDING])


def _from_to(start: Point, beside: Outline, end: Point) -> list[Segment]:
    """A parallel curve led on straight to the rims at its two ends.

    Where a curve goes on smoothly into the next the rim is its end, but for rounding.
    """
    walked = list(beside)
    if distance(start, walked[0].start) < _WELDED:
        walked[0] = paths.moved_ends(walked[0], start, walked[0].end)
    if distance(end, walked[-1].end) < _WELDED:
        walked[-1] = paths.moved_ends(walked[-1], walked[-1].start, end)
    return [Line(start, walked[0].start), *walked, Line(walked[-1].end, end)]


def _step(tip: Tip) -> Sequence[Vector]:
    """The rim on a straight side: a point, or a step where the allowance changes there."""
    one, other = tip.ends
    return (between(one, other, 0.5),) if distance(one, other) < TOLERANCE else (one, other)
