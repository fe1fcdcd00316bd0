"""Cut outlines: the finished outline plus its allowance, with the corners asked for.

Sides are moved out by their allowance; what lies beyond the corners is a ``Tip``
(see ``patchwork.outlines.mitres``), and the three kinds of corners (contract, section 4) differ
only in how the tips are cut back:

``full``
    not at all, but for points longer than 6 allowances;
``blunt``
    across every point sharper than 90 degrees;
``matched``
    so that no ear sticks out of a sewn unit, and raw edges end together at both ends
    of every seam (see ``patchwork.outlines.matching``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.vectors import dot, normalised
from piecewright.patchwork.outlines.matching import Mismatch, match
from piecewright.patchwork.outlines.mitres import Bound, Tip
from piecewright.patchwork.outlines.offset import Finished, offset_outlines

Corners: TypeAlias = Literal["matched", "blunt", "full"]

LONGEST_POINT = 6.0
"""Allowances; ``full`` cuts a point that is longer off square there."""


@dataclass(frozen=True, slots=True)
class CutOutlines:
    """The cut outline of every piece, clockwise as seen, and where raw edges do not match."""

    outlines: tuple[Outline, ...]
    mismatches: tuple[Mismatch, ...]


def cut_outlines(
    seams: Seams, order: Order, allowance: Allowance, corners: Corners = "matched"
) -> CutOutlines:
    """The cut outlines of a block's pieces at finished size, in block coordinates.

    Mismatches are found for ``matched`` corners only: the others do not try to match.
    """
    widths = [allowance.edge if e.left is None else allowance.seam for e in seams.edges]
    mismatches: tuple[Mismatch, ...] = ()
    if corners == "matched":
        tips, mismatches = match(seams, order, widths)
    else:
        cut_back = _cut_long_point if corners == "full" else _cut_across
        tips = {}
        for c in (c for runs in seams.around for run in runs for c in run):
            sides = widths[c.arriving], widths[c.leaving]
            tips[c.piece, c.side] = Tip(c.arrives, c.leaves, c.turns, *sides)
            cut_back(tips[c.piece, c.side], max(sides))
    pieces = [
        Finished(
            [seams.segment(s) for s in sides],
            [widths[s.edge] for s in sides],
            [tips[piece, k] for k in range(len(sides))],
        )
        for piece, sides in enumerate(seams.sides)
    ]
    return CutOutlines(offset_outlines(pieces), mismatches)


def _cut_long_point(tip: Tip, width: float) -> None:
    longest = max(tip.rim(), key=lambda x: dot(x, x), default=(0.0, 0.0))
    if tip.pointed and dot(longest, longest) > (LONGEST_POINT * width) ** 2:
        toward = tip.straight_on if len(tip.bounds) > 2 else normalised(longest)
        tip.cut(Bound(toward, LONGEST_POINT * width))


def _cut_across(tip: Tip, width: float) -> None:
    if tip.turns > 90 + 1e-6:
        tip.cut(Bound(tip.straight_on, width))
