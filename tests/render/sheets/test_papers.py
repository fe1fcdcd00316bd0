"""Paper sizes against the published tables."""

from __future__ import annotations

from typing import Literal

import pytest

from piecewright.render.sheets.papers import PAPERS, Sheet, iso_millimetres

# ISO 216:2007, tables 1 and 2: trimmed sizes in millimetres.
ISO_216 = {
    "A": [
        (841, 1189),
        (594, 841),
        (420, 594),
        (297, 420),
        (210, 297),
        (148, 210),
        (105, 148),
        (74, 105),
        (52, 74),
        (37, 52),
        (26, 37),
    ],
    "B": [
        (1000, 1414),
        (707, 1000),
        (500, 707),
        (353, 500),
        (250, 353),
        (176, 250),
        (125, 176),
        (88, 125),
        (62, 88),
        (44, 62),
        (31, 44),
    ],
}


@pytest.mark.parametrize("series", ["A", "B"])
def test_iso_sizes_are_those_of_the_standard(series: Literal["A", "B"]) -> None:
    assert [iso_millimetres(series, number) for number in range(11)] == ISO_216[series]


# ASME Y14.1, table 1 (A is letter, B is tabloid); legal as in ANSI/INCITS 151.
@pytest.mark.parametrize(
    ("name", "width", "height"),
    [
        ("letter", 8.5, 11.0),
        ("legal", 8.5, 14.0),
        ("tabloid", 11.0, 17.0),
        ("ansi-a", 8.5, 11.0),
        ("ansi-b", 11.0, 17.0),
        ("ansi-c", 17.0, 22.0),
        ("ansi-d", 22.0, 34.0),
        ("ansi-e", 34.0, 44.0),
    ],
)
def test_us_sizes_are_those_of_the_standard(name: str, width: float, height: float) -> None:
    assert (PAPERS[name].width, PAPERS[name].height) == (width, height)


def test_papers_are_upright_and_named_as_they_are_found() -> None:
    for name, paper in PAPERS.items():
        assert paper.name == name
        assert paper.width < paper.height
    assert {f"{series}{n}" for series in "ab" for n in range(11)} <= PAPERS.keys()


def test_a4_is_210_by_297_millimetres() -> None:
    assert PAPERS["a4"].width * 25.4 == pytest.approx(210, abs=1e-9)
    assert PAPERS["a4"].height * 25.4 == pytest.approx(297, abs=1e-9)


def test_printable_area_lies_inside_the_margins() -> None:
    area = Sheet(8.5, 11.0, 0.25, "letter", "portrait").printable
    assert (area.x, area.y, area.right, area.bottom) == (0.25, 0.25, 8.25, 10.75)
