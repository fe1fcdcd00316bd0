"""How long an inch of the page truly is: from a test square that says its size.

A test square is a square with its size written in it or beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from shapely.geometry import Polygon, box

from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point, distance
from piecewright.patchwork.lengths import LengthError, parse_length
from piecewright.patchwork.reading.page import Mark, Page, Word

_SIZE: Final = re.compile(
    r"(?<![\d./])(\d+(?:[.,]\d+)?(?:\s+\d+/\d+|/\d+)?)\s*-?\s*(in\b|inch(?:es)?\b|[\"”″]|''|cm\b|mm\b)",
    re.IGNORECASE,
)

_SQUARE = 0.01
"""Of its side: how much the sides of a square may differ."""

_WITHIN = 0.3
"""Inches from a square within which words speak of it."""

_LARGEST = 6.0
"""Inches: a square that is larger is a section or a frame, not one to be measured with a ruler."""

_PLAUSIBLE = (0.2, 5.0)
"""Of what it says: a square that is smaller or larger is one of something else."""


@dataclass(frozen=True, slots=True)
class TestSquare:
    """A square that says how large it is; both in inches.

    Attributes:
        measured: its side on the page.
    """

    measured: float
    said: float
    at: Point

    __test__ = False  # it is no test of pytest's


def test_squares(page: Page, sections: Sequence[Polygon]) -> list[TestSquare]:
    """The test squares of a page.

    Args:
        sections: what squares may not lie across; a section may itself be one, with a size near it.
    """
    found = []
    for left, top, side in dict.fromkeys(_squares(page.marks)):
        if any(section.intersects(box(left, top, left + side, top + side)) for section in sections):
            continue
        for said in _sizes_near(page.words, left, top, side):
            if _PLAUSIBLE[0] <= side / said <= _PLAUSIBLE[1]:
                found.append(TestSquare(side, said, (left + side / 2, top + side / 2)))
    return found


test_squares.__test__ = False  # type: ignore[attr-defined]


def _squares(marks: Sequence[Mark]) -> Iterator[tuple[float, float, float]]:
    for mark in marks:
        if not mark.closed or len(mark.path) != 4:
            continue
        if not all(isinstance(s, Line) for s in mark.path):
            continue
        xs, ys = ([s.start[k] for s in mark.path] for k in (0, 1))
        across, down = max(xs) - min(xs), max(ys) - min(ys)
        sides = [distance(s.start, s.end) for s in mark.path]
        if max(sides) > _LARGEST:
            continue
        if max(sides) - min(sides) < _SQUARE * max(sides) and abs(across - max(sides)) < 1e-3:
            yield min(xs), min(ys), (across + down) / 2


def _sizes_near(words: Sequence[Word], left: float, top: float, side: float) -> set[float]:
    near = [
        w
        for w in words
        if left - _WITHIN < w.at[0] < left + side + _WITHIN
        and top - _WITHIN < w.at[1] < top + side + _WITHIN
    ]
    found = set()
    for match in _SIZE.finditer(" ".join(w.text for w in near)):
        number, unit = match[1].replace(",", "."), match[2].lower()
        try:
            found.add(parse_length(f"{number} {unit if unit in ('cm', 'mm') else 'in'}", "in"))
        except LengthError:
            continue
    return found
