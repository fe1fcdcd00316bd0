"""A block at its finished size."""

from __future__ import annotations

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block, extent, finished
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.faults import BlockError

CATALOGUE = [entry.id for entry in catalogue.entries()]


def halves(gap: float) -> Block:
    """A strip six inches long, cut in two places that lie ``gap`` inches apart."""
    frame = [[0, 0], [6, 0], [6, 2], [0, 2]]
    lines = [[[3, 0], [3, 2]], [[3 + gap, 0], [3 + gap, 2]]]
    return block_from_drawing({"frame": frame, "lines": lines})


def test_one_side_keeps_the_proportions_and_both_stretch() -> None:
    block = halves(1.0)
    assert extent(finished(block, width=3).pieces) == pytest.approx((0, 0, 3, 1))
    assert extent(finished(block, width=3, height=3).pieces) == pytest.approx((0, 0, 3, 3))
    assert extent(finished(block, scale=2).pieces) == pytest.approx((0, 0, 12, 4))


def test_a_size_at_which_points_become_one_is_refused_with_their_place() -> None:
    # Points within 0.004 in count as one: cuts 0.01 in apart do at 2/5 of their size.
    block = halves(0.01)
    finished(block, width=6 * 0.41)
    with pytest.raises(BlockError) as refused:
        finished(block, width=6 * 0.39)
    (fault,) = refused.value.faults
    assert (fault.pointer, fault.code, fault.at) == ("/finish", "too-fine", (3, 0))


def test_points_that_were_as_near_in_the_drawing_are_not_held_against_its_size() -> None:
    # Each point of a finely drawn curve may be within the tolerance of the next.
    arch = [[k * 0.0039, 0.1 - ((k - 20) * 0.005) ** 2] for k in range(41)]
    outline = [*arch, [0.156, 1.0], [0.0, 1.0]]
    block = block_from_pieces({"pieces": [{"id": "arch", "outline": outline}]})
    _, top, _, bottom = extent(finished(block, height=0.9).pieces)
    assert bottom - top == pytest.approx(0.9)


@pytest.mark.parametrize("id", CATALOGUE)
def test_no_block_of_the_catalogue_is_too_fine_for_a_doll(id: str) -> None:
    finished(catalogue.load(id), width=0.5)
