"""Words that may be the numbers of patches."""

from __future__ import annotations

import pytest

from piecewright.patchwork.reading.labels import label_classes
from piecewright.patchwork.reading.page import Word


def read(*texts: str) -> list[list[tuple[str, int]]]:
    words = [Word(text, (k * 0.12, 1.0), 0.2) for k, text in enumerate(texts)]
    return [[(label.section, label.number) for label in found] for found in label_classes(words)]


@pytest.mark.parametrize(
    ("text", "section", "number"),
    [
        ("1", "", 1),
        ("12", "", 12),
        ("A1", "A", 1),
        ("a3", "A", 3),
        ("B-7", "B", 7),
        ("AB12", "AB", 12),
        ("4.", "", 4),
        ("(5)", "", 5),
    ],
)
def test_a_number_is_read(text: str, section: str, number: int) -> None:
    assert read(text)[0] == [(section, number)]


@pytest.mark.parametrize("text", ["", "0", "A", "page", "1/4", "2.5", "1st", "ABC1", "1234", '1"'])
def test_what_is_no_number_is_not_read(text: str) -> None:
    assert read(text) == []


def test_a_letter_that_stands_before_a_figure_is_its_section() -> None:
    assert read("B", "2") == [[("B", 2)]]


def test_a_word_before_a_figure_is_none() -> None:
    assert read("of", "2") == [[("", 2)]]


def test_numbers_that_look_alike_are_taken_together() -> None:
    words = [Word(str(n), (n, 1.0), 0.2) for n in (1, 2, 3)] + [Word("14", (1.0, 9.0), 0.1)]
    classes = [{label.number for label in found} for found in label_classes(words)]
    assert {1, 2, 3} in classes
    assert {14} in classes


def test_codes_of_cloth_are_left_out_of_a_class() -> None:
    words = [Word(text, (k, 1.0), 0.2) for k, text in enumerate(("A1", "A2", "K31", "K32"))]
    classes = [{label.section for label in found} for found in label_classes(words)]
    assert {"A"} in classes
