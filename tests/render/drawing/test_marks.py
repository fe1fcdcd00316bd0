"""Where the ink of marks is, and marks moved and turned."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piecewright.patchwork.geometry.paths import Curve, Line, arc, point_at, polygon
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import LINE_KINDS, PENS
from piecewright.render.drawing.marks import (
    Box,
    Dot,
    Mark,
    Stroke,
    Text,
    box_of,
    drawn,
    line,
    mark_box,
    moved,
    reaches,
    rectangle,
    turned,
)

HALF = 0.9 / 72 / 2  # of a cutting line, inches

coordinates = st.floats(-20, 20)
points = st.tuples(coordinates, coordinates)


def edges(box: Box) -> tuple[float, float, float, float]:
    return box.x, box.y, box.right, box.bottom


def test_every_kind_has_a_pen() -> None:
    # Names that programs look for in the classes of an SVG.
    named = {
        *("cutting-line", "sewing-line", "grain", "match-point", "notch", "label"),
        *("test-square", "overlap", "join-mark"),
    }
    assert named <= set(LINE_KINDS) == set(PENS)


def test_cutting_line_is_solid_and_sewing_line_dashed() -> None:
    assert not PENS["cutting-line"].dash
    assert PENS["sewing-line"].dash


def test_box_of_a_line_has_the_width_of_its_pen() -> None:
    assert edges(box_of([line("cutting-line", (0, 0), (3, 0))])) == pytest.approx(
        (-HALF, -HALF, 3 + HALF, HALF)
    )


def test_box_of_an_arc_is_the_circles_and_not_the_handles() -> None:
    # A half circle about the origin, over the top: its extreme is the radius, exactly.
    half = arc((-2, 0), 2, 2, 0, False, True, (2, 0))
    assert edges(box_of([Stroke("cutting-line", half)])) == pytest.approx(
        (-2 - HALF, -2 - HALF, 2 + HALF, HALF), abs=1e-6
    )


@given(points, points, points, points)
def test_box_of_a_curve_touches_the_curve_on_all_sides(
    a: tuple[float, float],
    b: tuple[float, float],
    c: tuple[float, float],
    d: tuple[float, float],
) -> None:
    curve = Curve(a, b, c, d)
    along = [point_at(curve, k / 2000) for k in range(2001)]
    box = box_of([Stroke("cutting-line", (curve,))]).grown(-HALF)
    xs, ys = [p[0] for p in along], [p[1] for p in along]
    assert edges(box) == pytest.approx((min(xs), min(ys), max(xs), max(ys)), abs=1e-3)
    assert box.x <= min(xs) + 1e-9
    assert box.bottom >= max(ys) - 1e-9


def test_box_of_a_dot_is_round_about_it() -> None:
    radius = PENS["match-point"].dot_radius
    assert edges(box_of([Dot("match-point", (1, 2))])) == pytest.approx(
        (1 - radius, 2 - radius, 1 + radius, 2 + radius)
    )


def test_box_of_text_has_the_height_of_its_capitals() -> None:
    box = box_of([Text("H", (1, 2), 0.5)])
    assert box.bottom == pytest.approx(2)
    assert box.height == pytest.approx(fonts.cap_height(0.5))


@pytest.mark.parametrize(("anchor", "shift"), [("start", 0.0), ("middle", 0.5), ("end", 1.0)])
def test_anchor_shifts_text_by_its_width(anchor: str, shift: float) -> None:
    start = box_of([Text("cut 4", (0, 0), 0.2)])
    box = box_of([Text("cut 4", (0, 0), 0.2, anchor)])  # type: ignore[arg-type]
    assert box.x == pytest.approx(start.x - shift * fonts.text_width("cut 4", 0.2))


def test_text_turned_a_quarter_runs_down_the_sheet() -> None:
    level, upright = (box_of([Text("cut 4", (0, 0), 0.2, turn=turn)]) for turn in (0, 90))
    assert upright.height == pytest.approx(level.width)
    assert upright.y == pytest.approx(level.x)
    assert upright.right == pytest.approx(-level.y)


def test_nothing_has_an_empty_box() -> None:
    assert box_of([]) == Box(0, 0, 0, 0)
    assert box_of([Text("  ", (3, 3), 1.0), Stroke("notch", ())]) == Box(0, 0, 0, 0)


def test_drawing_knows_its_box() -> None:
    marks = [rectangle("cutting-line", Box(1, 1, 2, 3))]
    assert drawn("A", "Template A", "", marks).box == box_of(marks)


EVERY_KIND_OF_MARK: list[Mark] = [
    Stroke("cutting-line", (Line((0, 0), (1, 2)), Curve((1, 2), (2, 2), (3, 1), (3, 0)))),
    Dot("match-point", (1, 2)),
    Text("cut 4", (1, 2), 0.2, turn=15),
]


@pytest.mark.parametrize("mark", EVERY_KIND_OF_MARK)
def test_moving_a_mark_moves_its_box(mark: Mark) -> None:
    before, after = box_of([mark]), box_of([moved(mark, 3, -1)])
    assert edges(after) == pytest.approx(edges(before.moved(3, -1)))


def test_turning_is_clockwise_as_seen() -> None:
    assert turned(line("grain", (1, 0), (2, 0)), 90) == line("grain", (0, 1), (0, 2))


@pytest.mark.parametrize("mark", EVERY_KIND_OF_MARK)
@pytest.mark.parametrize("degrees", [90, 37.5, -250])
def test_turning_back_restores_a_mark(mark: Mark, degrees: float) -> None:
    there_and_back = turned(turned(mark, degrees), -degrees)
    assert edges(box_of([there_and_back])) == pytest.approx(edges(box_of([mark])))


def test_turned_text_keeps_its_corners() -> None:
    text = Text("cut 4", (1, 2), 0.2, turn=20)
    one = box_of([turned(text, 70)])
    level = box_of([Text("cut 4", (1, 2), 0.2)])
    assert one.height == pytest.approx(level.width)
    assert (one.x + one.right) / 2 == pytest.approx(-(level.y + level.bottom) / 2, abs=1.0)


@pytest.mark.parametrize(
    ("box", "inside"),
    [
        (Box(0.9, 0.9, 0.2, 0.2), True),  # the diagonal passes through
        (Box(1.5, 0.2, 0.3, 0.3), False),  # in the line's box, but off the line
        (Box(-1, -1, 5, 5), True),  # all of it
        (Box(3, 3, 1, 1), False),
    ],
)
def test_ink_reaches_a_box_only_where_the_line_runs(box: Box, inside: bool) -> None:
    assert reaches(line("cutting-line", (0, 0), (2, 2)), box) is inside


def test_open_path_does_not_reach_along_its_missing_edge() -> None:
    corner = polygon([(0, 0), (4, 0), (4, 4)])[:2]
    on_the_diagonal = Box(1.9, 1.9, 0.2, 0.2)
    assert not reaches(Stroke("cutting-line", corner), on_the_diagonal)
    assert reaches(Stroke("cutting-line", corner, closed=True), on_the_diagonal)


@given(st.floats(0, 360), st.floats(0.5, 3))
def test_ink_of_a_turned_line_is_as_long_as_the_line(degrees: float, length: float) -> None:
    box = mark_box(turned(line("cutting-line", (0, 0), (length, 0)), degrees))
    assert box is not None
    reach = math.hypot(box.width - 2 * HALF, box.height - 2 * HALF)
    assert reach == pytest.approx(length)
