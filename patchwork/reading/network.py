"""The faces between the lines of a page: lines made to meet, and what lies between them.

Lines of a drawing end a hair short of each other or run past, and three that should meet in a
point make a tiny triangle. So each line is drawn a little longer, all are cut where they cross
(noded), crossings that lie close together become one node, and each node is put where the lines
through it meet best (least squares). What bounds no face, such as the ends that were drawn
longer, falls away.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.geometry.polygons import lines as strings_of
from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.snapping import snapped
from piecewright.patchwork.geometry.vectors import Point, distance, minus, normalised, plus
from piecewright.patchwork.reading.lines import DrawnLine

REACH = 0.024
"""Inches by which each end of a line is drawn longer: 1.7 pt, the width of a thick line. Of two
lines that both end short of their corner each may miss it by that much."""

NEAR = 0.03
"""Inches within which crossings are one node: lines that reach 0.024 in past a corner which they
meet at 60 degrees cross within that."""

MOST_CROSSINGS = 40_000
"""More lines than that across each other are no pattern; they are refused before they are cut."""


class TooTangled(Exception):
    """Lines that cross far more often than those of any pattern."""


def faces_of(lines: Sequence[DrawnLine], near: float = NEAR) -> list[Polygon]:
    """The faces between lines, each with its corners at nodes and along its curves.

    Args:
        near: inches within which crossings are one node.

    Raises:
        TooTangled: the lines cross far too often.
    """
    if not lines:
        return []
    drawn = [LineString(_longer(line.points)) for line in lines]
    _check_crossings(drawn)
    noded = strings_of(overlaid(shapely.union_all, drawn, on_block=False))
    ends = [p for string in noded for p in (string.coords[0], string.coords[-1])]
    nodes = _nodes([(x, y) for x, y in ends], lines, near)
    edges: dict[tuple[Point, ...], LineString] = {}
    for string in noded:
        points = [(x, y) for x, y in string.coords]
        start, end = nodes[points[0]], nodes[points[-1]]
        inner = points[1:-1]
        if not inner and start == end:
            continue
        if inner and start == end and string.length < 2 * near:
            continue
        chain = _straightened([start, *inner, end])
        if len(chain) < 2:
            continue
        key = tuple(chain) if chain[0] <= chain[-1] else tuple(reversed(chain))
        edges[key] = LineString(key)
    found, _, _, _ = shapely.polygonize_full(list(edges.values()))
    faces = polygons(found)
    # Moving nodes may have led an edge across another; then only the slow way is safe.
    if not all(face.is_valid for face in faces):
        again = overlaid(shapely.union_all, list(edges.values()), on_block=False)
        faces = polygons(shapely.polygonize_full([again])[0])
    return faces


def _longer(points: Sequence[Point]) -> list[Point]:
    first, last = points[0], points[-1]
    if first == last and len(points) > 2:
        return list(points)  # a ring has no ends
    start = plus(first, normalised(minus(first, points[1])), REACH)
    end = plus(last, normalised(minus(last, points[-2])), REACH)
    if len(points) == 2:
        return [start, end]
    return [start, *points[1:-1], end]


def _check_crossings(drawn: Sequence[LineString]) -> None:
    tree = STRtree(drawn)
    crossings = 0
    for few in range(0, len(drawn), 50):
        crossings += len(tree.query(drawn[few : few + 50], predicate="intersects")[0]) // 2
        if crossings > MOST_CROSSINGS:
            raise TooTangled


def _nodes(ends: Sequence[Point], lines: Sequence[DrawnLine], near: float) -> dict[Point, Point]:
    """For each end of an edge the node that it becomes."""
    first_of = snapped(ends, near)
    clusters: dict[Point, list[Point]] = {}
    for point, first in first_of.items():
        clusters.setdefault(first, []).append(point)
    firsts = list(clusters)
    means = np.array([np.mean(clusters[f], axis=0) for f in firsts])
    # Which lines run through a cluster is asked of the lines as they were drawn.
    strings = [LineString(line.points) for line in lines]
    found, of = STRtree(strings).query(shapely.points(means), predicate="dwithin", distance=near)
    through: dict[int, list[int]] = {}
    for cluster, line in zip(found.tolist(), of.tolist(), strict=True):
        through.setdefault(cluster, []).append(line)
    places = [
        _meeting_point(mean, [lines[k] for k in through.get(i, ())], near)
        for i, mean in enumerate(means)
    ]
    where = dict(zip(firsts, places, strict=True))
    return {point: where[first] for point, first in first_of.items()}


def _meeting_point(mean: np.ndarray, lines: Sequence[DrawnLine], near: float) -> Point:
    """The point nearest to all lines, and of several such points the one nearest to the mean."""
    rows, rights = [], []
    for line in lines:
        points = np.array(line.points)
        k = _nearest_chord(points, mean)
        run = points[k + 1] - points[k]
        size = float(np.hypot(*run))
        if size < 1e-9:
            continue
        normal = np.array([-run[1], run[0]]) / size
        rows.append(normal)
        rights.append(float(normal @ (points[k] - mean)))
    if not rows:
        return (float(mean[0]), float(mean[1]))
    # Lines that meet at less than some 3 degrees do not say where along them they meet.
    move, *_ = np.linalg.lstsq(np.array(rows), np.array(rights), rcond=0.05)
    if np.hypot(*move) > 2 * near:
        move = move * 0
    return (float(mean[0] + move[0]), float(mean[1] + move[1]))


def _nearest_chord(points: np.ndarray, at: np.ndarray) -> int:
    if len(points) == 2:
        return 0
    chords = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    return int(shapely.distance(chords, shapely.Point(at)).argmin())


def _straightened(points: Sequence[Point]) -> list[Point]:
    """Without points that stand within a hair of the one before."""
    kept = [points[0]]
    for point in points[1:]:
        if distance(point, kept[-1]) > 1e-9:
            kept.append(point)
    return kept
