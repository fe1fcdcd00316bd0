"""What was read of a pattern, drawn over the original: the maker's check of a reading.

Every patch is tinted and has its number as it was read; a section's seams are blue, its allowance
is said, and what is asked stands in a circle with the number of the question. The original lies
under it in grey, so that what was overlooked is seen.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any, Final

import svgwrite
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.polygons import inner_point
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import Unit, spoken
from piecewright.patchwork.reading.results import Question, Reading, ReadSection, ReadSheet
from piecewright.render.drawing import fonts

_GAP: Final = 0.25
"""Inches between sheets, which stand below each other."""

_TINTS: Final = ("#cfe3f3", "#d9ecd0", "#f6e3b8", "#eed3e3", "#dcd8f0")
_SEAM: Final = "#1b5fa8"
_ASKED: Final = "#b3261e"


def reading_svg(
    reading: Reading,
    questions: Sequence[Question],
    originals: Mapping[int, bytes],
    unit: Unit,
) -> str:
    """All sheets of a reading, one below the other, as an SVG document at the file's size.

    Args:
        questions: all that are asked; the first has number 1.
        originals: a grey PNG of each sheet by its number.
        unit: of lengths that are written.
    """
    width = max((sheet.width for sheet in reading.sheets), default=1.0)
    height = sum(sheet.height + _GAP for sheet in reading.sheets) or 1.0
    document = svgwrite.Drawing(
        size=(f"{width:.4f}in", f"{height:.4f}in"),
        viewBox=f"0 0 {width:.4f} {height:.4f}",
        debug=False,
    )
    document.set_desc("What was read of a pattern", _summary(reading, questions))
    down = 0.0
    for sheet in reading.sheets:
        group = document.g(id=f"sheet-{sheet.number}", transform=f"translate(0 {down:.4f})")
        group["data-name"] = f"sheet {sheet.number}"
        _draw_sheet(document, group, sheet, reading, questions, originals, unit)
        document.add(group)
        down += sheet.height + _GAP
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + str(document.tostring()) + "\n"


def _summary(reading: Reading, questions: Sequence[Question]) -> str:
    patches = sum(len(section.pieces) for section in reading.sections)
    asked = [f"{i}. {question.detail}" for i, question in enumerate(questions, 1)]
    found = f"{len(reading.sections)} sections with {patches} patches were found."
    return " ".join([found, *asked])


def _draw_sheet(
    document: Any,
    group: Any,
    sheet: ReadSheet,
    reading: Reading,
    questions: Sequence[Question],
    originals: Mapping[int, bytes],
    unit: Unit,
) -> None:
    original = originals.get(sheet.number)
    size = (f"{sheet.width:.4f}", f"{sheet.height:.4f}")
    group.add(document.rect((0, 0), size, fill="#ffffff", stroke="#999999", stroke_width=0.01))
    if original is not None:
        data = "data:image/png;base64," + base64.b64encode(original).decode("ascii")
        group.add(document.image(data, (0, 0), size, preserveAspectRatio="none"))
    for section in reading.sections:
        if section.sheet == sheet.number:
            group.add(_section(document, section, unit))
    for number, question in enumerate(questions, 1):
        if question.sheet == sheet.number and question.at is not None:
            group.add(_asked(document, number, question))


def _section(document: Any, section: ReadSection, unit: Unit) -> Any:
    group = document.g(id=f"section-{section.id}-{section.sheet}")
    group["data-name"] = f"section {section.id}"
    for k, piece in enumerate(section.pieces):
        shape = document.polygon(
            [(f"{x:.4f}", f"{y:.4f}") for x, y in piece.outline],
            fill=_TINTS[k % len(_TINTS)],
            fill_opacity=0.65,
            stroke=_SEAM,
            stroke_width=0.03,
            stroke_linejoin="round",
        )
        shape.set_desc(f"Patch {piece.id}")
        group.add(shape)
    for piece in section.pieces:
        polygon = Polygon(piece.outline)
        at = inner_point(polygon)
        room = polygon.exterior.distance(polygon.representative_point())
        # As large as the patch lets it be, and never too small to read on a screen.
        size = min(0.3, max(0.09, 1.2 * room))
        group.add(_text(document, piece.id, at, size, _SEAM))
    shapes = [Polygon(piece.outline) for piece in section.pieces]
    left, bottom = min(s.bounds[0] for s in shapes), max(s.bounds[3] for s in shapes)
    said = f"Section {section.id}: {len(section.pieces)} patches, "
    said += (
        "allowance not known"
        if section.allowance is None
        else f"allowance {spoken(section.allowance, unit)}"
    )
    label = _text(document, said, (left, bottom + 0.16), 0.13, _SEAM)
    label["text-anchor"] = "start"
    group.add(label)
    return group


def _asked(document: Any, number: int, question: Question) -> Any:
    assert question.at is not None
    group = document.g(id=f"question-{number}")
    group.set_desc(f"Question {number}", question.detail)
    at = (f"{question.at[0]:.4f}", f"{question.at[1]:.4f}")
    group.add(document.circle(at, 0.14, fill="#ffffff", stroke=_ASKED, stroke_width=0.025))
    group.add(_text(document, str(number), question.at, 0.16, _ASKED))
    return group


def _text(document: Any, text: str, at: Point, size: float, colour: str) -> Any:
    return document.text(
        text,
        insert=(f"{at[0]:.4f}", f"{at[1] + 0.35 * size:.4f}"),
        font_size=f"{size:.3f}",
        font_family=f"{fonts.FAMILY}, sans-serif",
        font_weight="bold",
        text_anchor="middle",
        fill=colour,
    )
