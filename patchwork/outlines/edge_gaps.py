"""How far points are from edges, for thousands of pairs of a point and an edge at once.

From a straight edge that is a few multiplications.  A curve is divided into short parts, and the
chord of each says how far the curve is at least and at most; only where that leaves it open whether
a point is near enough, the curve itself is asked.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from piecewright.patchwork.geometry.path_arrays import Chains, Marks, Numbers, Reals, counted

_PARTS: Final = 8
"""Into how many parts a curve falls at most: those of a quarter circle of 6 in are within 0.02 in
of their chords, and fewer than one point in ten is left open."""

_NOTHING: Final = 1e-300
"""Square inches, in place of none at all, by which nothing can be divided."""


class EdgeGaps:
    """The edges of a block, to be asked how far points are from them.

    All questions take points, shape (n, 2), and the number of an edge for each; one point may
    stand for all.
    """

    def __init__(self, chains: Chains, lines: NDArray[np.object_], flatness: float) -> None:
        """The edges by their points, and as Shapely's lines.

        Args:
            flatness: how far (inches) the lines are from the curves that they stand for.
        """
        self._chains, self._lines, self._flatness = chains, lines, flatness

    def exactly(self, places: Reals, edges: Numbers, within: Reals | float = math.inf) -> Reals:
        """How far (inches) each point is from its edge.

        Args:
            within: inches; where a curve is further off, it is only said that it is.
        """
        gaps = self.bounds(places, edges)[0]
        bent = np.flatnonzero(np.isin(edges, self._chains.curves[0]) & (gaps <= within))
        if len(bent):
            gaps[bent] = shapely.distance(shapely.points(places[bent]), self._lines[edges[bent]])
        return gaps

    def close(self, places: Reals, edges: Numbers, within: float) -> Marks:
        """Whether each point lies within some inches of its edge."""
        least, most = self.bounds(places, edges)
        close: Marks = most <= within
        unsure = np.flatnonzero((least <= within) & ~close)
        if len(unsure):
            dots, lines = shapely.points(places[unsure]), self._lines[edges[unsure]]
            close[unsure] = shapely.distance(dots, lines) <= within
        return close

    def surely_close(self, places: Reals, edges: Numbers, within: float) -> Marks:
        """The same by the chords of curves alone: false where they leave it open."""
        close: Marks = self.bounds(places, edges)[1] <= within
        return close

    def bounds(self, places: Reals, edges: Numbers) -> tuple[Reals, Reals]:
        """How far (inches) each point is from its edge at least and at most."""
        if not len(edges):  # there is no least of nothing
            return np.zeros(0), np.zeros(0)
        if not len(self._chains.curves[0]):
            # The points of straight edges are their ends.
            x, y, ex, ey = self._chains.points.reshape(-1, 4).T[:, edges]
            gaps = _gaps(places, x, y, ex - x, ey - y)
            return gaps, gaps
        chords, starts = self._chords
        counts = np.diff(starts)[edges]
        pair, part = counted(counts)
        places = np.broadcast_to(places, (len(edges), 2))
        x, y, dx, dy, bulges = chords[:, starts[edges][pair] + part]
        gaps = _gaps(places[pair], x, y, dx, dy)
        first = np.cumsum(counts) - counts
        least = np.minimum.reduceat(gaps - bulges, first)
        return np.maximum(least, 0.0), np.minimum.reduceat(gaps + bulges, first)

    @cached_property
    def _chords(self) -> tuple[Reals, Numbers]:
        """The chords of all parts, and the first one of each edge.

        For each its start, the way to its end, and how far the edge is from it at most: shape
        (5, chords).
        """
        starts, points = self._chains.starts, self._chains.points
        curved, controls = self._chains.curves
        steps = np.diff(starts) - 1
        parts = np.minimum(steps, _PARTS)
        owner, j = counted(parts)
        first = points[starts[owner] + j * steps[owner] // parts[owner]]
        along = points[starts[owner] + (j + 1) * steps[owner] // parts[owner]] - first
        # A chord is off by no more than ``paths.steps`` says for its part of the parameter.
        bulges = np.zeros(len(steps))
        turning = 6 * np.diff(controls, n=2, axis=1)
        most = np.hypot(turning[..., 0], turning[..., 1]).max(axis=1, initial=0.0)
        longest = np.ceil(steps[curved] / parts[curved]) / steps[curved]
        bulges[curved] = most * longest * longest / 8 + self._flatness
        rows = (first[:, 0], first[:, 1], along[:, 0], along[:, 1], bulges[owner])
        return np.stack(rows), np.concatenate((np.zeros(1, dtype=int), np.cumsum(parts)))


def _gaps(places: Reals, x: Reals, y: Reals, dx: Reals, dy: Reals) -> Reals:
    """How far (inches) each point is from a chord that begins at ``x, y`` and runs ``dx, dy``."""
    # Coordinate by coordinate, which is twice as fast as point by point.
    px, py = places[:, 0] - x, places[:, 1] - y
    # A part of a curve may end where it begins; nothing can be divided by its chord.
    size = np.maximum(dx * dx + dy * dy, _NOTHING)
    t = np.clip((px * dx + py * dy) / size, 0.0, 1.0)
    px -= t * dx
    py -= t * dy
    gaps: Reals = np.sqrt(px * px + py * py)
    return gaps
