"""What of a mark lies in a window: the parts of its path, truly cut at the border.

A program that reads a sheet and knows nothing of clip paths (a plotter's, a cutting machine's)
then draws no more of it than the printer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.render.drawing.linekinds import PENS, POINTS_PER_INCH
from piecewright.render.drawing.marks import Box, Mark, Stroke, mark_box

_TINY: Final = 1e-7
"""Parameters and inches that are no further apart are one."""


def clipped(mark: Mark, window: Box) -> list[Mark]:
    """The parts of a mark in a window, in the order in which they are drawn.

    Curves stay curves. A part of a dashed line is dashed as the whole line is there. Text,
    dots and filled shapes stay whole.

    >>> from piecewright.render.drawing.marks import line
    >>> clipped(line("notch", (-1, 1), (9, 1)), Box(0, 0, 3, 3))[0].segments
    (Line(start=(0.0, 1.0), end=(3.0, 1.0)),)
    """
    if not isinstance(mark, Stroke) or mark.filled or not mark.segments:
        return [mark]
    around = mark_box(mark)
    assert around is not None
    if window.holds(around):
        return [mark]
    segments = list(mark.segments)
    if mark.closed and math.dist(segments[-1].end, segments[0].start) > _TINY:
        segments.append(Line(segments[-1].end, segments[0].start))
    runs = _runs(segments, window)
    # A closed path may begin inside the window: its last part then goes on with its first.
    if mark.closed and len(runs) > 1 and _meet(runs[-1][1], runs[0][1]):
        start, last = runs.pop()
        runs[0] = (start, last + runs[0][1])
    dash = sum(PENS[mark.kind].dash) / POINTS_PER_INCH
    whole = mark.closed and len(runs) == 1 and _meet(runs[0][1], runs[0][1])
    return [
        replace(
            mark,
            segments=tuple(run),
            closed=whole,
            offset=(mark.offset + start) % dash if dash else 0.0,
        )
        for start, run in runs
    ]


def _meet(before: list[Segment], after: list[Segment]) -> bool:
    return math.dist(before[-1].end, after[0].start) <= _TINY


def _runs(segments: list[Segment], window: Box) -> list[tuple[float, list[Segment]]]:
    """Parts that hang together, each with how far along the whole path it starts."""
    runs: list[tuple[float, list[Segment]]] = []
    along = 0.0
    broken = True
    for segment in segments:
        for piece, inside in _pieces(segment, window):
            if inside and broken:
                runs.append((along, []))
            if inside:
                runs[-1][1].append(piece)
            broken = not inside
            along += paths.run_length([piece])
    return runs


def _pieces(segment: Segment, window: Box) -> Iterator[tuple[Segment, bool]]:
    """A segment cut where it crosses the border, and whether each piece is inside."""
    points = [segment.start, segment.end]
    if isinstance(segment, Curve):
        points += [segment.handle1, segment.handle2]
    # A Bézier curve lies in the convex hull of its points, and so in their box.
    hull = Box.around(points)
    if not hull.meets(window) or window.holds(hull):
        yield segment, hull.meets(window)
        return
    ends = sorted({0.0, 1.0, *_crossings(segment, window)})
    kept = [0.0]
    for t in ends[1:]:
        if t - kept[-1] > _TINY:
            kept.append(t)
    # The last of two ends that count as one is the true end of the segment.
    kept[-1] = 1.0
    for t0, t1 in zip(kept, kept[1:], strict=False):
        # Between two crossings all is on one side, so that one point decides.
        x, y = paths.point_at(segment, (t0 + t1) / 2)
        inside = window.x <= x <= window.right and window.y <= y <= window.bottom
        yield paths.part(segment, t0, t1), inside


def _crossings(segment: Segment, window: Box) -> Iterator[float]:
    """Parameters at which a segment crosses the lines along the window's borders.

    On such a line one coordinate of the segment, a polynomial in its parameter, is constant.
    """
    borders = ((0, window.x), (0, window.right), (1, window.y), (1, window.bottom))
    for axis, border in borders:
        if isinstance(segment, Line):
            p, s = segment.start[axis], segment.end[axis]
            powers = [s - p, p - border]
        else:
            p, q, r, s = (
                segment.start[axis],
                segment.handle1[axis],
                segment.handle2[axis],
                segment.end[axis],
            )
            powers = [s - 3 * r + 3 * q - p, 3 * (r - 2 * q + p), 3 * (q - p), p - border]
        if max(map(abs, powers[:-1])) < _TINY:
            continue  # along the border, or no segment at all
        for root in np.roots(powers):
            if abs(root.imag) < _TINY and 0.0 < root.real < 1.0:
                yield float(root.real)
