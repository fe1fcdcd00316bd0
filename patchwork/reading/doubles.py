"""Sections by name, and those that are there more than once: small pictures, and doubles."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TypeAlias

import shapely

from piecewright.patchwork.block.wording import letters
from piecewright.patchwork.geometry.polygons import inner_point
from piecewright.patchwork.reading.results import Option, Question
from piecewright.patchwork.reading.sections import FoundSection
from piecewright.patchwork.reading.sheet_search import SheetReading

_SMALL_PICTURE = 0.75
"""Of the size of a section: another one of the same numbers, no larger than that, is a picture of
it."""

NamedSection: TypeAlias = tuple[str, SheetReading, FoundSection]


def named(sheets: Sequence[SheetReading]) -> list[NamedSection]:
    """Sections with their ids: the letters of their numbers, or A, B, … in reading order."""
    found = [(sheet, section) for sheet in sheets for section in sheet.found.sections]
    taken = {section.letters for _, section in found}
    free = (name for name in map(letters, itertools.count()) if name not in taken)
    return [(section.letters or next(free), sheet, section) for sheet, section in found]


def without_pictures(
    named: Sequence[NamedSection],
) -> tuple[list[NamedSection], list[NamedSection]]:
    """The sections, and apart from them those that are small pictures of another one."""
    kept: list[NamedSection] = []
    pictures: list[NamedSection] = []
    for one in named:
        same = [other for other in named if other is not one and other[0] == one[0]]
        is_picture = any(_is_picture_of(one[2], other[2]) for other in same)
        # Of a list or a table of cutting sizes: figures in boxes, one to a box.
        is_listed = len(one[2].pieces) == 1 and not _has_allowance(one)
        is_listed = is_listed and any(_has_allowance(other) for other in same)
        (pictures if is_picture or is_listed else kept).append(one)
    return kept, pictures


def _is_picture_of(one: FoundSection, other: FoundSection) -> bool:
    """Whether one section is the other, and much smaller."""
    return (
        len(other.pieces) == len(one.pieces)
        and one.shape.area < _SMALL_PICTURE**2 * other.shape.area
        and _alike(one, other)
    )


def _has_allowance(one: NamedSection) -> bool:
    return one[1].lines.allowance(one[2].shape) is not None


def _alike(one: FoundSection, other: FoundSection) -> bool:
    """Whether one section is the other at another size, not turned."""
    k = math.sqrt(one.shape.area / other.shape.area)
    moved = shapely.affinity.scale(other.shape, k, k, origin="centroid")
    dx = one.shape.centroid.x - moved.centroid.x
    dy = one.shape.centroid.y - moved.centroid.y
    moved = shapely.affinity.translate(moved, dx, dy)
    return bool(moved.symmetric_difference(one.shape).area < 0.1 * one.shape.area)


def double_sections(named: Sequence[NamedSection]) -> list[Question]:
    """Questions about sections that have the same letters."""
    questions = []
    by_name: dict[str, list[NamedSection]] = {}
    for one in named:
        by_name.setdefault(one[0], []).append(one)
    for name, same in by_name.items():
        if len(same) == 1:
            continue
        sheet, at = same[1][1].page.number, inner_point(same[1][2].shape)
        detail = (
            f"Section {name} is there {len(same)} times. Choose the sheets that count, or number "
            "the patches of one of them with another letter."
        )
        options = tuple(
            Option({"sheets": [n]}, f"Only sheet {n}")
            for n in dict.fromkeys(s.page.number for _, s, _ in same)
        )
        questions.append(Question(f"double-{name}", "double", detail, sheet, at, options))
    return questions
