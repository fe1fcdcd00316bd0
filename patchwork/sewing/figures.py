"""Units as figures: which are alike, which are rectangles, which look the same after a half turn.

The *figure* of a unit is its outline as the seams divide it into pieces, fabrics not regarded.
Two units are alike if one can be turned, or flipped over and turned, so that its outline and all
of its pieces lie on those of the other: a maker sews them in the same way.

A unit is compared by its *marks*: the middle of each piece, which tells the shape of that
piece, and its corners.  Whatever carries the marks of one unit onto those of
another carries its pieces onto pieces of the same shape with the same corners.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from piecewright.patchwork.block.seams import Seams, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.congruence import Shape, congruences
from piecewright.patchwork.geometry.vectors import TOLERANCE
from piecewright.patchwork.sewing.bitset import PieceSet, pieces_of
from piecewright.patchwork.sewing.rectangles import BoundaryReader

NEAR: Final = 4 * TOLERANCE
"""Inches within which marks agree: a mark, and the middle of the unit from which it is measured,
may each be off by the tolerance within which points are one point, in both units."""

_SLANT: Final = 0.7
"""Radians; marks are sorted along this direction, in which no two of a block drawn on a grid, or on
multiples of 15 degrees, lie level with each other."""

_LARGEST_TABLE: Final = 300
"""Marks of which all distances are looked at where sorting does not pair them up."""

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

_CORNER: Final = -1
"""What a mark that is no piece's stands for."""


@dataclass(frozen=True)
class _Marks:
    """The marks of a unit, measured from the middle of its cloth.

    Attributes:
        at: shape (n, 2), inches.
        kinds: of each mark the number of its piece's shape, or ``_CORNER``; shape (n,).
        pieces: the numbers of the pieces; theirs are the first marks, in this order.
    """

    at: Floats
    kinds: Integers
    pieces: tuple[int, ...]

    @cached_property
    def away(self) -> Floats:
        """How far each mark lies from the middle."""
        return np.hypot(self.at[:, 0], self.at[:, 1])

    @cached_property
    def spread(self) -> Floats:
        """The distances of all marks from the middle, in order: alike units have the same."""
        return np.sort(self.away)


@dataclass(frozen=True)
class Inside:
    """What a unit that stands for a piece is divided into.

    Attributes:
        design: the same for units that are alike, from 0.
        points: that tell how its pieces lie, no two of them the same, inches; shape (n, 2).
        kinds: of each point, from 0: the same for pieces of the same shape.
    """

    design: int
    points: Floats
    kinds: Integers


class Figures:
    """The figures of a block's units, counted from 0 as they are met.

    Attributes:
        sizes: for each figure, how many pieces it has.
        rectangle, half_turn: for each figure, whether it is a rectangle, and whether it looks the
            same after a half turn.
        units: for each figure how many units that have it were met.
    """

    def __init__(self, seams: Seams, insides: Sequence[Inside] = ()) -> None:
        """Of a block's units.

        Args:
            insides: for each piece, if the pieces of ``seams`` are units themselves.
        """
        outlines = [tuple(seams.segment(side) for side in own) for own in seams.sides]
        plain = [straightened(outline) for outline in outlines]
        # Only finished shapes count here: neither allowance nor grain makes a seam another one.
        self._shapes = [one.first for one in congruences([Shape(o, o, None) for o in plain])]
        rings = [np.array(paths.ring(outline)) for outline in outlines]
        self._insides = insides
        if insides:
            self._shapes = [inside.design for inside in insides]
        self._areas, self._middles = _areas_and_middles(rings)
        self._points = np.array(seams.points, dtype=float)
        # Where a neighbour's seam ends in the middle of a straight side the piece has no corner.
        number = {point: k for k, point in enumerate(seams.points)}
        self._corners = [np.array([number[s.start] for s in outline]) for outline in plain]
        self._boundaries = BoundaryReader(seams)
        self._known: dict[PieceSet, int] = {}
        self._marks: list[_Marks] = []
        self._like: dict[tuple[int, bytes], list[int]] = {}
        self.sizes: list[int] = []
        self.rectangle: list[bool] = []
        self.half_turn: list[bool] = []
        self.units: list[int] = []

    def of(self, unit: PieceSet) -> int:
        """The number of a unit's figure."""
        known = self._known.get(unit)
        if known is None:
            known = self._known[unit] = self._met(unit)
            self.units[known] += 1
        return known

    def _met(self, unit: PieceSet) -> int:
        pieces = tuple(pieces_of(unit))
        if len(pieces) == 1:
            key = (1, self._shapes[pieces[0]].to_bytes(8, "big"))
            known = self._like.get(key)
            if known:
                return known[0]
            marks = self._marks_of(pieces)
        else:
            marks = self._marks_of(pieces)
            # Alike units have pieces of the same shapes: only those are compared.
            key = (len(pieces), np.sort(marks.kinds[: len(pieces)]).tobytes())
            for figure in self._like.get(key, ()):
                if _onto(self._marks[figure], marks) is not None:
                    return figure
        figure = len(self.sizes)
        self._like.setdefault(key, []).append(figure)
        self._marks.append(marks)
        self.units.append(0)
        self.sizes.append(len(pieces))
        area = float(self._areas[list(pieces)].sum())
        self.rectangle.append(self._boundaries.rectangle_of(pieces, area) is not None)
        self.half_turn.append(_paired(marks, -marks.at, marks) is not None)
        return figure

    def _marks_of(self, pieces: Sequence[int]) -> _Marks:
        own = list(pieces)
        areas, middles = self._areas[own], self._middles[own]
        middle = (middles * areas[:, None]).sum(axis=0) / areas.sum()
        corners = np.unique(np.concatenate([self._corners[i] for i in own]))
        kinds = [self._shapes[i] for i in own] + [_CORNER] * len(corners)
        at = [middles, self._points[corners]]
        for inside in (self._insides[i] for i in own if self._insides):
            # Kinds of their own, below that of corners.
            kinds += (_CORNER - 1 - inside.kinds).tolist()
            at.append(inside.points)
        return _Marks(np.concatenate(at) - middle, np.array(kinds), tuple(own))

    def carried(self, unit: PieceSet, half: PieceSet, onto: PieceSet) -> PieceSet:
        """The pieces onto which a part of a unit is carried when the unit is laid onto another.

        Args:
            onto: a unit with the same figure.
        """
        if unit == onto:
            return half
        marks, target = (self._marks_of(tuple(pieces_of(one))) for one in (unit, onto))
        pairs = _onto(marks, target)
        assert pairs is not None, "units of one figure are laid onto each other"
        found = 0
        for i, piece in enumerate(marks.pieces):
            if half >> piece & 1:
                found |= 1 << target.pieces[pairs[i]]
        return found


