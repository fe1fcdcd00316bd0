"""What convex shapes leave bare of another one, against Shapely's overlays."""

from __future__ import annotations

import itertools
import math
import random

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint, Polygon, box

from piecewright.patchwork.geometry.convex_cover import (
    Stretch,
    clipped,
    convex,
    distance_to,
    is_convex,
    sticks_out,
)
from piecewright.patchwork.geometry.vectors import Point

BY = 1e-3


def ring_of(shape: Polygon) -> list[Point]:
    """The points of a polygon, clockwise as seen (y down), not closed."""
    facing = shapely.orient_polygons(shape, exterior_cw=False)
    return [(x, y) for x, y in facing.exterior.coords[:-1]]


def edges_of(shape: Polygon) -> list[Stretch]:
    return list(itertools.pairwise([*(ring := ring_of(shape)), ring[0]]))


def shown(shape: Polygon, cover: list[Polygon]) -> bool:
    rims = [edge for one in cover for edge in edges_of(one)]
    return sticks_out(convex(ring_of(shape)), [convex(ring_of(one)) for one in cover], rims, BY)


def some_convex(rng: random.Random, spread: float) -> Polygon:
    x, y = rng.uniform(0, 3), rng.uniform(0, 3)
    points = [(x + rng.gauss(0, spread), y + rng.gauss(0, spread)) for _ in range(6)]
    hull = MultiPoint(points).convex_hull
    assert isinstance(hull, Polygon)
    return hull


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 12))
def test_what_sticks_out_is_what_a_union_leaves_over(seed: int, count: int) -> None:
    rng = random.Random(seed)
    shape = some_convex(rng, 0.5)
    cover = [some_convex(rng, 1.2) for _ in range(count)]
    left = shapely.difference(shape, shapely.union_all(cover))
    if not left.buffer(-2 * BY, join_style="mitre").is_empty:
        assert shown(shape, cover)
    if left.buffer(-BY / 2, join_style="mitre").is_empty:
        assert not shown(shape, cover)


def test_a_hole_between_shapes_is_seen_inside_another() -> None:
    # Four bars round a gap, which the shape covers without reaching past the bars.
    bars = [box(0, 0, 3, 1), box(0, 2, 3, 3), box(0, 0, 1, 3), box(2, 0, 3, 3)]
    assert shown(box(0.5, 0.5, 2.5, 2.5), bars)
    assert not shown(box(0.5, 0.5, 2.5, 2.5), [*bars, box(1, 1, 2, 2)])


def test_shapes_that_meet_in_an_edge_leave_nothing_bare_between_them() -> None:
    third = 1 / 3
    parts = [box(k * third, 0, (k + 1) * third, 1) for k in range(3)]
    assert not shown(box(0, 0, 1, 1), parts)
    # One edge along theirs, the shape on its other side.
    assert shown(box(0, 1, 1, 1.5), parts)


def test_a_shape_without_an_area_covers_nothing_beyond_its_ends() -> None:
    # The strip beside an edge without allowance, and the mitre between two of them.
    strip = convex([(0.0, 0.0), (0.0, 0.0), (1.0, 0.0), (1.0, 0.0)])
    mitre = convex([(0.0, 0.0)] * 4)
    assert clipped((-1.0, 0.0), (3.0, 0.0), strip) == ((0.0, 0.0), (1.0, 0.0))
    assert sticks_out(convex(ring_of(box(-1, -1, 2, 1))), [strip, mitre], [], BY)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32))
def test_a_segment_is_clipped_as_shapely_clips_it(seed: int) -> None:
    rng = random.Random(seed)
    shape = some_convex(rng, 1.0)
    start, end = [(rng.uniform(-1, 4), rng.uniform(-1, 4)) for _ in range(2)]
    inside = shapely.intersection(LineString([start, end]), shape)
    part = clipped(start, end, convex(ring_of(shape)))
    assert (math.dist(*part) if part else 0.0) == pytest.approx(inside.length, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32))
def test_distances_to_a_line_are_shapelys(seed: int) -> None:
    rng = random.Random(seed)
    place, start, end = [(rng.uniform(-1, 4), rng.uniform(-1, 4)) for _ in range(3)]
    expected = LineString([start, end]).distance(shapely.Point(place))
    assert distance_to(place, start, end) == pytest.approx(expected, abs=1e-12)


def test_a_reflex_corner_is_told_from_points_on_a_straight_side() -> None:
    assert is_convex([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)])
    assert not is_convex([(0.0, 0.0), (1.0, 1e-4), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)])
