"""Transects: lines across a unit, with the pieces and the seams that each of them passes.

What lies on such a line, and at which angle, says how far off the unit is along it
(``sewing.error_budget``).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from piecewright.patchwork.block.joins import Join
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, Vector, dot

MOST_ASLANT = 0.1
"""Sine of an angle, of some 6 degrees; an edge that lies more aslant is counted as if it lay so.

Its reciprocal is how much farther a line runs to reach an edge that lies aslant, which grows past
all bounds as the angle goes to 0; cloth gives long before."""


@dataclass(frozen=True, slots=True)
class Transect:
    """A line across a unit: it enters the first of its pieces and leaves the last.

    Attributes:
        edges: those it crosses, one more than there are pieces; the first and the last are
            round the unit, the others were sewn in it.
        sines: of the angles at which it crosses them.
    """

    pieces: tuple[int, ...]
    edges: tuple[int, ...]
    sines: tuple[float, ...]

    def counts(self, i: int) -> float:
        """How often the deviation of a cut counts along the transect."""
        sewn = 0 < i < len(self.edges) - 1
        return self.sines[i] if sewn else 1.0 / self.sines[i]


class Transects:
    """Straight transects of any unit of a block; its edges are held as chords."""

    def __init__(self, seams: Seams) -> None:
        self.seams = seams
        self.of_piece = [sorted({s.edge for s in sides}) for sides in seams.sides]
        self.chords: list[list[tuple[Point, Point]]] = []
        for edge in seams.edges:
            # Within a quarter of the tolerance, so that a line that keeps clear of corners by more
            # crosses the chords where it crosses the curve.
            points = [*paths.flatten(edge.segment, TOLERANCE / 4), edge.segment.end]
            self.chords.append(list(zip(points, points[1:], strict=False)))

    def across(self, pieces: Sequence[int], along: Vector) -> Iterator[Transect]:
        """Lines in a direction across a unit, one for each row of edges that they may cross."""
        edges = sorted({e for i in pieces for e in self.of_piece[i]})
        aside = (-along[1], along[0])
        owners, xs, ys = self._laid(edges, along, aside)
        corners = sorted(
            dot(p, aside)
            for e in edges
            for p in (self.seams.edges[e].segment.start, self.seams.edges[e].segment.end)
        )
        inside = set(pieces)
        seen: set[tuple[int, ...]] = set()
        # Between two neighbouring corners the line crosses the same straight edges wherever it
        # runs; a gap that the rounding of corners leaves is no place for a line.
        for low, high in zip(corners, corners[1:], strict=False):
            if high - low > 4 * TOLERANCE:
                hits = _hits(owners, xs, ys, (low + high) / 2)
                transect = self._transect(hits, inside, None)
                if transect is not None and transect.edges not in seen:
                    seen.add(transect.edges)
                    yield transect

    def through_seam(self, pieces: Sequence[int], join: Join) -> Transect | None:
        """The line across a unit, square to a seam near its middle, clear of all corners."""
        side = join.seam.sides[len(join.seam.sides) // 2]
        segment = self.seams.segment(side)
        edges = sorted({e for i in pieces for e in self.of_piece[i]})
        # The middle first; aside of it where the line there runs through a corner.
        for share in (0.5, 0.45, 0.55, 0.35, 0.65):
            middle, along = paths.point_at(segment, share), paths.tangent(segment, share)
            across, aside = (-along[1], along[0]), (-along[0], -along[1])
            owners, xs, ys = self._laid(edges, across, aside)
            at = dot(middle, aside)
            if np.abs(ys - at).min() > TOLERANCE:
                transect = self._transect(_hits(owners, xs, ys, at), set(pieces), side.edge)
                if transect is not None:
                    return transect
        return None

    def _laid(
        self, edges: Sequence[int], along: Vector, aside: Vector
    ) -> tuple[list[int], NDArray[np.float64], NDArray[np.float64]]:
        """All chords of the edges in a frame with ``along`` as its first axis.

        Returns:
            The edge of each chord, and of its two ends the first and the second coordinates.
        """
        owners = [e for e in edges for _ in self.chords[e]]
        ends = np.array([c for e in edges for c in self.chords[e]], dtype=np.float64)
        laid = ends @ np.array([along, aside]).T
        return owners, laid[:, :, 0], laid[:, :, 1]

    def _transect(
        self, hits: Sequence[tuple[float, int, bool, float]], inside: set[int], through: int | None
    ) -> Transect | None:
        """The crossings as a transect, of several the one through an edge; None if it has a gap."""
        pieces: list[int] = []
        edges: list[int] = []
        sines: list[float] = []
        for _, e, into_right, sine in hits:
            edge = self.seams.edges[e]
            before, after = (edge.left, edge.right) if into_right else (edge.right, edge.left)
            # What it leaves must be where it was: the piece entered last, or outside the unit.
            was_in = before in inside
            if was_in != (len(pieces) > 0) or (pieces and pieces[-1] != before):
                return None
            edges.append(e)
            sines.append(max(sine, MOST_ASLANT))
            if after is not None and after in inside:
                pieces.append(after)
            elif through is None or through in edges[1:-1]:
                return Transect(tuple(pieces), tuple(edges), tuple(sines))
            else:
                pieces, edges, sines = [], [], []
        return None


def _hits(
    owners: Sequence[int],
    xs: NDArray[np.float64],
    ys: NDArray[np.float64],
    at: float,
) -> list[tuple[float, int, bool, float]]:
    """What the line at a distance aside crosses: where, which edge, whether into the piece to
    the right of the edge, and the sine of the angle."""
    y0, y1 = ys[:, 0], ys[:, 1]
    found = []
    # Half open, so that a line through the common end of two chords crosses one of them.
    for i in np.nonzero((y0 <= at) != (y1 <= at))[0].tolist():
        x0, x1 = xs[i]
        dy = y1[i] - y0[i]
        x = x0 + (x1 - x0) * (at - y0[i]) / dy
        # Clockwise of an edge lies its right: a line along +x goes into it if the edge runs up.
        found.append((float(x), owners[i], bool(dy < 0), float(abs(dy) / math.hypot(x1 - x0, dy))))
    return sorted(found)
