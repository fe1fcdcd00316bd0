"""Labels in rooms: a block of text lies where Shapely says that its rectangle does."""

from __future__ import annotations

import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

from piecewright.render.drawing.labels import (
    Room,
    TextBlock,
    places,
    rectangle_of,
    text_block,
    turns,
)
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.drawing.marks import Box, Text, text_corners
from piecewright.render.printables.block_map.boundary_labels import label_outside
from piecewright.render.printables.block_map.occupied import OccupiedArea

WORDS = text_block([("Harbour", 0.17, False)])
ELL = Polygon([(0, 0), (3, 0), (3, 0.4), (0.4, 0.4), (0.4, 3), (0, 3)])
WEDGE = Polygon([(0, 0), (2, 0), (0, 1)])


def sized(width: float, height: float) -> TextBlock:
    return TextBlock((), width, height)


@pytest.mark.parametrize("turn", [0.0, -90.0, 33.0])
def test_a_label_takes_up_its_turned_rectangle(turn: float) -> None:
    level = box(
        2 - WORDS.width / 2, 3 - WORDS.height / 2, 2 + WORDS.width / 2, 3 + WORDS.height / 2
    )
    own = rectangle_of(WORDS, (2.0, 3.0), turn)
    assert own.symmetric_difference(affinity.rotate(level, turn, origin=(2, 3))).area < 1e-12


@pytest.mark.parametrize("shape", [ELL, WEDGE, box(0, 0, 1, 1)])
def test_labels_lie_in_their_room(shape: Polygon) -> None:
    found = [(at, turn) for turn in turns(shape) for at in places(shape, WORDS, turn)]
    assert found
    for at, turn in found:
        assert shape.buffer(2e-6).covers(rectangle_of(WORDS, at, turn))


@pytest.mark.parametrize(
    ("width", "height", "fits"), [(1.99, 0.99, True), (2.01, 0.5, False), (1.0, 1.01, False)]
)
def test_a_rectangle_holds_what_is_no_wider_and_no_higher(
    width: float, height: float, fits: bool
) -> None:
    room = Room(box(5, 5, 7, 6))
    assert room.may_hold(sized(width, height), 0.0) == fits
    assert bool(list(room.places(sized(width, height), 0.0))) == fits
    assert room.may_hold(sized(height, width), -90.0) == fits


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_a_right_triangle_holds_a_rectangle_below_its_slant(share: float) -> None:
    # Similar triangles: one as wide as a share of the base is at most as high as the rest of it.
    room = Room(WEDGE)
    assert room.may_hold(sized(2 * share, 0.99 * (1 - share)), 0.0)
    assert not room.may_hold(sized(2 * share, 1.01 * (1 - share)), 0.0)


def test_a_room_too_thin_for_a_label_has_no_place_for_it() -> None:
    thin = Room(box(0, 0, 5, 0.9 * WORDS.height))
    assert thin.too_thin(WORDS)
    assert not any(list(thin.places(WORDS, turn)) for turn in (0.0, 30.0, -90.0))


def test_other_leaders_keep_off_the_letters_of_a_name_outside_the_block() -> None:
    # The tails of g and y reach below the line; a leader's ink is on both sides of its middle.
    put = label_outside("gypsy", False, (1.0, 0.2), Box(0.0, 0.0, 2.0, 2.0), OccupiedArea())
    assert put is not None
    (name,) = (mark for mark in put.marks if isinstance(mark, Text))
    (claim,) = put.claims
    ink = Polygon(text_corners(name))
    assert claim.shape.covers(ink.buffer(0.99 * PENS["leader"].half, join_style="mitre"))
