"""Templates on cloth: inside it, apart from each other, and never less for more."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon

from piecewright.patchwork.cutting.nesting import GAP, Blank, TooWide, nested, turns_for

TRIANGLE = ((0.0, 0.0), (4.0, 0.0), (0.0, 4.0))
QUARTERS = (0.0, 90.0, 180.0, 270.0)


def shapes_of(blanks: list[Blank], width: float, blocks: int) -> tuple[float, list[Polygon]]:
    length, laid = nested(blanks, width, blocks)
    shapes = []
    for one in laid:
        shape = affinity.rotate(Polygon(blanks[one.blank].outline), one.turn, origin=(0, 0))
        shapes.append(affinity.translate(shape, one.x, one.y))
    return length, shapes


def fan(sides: list[float]) -> tuple[tuple[float, float], ...]:
    """A star-shaped outline with these distances from its middle."""
    step = math.tau / len(sides)
    return tuple((r * math.cos(k * step), r * math.sin(k * step)) for k, r in enumerate(sides))


@given(
    st.lists(
        st.tuples(st.lists(st.floats(0.5, 4), min_size=3, max_size=9), st.integers(1, 4)),
        min_size=1,
        max_size=4,
    )
)
@settings(max_examples=40, deadline=None)
def test_patches_lie_on_the_cloth_and_apart(kinds: list[tuple[list[float], int]]) -> None:
    blanks = [Blank(fan(sides), QUARTERS, count) for sides, count in kinds]
    length, shapes = shapes_of(blanks, 20.0, 2)
    assert len(shapes) == 2 * sum(count for _, count in kinds)
    for shape in shapes:
        left, top, right, bottom = shape.bounds
        assert left >= -1e-6
        assert right <= 20 + 1e-6
        assert top >= -1e-6
        assert bottom <= length + 1e-6
    for one, other in itertools.combinations(shapes, 2):
        assert one.intersection(other).area < 1e-6


def test_triangles_go_into_each_other() -> None:
    length, _ = nested([Blank(TRIANGLE, QUARTERS, 16)], 40.0, 1)
    # 16 half squares of 4 in: 128 square inches, 3.2 in of cloth; a square to each takes 8 in.
    assert 3.2 <= length <= 5.0


def test_rectangles_stand_side_by_side() -> None:
    length, _ = nested([Blank(((0, 0), (5, 0), (5, 3), (0, 3)), (0.0,), 8)], 40.0, 1)
    assert length == pytest.approx(3.0)
    length, _ = nested([Blank(((0, 0), (5, 0), (5, 3), (0, 3)), (0.0,), 9)], 40.0, 1)
    assert length == pytest.approx(6.0 + GAP)


def test_more_blocks_never_take_less() -> None:
    blanks = [Blank(TRIANGLE, QUARTERS, 3), Blank(fan([1, 2, 1, 2.5, 1]), QUARTERS, 2)]
    lengths = [nested(blanks, 20.0, blocks)[0] for blocks in (*range(1, 14), *range(40, 60, 3))]
    assert lengths == sorted(lengths)


def test_a_patch_wider_than_the_cloth_in_every_turn_is_named() -> None:
    long = ((0.0, 0.0), (30.0, 0.0), (30.0, 2.0), (0.0, 2.0))
    assert nested([Blank(long, QUARTERS, 1)], 20.0, 1)[0] == pytest.approx(30)
    with pytest.raises(TooWide) as error:
        nested([Blank(TRIANGLE, QUARTERS, 1), Blank(long, (0.0, 180.0), 1)], 20.0, 1)
    assert error.value.blank == 1


def test_turns_lay_the_grain_along_the_cloth() -> None:
    assert turns_for(30.0, one_way=True) == (60.0, 240.0)
    assert turns_for(30.0, one_way=True, one_way_up=True) == (60.0,)
    assert turns_for(30.0, one_way=False) == (60.0, 150.0, 240.0, 330.0)
    assert len(turns_for(None, one_way=True)) == 8
