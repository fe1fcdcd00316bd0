"""Congruent shapes: turning, flipping, and shapes that are their own mirror image."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piecewright.patchwork.geometry import congruence, paths
from piecewright.patchwork.geometry.congruence import (
    Isometry,
    Shape,
    congruences,
    ways_onto,
)
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.vectors import Point

SCALENE = [(0.0, 0.0), (4.0, 0.0), (1.0, 2.0)]
ISOSCELES = [(0.0, 0.0), (4.0, 0.0), (2.0, 3.0)]
KITE_LIKE = [(0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 2.5)]


def shape(points: list[Point]) -> Shape:
    outline = paths.clockwise(paths.polygon(points))
    return Shape(outline, outline)


def isometry_onto(one: Shape, onto: Shape) -> Isometry | None:
    """What lays a shape onto another one in the first of all ways; None if there is none."""
    way = next(ways_onto(one, onto), None)
    return None if way is None else congruence.laid(one.finished, onto.finished, way)


def laid(points: list[Point], isometry: Isometry) -> list[Point]:
    return [isometry.point(p) for p in points]


turns = st.floats(0, 360)
moves = st.tuples(st.floats(-50, 50), st.floats(-50, 50))


@given(turns, moves, st.sampled_from([SCALENE, ISOSCELES, KITE_LIKE]))
def test_turned_piece_is_like_and_not_reversed(
    turn: float, move: Point, points: list[Point]
) -> None:
    moved = laid(points, Isometry(False, turn, move))
    isometry = isometry_onto(shape(moved), shape(points))
    assert isometry is not None
    assert not isometry.flipped
    for p, q in zip(moved, points, strict=True):
        assert math.dist(isometry.point(p), q) < 1e-6 or points is ISOSCELES


@given(turns, moves, st.sampled_from([SCALENE, KITE_LIKE]))
def test_mirrored_piece_is_like_and_reversed(turn: float, move: Point, points: list[Point]) -> None:
    moved = laid(points, Isometry(True, turn, move))
    isometry = isometry_onto(shape(moved), shape(points))
    assert isometry is not None
    assert isometry.flipped


@given(turns, moves)
def test_shape_that_is_its_own_mirror_image_is_never_reversed(turn: float, move: Point) -> None:
    moved = laid(ISOSCELES, Isometry(True, turn, move))
    isometry = isometry_onto(shape(moved), shape(ISOSCELES))
    assert isometry is not None
    assert not isometry.flipped


@given(turns, moves, st.booleans())
def test_placement_lays_one_outline_onto_the_other(turn: float, move: Point, flip: bool) -> None:
    there = Isometry(flip, turn, move).outline(shape(SCALENE).finished)
    assert paths.area(there) == pytest.approx(paths.area(shape(SCALENE).finished))


def test_pieces_within_the_tolerance_are_like() -> None:
    thirds = [(0.0, 0.0), (3.333, 0.0), (3.333, 3.334), (0.0, 3.334)]
    exact = [(0.0, 0.0), (10 / 3, 0.0), (10 / 3, 10 / 3), (0.0, 10 / 3)]
    assert isometry_onto(shape(thirds), shape(exact)) is not None


def test_pieces_a_thirty_second_apart_are_not_like() -> None:
    larger = [(0.0, 0.0), (4.03125, 0.0), (1.0, 2.0)]
    assert isometry_onto(shape(larger), shape(SCALENE)) is None


def test_same_finished_shape_with_another_cut_outline_is_not_like() -> None:
    outline = shape(SCALENE).finished
    trimmed = paths.polygon([(-0.2, -0.2), (4.0, -0.2), (4.0, 0.2), (1.0, 2.2)])
    assert isometry_onto(Shape(outline, trimmed), shape(SCALENE)) is None


@pytest.mark.parametrize(
    ("points", "ways"),
    [
        (SCALENE, 1),
        (ISOSCELES, 2),
        ([(0.0, 0.0), (4.0, 0.0), (2.0, 2.0 * math.sqrt(3.0))], 6),
        ([(0.0, 0.0), (5.0, 0.0), (5.0, 2.0), (0.0, 2.0)], 4),
        ([(0.0, 0.0), (3.0, 0.0), (4.0, 2.0), (1.0, 2.0)], 2),  # a parallelogram turns
        ([(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)], 8),
    ],
)
def test_shape_lies_on_itself_in_as_many_ways_as_it_is_symmetric(
    points: list[Point], ways: int
) -> None:
    one = shape(points)
    found = list(ways_onto(one, one))
    assert len(found) == len(set(found)) == ways
    count = len(one.finished)
    for way in found:
        isometry = congruence.laid(one.finished, one.finished, way)
        for k, side in enumerate(one.finished):
            corner = one.finished[way.corner(k, count)].start
            assert math.dist(isometry.point(side.start), corner) < 1e-9
            # The side comes to lie on the one between the corners on which its ends lie.
            onto = one.finished[way.side(k, count)]
            ends = {_rounded(p) for p in isometry.points((side.start, side.end))}
            assert ends == {_rounded(onto.start), _rounded(onto.end)}


def _rounded(p: Point) -> Point:
    return (round(p[0], 6) + 0.0, round(p[1], 6) + 0.0)


def test_curved_pieces_are_like_and_reversed() -> None:
    def wave(bulge: float) -> Outline:
        return paths.clockwise(
            (
                paths.Curve((0.0, 0.0), (1.0, -bulge), (2.0, 0.0), (4.0, 0.0)),
                paths.Line((4.0, 0.0), (3.0, 3.0)),
                paths.Line((3.0, 3.0), (0.0, 0.0)),
            )
        )

    one = Shape(wave(1.0), wave(1.0))
    other = Shape(wave(1.2), wave(1.2))
    mirrored = Isometry(True, 33.0, (1.0, 2.0)).outline(wave(1.0))
    assert isometry_onto(Shape(mirrored, mirrored), one) is not None
    assert isometry_onto(other, one) is None


def test_curve_that_is_divided_is_the_same_curve() -> None:
    curve = paths.Curve((0.0, 0.0), (1.0, -1.0), (2.0, 0.5), (4.0, 0.0))
    rest = (paths.Line((4.0, 0.0), (3.0, 3.0)), paths.Line((3.0, 3.0), (0.0, 0.0)))
    whole = paths.clockwise((curve, *rest))
    parts = paths.clockwise((*paths.split(curve, 0.3), *rest))
    assert len(parts) > len(whole)
    for way, onto in ((Shape(whole, whole), Shape(parts, parts)), (Shape(parts, parts),) * 2):
        isometry = isometry_onto(way, onto)
        assert isometry is not None
        assert isometry.point((3.0, 3.0)) == pytest.approx((3.0, 3.0))


def test_first_of_each_kind_stands_for_the_rest() -> None:
    turned = laid(SCALENE, Isometry(False, 90.0, (9.0, 9.0)))
    flipped = laid(SCALENE, Isometry(True, 10.0, (20.0, 9.0)))
    found = congruences([shape(SCALENE), shape(KITE_LIKE), shape(turned), shape(flipped)])
    assert [one.first for one in found] == [0, 1, 0, 0]
    assert [one.ways[0].flipped for one in found] == [False, False, False, True]


KINDS = {"scalene": SCALENE, "isosceles": ISOSCELES, "kite": KITE_LIKE}


@given(
    st.lists(
        st.tuples(
            st.sampled_from(sorted(KINDS)),
            st.booleans(),
            st.sampled_from([0.0, 30.0, 90.0]),  # few, so that many are moved copies of others
            st.tuples(st.integers(-9, 9), st.integers(-9, 9)),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_pieces_share_the_template_of_their_kind_however_they_are_laid(
    made: list[tuple[str, bool, float, Point]],
) -> None:
    shapes = [
        shape(laid(KINDS[kind], Isometry(flip, turn, move))) for kind, flip, turn, move in made
    ]
    kinds = [kind for kind, *_ in made]
    for own, (kind, flip, *_), found in zip(shapes, made, congruences(shapes), strict=True):
        first = kinds.index(kind)
        assert found.first == first
        assert found.ways[0].flipped is (kind != "isosceles" and flip != made[first][1])
        assert len(found.ways) == (2 if kind == "isosceles" else 1)
        isometry = congruence.laid(own.finished, shapes[first].finished, found.ways[0])
        corners = laid([s.start for s in own.finished], isometry)
        for corner in corners:
            near = min(math.dist(corner, s.start) for s in shapes[first].finished)
            assert near < 1e-6


def test_moved_copies_with_another_cut_outline_are_another_kind() -> None:
    def kinds(x: float) -> list[Shape]:
        plain = shape([(px + x, py) for px, py in SCALENE])
        trimmed = paths.polygon([(x - 0.2, -0.2), (x + 4.0, -0.2), (x + 4.0, 0.2), (x + 1.0, 2.2)])
        return [plain, Shape(plain.finished, trimmed)]

    found = congruences([*kinds(0.0), *kinds(7.0), *kinds(-3.0)])
    assert [one.first for one in found] == [0, 1] * 3
