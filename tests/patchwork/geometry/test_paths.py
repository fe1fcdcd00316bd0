"""Edges, against exact circles and ellipses and dense sampling.

References: the circle and the ellipse by their equations (SVG 2, appendix B.2.2 and B.2.5,
for arcs), Bernstein polynomials evaluated with NumPy, Shapely's lengths, areas and
distances, and Archimedes on the parabola.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.patchwork.geometry.vectors import Point
from tests.patchwork.geometry.beziers import (
    Ellipse,
    bezier,
    close,
    controls,
    curves,
    differences,
    parameters,
    points,
    sampled,
    segments,
    sweeps,
)

# --- arcs ---------------------------------------------------------------------------------

ellipses = st.builds(
    Ellipse,
    points,
    st.floats(0.2, 10),
    st.floats(0.2, 10),
    st.floats(-360, 360),
)


@settings(deadline=None)
@given(ellipses, st.floats(0, math.tau), sweeps)
def test_an_arc_stays_on_its_ellipse_and_goes_the_way_its_flags_say(
    ellipse: Ellipse, start: float, sweep: float
) -> None:
    assume(abs(abs(sweep) - math.pi) > 1e-3)  # at half a turn the large flag means nothing
    arc = ellipse.arc(start, sweep)
    assert close(arc[0].start, ellipse.at(start), 1e-12)
    assert close(arc[-1].end, ellipse.at(start + sweep), 1e-12)
    for segment in arc:
        for t in (0.1, 0.3, 0.5, 0.7, 0.9):
            assert ellipse.off(paths.point_at(segment, t)) < 1e-6
    for part in (0.25, 0.5, 0.75):
        there = ellipse.at(start + part * sweep)
        assert min(paths.nearest(s, there)[1] for s in arc) < 2e-6
    assert all(close(a.end, b.start, 0) for a, b in zip(arc, arc[1:], strict=False))


@settings(deadline=None)
@given(st.floats(0.25, 12), st.floats(0, math.tau), sweeps)
def test_a_circles_arc_keeps_its_radius_within_a_ten_millionth(
    radius: float, start: float, sweep: float
) -> None:
    circle = Ellipse((3, 2), radius, radius, 0)
    for segment in circle.arc(start, sweep):
        far = np.hypot(*(sampled(segment) - np.array([3, 2])).T)
        assert np.abs(far / radius - 1).max() < 1e-7


@pytest.mark.parametrize(
    ("large", "sweep", "middle"),
    [
        # From (0, 0) to (2, 0) with radius 2: the centres are (1, ±√3); large ones go round.
        (False, True, (1, math.sqrt(3) - 2)),
        (False, False, (1, 2 - math.sqrt(3))),
        (True, True, (1, -math.sqrt(3) - 2)),
        (True, False, (1, math.sqrt(3) + 2)),
    ],
)
def test_the_four_arcs_between_two_points(large: bool, sweep: bool, middle: Point) -> None:
    arc = paths.arc((0, 0), 2, 2, 0, large, sweep, (2, 0))
    assert min(paths.nearest(s, middle)[1] for s in arc) < 1e-9


@pytest.mark.parametrize("large", [True, False])
@pytest.mark.parametrize(("sweep", "top"), [(True, -2), (False, 2)])
def test_a_radius_that_is_too_small_grows_until_the_arc_reaches(
    large: bool, sweep: bool, top: float
) -> None:
    # SVG 2, B.2.5: the ellipse grows until one fits; here to a half circle of radius 2.
    arc = paths.arc((0, 0), 0.5, 0.5, 30, large, sweep, (4, 0))
    circle = Ellipse((2, 0), 2, 2, 0)
    assert max(circle.off(paths.point_at(s, t)) for s in arc for t in (0, 0.4, 0.5, 1)) < 1e-6
    assert min(paths.nearest(s, (2, top))[1] for s in arc) < 1e-9


def test_negative_radii_are_taken_as_positive() -> None:
    given_so = paths.arc((0, 0), -3, -2, 20, False, True, (1, 2))
    assert given_so == paths.arc((0, 0), 3, 2, 20, False, True, (1, 2))


@pytest.mark.parametrize(("rx", "ry"), [(0, 2), (2, 0), (0, 0)])
def test_an_arc_without_a_radius_is_a_straight_line(rx: float, ry: float) -> None:
    assert paths.arc((0, 0), rx, ry, 0, False, True, (4, 1)) == (Line((0, 0), (4, 1)),)


def test_an_arc_from_a_point_to_itself_is_nothing() -> None:
    assert paths.arc((1, 2), 3, 3, 0, True, True, (1, 2)) == ()


# --- points along an edge -----------------------------------------------------------------


@settings(deadline=None)
@given(segments, parameters)
def test_points_are_those_of_the_bezier(segment: Segment, t: float) -> None:
    (expected,) = bezier(controls(segment), np.array([t]))
    assert close(paths.point_at(segment, t), (expected[0], expected[1]))


@settings(deadline=None)
@given(segments)
def test_an_edge_starts_and_ends_at_its_ends(segment: Segment) -> None:
    assert close(paths.point_at(segment, 0), segment.start, 1e-12)
    assert close(paths.point_at(segment, 1), segment.end, 1e-12)


@settings(deadline=None)
@given(segments, parameters)
def test_the_tangent_is_the_way_the_points_go(segment: Segment, t: float) -> None:
    (along,) = bezier(differences(controls(segment)), np.array([t]))
    size = math.hypot(*along)
    assume(size > 0.01)
    assert close(paths.tangent(segment, t), (along[0] / size, along[1] / size), 1e-6)


@pytest.mark.parametrize(
    ("curve", "start", "end"),
    [
        (Curve((0, 0), (0, 0), (2, 2), (4, 2)), (1, 1), (1, 0)),
        (Curve((0, 0), (2, 0), (4, 2), (4, 2)), (1, 0), (1, 1)),
        (Curve((0, 0), (0, 0), (0, 3), (0, 3)), (0, 1), (0, 1)),
        (Curve((0, 0), (0, 0), (0, 0), (3, 4)), (0.6, 0.8), (0.6, 0.8)),
        (Curve((0, 0), (3, 4), (3, 4), (3, 4)), (0.6, 0.8), (0.6, 0.8)),
    ],
)
def test_a_handle_on_its_end_leaves_the_direction_to_the_next_point(
    curve: Curve, start: Point, end: Point
) -> None:
    for t, expected in ((0.0, start), (1.0, end)):
        size = math.hypot(*expected)
        direction = (expected[0] / size, expected[1] / size)
        assert close(paths.tangent(curve, t), direction)


@settings(deadline=None)
@given(segments, parameters)
def test_an_edge_travelled_the_other_way_has_the_same_points(segment: Segment, t: float) -> None:
    back = paths.reverse(segment)
    assert close(paths.point_at(back, t), paths.point_at(segment, 1 - t))
    assert paths.reverse(back) == segment


@settings(deadline=None)
@given(segments, st.floats(0.01, 0.99), parameters)
def test_both_parts_of_a_split_edge_lie_on_it(segment: Segment, t: float, u: float) -> None:
    before, after = paths.split(segment, t)
    assert close(paths.point_at(before, u), paths.point_at(segment, u * t))
    assert close(paths.point_at(after, u), paths.point_at(segment, t + u * (1 - t)))
    assert before.end == after.start
    assert (before.start, after.end) == (segment.start, segment.end)


@settings(deadline=None)
@given(segments, parameters, parameters, parameters)
def test_a_part_of_an_edge_lies_on_it(segment: Segment, t: float, u: float, at: float) -> None:
    t0, t1 = sorted((t, u))
    assume(t1 - t0 > 1e-3)
    part = paths.part(segment, t0, t1)
    there = paths.point_at(segment, t0 + at * (t1 - t0))
    assert close(paths.point_at(part, at), there)


@settings(deadline=None)
@given(segments)
def test_the_part_from_start_to_end_is_the_edge_itself(segment: Segment) -> None:
    assert paths.part(segment, 0, 1) == segment


@settings(deadline=None)
@given(segments, points, points)
def test_moved_ends_take_their_handles_along(segment: Segment, start: Point, end: Point) -> None:
    moved = paths.moved_ends(segment, start, end)
    assert (moved.start, moved.end) == (start, end)
    if isinstance(segment, Curve):
        assert isinstance(moved, Curve)
        first, last = differences(controls(moved))[0::2]
        assert close(first, differences(controls(segment))[0])
        assert close(last, differences(controls(segment))[2])


@settings(deadline=None)
@given(segments, parameters, st.floats(0.1, 9), st.floats(0.1, 9))
def test_stretching_an_edge_stretches_every_point(
    segment: Segment, t: float, across: float, down: float
) -> None:
    x, y = paths.point_at(segment, t)
    there = paths.point_at(paths.stretched(segment, across, down), t)
    assert close(there, (x * across, y * down))


@settings(deadline=None)
@given(segments, st.sampled_from([paths.FLATNESS, 0.004, 0.05]))
def test_points_that_stand_for_a_curve_are_within_the_flatness(
    segment: Segment, flatness: float
) -> None:
    chain = [*paths.flatten(segment, flatness), segment.end]
    assert chain[0] == segment.start
    if len(set(chain)) > 1:
        far = shapely.distance(shapely.points(sampled(segment)), LineString(chain)).max()
        assert far <= flatness * 1.0001


def test_a_line_needs_no_points_between_its_ends() -> None:
    assert paths.flatten(Line((0, 0), (9, 4))) == [(0, 0)]


def test_a_ring_does_not_repeat_its_first_point() -> None:
    square: list[Point] = [(0, 0), (2, 0), (2, 2), (0, 2)]
    assert paths.ring(paths.polygon(square)) == square


@settings(deadline=None)
@given(segments, st.tuples(st.floats(-2, 8), st.floats(-2, 8)))
def test_the_nearest_point_is_that_of_brute_force(segment: Segment, point: Point) -> None:
    t, gap = paths.nearest(segment, point)
    assert 0 <= t <= 1
    assert gap == pytest.approx(math.dist(paths.point_at(segment, t), point), abs=1e-9)
    every = bezier(controls(segment), np.linspace(0, 1, 4001))
    best = np.hypot(*(every - np.array(point)).T).min()
    assert gap <= best + paths.FLATNESS


@settings(deadline=None)
@given(segments, st.floats(0.02, 0.98))
def test_a_point_on_an_edge_is_found_on_it(segment: Segment, t: float) -> None:
    assert paths.nearest(segment, paths.point_at(segment, t))[1] < paths.FLATNESS


@settings(deadline=None)
@given(curves, st.tuples(st.floats(-2, 8), st.floats(-2, 8)))
def test_the_way_to_the_nearest_point_is_square_to_the_curve(curve: Curve, point: Point) -> None:
    t, gap = paths.nearest(curve, point)
    if 0 < t < 1:
        (on,) = bezier(controls(curve), np.array([t]))
        (along,) = bezier(differences(controls(curve)), np.array([t]))
        speed = float(np.hypot(*along))
        slope = abs(float(along @ (np.array(point) - on)))
        # Where a curve turns on the spot, or bends about the point, t itself is hard to tell.
        assert slope <= 1e-7 * max(speed * gap, 1e-3)


@pytest.mark.parametrize("t", [0.03, 0.9, 0.97])
def test_a_point_on_a_hairpin_is_found_on_its_own_branch(t: float) -> None:
    # The ends run out and back 0.04 to 0.07 in apart.
    hairpin = Curve((0, 0.283), (5.236, 0), (2, 0), (0, 0.357))
    assert paths.nearest(hairpin, paths.point_at(hairpin, t))[1] < 1e-6


@settings(deadline=None)
@given(st.floats(0.5, 6), st.floats(0, math.tau), st.floats(0.1, 0.38), st.floats(-0.4, 4))
def test_the_nearest_point_of_a_circle_lies_on_its_ray(
    radius: float, start: float, sweep: float, beyond: float
) -> None:
    circle = Ellipse((2, 1), radius, radius, 0)
    (arc,) = circle.arc(start, sweep)
    ray = start + sweep / 3
    point = (
        2 + (radius + beyond) * math.cos(ray),
        1 + (radius + beyond) * math.sin(ray),
    )
    t, gap = paths.nearest(arc, point)
    assert gap == pytest.approx(abs(beyond), abs=1e-6)
    assert close(paths.point_at(arc, t), circle.at(ray), 1e-5)


# --- length and area ----------------------------------------------------------------------


@settings(deadline=None)
@given(segments)
def test_an_edge_is_as_long_as_its_fine_chords(segment: Segment) -> None:
    expected = LineString(sampled(segment)).length
    assert paths.run_length([segment]) == pytest.approx(expected, rel=1e-3, abs=1e-6)


def test_a_circle_is_as_long_as_it_should_be() -> None:
    half = Ellipse((0, 0), 3, 3, 0)
    whole = [*half.arc(0, math.pi), *half.arc(math.pi, math.pi)]
    assert paths.run_length(whole) == pytest.approx(6 * math.pi, rel=1e-4)


@pytest.mark.parametrize("radius", [0.5, 2, 6])
def test_the_area_of_a_circle(radius: float) -> None:
    circle = Ellipse((2, 3), radius, radius, 0)
    whole = (*circle.arc(0, math.pi), *circle.arc(math.pi, math.pi))
    assert paths.area(whole) == pytest.approx(math.pi * radius**2, rel=1e-6)
    assert paths.area(paths.reverse_outline(whole)) == pytest.approx(-math.pi * radius**2, rel=1e-6)


def test_the_area_of_a_parabola_is_two_thirds_of_its_rectangle() -> None:
    # y = x (4 - x) from 0 to 4, a quadratic raised to a cubic; it is 4 high.
    curve = Curve((4, 0), (8 / 3, 16 / 3), (4 / 3, 16 / 3), (0, 0))
    outline = (Line((0, 0), (4, 0)), curve)
    assert paths.area(outline) == pytest.approx(2 / 3 * 4 * 4, abs=1e-12)


@settings(deadline=None)
@given(st.lists(segments, min_size=2, max_size=6))
def test_an_area_is_exact_by_greens_theorem(pieces: list[Segment]) -> None:
    # Closed by lines from each segment to the next; crossings count as Green's theorem says.
    outline: list[Segment] = []
    for segment, after in zip(pieces, [*pieces[1:], pieces[0]], strict=True):
        outline += [segment, Line(segment.end, after.start)]
    x, y = np.concatenate([sampled(s) for s in outline]).T
    expected = float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2
    assert paths.area(outline) == pytest.approx(expected, abs=0.005)


@settings(deadline=None)
@given(st.lists(st.floats(1, 4), min_size=3, max_size=8), st.floats(-0.3, 0.3))
def test_a_simple_outlines_area_is_that_of_its_polygon(reach: list[float], bulge: float) -> None:
    ways = [math.tau * k / len(reach) for k in range(len(reach))]
    corners = [(r * math.cos(a), r * math.sin(a)) for r, a in zip(reach, ways, strict=True)]
    outline: list[Segment] = []
    for p, q in zip(corners, [*corners[1:], corners[0]], strict=True):
        out = ((q[1] - p[1]) * bulge, (p[0] - q[0]) * bulge)
        outline.append(Curve(p, (p[0] + out[0], p[1] + out[1]), (q[0] + out[0], q[1] + out[1]), q))
    shape = Polygon(np.concatenate([sampled(s) for s in outline]))
    assume(shape.is_valid)
    assert paths.area(outline) == pytest.approx(shape.area, abs=0.001)


@settings(deadline=None)
@given(st.lists(points, min_size=3, max_size=8))
def test_an_outline_is_turned_clockwise_and_keeps_its_start(ring: list[Point]) -> None:
    outline = paths.polygon(ring)
    turned = paths.clockwise(outline)
    assert paths.area(turned) == pytest.approx(abs(paths.area(outline)))
    assert {frozenset((s.start, s.end)) for s in turned} == {
        frozenset((s.start, s.end)) for s in outline
    }
    assert turned[0].start == ring[0]


def test_a_square_drawn_counterclockwise_is_turned() -> None:
    ring: list[Point] = [(0, 0), (0, 2), (2, 2), (2, 0)]
    assert paths.area(paths.polygon(ring)) == -4
    assert paths.ring(paths.clockwise(paths.polygon(ring))) == [(0, 0), (2, 0), (2, 2), (0, 2)]