def _areas_and_middles(rings: Sequence[Floats]) -> tuple[Floats, Floats]:
    """The areas of rings of points, and their centroids (the shoelace formula)."""
    areas, middles = np.zeros(len(rings)), np.zeros((len(rings), 2))
    for i, ring in enumerate(rings):
        after = np.roll(ring, -1, axis=0)
        crosses = ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]
        twice = crosses.sum()
        areas[i] = abs(twice) / 2
        middles[i] = ((ring + after) * crosses[:, None]).sum(axis=0) / (3 * twice)
    return areas, middles


def _onto(marks: _Marks, target: _Marks) -> Integers | None:
    """Onto which marks of another unit those of a unit are laid, by a turn or a flip and a turn."""
    if len(marks.at) != len(target.at):
        return None
    if np.abs(marks.spread - target.spread).max() > NEAR:
        return None
    # One mark far from the middle settles the turn: it is tried on all of its kind that lie as
    # far out.  Of the rarest kind, so that few are to be tried.
    kinds, counts = np.unique(marks.kinds, return_counts=True)
    out = [float(marks.away[marks.kinds == kind].max()) for kind in kinds]
    far = [k for k in range(len(kinds)) if out[k] > marks.spread[-1] / 4]
    anchor_kind = kinds[min(far, key=lambda k: (counts[k], -out[k]))]
    own = np.flatnonzero(marks.kinds == anchor_kind)
    anchor = own[marks.away[own].argmax()]
    alike = (target.kinds == anchor_kind) & (np.abs(target.away - marks.away[anchor]) <= NEAR)
    start = math.atan2(marks.at[anchor, 1], marks.at[anchor, 0])
    for other in np.flatnonzero(alike):
        end = math.atan2(target.at[other, 1], target.at[other, 0])
        for flipped in (False, True):
            turn = end + start if flipped else end - start
            pairs = _paired(marks, _turned(marks.at, turn, flipped), target)
            if pairs is not None:
                return pairs
    return None


def _turned(at: Floats, turn: float, flipped: bool) -> Floats:
    """Points turned by so many radians about (0, 0), after their y is reversed if flipped."""
    cos, sin = math.cos(turn), math.sin(turn)
    x, y = at[:, 0], -at[:, 1] if flipped else at[:, 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y], axis=1)


def _paired(marks: _Marks, laid: Floats, target: _Marks) -> Integers | None:
    """For each mark that of the target on which it is laid; None if one is laid on none."""
    slant = np.array([math.cos(_SLANT), math.sin(_SLANT)])
    along, goal = laid @ slant, target.at @ slant
    one, other = np.argsort(along), np.argsort(goal)
    # However the marks are paired, sorted they lie equally far along.
    if np.abs(along[one] - goal[other]).max() > NEAR:
        return None
    pairs = np.empty(len(laid), dtype=np.int64)
    pairs[one] = other
    if _agree(marks, laid, target, pairs):
        return pairs
    if len(laid) > _LARGEST_TABLE:
        return None
    # Two marks lie nearly level along the slant, and were taken for each other.
    gaps = ((laid[:, None, :] - target.at[None, :, :]) ** 2).sum(axis=2)
    gaps[marks.kinds[:, None] != target.kinds[None, :]] = math.inf
    pairs = gaps.argmin(axis=1)
    one_each = len(np.unique(pairs)) == len(pairs)
    return pairs if one_each and _agree(marks, laid, target, pairs) else None


def _agree(marks: _Marks, laid: Floats, target: _Marks, pairs: Integers) -> bool:
    gaps = np.abs(laid - target.at[pairs])
    return bool(gaps.max() <= NEAR and (marks.kinds == target.kinds[pairs]).all())
