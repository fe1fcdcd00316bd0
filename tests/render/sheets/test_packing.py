"""Packing: nothing overlaps, nothing leaves the sheet, and few sheets are needed.

Gaps and borders are measured with Shapely on the true outlines, apart from the grid on which
the places were found.
"""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.marks import Box
from piecewright.render.sheets.packing import Packer, PlacedShape
from piecewright.render.sheets.raster import Grid

FIELD = Box(0.25, 0.25, 8.0, 9.4)
CORNER = Box(0.25, 7.7, 1.97, 1.95)
NOTHING = Box(0.0, 0.0, 0.0, 0.0)
GAP = 0.125


def laid(shapes: list[BaseGeometry], item: PlacedShape) -> BaseGeometry:
    turned = affinity.rotate(shapes[item.shape], item.turn, origin=(0, 0))
    return affinity.translate(turned, item.x, item.y)


def check(shapes: list[BaseGeometry], sheets: list[list[PlacedShape]], taken: Box) -> None:
    room = shapely.box(FIELD.x, FIELD.y, FIELD.right, FIELD.bottom).buffer(1e-9)
    kept = shapely.box(taken.x, taken.y, taken.right, taken.bottom) if taken.width else Polygon()
    for sheet in sheets:
        there = [laid(shapes, item) for item in sheet]
        for i, shape in enumerate(there):
            assert room.covers(shape)
            assert kept.is_empty or kept.distance(shape) >= GAP - 1e-9
            for other in there[:i]:
                assert shape.distance(other) >= GAP - 1e-9


def right_triangle(leg: float) -> Polygon:
    return Polygon([(0, 0), (leg, 0), (0, leg)])


triangles = st.builds(
    lambda a, b, c: Polygon([(0, 0), (a, 0), (c, b)]),
    st.floats(0.5, 5),
    st.floats(0.5, 5),
    st.floats(-2, 4),
)
rectangles = st.builds(lambda a, b: shapely.box(0, 0, a, b), st.floats(0.3, 7), st.floats(0.3, 7))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.one_of(triangles, rectangles), min_size=1, max_size=10), st.booleans())
def test_shapes_keep_their_distance_and_stay_on_the_sheet(
    shapes: list[BaseGeometry], squares: bool
) -> None:
    taken = CORNER if squares else NOTHING
    sheets, unfit = Packer(Grid(FIELD, GAP), FIELD, taken).pack(shapes)
    check(shapes, sheets, taken)
    numbers = sorted([item.shape for sheet in sheets for item in sheet] + unfit)
    assert numbers == list(range(len(shapes)))


def test_two_triangles_share_the_place_of_a_square() -> None:
    # Legs of 7 in: side by side they would need 14 in, laid back to back under 8 x 8.
    shapes: list[BaseGeometry] = [right_triangle(7.0), right_triangle(7.0)]
    sheets, _ = Packer(Grid(FIELD, GAP), FIELD, NOTHING).pack(shapes)
    check(shapes, sheets, NOTHING)
    assert len(sheets) == 1


def test_small_pieces_go_into_the_bay_of_a_large_one() -> None:
    frame = shapely.box(0, 0, 7.6, 9.0).difference(shapely.box(1.2, 1.2, 7.7, 7.8))
    shapes: list[BaseGeometry] = [frame, *[shapely.box(0, 0, 1.4, 1.4) for _ in range(9)]]
    sheets, _ = Packer(Grid(FIELD, GAP), FIELD, NOTHING).pack(shapes)
    check(shapes, sheets, NOTHING)
    assert len(sheets) == 1


def test_strip_longer_than_the_sheet_is_laid_slanting_if_that_helps() -> None:
    strip = shapely.box(0, 0, 10.5, 0.4)
    sheets, unfit = Packer(Grid(FIELD, GAP), FIELD, NOTHING).pack([strip])
    assert not unfit
    check([strip], sheets, NOTHING)


def test_shape_larger_than_the_sheet_in_every_turn_is_told() -> None:
    sheets, unfit = Packer(Grid(FIELD, GAP), FIELD, NOTHING).pack(
        [shapely.box(0, 0, 9.5, 9.5), right_triangle(2)]
    )
    assert unfit == [0]
    assert [[item.shape for item in sheet] for sheet in sheets] == [[1]]


@pytest.mark.parametrize("count", [12, 24, 48])
def test_equal_squares_come_near_the_area_bound(count: int) -> None:
    square = shapely.box(0, 0, 1.75, 1.75)
    sheets, _ = Packer(Grid(FIELD, GAP), FIELD, NOTHING).pack([square] * count)
    # 4 across and 5 down: (8 + gap) / (1.75 + gap) = 4.3, (9.4 + gap) / (1.75 + gap) = 5.1.
    assert len(sheets) == math.ceil(count / 20)


def test_same_shapes_are_laid_the_same_again() -> None:
    shapes: list[BaseGeometry] = [right_triangle(2.0 + k / 4) for k in range(8)]
    once, again = (Packer(Grid(FIELD, GAP), FIELD, CORNER).pack(shapes) for _ in range(2))
    assert once == again
