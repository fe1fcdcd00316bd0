"""Many curves at once, as arrays: the points that stand for them, and their parallel curves.

A block of curved seams has hundreds of edges, and each asks for a dozen points.  So what
``patchwork.geometry.paths`` works out for one edge is worked out here for all of them together.
Curves are ``controls`` of shape (n, 4, 2): the control points of each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import PARALLEL_TOLERANCE, Curve, Outline, Segment

Reals: TypeAlias = NDArray[np.float64]
Numbers: TypeAlias = NDArray[np.int64]
Marks: TypeAlias = NDArray[np.bool_]

_STILL = 1e-9
"""Inches; where its derivative is shorter, rounding alone gives a curve's direction."""

_FOLDING = 1e-6
"""A parallel that runs less than so many times as fast as its curve is about to fold back."""

_HALVINGS = 10
"""How often a curve is halved at most; beside a cusp no part of it, however short, fits closely."""


@dataclass(frozen=True, slots=True)
class Chains:
    """The points that stand for edges, one edge after the other, both ends included.

    Attributes:
        points: shape (m, 2), inches.
        starts: the row of each edge's first point, and at the end the count of all rows.
        curves: the numbers of the edges that are curves, and their control points.
    """

    points: Reals
    starts: Numbers
    curves: tuple[Numbers, Reals]

    def outward(self) -> Reals:
        """At each point the direction away from the cloth, of length one."""
        first, last = self.points[self.starts[:-1]], self.points[self.starts[1:] - 1]
        along = np.repeat(last - first, np.diff(self.starts), axis=0)
        curved, controls = self.curves
        counts = np.diff(self.starts)[curved]
        owner, stride = counted(counts)
        t = stride / (counts[owner] - 1)
        rows = self.starts[curved][owner] + stride
        along[rows] = _directions(controls, owner, t)
        return _outward(along)


def chains(segments: Sequence[Segment], flatness: float) -> Chains:
    """Points along each edge; the chords between them are within ``flatness`` (inches) of it.

    >>> chains([paths.Line((0, 0), (9, 4)), paths.Line((9, 4), (1, 7))], 0.0004).starts.tolist()
    [0, 2, 4]
    """
    # First the two ends of every edge, as lines have them.
    ends = np.array([x for s in segments for p in (s.start, s.end) for x in p], dtype=float)
    ends = ends.reshape(-1, 2)
    curves = [s for s in segments if isinstance(s, Curve)]
    controls = _controls(curves)
    if not curves:
        return Chains(ends, np.arange(0, len(ends) + 1, 2), (np.zeros(0, dtype=int), controls))
    curved = np.array([i for i, s in enumerate(segments) if isinstance(s, Curve)])
    steps = _steps(controls, flatness)
    counts = np.full(len(segments), 2)
    counts[curved] += steps - 1
    starts = np.concatenate((np.zeros(1, dtype=int), np.cumsum(counts)))
    points = np.empty((int(starts[-1]), 2))
    points[starts[:-1]], points[starts[1:] - 1] = ends[::2], ends[1::2]
    # Then the inner points of the curves, between theirs.
    owner, stride = counted(steps - 1)
    t = (stride + 1) / steps[owner]
    inner = np.einsum("mc,mcx->mx", _cubic(t), controls[owner])
    points[starts[curved][owner] + 1 + stride] = inner
    return Chains(points, starts, (curved, controls))


def _steps(controls: Reals, flatness: float) -> Numbers:
    """Into how many steps each curve falls, by the bound of ``paths.steps``."""
    turning = 6 * np.diff(controls, n=2, axis=1)
    most = np.hypot(turning[..., 0], turning[..., 1]).max(axis=1)
    steps: Numbers = np.maximum(1, np.ceil(np.sqrt(most / (8 * flatness)))).astype(int)
    return steps


def counted(counts: Numbers) -> tuple[Numbers, Numbers]:
    """For rows of which each owner has so many: the owner of each row, and its number there."""
    owner = np.repeat(np.arange(len(counts)), counts)
    return owner, np.arange(len(owner)) - (np.cumsum(counts) - counts)[owner]


def parallels(curves: Sequence[Curve], away: Sequence[float]) -> list[Outline | None]:
    """The parallel of each curve, ``away`` inches out from the cloth; None where it folds back.

    A parallel folds back where the curve bends inward more tightly than ``away``.  The
    parallel of a cubic is no cubic; it is fitted piece by piece with the cubic that has
    the true parallel's ends, directions and speeds there (the parallel's derivative is
    ``B' (1 + away * bend)``), halving until the fit is within ``paths.PARALLEL_TOLERANCE``
    at eight inner points.
    """
    if not curves:
        return []
    parts: list[list[tuple[float, Curve]]] = [[] for _ in curves]
    folded = np.zeros(len(curves), dtype=bool)
    controls, widths = _controls(curves), np.asarray(away, dtype=float)
    owner, begins, length = np.arange(len(curves)), np.zeros(len(curves)), 1.0
    while len(owner):
        fits, folding, close = _fitted(controls, widths)
        folded[owner[folding]] = True
        # All parts of one round are equally long. A fit that the last halving does not bring
        # close is taken as it is.
        done = close | (length <= 0.5**_HALVINGS)
        fitted = zip(owner[done].tolist(), begins[done].tolist(), fits[done].tolist(), strict=True)
        for i, begin, fit in fitted:
            parts[i].append((begin, Curve(*((x, y) for x, y in fit))))
        left = ~done & ~folded[owner]  # once a part has folded, the others need no fit
        length /= 2
        controls = _halved(controls[left])
        widths, owner = np.repeat(widths[left], 2), np.repeat(owner[left], 2)
        begins = np.repeat(begins[left], 2)
        begins[1::2] += length
    return [
        None if folds else tuple(part for _, part in sorted(own, key=itemgetter(0)))
        for folds, own in zip(folded.tolist(), parts, strict=True)
    ]


