"""A pattern read back: sections with their patches, and questions wherever it is not certain.

Each sheet is read by itself (``reading.sheet_search``). What would make another reading as good,
and what no mark of the file tells, is asked; a reading is complete when nothing is left to ask.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.polygons import inner_point
from piecewright.patchwork.geometry.vectors import distance
from piecewright.patchwork.reading.allowances import WIDEST, LinesAround
from piecewright.patchwork.reading.choices import Choices, Use
from piecewright.patchwork.reading.doubles import (
    NamedSection,
    double_sections,
    named,
    without_pictures,
)
from piecewright.patchwork.reading.lines import DrawnLine, lines_of
from piecewright.patchwork.reading.network import NEAR
from piecewright.patchwork.reading.page import Page, Style
from piecewright.patchwork.reading.results import (
    Ignored,
    Option,
    Question,
    Reading,
    ReadScale,
    ReadSection,
    ReadSheet,
    StyleUse,
    numbered,
)
from piecewright.patchwork.reading.scale import TestSquare, test_squares
from piecewright.patchwork.reading.section_reading import SIDE, is_mirror_image, read_section
from piecewright.patchwork.reading.sheet_search import SheetReading, read_sheet
from piecewright.patchwork.reading.styles import UsedStyle, used_styles

_TRUE = 0.01
"""Of its size: a test square that differs by less is as large as it says; printers of all kinds
come within that."""


def read_pattern(pages: Sequence[Page], choices: Choices) -> Reading:
    """Read the pages of a pattern."""
    wanted = [p for p in pages if choices.sheets is None or p.number in choices.sheets]
    styles = used_styles(wanted)
    said = {u.style: choices.styles[u.id] for u in styles if u.id in choices.styles}
    sheets = [read_sheet(page, said, choices.numbers) for page in wanted]
    scale, questions = _scale_of(sheets, choices)
    kept, pictures = without_pictures(named(sheets))
    sections: list[ReadSection] = []
    for name, sheet, section in kept:
        read, asked = read_section(name, sheet, section, scale.factor, choices)
        sections.append(read)
        questions += asked
    questions += _questions_of_sheets(sheets)
    questions += double_sections(kept)
    side = choices.side or "printed"
    if choices.side is None and any(not is_mirror_image(s) for _, _, s in kept):
        questions.append(SIDE)
    if not sections:
        questions.append(_no_sections(sheets))
    ignored = {sheet.page.number: _ignored(sheet, pictures) for sheet in sheets}
    read_sheets = tuple(
        ReadSheet(
            sheet.page.number,
            sheet.page.width,
            sheet.page.height,
            tuple(s.id for s in sections if s.sheet == sheet.page.number),
            ignored[sheet.page.number],
        )
        for sheet in sheets
    )
    uses = tuple(_uses(styles, kept, said))
    return Reading(read_sheets, tuple(sections), uses, scale, tuple(questions), side)


def _questions_of_sheets(sheets: Sequence[SheetReading]) -> Iterable[Question]:
    for sheet in sheets:
        number = sheet.page.number
        if sheet.rivals:
            detail = (
                "The lines of this sheet can be read in more than one way in which the numbers "
                "fit. Say which styles of line are seams."
            )
            yield Question(f"styles-{number}", "styles", detail, number)
        for k, at in enumerate(sheet.found.crowded):
            detail = "Several numbers stand in one patch here; a seam between them was not found."
            yield Question(f"crowded-{number}-{k + 1}", "crowded", detail, number, at)
        yield from _forgotten(sheet)
        for k, label in enumerate(sheet.found.stray):
            detail = (
                f"The number {label.section}{label.number} stands in a patch that belongs to no "
                "section which starts with 1."
            )
            yield Question(f"stray-{number}-{k + 1}", "stray", detail, number, label.at)


def _forgotten(sheet: SheetReading) -> Iterable[Question]:
    """Questions about shapes without numbers that have an allowance round them, as sections do."""
    squares = [square.at for square in test_squares(sheet.page, ())]
    number = sheet.page.number
    # What lies between sections are scraps, cut out by their allowances.
    sections = shapely.union_all([section.shape for section in sheet.found.sections])
    near = sections.buffer(WIDEST, join_style="mitre", mitre_limit=10)
    for k, shape in enumerate(sheet.found.bare):
        if shape.difference(near).area < 0.1 * shape.area:
            continue
        if any(shape.contains(shapely.Point(at)) for at in squares):
            continue
        if sheet.lines.allowance(shape) is None:
            continue
        at = inner_point(shape)
        detail = (
            "This shape has an allowance round it, as a section has, and no number in it. Is it a "
            "section, and which numbers do its patches have?"
        )
        options = (numbered(number, at, "", "It is no section"),)
        yield Question(f"forgotten-{number}-{k + 1}", "unnumbered", detail, number, at, options)


def _no_sections(sheets: Sequence[SheetReading]) -> Question:
    pictures = sum(sheet.page.pictures for sheet in sheets)
    if pictures and not any(sheet.page.marks for sheet in sheets):
        detail = "The file holds a picture made of dots and no lines; send it as a scan."
    else:
        detail = (
            "No patches with numbers were found. Say which sheets have sections, which styles of "
            "line are seams, and give the number of each patch."
        )
    return Question("sections", "sections", detail)


def _scale_of(sheets: Sequence[SheetReading], choices: Choices) -> tuple[ReadScale, list[Question]]:
    """The scale, from what was said, a test square or the page, in this order."""
    if choices.known is not None:
        measured = distance(choices.known.start, choices.known.end)
        return ReadScale(measured, choices.known.length, "choices"), []
    squares = [
        square
        for sheet in sheets
        for square in test_squares(sheet.page, [s.shape for s in sheet.found.sections])
    ]
    if squares and choices.scale != "page":
        first = squares[0]
        ratios = [square.measured / square.said for square in squares]
        scale = ReadScale(first.measured, first.said, "test-square")
        # Squares of several files, or of none that was made larger, may not agree.
        one = max(ratios) - min(ratios) <= _TRUE and abs(ratios[0] - 1) <= _TRUE
        return scale, [] if one or choices.scale else [_scale_question(first)]
    if not all(sheet.page.is_true for sheet in sheets) and choices.scale is None:
        detail = (
            "The file does not say how large it is. Give a line that you know the true length of: "
            "its two ends on the sheet, and how long it is."
        )
        return ReadScale(None, None, None), [Question("scale", "scale", detail)]
    return ReadScale(None, None, "page"), []


def _scale_question(square: TestSquare) -> Question:
    detail = (
        f"The test square says {square.said:g} in and is {square.measured:.3f} in wide in the "
        "file. Was the file made smaller or larger, or is it true as it is?"
    )
    options = (
        Option({"scale": "test-square"}, "Make the test square as large as it says"),
        Option({"scale": "page"}, "The file is true as it is"),
    )
    return Question("scale", "scale", detail, options=options)


def _ignored(sheet: SheetReading, pictures: Sequence[NamedSection]) -> tuple[Ignored, ...]:
    found = [
        Ignored("a picture of a section, or a figure in a table", inner_point(section.shape))
        for _, of, section in pictures
        if of is sheet
    ]
    found += [
        Ignored(f"the figure {label.section}{label.number}", label.at)
        for label in sheet.found.loose
    ]
    return tuple(found)


def _uses(
    styles: Sequence[UsedStyle], kept: Sequence[NamedSection], said: dict[Style, Use]
) -> Iterable[StyleUse]:
    """What styles were taken as, by where their lines run: along patches, or round a section."""
    # Round each section: the room for its seams, and for whatever is drawn on it.
    rooms = [
        (
            sheet.page,
            section.shape,
            shapely.union_all([p.shape.exterior for p in section.pieces]).buffer(2 * NEAR),
            section.shape.buffer(2 * NEAR),
        )
        for _, sheet, section in kept
    ]
    for used in styles:
        lines = {
            page.number: lines_of(mark for mark in page.marks if mark.style == used.style)
            for page, *_ in rooms
        }
        yield StyleUse(used, said.get(used.style) or _use(lines, rooms))


def _use(
    lines: dict[int, list[DrawnLine]],
    rooms: Sequence[tuple[Page, Polygon, BaseGeometry, BaseGeometry]],
) -> Use:
    """What the lines of a style are, given by the numbers of sheets."""
    for page, shape, along, within in rooms:
        own = lines[page.number]
        inked = shapely.union_all([LineString(line.points) for line in own]).intersection(within)
        if inked.length > 1e-6 and inked.intersection(along).length > 0.5 * inked.length:
            return "seam"
        if own and LinesAround(own).allowance(shape) is not None:
            return "allowance"
    return "other"
