"""The lines that marks are meant as."""

from __future__ import annotations

import math

import pytest

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.lines import lines_of
from piecewright.patchwork.reading.page import Mark, Style

INK = Style(filled=False, colour="#000000", width=0.014)
PAINT = Style(filled=True, colour="#000000")


def line(*points: Point, style: Style = INK) -> Mark:
    return Mark(tuple(map(Line, points[:-1], points[1:])), False, style)


def shape(*points: Point) -> Mark:
    return Mark(paths.polygon(points), True, PAINT)


@pytest.mark.parametrize(
    ("marks", "meant"),
    [
        ([line((0, 0), (3, 0))], [((0, 0), (3, 0))]),
        # Drawn twice, the second time backwards.
        ([line((0, 0), (3, 0)), line((3, 0), (0, 0))], [((0, 0), (3, 0))]),
        # In two parts that touch, that overlap, or that nearly touch.
        ([line((0, 0), (1, 0)), line((1, 0), (3, 0))], [((0, 0), (3, 0))]),
        ([line((0, 0), (2, 0)), line((1, 0), (3, 0))], [((0, 0), (3, 0))]),
        ([line((0, 0), (1, 0)), line((1.02, 0), (3, 0))], [((0, 0), (3, 0))]),
        # Two seams in a row with room between them stay two.
        ([line((0, 0), (1, 0)), line((1.2, 0), (3, 0))], [((0, 0), (1, 0)), ((1.2, 0), (3, 0))]),
        # An angle is two lines.
        ([line((0, 0), (1, 0), (1, 2))], [((0, 0), (1, 0)), ((1, 0), (1, 2))]),
        # A thin bar is its middle line.
        ([shape((0, -0.01), (3, -0.01), (3, 0.01), (0, 0.01))], [((0, 0), (3, 0))]),
        # Dashes at even distances are one line.
        ([line((k / 5, 0), (k / 5 + 0.12, 0)) for k in range(6)], [((0, 0), (1.12, 0))]),
        # Two short lines that happen to stand in a row are not.
        (
            [line((0, 0), (0.2, 0)), line((0.3, 0), (0.5, 0))],
            [((0, 0), (0.2, 0)), ((0.3, 0), (0.5, 0))],
        ),
    ],
)
def test_what_is_meant_as_one_line_is_one(
    marks: list[Mark], meant: list[tuple[Point, Point]]
) -> None:
    found = sorted(tuple(sorted(one.points)) for one in lines_of(marks))
    assert len(found) == len(meant)
    for one, other in zip(found, sorted(meant), strict=True):
        for p, q in zip(one, other, strict=True):
            assert p == pytest.approx(q, abs=1e-6)


def test_a_curve_is_followed_to_its_end() -> None:
    arc = paths.arc((3, 0), 3, 3, 0, False, True, (0, 3))
    (found,) = lines_of([Mark(tuple(arc), False, INK)])
    assert (found.points[0], found.points[-1]) == ((3, 0), (0, 3))
    for x, y in found.points:
        assert math.hypot(x, y) == pytest.approx(3, abs=1e-6)


def test_a_curve_in_many_chords_stays_a_curve() -> None:
    turn = [k * math.pi / 40 for k in range(21)]
    quarter = [(3 * math.cos(a), 3 * math.sin(a)) for a in turn]
    (found,) = lines_of([line(*quarter)])
    assert len(found.points) == len(quarter)