def _fitted(controls: Reals, widths: Reals) -> tuple[Reals, Marks, Marks]:
    """One cubic for the parallel of each curve; which parallels fold, and which fits are close.

    Args:
        controls: shape (n, 4, 2).
        widths: shape (n,), inches.

    Returns:
        The control points of the fits, shape (n, 4, 2), and two arrays of shape (n,).
    """
    steps = np.diff(controls, axis=1)
    along, turning = _SPEEDS @ steps, _BENDS @ np.diff(steps, axis=1)
    speed = np.hypot(along[..., 0], along[..., 1])
    bend = np.zeros_like(speed)
    crossed = along[..., 0] * turning[..., 1] - along[..., 1] * turning[..., 0]
    np.divide(crossed, speed**3, out=bend, where=speed >= _STILL)
    # How many times as fast as the curve its parallel runs: negative where it runs backward.
    stretch = 1 + widths[:, None] * bend
    directions = _guided(along, controls, np.arange(len(controls))[:, None], _T)
    beside = _AT @ controls + widths[:, None, None] * _outward(directions)
    start, end = beside[:, _FIRST], beside[:, _LAST]
    lead = along[:, _FIRST] * stretch[:, _FIRST, None] / 3
    trail = along[:, _LAST] * stretch[:, _LAST, None] / 3
    # A cubic's handles lie a third of its derivative from its ends (Hermite form).
    fits = np.stack((start, start + lead, end - trail, end), axis=1)
    off = _AT[_INNER] @ fits - beside[:, _INNER]
    furthest = np.hypot(off[..., 0], off[..., 1]).max(axis=1)
    return fits, stretch[:, _EIGHTHS].min(axis=1) <= _FOLDING, furthest <= PARALLEL_TOLERANCE


def _outward(along: Reals) -> Reals:
    """The directions away from the cloth, of length one, for directions of travel."""
    size = np.hypot(along[..., 0], along[..., 1])
    return np.stack((along[..., 1], -along[..., 0]), axis=-1) / size[..., None]


def _directions(controls: Reals, owner: Numbers, t: Reals) -> Reals:
    """Directions of travel of curves ``owner`` at ``t`` each, of any length."""
    along = np.einsum("mc,mcx->mx", _quadratic(t), np.diff(controls, axis=1)[owner])
    return _guided(along, controls, owner, t)


def _guided(along: Reals, controls: Reals, owner: Numbers, t: Reals) -> Reals:
    """Derivatives of curves, and where one is nothing the direction of travel instead."""
    still = np.hypot(along[..., 0], along[..., 1]) < _STILL
    if still.any():  # a handle lies on its end: so rare that one at a time is fast enough
        along = along.copy()
        owner, t = np.broadcast_to(owner, still.shape), np.broadcast_to(t, still.shape)
        for at in zip(*np.nonzero(still), strict=True):
            curve = Curve(*((x, y) for x, y in controls[owner[at]].tolist()))
            along[at] = paths.tangent(curve, float(t[at]))
    return along


# --- cubics as sums of their control points -----------------------------------------------


def _controls(curves: Sequence[Curve]) -> Reals:
    rows = [x for c in curves for p in (c.start, c.handle1, c.handle2, c.end) for x in p]
    return np.array(rows, dtype=float).reshape(-1, 4, 2)


def _halved(controls: Reals) -> Reals:
    """The two halves of each curve, one after the other (de Casteljau)."""
    p, q, r, e = (controls[:, k] for k in range(4))
    pq, qr, re = (p + q) / 2, (q + r) / 2, (r + e) / 2
    pqr, qre = (pq + qr) / 2, (qr + re) / 2
    middle = (pqr + qre) / 2
    halves = np.stack((p, pq, pqr, middle, middle, qre, re, e), axis=1)
    return halves.reshape(-1, 4, 2)


def _cubic(t: Reals) -> Reals:
    """How much each control point weighs in the point at ``t`` (Bernstein polynomials)."""
    s = 1 - t
    return np.stack((s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t), axis=-1)


def _quadratic(t: Reals) -> Reals:
    """The same for the derivative, a sum of the steps between control points."""
    s = 1 - t
    return np.stack((3 * s * s, 6 * s * t, 3 * t * t), axis=-1)


def _linear(t: Reals) -> Reals:
    """The same for the second derivative, a sum of the differences of these steps."""
    return np.stack((6 * (1 - t), 6 * t), axis=-1)


_T: Final = np.array([*(k / 8 for k in range(9)), *(k / 9 for k in range(1, 9))])
"""Where a parallel is looked at: at the eighths whether it folds, at the ninths how close a fit is.

The ends of a fit are exact, so its error is looked for between them only.
"""
_EIGHTHS, _INNER, _FIRST, _LAST = slice(9), slice(9, 17), 0, 8
_AT: Final = _cubic(_T)
_SPEEDS: Final = _quadratic(_T)
_BENDS: Final = _linear(_T)
