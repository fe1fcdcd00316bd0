"""The lines that marks are meant as: drawn in pieces, twice, as dashes or as thin filled bars.

What a program draws as one line comes out of a file as several marks as a rule, and ends a hair
short of the line it should reach. So straight parts of marks that lie along one line are put
together first; ``reading.network`` then lets the lines meet.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Segment
from piecewright.patchwork.geometry.vectors import Point, distance, turn
from piecewright.patchwork.reading.page import Mark

BESIDE = 0.01
"""Inches: how far apart two lines may run and be meant as one: less than a line's width."""

GAP = 0.03
"""Inches: the widest gap between parts of a line that is drawn through."""

THICKEST = 0.06
"""Inches: a filled shape that is no thicker, and at least four times as long, is a line; the
thickest lines of patterns are 3 pt, or 0.042 in."""

LONGEST_DASH = 0.25
"""Inches, of a dash and of the gap after it."""

FEWEST_DASHES = 4
"""That make a broken line, rather than lines that happen to stand in a row."""

_CURVED = 25.0
"""Degrees: a chain of short segments that turns by less at each is a curve drawn in chords."""

_CHORD = 0.35
"""Inches: the longest chord of such a chain, unless it hardly turns."""

_FLATNESS = 0.002
"""Inches: how far the chords that stand for a curve may be from it here, a tenth of the width of
a drawn line."""


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """A line as it is meant.

    Attributes:
        points: two of a straight line; those of its chords along a curve.
    """

    points: tuple[Point, ...]

    @property
    def is_straight(self) -> bool:
        """Whether it has a direction of its own, from end to end."""
        return len(self.points) == 2


def lines_of(marks: Iterable[Mark], beside: float = BESIDE) -> list[DrawnLine]:
    """The lines that marks are meant as.

    Args:
        beside: how far apart, in inches, lines may run and be meant as one.

    >>> from piecewright.patchwork.reading.page import Style
    >>> ink = Style(False, "#000000", 0.014)
    >>> twice = [Mark((Line((0.0, 0.0), (2.0, 0.0)),), False, ink)] * 2
    >>> lines_of(twice)
    [DrawnLine(points=((0.0, 0.0), (2.0, 0.0)))]
    """
    straight: list[Line] = []
    curved: list[DrawnLine] = []
    by_style: dict[object, list[Line]] = defaultdict(list)
    for mark in marks:
        bar = _bar(mark)
        if bar is not None:
            by_style[mark.style].append(bar)
            continue
        for part in _parts(mark):
            if len(part) == 1 and isinstance(part[0], Line):
                by_style[mark.style].append(part[0])
            else:
                curved.append(DrawnLine(_chain(part)))
    for of_style in by_style.values():
        straight += _dashes_joined(of_style)
    curved = [chain for chain in curved if len(chain.points) > 1]
    merged = _merged([s for s in straight if distance(s.start, s.end) > 1e-6], beside)
    return [*(DrawnLine((line.start, line.end)) for line in merged), *dict.fromkeys(curved)]


def _chain(part: Sequence[Segment]) -> tuple[Point, ...]:
    """Points along segments, none of them twice in a row."""
    points = [*(p for segment in part for p in paths.flatten(segment, _FLATNESS)), part[-1].end]
    return tuple(p for k, p in enumerate(points) if k == 0 or distance(p, points[k - 1]) > 1e-6)


def is_thin(mark: Mark) -> bool:
    """Whether a mark is a line that was drawn as a filled bar."""
    return _bar(mark) is not None


