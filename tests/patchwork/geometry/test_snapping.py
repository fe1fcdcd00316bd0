"""Points within the tolerance (0.004 in) are one point, and no others are."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.snapping import LARGEST_DIAMETER, snapped
from piecewright.patchwork.geometry.vectors import TOLERANCE, distance


def test_points_within_4_thousandths_of_an_inch_are_one_point() -> None:
    one, other, apart = (1.0, 1.0), (1.003, 1.002), (1.0, 1.005)
    assert snapped([one, other]) == {one: one, other: one}
    assert snapped([one, apart]) == {one: one, apart: apart}
    assert snapped([]) == {}


@given(st.lists(st.tuples(*[st.integers(0, 30).map(lambda k: k / 1000)] * 2), max_size=40))
def test_no_point_moves_further_than_twice_the_tolerance(points: list[tuple[float, float]]) -> None:
    placed = snapped(points)
    assert all(distance(p, q) <= LARGEST_DIAMETER * TOLERANCE for p, q in placed.items())
    assert all(placed[q] == q for q in placed.values())


def test_a_finely_drawn_edge_does_not_shrink_to_a_point() -> None:
    # A cap of 60 points, 0.003 in from each to the next, on a patch of half an inch.
    turn = math.pi / 59
    radius = 0.0015 / math.sin(turn / 2)
    cap = [(-radius * math.cos(k * turn), -radius * math.sin(k * turn)) for k in range(60)]
    ring = [*cap, (radius, 0.5), (-radius, 0.5)]
    (piece,) = block_from_pieces({"pieces": [{"id": "a", "outline": ring}]}).pieces
    read = Polygon(paths.ring(piece.outline))
    assert read.symmetric_difference(Polygon(ring)).area < TOLERANCE * math.pi * radius
    assert read.bounds == pytest.approx(Polygon(ring).bounds, abs=TOLERANCE)
