"""What is said of a block as a whole: how big it gets, and how wide its seams are."""

from __future__ import annotations

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, extent
from piecewright.patchwork.lengths import Unit, spoken


def width_by_height(width: float, height: float, unit: Unit) -> str:
    """A size in inches as people write it, its unit once.

    >>> width_by_height(6.5, 3.5, "in")
    '6 1/2 × 3 1/2 in'
    """
    across, down = spoken(width, unit), spoken(height, unit)
    return f"{across.rsplit(' ', 1)[0]} × {down}"


def block_size(block: Block) -> str:
    """A block's width and height, in its unit."""
    left, top, right, bottom = extent(block.pieces)
    return width_by_height(right - left, bottom - top, block.unit)


def allowance_words(allowance: Allowance, unit: Unit) -> str:
    """The seam allowance, and that of the edge where it differs.

    >>> allowance_words(Allowance(0.25, 0.5), "in")
    'Seam allowance 1/4 in, 1/2 in at the edge of the block'
    """
    message = f"Seam allowance {spoken(allowance.seam, unit)}"
    if allowance.edge != allowance.seam:
        message += f", {spoken(allowance.edge, unit)} at the edge of the block"
    return message
