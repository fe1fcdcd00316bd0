"""A pattern is read back as it was drawn, whichever program drew it and however; or it is asked.

The programs are not ours (ReportLab, cairo, fpdf2, and SVG through CairoSVG). That corners are
true within 0.003 in, and the allowance within 0.01 in, is what a maker could not measure on paper.
"""

from __future__ import annotations

import pytest
from shapely.geometry import Polygon

from piecewright.patchwork.reading.choices import Choices
from piecewright.patchwork.reading.reading import read_pattern
from piecewright.patchwork.reading.results import Reading
from piecewright.service.pattern_files.files import read_file
from tests.service.pattern_files.draughtsmen import DRAUGHTSMEN, Draughtsman, Outlines, ReportLab
from tests.service.pattern_files.patterns import (
    PATTERNS,
    WAYS,
    Pattern,
    draw,
    draw_cut_line,
    draw_numbers,
)

FACE = Choices(side="face")


def read(pen: Draughtsman, choices: Choices = FACE) -> Reading:
    return read_pattern(read_file(pen.file(), pen.media_type).pages, choices)


def drawn(pattern: Pattern) -> dict[str, Polygon]:
    return {f"{s.id}{n}": piece for s in pattern for n, piece in enumerate(s.pieces, 1)}


def off(reading: Reading, pattern: Pattern) -> float:
    """How far any patch is from where it was drawn, inches; far if patches are others."""
    found = {p.id: Polygon(p.outline) for s in reading.sections for p in s.pieces}
    true = drawn(pattern)
    if found.keys() != true.keys():
        return 99.0
    return max(float(true[id].hausdorff_distance(found[id])) for id in true)


# Each program draws each pattern in many ways, and each way is drawn by all programs; all of them
# together are read by bench/readings.py.
DRAWN = [
    pytest.param(program, way, name, id=f"{name} {way}, {program.__name__}")
    for i, way in enumerate(WAYS)
    for program, name in zip(DRAUGHTSMEN, [*PATTERNS][i % 4 :] + [*PATTERNS][: i % 4], strict=True)
]


@pytest.mark.parametrize(("program", "way", "name"), DRAWN)
def test_what_is_drawn_is_read(program: type[Draughtsman], way: str, name: str) -> None:
    pattern = PATTERNS[name]
    pen = program()
    WAYS[way](pen, pattern)
    reading = read(pen)
    assert reading.questions == ()
    assert off(reading, pattern) < 0.003
    assert [s.allowance for s in reading.sections] == pytest.approx([0.25] * len(pattern), abs=0.01)


@pytest.mark.parametrize("way", ["as usual", "on a grid", "in tints with seams", "with a table"])
@pytest.mark.parametrize(("typeface", "italic"), [("sans-serif", False), ("serif", True)])
def test_numbers_without_text_are_read(typeface: str, italic: bool, way: str) -> None:
    """Typefaces are whatever the system has; figures of all usual ones look alike."""
    pattern = PATTERNS["pier"]
    pen = Outlines(typeface, italic)
    WAYS[way](pen, pattern)
    reading = read(pen)
    assert reading.questions == ()
    assert off(reading, pattern) < 0.003


@pytest.mark.parametrize("allowance", [0.125, 0.375, 0.5])
def test_an_allowance_of_any_width_is_measured(allowance: float) -> None:
    pattern = PATTERNS["pier"]
    pen = ReportLab()
    for section in pattern:
        draw(pen, section, allowance=allowance)
    found = [section.allowance for section in read(pen).sections]
    assert found == pytest.approx([allowance] * 2, abs=0.002)


def codes(reading: Reading) -> set[str]:
    return {question.code for question in reading.questions}


@pytest.mark.parametrize("name", PATTERNS)
def test_without_a_line_round_it_the_allowance_is_asked(name: str) -> None:
    pen = ReportLab()
    for section in PATTERNS[name]:
        draw(pen, section, cut_line="none")
    assert codes(read(pen)) == {"allowance"}


@pytest.mark.parametrize("name", PATTERNS)
def test_a_pattern_without_numbers_is_asked(name: str) -> None:
    pen = ReportLab()
    for section in PATTERNS[name]:
        for seam in section.seams():
            pen.line(seam)
        draw_cut_line(pen, section)
    assert codes(read(pen)) >= {"sections"}


@pytest.mark.parametrize("name", PATTERNS)
def test_a_patch_without_a_number_is_asked(name: str) -> None:
    pen = ReportLab()
    for section in PATTERNS[name]:
        for seam in section.seams():
            pen.line(seam)
        draw_cut_line(pen, section)
    first, *others = PATTERNS[name]
    draw_numbers(pen, type(first)(first.id, first.pieces[:-1]))
    for section in others:
        draw_numbers(pen, section)
    assert not read(pen).is_complete


@pytest.mark.parametrize("name", ["buoy", "pier", "log"])
def test_a_number_that_stands_twice_is_asked(name: str) -> None:
    pen = ReportLab()
    for section in PATTERNS[name]:
        for seam in section.seams():
            pen.line(seam)
        draw_cut_line(pen, section)
        last = type(section)(section.id, section.pieces[:-1])
        draw_numbers(pen, last)
        at = section.pieces[-1].representative_point()
        pen.text((at.x, at.y), f"{section.id}1")
    assert "numbers" in codes(read(pen))


def test_which_side_is_printed_is_asked_unless_it_does_not_matter() -> None:
    pen = ReportLab()
    for section in PATTERNS["buoy"]:
        draw(pen, section)
    reading = read(pen, Choices())
    assert codes(reading) == {"side"}
    assert reading.side == "printed"
