"""How dark the cloth is on either side of a seam."""

from __future__ import annotations

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.sewing.crossings import Press

EVEN = 0.1
"""Steps of L*; two sides that differ by less are equally dark.

The next of the 256 greys of a screen is 0.27 or more away; of two lengths that should be the same
one may be off by rounding."""


def luminance(colour: str) -> float:
    """The relative luminance of ``#rrggbb``, 0 for black and 1 for white.

    As WCAG 2.2 defines it: the linear parts of sRGB (IEC 61966-2-1), weighted.

    >>> round(luminance("#808080"), 3)
    0.216
    """
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def lightness(colour: str) -> float:
    """The CIE 1976 lightness L* of ``#rrggbb``, 0 for black and 100 for white.

    Of its relative luminance, as ISO/CIE 11664-4 defines it (white is D65, as in sRGB).

    >>> round(lightness("#777777"), 1)
    50.0
    """
    light = luminance(colour)
    # A straight line near black, where the cube root would be too steep: the two meet smoothly.
    if light <= (6 / 29) ** 3:
        return (29 / 3) ** 3 * light
    return 116 * float(light ** (1 / 3)) - 16


def darker_sides(block: Block, seams: Seams, order: Order) -> list[Press | None]:
    """For each join the unit whose fabric is darker along the seam; None where neither is.

    A side is as dark as the fabrics of the pieces that lie along the seam on it, each
    counted by the length it has there; a piece without a fabric does not count.
    """
    colours = {f.id: lightness(f.colour) for f in block.fabrics}
    light = [colours.get(p.fabric) if p.fabric is not None else None for p in block.pieces]
    found: list[Press | None] = []
    for k in range(len(order.joins)):
        lengths, sums = [0.0, 0.0], [0.0, 0.0]
        for side in order.pressed_line(k).sides:
            edge = seams.edges[side.edge]
            size = paths.run_length([edge.segment])
            for piece in (edge.right, edge.left):
                shade = light[piece] if piece is not None else None
                if shade is not None:
                    unit = 0 if piece == order.on_first[side.edge] else 1
                    lengths[unit] += size
                    sums[unit] += size * shade
        if not all(lengths):
            found.append(None)
            continue
        lighter = sums[0] / lengths[0] - sums[1] / lengths[1]
        found.append(None if abs(lighter) < EVEN else "second" if lighter > 0 else "first")
    return found
