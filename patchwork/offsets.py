"""The walk round an outline's allowance: the parallels of its sides and the rims of its tips."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry import Polygon

from patchwork import paths
from patchwork.paths import Line, Outline, Segment
from patchwork.points import TOLERANCE, Point, between, distance, dot, minus, plus
from patchwork.region import region_outline
from patchwork.seams import straightened
from patchwork.tips import AGREED, Tip

_ROUNDING = 1e-9

_WELDED = 5e-5
"""Inches; a parallel's end this close to the rim is put on it."""


def offset_outline(
    segments: Sequence[Segment], away: Sequence[float], tips: Sequence[Tip]
) -> Outline:
    """An outline moved out by its allowances, clockwise as seen.

    Args:
        segments: the finished outline, clockwise.
        away: the allowance of each segment, inches.
        tips: the tip at the start of each segment.
    """
    direct = _direct_outline(segments, away, tips)
    if direct is None or not _is_simple(direct, tips):
        return straightened(region_outline(segments, away, tips))
    return straightened(direct)


def _is_simple(outline: Outline, tips: Sequence[Tip]) -> bool:
    """Whether the outline does not cross itself; only a piece that is not convex can."""
    if all(t.pointed or t.flat for t in tips) and all(isinstance(s, Line) for s in outline):
        return True
    return Polygon(paths.ring(outline)).is_valid


def _direct_outline(
    segments: Sequence[Segment], away: Sequence[float], tips: Sequence[Tip]
) -> Outline | None:
    """The outline walked side by side; None where parallels meet beyond their sides' ends."""
    walked: list[Segment] = []
    rims = [_rim_on_block(t, s.start) for t, s in zip(tips, segments, strict=True)]
    for k, segment in enumerate(segments):
        before, after = tips[k], tips[(k + 1) % len(tips)]
        start, rim = rims[k][-1], rims[(k + 1) % len(tips)]
        if isinstance(segment, Line):
            if dot(minus(rim[0], start), minus(segment.end, segment.start)) <= 0:
                return None
            walked.append(Line(start, rim[0]))
        else:
            if before.leaving_end < -AGREED or after.arriving_end < -AGREED:
                return None
            try:
                beside = paths.parallel(segment, away[k])
            except paths.FoldedCurve:
                return None
            walked += _from_to(start, beside, rim[0])
        walked += (Line(p, q) for p, q in zip(rim, rim[1:], strict=False))
    return tuple(s for s in walked if distance(s.start, s.end) > _ROUNDING)


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


def _rim_on_block(tip: Tip, place: Point) -> list[Point]:
    """The rim's corners on the block; on a straight side where the allowance changes, a step."""
    rim = tip.rim()
    if not rim:
        one, other = tip.ends
        rim = (between(one, other, 0.5),) if distance(one, other) < TOLERANCE else (one, other)
    return [plus(place, x) for x in rim]
