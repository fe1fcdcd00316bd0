"""Cut outlines: the finished outline plus its allowance, with the corners asked for.

The plain offset of a piece has every side moved out by its allowance and every corner mitred:
straight raw edges are prolonged until they meet, and a curve has its parallel curve.  What lies
beyond a corner is a ``Mitre`` (see ``patchwork.outlines.mitres``), and the kinds of
corners differ only in how the mitres are cut back:

``full``
    not at all, but for points longer than 6 allowances, which are cut off square there;
``blunt``
    across every point sharper than 90 degrees, square to the line that halves its corner, at one
    allowance beyond the finished corner;
``matched-each``
    so that no ear sticks out of a sewn unit, and raw edges end together at both ends
    of every seam (see ``patchwork.outlines.matching``);
``matched``
    likewise, but alike on pieces whose finished shapes are alike, so that raw edges end together at
    as many ends as they then can (see ``patchwork.outlines.template_choice``).

Only points are cut: a corner of 90 degrees or more is always whole.
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
from piecewright.patchwork.outlines.mitres import HalfPlane, Mitre
from piecewright.patchwork.outlines.offset import FinishedPiece, offset_outlines
from piecewright.patchwork.outlines.template_choice import choose_templates

Corners: TypeAlias = Literal["matched", "matched-each", "blunt", "full"]

MITRE_LIMIT = 6.0
"""Allowances; ``full`` cuts a point that is longer off square there (that of some 19 degrees)."""


@dataclass(frozen=True, slots=True)
class CutOutlines:
    """The cut outline of every piece, clockwise as seen, and where raw edges do not match."""

    outlines: tuple[Outline, ...]
    mismatches: tuple[Mismatch, ...]


def cut_outlines(
    seams: Seams, order: Order, allowance: Allowance, corners: Corners = "matched"
) -> CutOutlines:
    """The cut outlines of a block's pieces at finished size, in block coordinates (inches).

    Mismatches are found for ``matched`` and ``matched-each`` corners only: the others do not try
    to match.

    Args:
        order: of sewing; only matched corners depend on it.

    Raises:
        BlockError: shapes lie so close along each other that they cannot be overlaid
            (see ``patchwork.geometry.robust_overlay``).
    """
    widths = [allowance.edge if e.left is None else allowance.seam for e in seams.edges]
    mismatches: tuple[Mismatch, ...] = ()
    if corners in ("matched", "matched-each"):
        matched = match(seams, order, widths)
        mitres, mismatches = matched.mitres, matched.mismatches
        if corners == "matched":
            chosen = choose_templates(seams, widths, matched)
            if chosen.mitres:
                mitres = mitres | chosen.mitres
                mismatches = matched.mismatches_of(mitres)
    else:
        cut_back = _limit if corners == "full" else _cut_across
        mitres = {}
        for c in (c for runs in seams.around for run in runs for c in run):
            sides = widths[c.arriving], widths[c.leaving]
            mitres[c.piece, c.side] = Mitre(c.arrives, c.leaves, c.turns, *sides)
            cut_back(mitres[c.piece, c.side], max(sides))
    pieces = [
        FinishedPiece(
            [seams.segment(s) for s in sides],
            [widths[s.edge] for s in sides],
            [mitres[piece, k] for k in range(len(sides))],
        )
        for piece, sides in enumerate(seams.sides)
    ]
    return CutOutlines(offset_outlines(pieces), mismatches)


def _limit(mitre: Mitre, width: float) -> None:
    """Cut off what of a mitre is longer than the limit, for allowances of ``width`` inches."""
    longest = max(mitre.rim(), key=lambda x: dot(x, x), default=(0.0, 0.0))
    if mitre.pointed and dot(longest, longest) > (MITRE_LIMIT * width) ** 2:
        # With unequal allowances the point lies off the line that halves the corner. A cusp's
        # was cut off before, and its rim no longer says where it pointed.
        toward = mitre.straight_on if len(mitre.half_planes) > 2 else normalised(longest)
        mitre.cut(HalfPlane(toward, MITRE_LIMIT * width))


def _cut_across(mitre: Mitre, width: float) -> None:
    """Cut a mitre of less than 90 degrees of cloth off at one allowance from its corner."""
    if mitre.sharp:
        mitre.cut(HalfPlane(mitre.straight_on, width))
