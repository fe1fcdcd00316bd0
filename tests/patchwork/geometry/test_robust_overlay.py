"""Overlays of shapes with edges that lie along each other but for rounding."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box

from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.robust_overlay import made_valid, overlaid
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point

# Outlines that run out and back along themselves but for the last digit, with an ear in between.
# GEOS 3.14.1 cannot make them valid: its overlay "is mixed-dimension", as it says.
OUT_AND_BACK: list[Point] = [
    (0.19825210377430735, 0.7640344932360705),
    (0.9267356602663118, 0.31945666873766),
    (0.27895590665906234, 0.7769464878811594),
    (0.14361330012635976, 0.4858624954698586),
    (0.19677993892190504, 0.36255930652176893),
    (0.196779938921905, 0.36255930652176893),
    (0.14361330012635973, 0.4858624954698586),
    (0.9781640367394271, 0.34674886678306394),
    (0.2789559066590623, 0.7769464878811593),
    (0.9267356602663118, 0.31945666873766),
    (0.19825210377430735, 0.7640344932360704),
]
LARGE_OUT_AND_BACK: list[Point] = [
    (8389.693850180975, 1209.7305153356347),
    (441.02033762415317, 422.27786930507517),
    (1569.4774331039316, 5101.92960090861),
    (3972.8264359234618, 1005.5607876581026),
    (1682.2533061681438, 4570.214047496632),
    (5354.317007336418, 1827.2195041171913),
    (1430.1394864305148, 3877.010338322018),
    (233.15785724078864, 2089.8416441134364),
    (2700.614421954918, 1618.3871579016072),
    (5512.83701613253, 7316.987977386631),
    (590.9578046725318, 1329.0151384067367),
    (2700.614421954918, 1618.3871579016072),
    (233.15785724078862, 2089.8416441134364),
    (1430.1394864305148, 3877.0103383220176),
]
FIVE_POINTED = [(math.sin(k * 0.8 * math.pi), math.cos(k * 0.8 * math.pi)) for k in range(5)]


# --- outlines that cross themselves ----------------------------------------------------------


@pytest.mark.parametrize("ring", [OUT_AND_BACK, LARGE_OUT_AND_BACK])
def test_an_outline_that_runs_out_and_back_has_areas_between_its_own_edges(
    ring: list[Point],
) -> None:
    """Valid by the OGC's Simple Features: every part simple, and no two with a common inside."""
    valid = made_valid(Polygon(ring))
    assert shapely.is_valid(valid)
    assert shapely.area(valid) > 0
    assert Polygon(ring).exterior.buffer(1e-6).covers(shapely.boundary(valid))


@pytest.mark.parametrize("ring", [OUT_AND_BACK, LARGE_OUT_AND_BACK])
def test_a_piece_whose_outline_runs_out_and_back_is_refused_where_it_crosses_itself(
    ring: list[Point],
) -> None:
    with pytest.raises(BlockError) as refused:
        block_from_pieces({"pieces": [{"id": "gull", "outline": ring}]})
    fault = refused.value.faults[0]
    assert (fault.pointer, fault.code) == ("/block/pieces/0", "self-crossing")
    assert fault.at is not None
    assert Polygon(ring).exterior.distance(shapely.Point(fault.at)) < TOLERANCE


def test_a_star_that_crosses_itself_is_laid_over_a_square() -> None:
    """By the even-odd rule the pentagon in its middle is a hole: ten like triangles are left."""
    inner = math.cos(0.4 * math.pi) / math.cos(0.2 * math.pi)
    points = 5 * inner * math.sin(0.2 * math.pi) - 2.5 * inner**2 * math.sin(0.4 * math.pi)
    left_half = overlaid(shapely.intersection, Polygon(FIVE_POINTED), box(-1, -1, 0, 1))
    assert left_half.area == pytest.approx(points / 2)
    rest = overlaid(shapely.difference, box(-1, -1, 1, 1), Polygon(FIVE_POINTED))
    assert rest.area == pytest.approx(4 - points)


