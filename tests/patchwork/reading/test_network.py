"""Faces between lines that do not quite meet."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from piecewright.patchwork.reading.lines import DrawnLine
from piecewright.patchwork.reading.network import faces_of

SQUARE = [((0, 0), (4, 0)), ((4, 0), (4, 4)), ((4, 4), (0, 4)), ((0, 4), (0, 0))]


def drawn(*lines: tuple[tuple[float, float], tuple[float, float]]) -> list[DrawnLine]:
    return [DrawnLine(line) for line in lines]


def areas(faces: list[Polygon]) -> list[float]:
    return sorted(face.area for face in faces)


@pytest.mark.parametrize("short", [0.0, 0.015, -0.04])
def test_lines_that_end_short_or_run_past_meet(short: float) -> None:
    across = ((short, short), (4 - short, 4 - short))
    assert areas(faces_of(drawn(*SQUARE, across))) == pytest.approx([8, 8], abs=1e-6)


def test_three_lines_that_nearly_meet_in_a_point_meet_there() -> None:
    lines = drawn(*SQUARE, ((0, 2), (4, 2)), ((2, 0), (2, 4)), ((0, 0.012), (3.988, 4)))
    assert len(faces_of(lines)) == 6


def test_a_line_that_ends_in_the_middle_of_a_patch_cuts_nothing() -> None:
    assert areas(faces_of(drawn(*SQUARE, ((0, 2), (2, 2))))) == pytest.approx([16])


def test_a_section_in_a_frame_leaves_a_face_round_it() -> None:
    frame = [((-1, -1), (5, -1)), ((5, -1), (5, 5)), ((5, 5), (-1, 5)), ((-1, 5), (-1, -1))]
    faces = faces_of(drawn(*SQUARE, *frame))
    assert areas(faces) == pytest.approx([16, 20])
    assert sorted(len(face.interiors) for face in faces) == [0, 1]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 6), st.integers(2, 6))
def test_a_grid_drawn_by_an_unsteady_hand_is_that_grid(seed: int, rows: int, columns: int) -> None:
    chance = random.Random(seed)

    def unsteady(x: float, y: float) -> tuple[float, float]:
        return (x + chance.uniform(-0.006, 0.006), y + chance.uniform(-0.006, 0.006))

    lines = [(unsteady(0, r), unsteady(columns, r)) for r in range(rows + 1)]
    lines += [(unsteady(c, 0), unsteady(c, rows)) for c in range(columns + 1)]
    faces = faces_of(drawn(*lines))
    assert len(faces) == rows * columns
    for face in faces:
        left, top = (round(side) for side in face.bounds[:2])
        assert face.hausdorff_distance(box(left, top, left + 1, top + 1)) < 0.012
