"""The offset curve of a finished outline: its sides' parallels, joined by the rims of its mitres.

The outline is walked once round, side by side.  Where that walk runs into itself (a notch narrower
than its allowances, a bay tighter than they are), ``patchwork.outlines.offset_overlap`` takes over.
"""

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
from piecewright.patchwork.outlines.mitres import AGREED, FLAT, Mitre
from piecewright.patchwork.outlines.offset_overlap import overlapping_offset

_ROUNDING = 1e-9
"""Inches; a shorter edge is one that rounding has made of a point."""

_WELDED = 5e-5
"""Inches; a parallel's end this close to the rim is put on it: more than rounding sets them apart,
and far less than a step of allowances."""


@dataclass(frozen=True, slots=True)
class FinishedPiece:
    """A finished outline, clockwise, with what its offset takes.

    Attributes:
        away: the allowance of each segment, inches.
        mitres: the mitre at the start of each segment.
    """

    segments: Sequence[Segment]
    away: Sequence[float]
    mitres: Sequence[Mitre]

    @property
    def convex(self) -> bool:
        """Whether it has neither reflex corners nor curves: then its walk cannot cross itself."""
        # ``map(type, …)`` and a list, as thousands of pieces are asked.
        curved = Curve in map(type, self.segments)
        return not curved and min([mitre.turns for mitre in self.mitres]) >= -FLAT


def offset_outlines(pieces: Sequence[FinishedPiece]) -> tuple[Outline, ...]:
    """Outlines moved out by their allowances, clockwise as seen.

    All pieces at once: their parallels are fitted together, and so is looked for crossings.

    Raises:
        BlockError: the parts of a piece's offset cannot be overlaid.
    """
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
        # A parallel that folds back makes the walk cross itself, so it is not even tried.
        unfolded = [parallel for parallel in own if parallel is not None]
        walks.append(_walk(piece, unfolded) if len(unfolded) == len(own) else None)
    doubtful = [
        (i, walk)
        for i, (piece, walk) in enumerate(zip(pieces, walks, strict=True))
        if walk is not None and not piece.convex
    ]
    for i in _self_crossing(doubtful):
        walks[i] = None
    return tuple(
        straightened(overlapping_offset(p.segments, p.away, p.mitres) if walk is None else walk)
        for p, walk in zip(pieces, walks, strict=True)
    )


def _self_crossing(walks: Sequence[tuple[int, Outline]]) -> Iterator[int]:
    """The numbers of walks that cross or touch themselves."""
    if walks:
        # One array of points for all of them, and one call of Shapely for each step.
        along = chains([s for _, walk in walks for s in walk], FLATNESS)
        lengths = [len(walk) for _, walk in walks]
        owner = np.repeat(np.repeat(np.arange(len(walks)), lengths), np.diff(along.starts))
        # The last point of a side is the first of the next one.
        ends = along.starts[1:] - 1
        points, owner = np.delete(along.points, ends, axis=0), np.delete(owner, ends)
        shapes = shapely.polygons(shapely.linearrings(points, indices=owner))
        for k in np.flatnonzero(~shapely.is_valid(shapes)).tolist():
            yield walks[k][0]


def _walk(piece: FinishedPiece, beside: Sequence[Outline]) -> Outline | None:
    """The outline walked side by side; None where parallels meet beyond their sides' ends.

    Args:
        beside: the parallels of the sides that are curves, in the order of the sides.
    """
    mitres, parallel = piece.mitres, iter(beside)
    rims: list[list[Point]] = []
    for mitre, segment in zip(mitres, piece.segments, strict=True):
        px, py = segment.start
        rims.append([(px + x, py + y) for x, y in mitre.rim() or _step(mitre)])
    walked: list[Segment] = []
    for k, segment in enumerate(piece.segments):
        start, rim = rims[k][-1], rims[(k + 1) % len(mitres)]
        if isinstance(segment, Line):
            # Beside a short side between two reflex corners the raw edge would run backward.
            # Written out, as every side of every piece comes by here.
            (ax, ay), (bx, by), (px, py), (qx, qy) = start, rim[0], segment.start, segment.end
            if (bx - ax) * (qx - px) + (by - ay) * (qy - py) <= 0:
                return None
            walked.append(Line(start, rim[0]))
        else:
            # A parallel is prolonged to the rims, but it cannot be cut short at one.
            before, after = mitres[k], mitres[(k + 1) % len(mitres)]
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


def _step(mitre: Mitre) -> Sequence[Vector]:
    """The rim on a straight side: a point, or a step where the allowance changes there."""
    one, other = mitre.ends
    return (between(one, other, 0.5),) if distance(one, other) < TOLERANCE else (one, other)