def test_a_line_is_cut_off_at_an_outline_that_crosses_itself() -> None:
    bow = Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    inside = overlaid(shapely.intersection, LineString([(0.5, -1), (0.5, 3)]), bow)
    assert inside.length == pytest.approx(1.0)
    beyond = overlaid(shapely.difference, LineString([(0.5, -1), (0.5, 3)]), bow)
    assert beyond.length == pytest.approx(3.0)


# --- where GEOS gives up ---------------------------------------------------------------------


class GivesUp:
    """An overlay that gives up, as GEOS does, on all grids finer than one."""

    def __init__(self, operation: Any, finest: float) -> None:
        self.operation, self.finest = operation, finest
        self.grids: list[float | None] = []

    def __call__(self, *given: Any, grid_size: float | None = None) -> Any:
        self.grids.append(grid_size)
        if (grid_size or 0.0) < self.finest:
            raise shapely.GEOSException("TopologyException: side location conflict at 1.5 -2e-05.")
        return self.operation(*given, grid_size=grid_size)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([1e-9, 1e-7, 1e-5]))
def test_what_is_overlaid_on_a_grid_is_what_is_overlaid_without(seed: int, finest: float) -> None:
    """The reference is the same overlay of sound shapes without a grid. An edge of length L that
    moves by d takes or leaves at most L * d."""
    chance = random.Random(seed)
    size = chance.choice([0.1, 6.0, 1000.0])
    rings = [[(chance.uniform(0, size), chance.uniform(0, size)) for _ in range(3)] for _ in "ab"]
    one, other = (Polygon(ring) for ring in rings)
    least = 8 * size * finest
    for operation in (shapely.intersection, shapely.difference):
        found = overlaid(GivesUp(operation, finest), one, other)
        assert found.area == pytest.approx(operation(one, other).area, abs=least, rel=0)
    found = overlaid(GivesUp(shapely.union_all, finest), [one, other])
    assert found.area == pytest.approx(shapely.union_all([one, other]).area, abs=least, rel=0)


def test_many_shapes_are_overlaid_with_one_as_they_are_one_by_one() -> None:
    rails = [LineString([(0, y), (6, y)]) for y in (1, 2, 3)]
    sail = Polygon([(0, 0), (6, 0), (0, 6)])
    found = overlaid(GivesUp(shapely.intersection, 1e-7), rails, sail)
    assert [part.length for part in found] == pytest.approx([5.0, 4.0, 3.0])


def test_the_grids_grow_coarser_until_one_serves() -> None:
    operation = GivesUp(shapely.union_all, 1e-5)
    overlaid(operation, [box(0, 0, 1, 1), box(1, 0, 2, 1)])
    assert operation.grids == [None, 1e-9, 1e-7, 1e-5]
    operation = GivesUp(shapely.union_all, 1e-5)
    overlaid(operation, [box(0, 0, 1, 1), box(1, 0, 2, 1)], grid=1e-8)
    assert operation.grids == [1e-8, 1e-7, 1e-5]


def test_where_no_grid_serves_the_place_is_told() -> None:
    with pytest.raises(BlockError) as refused:
        overlaid(
            GivesUp(shapely.union_all, 1.0), [box(0, 0, 1, 1)], pointer="/block/pieces/3/outline"
        )
    (fault,) = refused.value.faults
    assert (fault.pointer, fault.code) == ("/block/pieces/3/outline", "too-fine")
    assert fault.at == (1.5, -2e-05)


def test_no_place_is_told_of_a_drawing_on_paper() -> None:
    with pytest.raises(BlockError) as refused:
        overlaid(GivesUp(shapely.union_all, 1.0), [box(0, 0, 1, 1)], on_block=False)
    assert refused.value.faults[0].at is None


def test_where_geos_names_no_point_the_middle_is_told() -> None:
    def gives_up(*_: Any, grid_size: float | None = None) -> Any:
        raise shapely.GEOSException("IllegalArgumentException: Overlay input is mixed-dimension")

    with pytest.raises(BlockError) as refused:
        overlaid(gives_up, box(0, 0, 2, 2), [box(3, 1, 4, 3)])
    assert refused.value.faults[0].at == (2.0, 1.5)
