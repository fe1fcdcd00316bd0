"""Templates nested by outline on cloth of a given width, for the length that they take.

A skyline heuristic for the strip-packing problem with irregular shapes, bottom-left as it is called
there: the cloth's length runs down (y), its width across (x), in columns an eighth of an inch wide.
Each patch, in each turn that its grain allows, is pushed up between those that lie there until it
touches one; of all places the one is taken at which it ends highest.  As a patch only
adds to what lies there, more blocks never take less cloth.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.vectors import Point

GAP: Final = 1 / 16
"""Inches between two patches, for the thickness of the pencil."""

_COLUMN: Final = 1 / 8
"""Inches; a patch takes whole columns, and so wastes less than this at its side."""

_MOST_TURNS: Final = 8
"""Turns of a patch without a grain, every 45 degrees."""

_MOST_AT_ONCE: Final = 240
"""Patches that are nested one by one; more blocks repeat what the first ones take."""


@dataclass(frozen=True, slots=True)
class Blank:
    """A patch to nest.

    Attributes:
        outline: its cut outline, as laid on the cloth's right side.
        turns: degrees by which it may be turned, clockwise as seen.
        count: how many for each block.
    """

    outline: tuple[Point, ...]
    turns: tuple[float, ...]
    count: int


@dataclass(frozen=True, slots=True)
class Laid:
    """A patch on the cloth: turned about its origin, then moved."""

    blank: int
    turn: float
    x: float
    y: float


class TooWide(ValueError):
    """A patch is wider than the cloth in every turn that its grain allows.

    Attributes:
        blank: its number.
    """

    def __init__(self, blank: int) -> None:
        super().__init__(f"patch {blank} is wider than the cloth")
        self.blank = blank


def turns_for(grain: float | None, one_way: bool, one_way_up: bool = False) -> tuple[float, ...]:
    """The turns that lay a patch's grain along the cloth (or across it).

    Args:
        grain: degrees; None if any turn will do.
        one_way: it must lie along the cloth.
        one_way_up: the print has an upper end.

    >>> turns_for(90.0, True), turns_for(0.0, True, True)
    ((0.0, 180.0), (90.0,))
    """
    if grain is None:
        return tuple(360.0 * k / _MOST_TURNS for k in range(_MOST_TURNS))
    first = 90.0 - grain
    if one_way_up:
        return (first,)
    return (first, first + 180.0) if one_way else tuple(first + 90.0 * k for k in range(4))


@dataclass(frozen=True, slots=True)
class _Turned:
    """A patch in one turn: how high and how low it reaches in each column."""

    turn: float
    left: float
    top: float
    width: float
    high: NDArray[np.float64]
    low: NDArray[np.float64]


def nested(blanks: Sequence[Blank], width: float, blocks: int) -> tuple[float, tuple[Laid, ...]]:
    """The length of cloth (inches) that the patches of so many blocks take.

    Args:
        width: of the cloth, usable, inches.

    Returns:
        The length, and how the first patches lie (of as many blocks as are nested one by one).

    Raises:
        TooWide: a patch does not fit the cloth.
    """
    turned = [_all_turns(blank, width) for blank in blanks]
    for number, ways in enumerate(turned):
        if not ways:
            raise TooWide(number)
    # The tallest first: small ones then fill what large ones leave between them.
    order = sorted(
        (k for k, blank in enumerate(blanks) for _ in range(blank.count)),
        key=lambda k: (-max(float(t.low.max()) for t in turned[k]), k),
    )
    if not order:
        return 0.0, ()
    at_once = min(blocks, max(1, _MOST_AT_ONCE // len(order)))
    cloth = _Cloth(width)
    lengths, laid = [0.0], []
    for _ in range(at_once):
        laid += [cloth.put(k, turned[k]) for k in order]
        lengths.append(cloth.length)
    # Further blocks are laid below the first ones, as if with a straight cut between: a little
    # more cloth than nesting all of them would take.
    repeats, rest = divmod(blocks, at_once)
    return repeats * lengths[-1] + lengths[rest], tuple(laid)


def _all_turns(blank: Blank, width: float) -> list[_Turned]:
    """A patch in all turns that fit the cloth; of turns that look the same the first."""
    found: list[_Turned] = []
    for turn in blank.turns:
        shape = affinity.rotate(Polygon(blank.outline), turn, origin=(0, 0))
        left, top, right, _ = shape.bounds
        if right - left > width + 1e-9:
            continue
        ring = [(x - left, y - top) for x, y in shape.exterior.coords]
        one = _profile(turn, left, top, ring, right - left)
        if not any(_same(one, other) for other in found):
            found.append(one)
    return found


def _same(one: _Turned, other: _Turned) -> bool:
    return one.high.shape == other.high.shape and bool(
        np.allclose(one.high, other.high, atol=1e-6) and np.allclose(one.low, other.low, atol=1e-6)
    )


def _profile(turn: float, left: float, top: float, ring: Sequence[Point], width: float) -> _Turned:
    """A patch as its skyline, from above and from below; its ring has (0, 0) for its upper left."""
    columns = max(1, math.ceil(width / _COLUMN - 1e-6))
    high, low = np.full(columns, np.inf), np.full(columns, -np.inf)
    for (x0, y0), (x1, y1) in zip(ring, ring[1:], strict=False):
        if x0 > x1:
            x0, y0, x1, y1 = x1, y1, x0, y0
        # Where an edge enters and leaves each column: between them it is straight.
        first = min(columns - 1, max(0, math.floor(x0 / _COLUMN + 1e-9)))
        last = min(columns - 1, max(first, math.ceil(x1 / _COLUMN - 1e-9) - 1))
        for k in range(first, last + 1):
            for x in (max(x0, k * _COLUMN), min(x1, (k + 1) * _COLUMN)):
                y = y0 if x1 - x0 < 1e-9 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
                high[k], low[k] = min(high[k], y), max(low[k], y)
        # Of an upright edge, which has no way across, the above has counted one end only.
        for x, y in ((x0, y0), (x1, y1)):
            k = min(columns - 1, max(0, math.floor(x / _COLUMN + 1e-9)))
            high[k], low[k] = min(high[k], y), max(low[k], y)
    return _Turned(turn, left, top, width, high, low)


class _Cloth:
    """The cloth, with how far down it is taken in each column."""

    def __init__(self, width: float) -> None:
        self._width = width
        self._taken = np.zeros(max(1, math.ceil(width / _COLUMN - 1e-6)))
        self.length = 0.0

    def put(self, number: int, turns: Iterable[_Turned]) -> Laid:
        """Lay a patch where it ends highest."""
        best: tuple[float, float, int, _Turned] | None = None
        for turned in turns:
            # All places at once: each window is what is taken of the columns under the patch.
            windows = np.lib.stride_tricks.sliding_window_view(self._taken, len(turned.high))
            windows = windows[: math.floor((self._width - turned.width) / _COLUMN + 1e-6) + 1]
            tops = np.maximum((windows - turned.high).max(axis=1), 0.0)
            ends = tops + float(turned.low.max())
            # Among places that end as high, the one that leaves the least empty above it.
            empty = tops + (turned.high - windows).mean(axis=1)
            # One sum ranks both: ends differ by 1e-4 at least, waste stays far below 100 in.
            place = int(np.argmin(np.round(ends, 4) + 1e-6 * empty))
            end, waste = float(round(ends[place], 4)), float(empty[place])
            if best is None or (end, waste) < best[:2]:
                best = (end, waste, place, turned)
        assert best is not None, "the patch has a turn that fits"
        _, _, place, turned = best
        there = slice(place, place + len(turned.high))
        top = max(0.0, float((self._taken[there] - turned.high).max()))
        self._taken[there] = top + turned.low + GAP
        self.length = max(self.length, top + float(turned.low.max()))
        return Laid(number, turned.turn % 360.0, place * _COLUMN - turned.left, top - turned.top)