def _bar(mark: Mark) -> Line | None:
    """The middle line of a filled shape that is as thin as a line; None if it is not."""
    if not mark.style.filled or len(mark.path) > 8:
        return None
    points = np.array([s.start for s in mark.path])
    # The box that lies as the longest side does.
    longest = max(mark.path, key=lambda s: distance(s.start, s.end))
    run = np.array(longest.end) - np.array(longest.start)
    size = float(np.hypot(*run))
    if size == 0:
        return None
    along = run / size
    across = np.array([-along[1], along[0]])
    t, u = points @ along, points @ across
    length, thickness = float(np.ptp(t)), float(np.ptp(u))
    if thickness > THICKEST or length < 4 * thickness:
        return None
    middle = (u.max() + u.min()) / 2
    start, end = (k * along + middle * across for k in (t.min(), t.max()))
    return Line((float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def _parts(mark: Mark) -> Iterator[tuple[Segment, ...]]:
    """A mark's path cut at its corners; a chain of chords along a curve stays one part."""
    part: list[Segment] = []
    for segment in mark.path:
        if part and not _goes_on(part[-1], segment):
            yield tuple(part)
            part = []
        part.append(segment)
    if part:
        yield tuple(part)


def _goes_on(one: Segment, other: Segment) -> bool:
    """Whether the next segment is a part of the same curve."""
    if isinstance(one, Line) and isinstance(other, Line):
        if max(distance(s.start, s.end) for s in (one, other)) > _CHORD:
            return False
    elif isinstance(one, Line) != isinstance(other, Line):
        return False
    try:
        bend = turn(paths.tangent(one, 1.0), paths.tangent(other, 0.0))
    except ZeroDivisionError:
        return True
    return abs(bend) < _CURVED


def _dashes_joined(lines: Sequence[Line]) -> list[Line]:
    """Lines of one style, short ones that stand in a row at even distances made one."""
    short = [s for s in lines if 0 < distance(s.start, s.end) <= LONGEST_DASH]
    if len(short) < FEWEST_DASHES:
        return list(lines)
    rows: dict[tuple[int, int, int, int], list[int]] = defaultdict(list)
    for i, dash in enumerate(short):
        angle, away = _carrier(dash)
        # Each dash is put into the rows on both sides of it: rounding must not part neighbours.
        for a, b in itertools.product((0, 1), repeat=2):
            key = (a, b, math.floor(angle / 2.0 + a / 2), math.floor(away / 0.04 + b / 2))
            rows[key].append(i)
    joined: list[Line] = []
    used: set[int] = set()
    for row in sorted(rows.values(), key=len, reverse=True):
        left = [i for i in row if i not in used]
        for run in _runs([short[i] for i in left]):
            indices = [left[k] for k in run]
            used.update(indices)
            ends = [p for i in indices for p in (short[i].start, short[i].end)]
            joined.append(_spanned(ends))
    rest = [dash for i, dash in enumerate(short) if i not in used]
    return [*joined, *rest, *(s for s in lines if distance(s.start, s.end) > LONGEST_DASH)]


def _carrier(line: Line) -> tuple[float, float]:
    """The direction of a line (degrees, 0 to 180) and its distance from the origin."""
    dx, dy = line.end[0] - line.start[0], line.end[1] - line.start[1]
    angle = math.degrees(math.atan2(dy, dx)) % 180
    if angle > 179.5:
        angle -= 180  # a level line that rises by a hair
    nx, ny = -math.sin(math.radians(angle)), math.cos(math.radians(angle))
    return angle, nx * line.start[0] + ny * line.start[1]


def _runs(dashes: Sequence[Line]) -> list[list[int]]:
    """Of dashes along one line: those that follow each other at even distances."""
    if len(dashes) < FEWEST_DASHES:
        return []
    angle = math.radians(_carrier(max(dashes, key=lambda s: distance(s.start, s.end)))[0])
    along = (math.cos(angle), math.sin(angle))
    spans = []
    for i, dash in enumerate(dashes):
        a, b = sorted(p[0] * along[0] + p[1] * along[1] for p in (dash.start, dash.end))
        spans.append((a, b, i))
    spans.sort()
    gaps = [after[0] - before[1] for before, after in itertools.pairwise(spans)]
    wide = [g for g in gaps if g > GAP / 3]
    if not wide:
        return []
    usual = float(np.median(wide))
    runs, run = [], [spans[0][2]]
    for gap, span in zip(gaps, spans[1:], strict=True):
        if gap > min(1.6 * usual, LONGEST_DASH):
            runs.append(run)
            run = []
        run.append(span[2])
    runs.append(run)
    return [r for r in runs if len(r) >= FEWEST_DASHES]


def _spanned(points: Sequence[Point]) -> Line:
    """The straight line that fits points best, from the first of them to the last."""
    all_points = np.array(points)
    middle = all_points.mean(axis=0)
    # The direction along which they vary most: the first right singular vector.
    _, _, directions = np.linalg.svd(all_points - middle, full_matrices=False)
    along = directions[0]
    if along[0] < -1e-9 or (abs(along[0]) <= 1e-9 and along[1] < 0):
        along = -along
    t = (all_points - middle) @ along
    start, end = middle + t.min() * along, middle + t.max() * along
    return Line((float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def _merged(lines: Sequence[Line], beside: float) -> list[Line]:
    """Lines with those that lie along each other, and touch or nearly do, made one."""
    if not lines:
        return []
    ends = np.array([[s.start, s.end] for s in lines])
    strings = np.array(shapely.linestrings(ends), dtype=object)
    tree = STRtree(strings)
    one, other = tree.query(strings, predicate="dwithin", distance=max(GAP, beside))
    once = one < other
    one, other = one[once], other[once]
    lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    longer = np.where(lengths[one] >= lengths[other], one, other)
    shorter = np.where(lengths[one] >= lengths[other], other, one)
    together = _off(ends[longer], ends[shorter]) <= beside
    # A short bit may lie along a line only because it is short; it must run the same way too.
    together &= _between(ends[longer], ends[shorter]) < np.radians(2.0)
    groups = _groups(len(lines), longer[together].tolist(), shorter[together].tolist())
    merged: list[Line] = []
    for group in groups:
        if len(group) == 1:
            merged.append(lines[group[0]])
            continue
        # The longest parts say where the line runs, all of them where it ends.
        fit = _spanned([p for i in group for p in (lines[i].start, lines[i].end)])
        points = ends[group].reshape(-1, 2)
        span = np.array([fit.start, fit.end])
        if _off(span[None], points.reshape(1, -1, 2)).max() <= 1.5 * beside:
            merged.append(fit)
        else:  # a curve in many chords, each along the next
            merged += [lines[i] for i in group]
    return merged


Reals = NDArray[np.float64]


def _off(lines: Reals, others: Reals) -> Reals:
    """How far the points of others are from the lines prolonged, at most; inches."""
    run = lines[:, 1] - lines[:, 0]
    normal = np.stack([-run[:, 1], run[:, 0]], axis=1) / np.hypot(*run.T)[:, None]
    away = np.einsum("nkd,nd->nk", others - lines[:, :1], normal)
    result: Reals = np.abs(away).max(axis=1)
    return result


def _between(lines: Reals, others: Reals) -> Reals:
    """The angle between lines, radians, 0 to a right angle."""
    a, b = lines[:, 1] - lines[:, 0], others[:, 1] - others[:, 0]
    crossed = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    result: Reals = np.arctan2(np.abs(crossed), np.abs((a * b).sum(axis=1)))
    return result


def _groups(count: int, one: Sequence[int], other: Sequence[int]) -> list[list[int]]:
    """The connected parts of a graph (union-find)."""
    parent = list(range(count))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for i, j in zip(one, other, strict=True):
        parent[root(i)] = root(j)
    groups: dict[int, list[int]] = defaultdict(list)
    for i in range(count):
        groups[root(i)].append(i)
    return list(groups.values())
