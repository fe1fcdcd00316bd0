"""The seam allowance round a section as printed: lines that run along it at one distance.

Whatever it is drawn as, a dashed or thin line, a ring of faces or a filled band, an allowance is
what runs beside the outline of a section at the same distance all round. So it is measured: rays
go out from the outline, and most of them must meet a line at one distance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import Polygon

from piecewright.patchwork.reading.lines import DrawnLine

NARROWEST, WIDEST = 0.08, 0.8
"""Inches between which an allowance lies: from 1/8 in, reduced to two thirds, to 3/4 in."""

_EVEN = 0.02
"""Inches by which the distance may differ on the way round."""

_ALL_ROUND = 0.9
"""Of the rays that must meet the line; corners that are cut off take some."""

_APART = 0.05
"""Inches between rays."""


@dataclass(frozen=True, slots=True)
class Allowance:
    """An allowance that was measured.

    Attributes:
        width: inches.
        share: of the rays that found it so, 0 to 1.
    """

    width: float
    share: float


class LinesAround:
    """The lines of a page, to be asked what runs round each section on it."""

    def __init__(self, lines: Sequence[DrawnLine]) -> None:
        pairs = [pair for line in lines for pair in zip(line.points, line.points[1:], strict=False)]
        ends = np.array(pairs).reshape(-1, 2, 2)
        self._chords = np.array(shapely.linestrings(ends), dtype=object)
        self._tree = STRtree(self._chords)

    def allowance(self, section: Polygon) -> Allowance | None:
        """The allowance round a section; None where no line runs along it at one distance.

        Args:
            section: its finished outline as printed, inches on the page.
        """
        starts, outward = _rays(section)
        ends = starts + (WIDEST + _EVEN) * outward
        rays = np.array(
            shapely.linestrings(np.stack([starts + 1e-3 * outward, ends], axis=1)), dtype=object
        )
        ray, chord = self._tree.query(rays, predicate="intersects")
        # A line that runs along the ray, a seam drawn on into the allowance, is met sideways.
        hits = np.array(shapely.intersection(rays[ray], self._chords[chord]), dtype=object)
        points = shapely.get_type_id(hits) == 0
        ray, hits = ray[points], hits[points]
        along = shapely.get_coordinates(hits) - starts[ray]
        away = np.einsum("nd,nd->n", along, outward[ray])
        near = (away >= NARROWEST) & (away <= WIDEST)
        ray, away = ray[near], away[near]
        best: Allowance | None = None
        # Not the first line that each ray meets, but the distance at which the most of them do.
        for width in np.unique(np.round(away, 3)):
            met = np.abs(away - width) <= _EVEN / 2
            share = len(np.unique(ray[met])) / len(starts)
            if share >= _ALL_ROUND and (best is None or share > best.share + 0.01):
                best = Allowance(float(np.median(away[met])), share)
        return best


def _rays(section: Polygon) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points along the outline and the directions straight out from them."""
    ring = np.array(shapely.geometry.polygon.orient(section, sign=1.0).exterior.coords)
    starts, ways = [], []
    for p, q in zip(ring, ring[1:], strict=False):
        size = float(np.hypot(*(q - p)))
        if size < 1e-6:
            continue
        count = max(2, round(size / _APART))
        t = (np.arange(count) + 0.5) / count
        starts.append(p + t[:, None] * (q - p))
        # Counterclockwise as x and y are usually drawn, so the outside is on the right.
        out = np.array([q[1] - p[1], p[0] - q[0]]) / size
        ways.append(np.tile(out, (count, 1)))
    return np.concatenate(starts), np.concatenate(ways)
