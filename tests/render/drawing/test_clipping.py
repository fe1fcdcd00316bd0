"""Marks cut at a window's border."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, MultiPoint
from shapely.geometry import box as rectangle

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, arc, polygon
from piecewright.render.drawing.clipping import clipped
from piecewright.render.drawing.marks import Box, Dot, Mark, Stroke, Text, line

WINDOW = Box(0, 0, 4, 3)

ends = st.floats(-6, 9).map(lambda v: round(v, 3))
points = st.tuples(ends, ends)


def chords(marks: list[Mark]) -> MultiLineString:
    found = []
    for mark in marks:
        assert isinstance(mark, Stroke)
        ring = [*paths.ring(mark.segments, 1e-5), mark.segments[-1].end]
        found.append(LineString([*ring, ring[0]] if mark.closed else ring))
    return MultiLineString(found)


@pytest.mark.parametrize(
    ("start", "end", "kept"),
    [
        ((-1, 1), (9, 1), [((0, 1), (4, 1))]),
        ((1, 1), (9, 1), [((1, 1), (4, 1))]),
        ((1, 1), (2, 2), [((1, 1), (2, 2))]),
        ((-1, 0), (-1, 3), []),
        ((0, 0), (4, 0), [((0, 0), (4, 0))]),
        ((-1, 2), (3, -2), [((0, 1), (1, 0))]),
    ],
)
def test_lines(
    start: tuple[float, float],
    end: tuple[float, float],
    kept: list[tuple[tuple[float, float], tuple[float, float]]],
) -> None:
    parts = clipped(line("cutting-line", start, end), WINDOW)
    found = [(s.start, s.end) for p in parts if isinstance(p, Stroke) for s in p.segments]
    assert len(found) == len(kept)
    for (a, b), (c, d) in zip(found, kept, strict=True):
        assert a == pytest.approx(c)
        assert b == pytest.approx(d)


# shapely (GEOS) is the reference for what lies in the window.
@settings(deadline=None)
@given(st.lists(points, min_size=3, max_size=6, unique=True))
def test_path_is_cut_as_its_chords_are(corners: list[tuple[float, float]]) -> None:
    outline = Stroke("cutting-line", polygon(corners), closed=True)
    wanted = LineString([*corners, corners[0]]).intersection(rectangle(0, 0, 4, 3))
    there = chords(clipped(outline, WINDOW))
    assert there.difference(wanted.buffer(1e-6)).length < 1e-6
    assert wanted.difference(there.buffer(1e-6)).length < 1e-5


@settings(deadline=None)
@given(points, points, points, points)
def test_curve_is_cut_exactly(
    p: tuple[float, float],
    q: tuple[float, float],
    r: tuple[float, float],
    s: tuple[float, float],
) -> None:
    # A curve that runs back along itself has no inside that GEOS could grow.
    assume(MultiPoint([p, q, r, s]).convex_hull.area > 0.05)
    curve = Stroke("cutting-line", (Curve(p, q, r, s),))
    parts = clipped(curve, WINDOW)
    whole = LineString([paths.point_at(curve.segments[0], n / 4000) for n in range(4001)])
    there = chords(parts)
    inside = rectangle(0, 0, 4, 3)
    assert there.is_empty or inside.buffer(1e-4).covers(there)
    assert there.difference(whole.buffer(2e-3)).length < 1e-6
    lost = whole.intersection(inside.buffer(-1e-3)).difference(there.buffer(5e-3))
    assert lost.length < 1e-6


def test_closed_path_that_begins_inside_stays_in_one_piece() -> None:
    outline = Stroke("cutting-line", polygon([(1, 1), (9, 1), (9, 2), (1, 2)]), closed=True)
    (part,) = clipped(outline, WINDOW)
    assert isinstance(part, Stroke)
    assert not part.closed
    corners = [*(s.start for s in part.segments), part.segments[-1].end]
    assert [round(c, 9) for p in corners for c in p] == [4, 2, 1, 2, 1, 1, 4, 1]


def test_path_inside_is_left_as_it_is() -> None:
    outline = Stroke("cutting-line", polygon([(1, 1), (2, 1), (2, 2)]), closed=True)
    assert clipped(outline, WINDOW) == [outline]


def test_circle_that_touches_nothing_is_gone() -> None:
    circle = Stroke("cutting-line", arc((-9, 1), 1, 1, 0, False, True, (-9, 3)))
    assert clipped(circle, WINDOW) == []


def test_dashes_go_on_where_they_were() -> None:
    # The sewing line's dashes repeat every 6.5 points.
    (part,) = clipped(line("sewing-line", (-1, 1), (9, 1)), WINDOW)
    assert isinstance(part, Stroke)
    assert part.offset * 72 == pytest.approx(72 % 6.5)
    (solid,) = clipped(line("cutting-line", (-1, 1), (9, 1)), WINDOW)
    assert isinstance(solid, Stroke)
    assert solid.offset == 0


@pytest.mark.parametrize(
    "mark",
    [
        Text("A", (-0.01, 1), 0.2),
        Dot("match-point", (0, 0)),
        Stroke("grain", polygon([(-1, 1), (1, 1), (0, 2)]), closed=True, filled=True),
    ],
)
def test_letters_dots_and_filled_shapes_stay_whole(mark: Mark) -> None:
    assert clipped(mark, WINDOW) == [mark]


def test_length_of_a_cut_circle() -> None:
    circle = Stroke(
        "cutting-line",
        (
            *arc((-1, 0), 1, 1, 0, False, True, (1, 0)),
            *arc((1, 0), 1, 1, 0, False, True, (-1, 0)),
        ),
        closed=True,
    )
    (quarter,) = clipped(circle, WINDOW)
    assert isinstance(quarter, Stroke)
    assert paths.run_length(quarter.segments) == pytest.approx(math.pi / 2, abs=1e-4)
    assert all(isinstance(s, Curve | Line) for s in quarter.segments)
