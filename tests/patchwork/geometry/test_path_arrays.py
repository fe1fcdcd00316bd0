"""Many curves at once: the points that stand for them, and their parallels.

References: circles by their equation, Bernstein polynomials evaluated with NumPy, and
Shapely's distances.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.path_arrays import chains, parallels
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from tests.patchwork.geometry.beziers import (
    Ellipse,
    apart,
    bends,
    bezier,
    close,
    controls,
    curves,
    differences,
    sampled,
    segments,
    sweeps,
    true_parallel,
)


def goes_on(curve: Curve) -> bool:
    """Whether a curve has a direction everywhere; where it stops it bends without bound."""
    speeds = np.hypot(*bezier(differences(controls(curve)), np.linspace(0, 1, 201)).T)
    return bool(speeds.min() > 0.1)


steady = curves.filter(goes_on)
allowances = st.sampled_from([0.25, 0.375, 0.1, 0.5, -0.25])
flatnesses = st.sampled_from([paths.FLATNESS, 2e-5, 0.004])


# --- points -------------------------------------------------------------------------------


@settings(deadline=None)
@given(st.lists(segments, min_size=1, max_size=6), flatnesses)
def test_the_points_of_many_edges_are_those_of_each(edges: list[Segment], flatness: float) -> None:
    found = chains(edges, flatness)
    for k, edge in enumerate(edges):
        own = found.points[found.starts[k] : found.starts[k + 1]].tolist()
        assert tuple(own[0]) == edge.start
        assert tuple(own[-1]) == edge.end
        if edge.start != edge.end:
            far = shapely.distance(shapely.points(sampled(edge)), LineString(own)).max()
            assert far <= flatness * 1.0001
    assert found.starts[-1] == len(found.points)


def test_a_straight_edge_is_its_two_ends() -> None:
    found = chains([Line((0, 0), (9, 4)), Line((9, 4), (1, 7))], 0.0004)
    assert found.points.tolist() == [[0, 0], [9, 4], [9, 4], [1, 7]]
    assert found.starts.tolist() == [0, 2, 4]


@settings(deadline=None)
@given(st.lists(steady, min_size=1, max_size=4), flatnesses)
def test_outward_is_square_to_the_edge_and_left_of_travel(
    edges: list[Curve], flatness: float
) -> None:
    found = chains(edges, flatness)
    out = found.outward()
    assert np.hypot(*out.T) == pytest.approx(1.0)
    for k, edge in enumerate(edges):
        rows = slice(found.starts[k], found.starts[k + 1])
        t = np.linspace(0, 1, rows.stop - rows.start)
        along = bezier(differences(controls(edge)), t)
        assert (along * out[rows]).sum(axis=1) == pytest.approx(0, abs=1e-9)
        left = along[:, 1] * out[rows, 0] - along[:, 0] * out[rows, 1]
        assert (left > 0).all()


def test_the_allowance_of_a_squares_top_edge_is_above_it() -> None:
    found = chains([Line((0, 0), (3, 0))], 0.0004)
    assert (found.points + 0.25 * found.outward()).tolist() == [[0, -0.25], [3, -0.25]]


def test_a_curve_that_starts_on_its_handle_goes_toward_the_next_one() -> None:
    curve = Curve((0, 0), (0, 0), (2, 0), (3, 1))
    (x, y), *_ = chains([curve], 0.0004).outward().tolist()
    assert (x, y) == (0, -1)


# --- parallels ----------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(steady, allowances)
def test_a_parallel_is_within_a_thousandth_of_the_true_offset(curve: Curve, away: float) -> None:
    bend = bends(curve)
    assume(np.abs(bend).max() < 20)
    (parallel,) = parallels([curve], [away])
    if (1 + away * bend).min() < 0:
        assert parallel is None
        return
    assume((1 + away * bend).min() > 0.02)
    assert parallel is not None
    found = np.concatenate([sampled(s) for s in parallel])
    assert apart(found, true_parallel(curve, away)) < 0.001
    assert all(close(a.end, b.start) for a, b in zip(parallel, parallel[1:], strict=False))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(curves, allowances), max_size=5))
def test_the_parallels_of_many_curves_are_those_of_each(asked: list[tuple[Curve, float]]) -> None:
    together = parallels([curve for curve, _ in asked], [away for _, away in asked])
    for (curve, away), found in zip(asked, together, strict=True):
        (alone,) = parallels([curve], [away])
        assert (found is None) == (alone is None)
        for one, other in zip(found or (), alone or (), strict=True):
            pairs = zip(controls(one), controls(other), strict=True)
            assert all(close(p, q) for p, q in pairs)


@settings(deadline=None)
@given(st.floats(0.3, 12), st.floats(0, math.tau), sweeps)
def test_a_circles_parallel_is_a_circle(radius: float, start: float, sweep: float) -> None:
    # Clockwise arcs have their cloth inside, the others outside.
    expected = radius + 0.25 if sweep > 0 else radius - 0.25
    arc = [s for s in Ellipse((1, 2), radius, radius, 0).arc(start, sweep) if isinstance(s, Curve)]
    for parallel in parallels(arc, [0.25] * len(arc)):
        assert parallel
        for part in parallel:
            far = np.hypot(*(sampled(part) - np.array([1, 2])).T)
            assert np.abs(far - expected).max() < 0.0003


@pytest.mark.parametrize("radius", [0.05, 0.1, 0.2, 0.25])
def test_a_hollow_tighter_than_its_allowance_folds(radius: float) -> None:
    arc = Ellipse((0, 0), radius, radius, 0).arc(0, -math.pi / 2)
    for segment in arc:
        assert isinstance(segment, Curve)
        assert parallels([segment], [0.25]) == [None]


@pytest.mark.parametrize("radius", [0.05, 0.1, 0.2, 0.25])
def test_a_bulge_tighter_than_its_allowance_does_not_fold(radius: float) -> None:
    for segment in Ellipse((0, 0), radius, radius, 0).arc(0, math.pi / 2):
        assert isinstance(segment, Curve)
        (parallel,) = parallels([segment], [0.25])
        assert parallel
        for part in parallel:
            far = np.hypot(*sampled(part).T)
            assert np.abs(far - radius - 0.25).max() < 0.0003


def test_no_curves_have_no_parallels() -> None:
    assert parallels([], []) == []
