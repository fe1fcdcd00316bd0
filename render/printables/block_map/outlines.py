"""Outlines round many pieces: of the block as a whole, and of units of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from piecewright.patchwork.block.seams import Seams, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.vectors import Point

EDGE: Final = 1.4
"""Points; the weight of the block's outside."""


def block_outlines(seams: Seams) -> list[Outline]:
    """The outline of the block, and those of the holes in it.

    An edge on the outside of the block has a piece on its right and none on its left.
    """
    return joined_rings(
        seams.segment(side)
        for sides in seams.sides
        for side in sides
        if seams.edges[side.edge].left is None
    )


def joined_rings(segments: Iterable[paths.Segment]) -> list[Outline]:
    """Segments put together to closed outlines, where one ends and another starts.

    Their ends are those of one planar subdivision, so that equal points are equal numbers.
    """
    starting: dict[Point, list[paths.Segment]] = {}
    for segment in segments:
        starting.setdefault(segment.start, []).append(segment)
    found: list[Outline] = []
    while starting:
        first = next(iter(starting))
        at, own = first, []
        while at in starting:
            onward = starting[at]
            own.append(onward.pop())
            if not onward:
                del starting[at]
            at = own[-1].end
            if at == first:
                break
        found.append(straightened(tuple(own)))
    return found
