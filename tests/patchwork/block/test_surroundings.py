"""Where the name of a piece goes, against a search by brute force; and its neighbours."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.block.surroundings import label_point, neighbours
from piecewright.patchwork.geometry import paths
from tests.patchwork import partitions

ELL = Polygon([(0, 0), (4, 0), (4, 1), (1, 1), (1, 4), (0, 4)])
CRESCENT = shapely.Point(0, 0).buffer(3).difference(shapely.Point(1, 0).buffer(3))
NEEDLE = Polygon([(0, 0), (12, 0), (0, 1)])


def depth(shape: Polygon, x: float, y: float) -> float:
    """How far inside a point lies; less than nothing outside."""
    dot = shapely.Point(x, y)
    away = float(dot.distance(shape.exterior))
    return away if shape.contains(dot) else -away


def deepest(shape: Polygon, steps: int = 120) -> float:
    """How far inside the deepest point of a fine grid lies."""
    left, top, right, bottom = shape.bounds
    xs, ys = np.meshgrid(np.linspace(left, right, steps), np.linspace(top, bottom, steps))
    dots = shapely.points(xs, ys)
    return float((shapely.distance(dots, shape.exterior) * shapely.contains(shape, dots)).max())


@pytest.mark.parametrize("shape", [ELL, CRESCENT, NEEDLE])
def test_a_name_has_room_in_bent_and_in_pointed_shapes(shape: Polygon) -> None:
    assert depth(shape, *label_point(shape)) >= 0.74 * deepest(shape)


def test_the_name_of_a_plain_shape_is_in_its_middle() -> None:
    strip = Polygon([(1, 1), (11, 1), (11, 2), (1, 2)])
    assert label_point(strip) == pytest.approx((6, 1.5))
    wider_at_one_end = Polygon([(0, 0), (10, 0), (10, 1), (0, 1.2)])
    assert label_point(wider_at_one_end)[0] == pytest.approx(4.85, abs=0.01)
    hexagon = Polygon([(math.cos(k * math.pi / 3), math.sin(k * math.pi / 3)) for k in range(6)])
    assert label_point(hexagon) == pytest.approx((0, 0), abs=1e-9)


@pytest.mark.parametrize("id", ["grandmothers-fan", "orange-peel", "log-cabin"])
def test_the_name_of_each_piece_of_a_block_is_inside_it(id: str) -> None:
    for piece in catalogue.load(id).pieces:
        shape = Polygon(paths.ring(piece.outline))
        assert depth(shape, *label_point(shape)) >= 0.74 * deepest(shape, 60)


def test_neighbours_are_told_clockwise_and_once() -> None:
    block = catalogue.load("nine-patch")
    beside = neighbours(planar_map([piece.outline for piece in block.pieces]))
    ids = [piece.id for piece in block.pieces]
    of = {ids[k]: [ids[n] for n in others] for k, others in enumerate(beside)}
    assert sorted(map(len, of.values())) == [2, 2, 2, 2, 3, 3, 3, 3, 4]
    assert all(one in of[other] for one, others in of.items() for other in others)


@settings(deadline=None, max_examples=25)
@given(partitions.blocks())
def test_neighbours_are_those_that_share_a_line(block: Block) -> None:
    shapes = [Polygon(paths.ring(piece.outline)) for piece in block.pieces]
    for k, others in enumerate(neighbours(planar_map([p.outline for p in block.pieces]))):
        shared = [shapes[k].boundary.intersection(shape.boundary).length for shape in shapes]
        beside = {n for n, length in enumerate(shared) if length > 1e-6 and n != k}
        assert set(others) == beside
        assert len(others) == len(beside)
