"""What of a sheet a drawing covers."""

from __future__ import annotations

import pytest
import shapely

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import finished
from piecewright.patchwork.cutting.templates import template_set
from piecewright.render.drawing.footprints import footprint, turns_freely
from piecewright.render.drawing.marks import drawn, line
from piecewright.render.printables.templates import template_drawings

CATALOGUE = [entry.id for entry in catalogue.entries()]


POINT = 0.02
"""Inches by which the ink of a line goes on at a point, beyond half its width."""


@pytest.mark.parametrize("width", [2.0, 6.0])
@pytest.mark.parametrize("name", CATALOGUE)
def test_all_ink_of_a_template_lies_in_its_footprint(name: str, width: float) -> None:
    block = finished(catalogue.load(name), width=width)
    for drawing in template_drawings(template_set(block, Allowance())):
        covered = footprint(drawing)
        left, top, right, bottom = covered.bounds
        box = drawing.box
        assert left == pytest.approx(box.x, abs=POINT)
        assert top == pytest.approx(box.y, abs=POINT)
        assert right == pytest.approx(box.right, abs=POINT)
        assert bottom == pytest.approx(box.bottom, abs=POINT)
        assert turns_freely(drawing)


def test_triangle_leaves_half_of_its_box_free() -> None:
    block = finished(catalogue.load("half-square-triangle"), width=6)
    (drawing,) = template_drawings(template_set(block, Allowance()))
    box = drawing.box
    assert footprint(drawing).area < 0.62 * box.width * box.height


def test_drawing_to_be_read_covers_its_box_and_is_not_turned() -> None:
    drawing = drawn("chart", "Chart", "A slanted line.", [line("label", (0.0, 0.0), (3.0, 2.0))])
    box = drawing.box
    assert footprint(drawing).equals(shapely.box(box.x, box.y, box.right, box.bottom))
    assert not turns_freely(drawing)
