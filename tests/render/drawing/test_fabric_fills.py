"""Fills of fabrics: told apart without colour, inside their pieces, off what lies on them."""

from __future__ import annotations

import math

import pytest
import shapely
from shapely.geometry import LineString

from piecewright.patchwork.block.model import Fabric
from piecewright.patchwork.geometry.paths import arc, polygon
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.sewing.shades import luminance
from piecewright.render.drawing.fabric_fills import NO_FABRIC, fabric_fills, filled
from piecewright.render.drawing.marks import Stroke
from tests.render.sewn import NAMES, plan_of, stripes

SQUARE = polygon([(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)])
PIE = (
    *arc((2.0, 0.0), 2.0, 2.0, 0.0, False, True, (0.0, 2.0)),
    *polygon([(0, 2), (0, 0), (2, 0)])[:2],
)


@pytest.mark.parametrize("name", NAMES)
def test_every_fabric_of_a_block_has_its_own_pattern(name: str) -> None:
    rails = [fill.rails for fill in fabric_fills(plan_of(name).block).values()]
    assert len(set(rails)) == len(rails)


def test_two_dozen_grey_fabrics_are_told_apart() -> None:
    shown = fabric_fills(stripes(24))
    assert len({fill.rails for fill in shown.values()}) == 24
    assert len(fabric_fills(stripes(60))) == 60, "more than there are patterns is no error"


def test_pieces_without_a_fabric_are_left_white_and_others_are_not() -> None:
    block = stripes(2)
    half = block.pieces[0], type(block.pieces[1])("s1", block.pieces[1].outline, None)
    shown = fabric_fills(type(block)("Half", "in", half, (Fabric("f0", "White", "#ffffff"),)))
    assert shown[None].name == NO_FABRIC
    assert not shown[None].rails
    assert shown["f0"].rails


@pytest.mark.parametrize("name", NAMES)
def test_tints_are_pale_enough_to_write_on(name: str) -> None:
    # Contrast with black as WCAG 2.2 reckons it; 7 is its enhanced level.
    for fill in fabric_fills(plan_of(name).block).values():
        assert (luminance(fill.tint) + 0.05) / 0.05 >= 7


@pytest.mark.parametrize("outline", [SQUARE, PIE], ids=["square", "quarter circle"])
def test_patterns_stay_inside_and_off_what_is_kept_clear(outline: tuple) -> None:  # type: ignore[type-arg]
    hole = shapely.box(0.4, 0.4, 0.9, 0.7)
    whole = polygon_of(outline)
    for fill in fabric_fills(stripes(24)).values():
        tint, *rails = filled(fill, outline, [hole])
        assert isinstance(tint, Stroke)
        assert tint.kind == "tint"
        for mark in rails:
            assert isinstance(mark, Stroke)
            run = LineString([mark.segments[0].start, mark.segments[0].end])
            assert whole.buffer(1e-6).covers(run)
            assert run.intersection(hole.buffer(-1e-6)).is_empty


def test_a_pattern_runs_on_from_piece_to_piece() -> None:
    fill = next(
        fill for fill in fabric_fills(stripes(3)).values() if fill.rails and fill.rails[0][0] == 135
    )
    whole = [m for m in filled(fill, SQUARE)[1:] if isinstance(m, Stroke)]
    halves = [
        m
        for x in (0.0, 1.0)
        for m in filled(fill, polygon([(x, 0), (x + 1, 0), (x + 1, 2), (x, 2)]))[1:]
        if isinstance(m, Stroke)
    ]

    def lengths(marks: list[Stroke]) -> float:
        return sum(math.dist(m.segments[0].start, m.segments[0].end) for m in marks)

    assert lengths(halves) == pytest.approx(lengths(whole), abs=0.05)
