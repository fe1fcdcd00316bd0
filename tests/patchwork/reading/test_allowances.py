"""An allowance is a line round a section at one distance; Shapely's mitred buffer draws it."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from piecewright.patchwork.reading.allowances import NARROWEST, WIDEST, LinesAround
from piecewright.patchwork.reading.lines import DrawnLine

KITE = Polygon([(2, 0), (4, 3), (2, 5), (0, 3)])


def outline(shape: Polygon) -> list[DrawnLine]:
    points = [(x, y) for x, y in shape.exterior.coords]
    return [DrawnLine(pair) for pair in itertools.pairwise(points)]


def round_it(shape: Polygon, by: float) -> list[DrawnLine]:
    return outline(shape.buffer(by, join_style="mitre", mitre_limit=20))


@settings(max_examples=25, deadline=None)
@given(st.floats(NARROWEST + 0.01, WIDEST - 0.01), st.floats(0.5, 6), st.floats(0.5, 6))
def test_its_width_is_measured(width: float, across: float, down: float) -> None:
    section = box(0, 0, across, down)
    found = LinesAround([*outline(section), *round_it(section, width)]).allowance(section)
    assert found is not None
    assert found.width == pytest.approx(width, abs=1e-6)
    assert found.share == 1


def test_points_that_are_cut_off_do_not_hide_it() -> None:
    blunt = KITE.buffer(0.25, join_style="mitre", mitre_limit=1)
    found = LinesAround(outline(blunt)).allowance(KITE)
    assert found is not None
    assert found.width == pytest.approx(0.25, abs=1e-6)


def test_seams_drawn_on_into_it_do_not_hide_it() -> None:
    square = box(0, 0, 4, 4)
    on = [DrawnLine(((k, -0.25), (k, 4.25))) for k in (1, 2, 3)]
    found = LinesAround([*outline(square), *round_it(square, 0.25), *on]).allowance(square)
    assert found is not None
    assert found.width == pytest.approx(0.25, abs=1e-6)


@pytest.mark.parametrize(
    "lines",
    [
        [],
        outline(KITE),
        round_it(KITE, 1.2),  # a frame further out
        outline(box(-0.3, -0.3, 4.3, 5.3)),  # a frame that does not run along the section
        round_it(KITE, 0.25)[:-1],  # on three sides alone
    ],
)
def test_what_does_not_run_all_round_at_one_distance_is_none(lines: list[DrawnLine]) -> None:
    assert LinesAround(lines).allowance(KITE) is None
