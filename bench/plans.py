"""How long the plans take for blocks of 10 to 2,000 pieces, against buffers of the same pieces.

The blocks are grids with triangles (``bench.outlines.grid``).  The reference, a loop of
``polygon.buffer``, is no rival: it is a yardstick that grows with the pieces and with the machine.
A plan that takes a fixed number of times as long grows as the pieces do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from bench.outlines import Specimen, grid
from bench.ratios import Ratio, seconds
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, Fabric, Piece
from piecewright.patchwork.cutting.cutting_list import cutting_list
from piecewright.patchwork.cutting.templates import template_set
from piecewright.patchwork.foundation.plan import foundation
from piecewright.patchwork.sewing.order import work_out_order
from piecewright.patchwork.sewing.pressing import pressing_plan

SIZES: Final = (10, 100, 500, 1000, 2000)
SEARCH: Final = 0.0
"""Seconds for the search for a better pressing plan, which would take all that it is given."""

_FABRICS: Final = (Fabric("a", "Sand", "#d8c69a"), Fabric("b", "Harbour", "#27506b"))


def rows(sizes: Sequence[int] = SIZES) -> list[Ratio]:
    """Order of sewing, pressing plan, foundation and cutting list, for each number of pieces."""
    found: dict[str, list[Ratio]] = {}
    for size in sizes:
        specimen = grid(size)
        block = block_of(specimen)
        buffers = min(seconds(lambda: _buffers(specimen)) for _ in range(5))  # noqa: B023
        for what, plan in plans(specimen, block).items():
            took = min(seconds(plan) for _ in range(2 if size <= 100 else 1))
            ratio = Ratio(what, f"{size:,} pieces", "a loop of polygon.buffer", took / buffers)
            found.setdefault(what, []).append(ratio)
    return [ratio for ratios in found.values() for ratio in ratios]


def plans(specimen: Specimen, block: Block) -> dict[str, Callable[[], object]]:
    """What is measured, by name; the cutting list starts from the templates."""
    seams, order = specimen.seams, specimen.order
    ids = [piece.id for piece in block.pieces]
    templates = template_set(block, Allowance())
    return {
        "order of sewing": lambda: work_out_order(seams, ids),
        "pressing plan": lambda: pressing_plan(block, seams, order, seconds=SEARCH),
        "foundation sections": lambda: foundation(block, Allowance()),
        "templates": lambda: template_set(block, Allowance()),
        "cutting list": lambda: cutting_list(templates),
    }


def block_of(specimen: Specimen) -> Block:
    """The specimen as a block of two fabrics by turns."""
    pieces = tuple(
        Piece(f"p{k}", outline, _FABRICS[k % 2].id) for k, outline in enumerate(specimen.outlines)
    )
    return Block(specimen.name, "in", pieces, _FABRICS)


def _buffers(specimen: Specimen) -> object:
    return [s.buffer(0.25, join_style="mitre", mitre_limit=6) for s in specimen.shapes]
