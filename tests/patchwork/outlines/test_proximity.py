"""A block's edges, pieces and strips as shapes, against Shapely's own overlays of the pieces."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_drawing
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.vectors import minus
from piecewright.patchwork.outlines.proximity import SpatialIndex
from piecewright.patchwork.sewing.order import order_of
from tests.patchwork import partitions
from tests.patchwork.unit_members import members

QUARTER = 0.25


def index_of(block: Block) -> SpatialIndex:
    seams = planar_map([p.outline for p in block.pieces])
    return SpatialIndex(seams, order_of(block, seams), [QUARTER] * len(seams.edges))


@settings(max_examples=30, deadline=None)
@given(partitions.blocks(), st.integers(0, 999))
def test_the_piece_at_a_point_is_the_one_that_holds_it(block: Block, seed: int) -> None:
    index = index_of(block)
    shapes = [Polygon(paths.ring(p.outline)) for p in block.pieces]
    rng = random.Random(seed)
    for _ in range(10):
        dot = shapely.Point(rng.uniform(-1, 7), rng.uniform(-1, 7))
        holding = [i for i, shape in enumerate(shapes) if shape.covers(dot)]
        assert index.piece_at((dot.x, dot.y)) in (holding or [-1])


def test_a_point_nearest_to_a_reflex_corner_is_in_the_piece_round_it() -> None:
    # The corner of an L, from which a seam runs away between two triangles.
    block = block_from_drawing(
        {
            "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
            "lines": [[[4, 0], [4, 2]], [[4, 2], [6, 2]], [[4, 2], [6, 0]]],
        }
    )
    index = index_of(block)
    large = max(range(3), key=lambda i: index.cloth(i).area)
    assert index.piece_at((3.5, 2.5)) == large


@settings(max_examples=30, deadline=None)
@given(partitions.blocks())
def test_two_pieces_meet_in_the_smallest_unit_that_has_both(block: Block) -> None:
    index = index_of(block)
    units = [set(members(index.order, u)) for u in range(len(index.order.parents))]
    for one in range(len(block.pieces)):
        for other in range(len(block.pieces)):
            both = [u for u, own in enumerate(units) if {one, other} <= own]
            assert index.first_common_units(one)(other) == min(both, key=lambda u: len(units[u]))


@settings(max_examples=30, deadline=None)
@given(partitions.blocks())
def test_which_unit_has_which_piece(block: Block) -> None:
    index = index_of(block)
    for unit in range(len(index.order.parents)):
        own = members(index.order, unit)
        every = np.arange(-1, len(block.pieces))
        have = index.hold(np.full(len(every), unit), every)
        assert every[have].tolist() == sorted(own)


@settings(max_examples=30, deadline=None)
@given(partitions.blocks())
def test_a_strip_lies_straight_out_from_its_side(block: Block) -> None:
    index = index_of(block)
    for piece, sides in enumerate(index.seams.sides):
        for side in sides:
            strip = index.strip(side.edge, side.forward)
            line = index.lines[side.edge]
            assert strip.shape.area == pytest.approx(QUARTER * line.length)
            assert strip.shape.intersection(index.cloth(piece)).area < 1e-9
            start = index.seams.points[index.seams.start(side)]
            first = strip.raw_edge.coords[0]
            assert math.hypot(*minus((first[0], first[1]), start)) == pytest.approx(QUARTER)


@pytest.mark.parametrize("id", ["drunkards-path", "orange-peel", "grandmothers-fan"])
def test_neighbours_along_a_curve_share_its_points(id: str) -> None:
    block = catalogue.load(id)
    index = index_of(block)
    cloths = [index.cloth(i) for i in range(len(block.pieces))]
    (whole,) = polygons(shapely.union_all(cloths))
    assert sum(cloth.area for cloth in cloths) == pytest.approx(whole.area, abs=1e-12)
    assert len(whole.interiors) == 0
