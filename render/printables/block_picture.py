"""A small picture of a block for the screen, in its fabrics' own colours: for choosing."""

from __future__ import annotations

from typing import Final

from piecewright.patchwork.block.model import Block, extent
from piecewright.patchwork.geometry import paths
from piecewright.render.drawing.fabric_fills import NO_FABRIC, piece_part
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, box_of, drawn, moved

SMALL: Final = 1.5
"""Inches, the longer side: 144 pixels on a web page, in which pieces of half an inch are seen."""

_LINE: Final = 0.4
"""Points; a seam is told from a change of colour, and hides none."""

_NONE: Final = "#ffffff"


def block_picture(block: Block, side: float | None = None) -> Drawing:
    """A block from its face, all its ink from the origin on.

    Args:
        side: inches, of the longer side; as the block is drawn if not given.
    """
    left, top, right, bottom = extent(block.pieces)
    scale = 1.0 if side is None else side / max(right - left, bottom - top)
    fabrics = {fabric.id: fabric for fabric in block.fabrics}
    fills: list[Mark] = []
    seams: list[Mark] = []
    for piece in block.pieces:
        outline = tuple(paths.stretched(s, scale, scale) for s in piece.outline)
        fabric = fabrics.get(piece.fabric or "")
        part = piece_part(piece, fabric.name if fabric else piece.fabric or NO_FABRIC)
        colour = fabric.colour if fabric else _NONE
        fills.append(Stroke("tint", outline, True, filled=True, colour=colour, part=part))
        seams.append(Stroke("sewing-line", outline, True, weight=_LINE, solid=True))
    box = box_of(seams)
    count = len(block.pieces)
    return drawn(
        "picture",
        block.name,
        f"{block.name}, {count} piece{'s' * (count != 1)}, seen from the right side.",
        [moved(mark, -box.x, -box.y) for mark in (*fills, *seams)],
    )
