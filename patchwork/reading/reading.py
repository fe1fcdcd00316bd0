"""A pattern read back: sections with their patches, and questions wherever it is not certain.

Each sheet is read by itself. Choices of line styles and of classes of numbers are tried, and the
one is kept in which patches and numbers fit together best (``reading.sections``). What would make
another reading as good, and what no mark of the file tells, is asked; a reading is complete only
when nothing is left to ask.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.geometry.vectors import Point, distance
from piecewright.patchwork.reading.allowances import Allowance, allowance_round
from piecewright.patchwork.reading.choices import Choices, GivenNumber, Side, Use
from piecewright.patchwork.reading.labels import Label, label_classes
from piecewright.patchwork.reading.lines import BESIDE, DrawnLine, lines_of
from piecewright.patchwork.reading.network import NEAR, TooTangled, faces_of
from piecewright.patchwork.reading.page import Mark, Page, Style
from piecewright.patchwork.reading.scale import test_squares
from piecewright.patchwork.reading.sections import FoundSection, FoundSections, sections_of
from piecewright.patchwork.reading.styles import (
    UsedStyle,
    by_style,
    choices_of_styles,
    used_styles,
)

MOST_WORK = 6_000
"""Lines that all choices of styles of a sheet may have together: some 3 s. A sheet has some fifty
lines in three styles."""

_TRUE = 0.01
"""Of its size: a test square that differs by less is as large as it says; printers of all kinds
come within that."""

_DOUBLE = 0.06
"""Inches: two lines this near may be meant as one seam, as a second try."""

_SMALL_PICTURE = 0.75
"""Of the size of a section: another one of the same numbers, no larger than that, is a picture of
it."""

_BAND = 0.04
"""Inches by which a face may reach out of the band of an allowance and still be a part of it."""


@dataclass(frozen=True, slots=True)
class Option:
    """An answer that may be chosen: a part of ``choices`` as it would be sent, and what it means."""

    value: object
    detail: str


@dataclass(frozen=True, slots=True)
class Question:
    """What is not certain.

    Attributes:
        id: the same for the same file and choices.
        at: where, inches on the sheet; None where it is of all.
    """

    id: str
    code: str
    detail: str
    sheet: int | None = None
    at: Point | None = None
    options: tuple[Option, ...] = ()


@dataclass(frozen=True, slots=True)
class Ignored:
    """Something of a sheet that is no part of a section."""

    what: str
    at: Point


@dataclass(frozen=True, slots=True)
class ReadPiece:
    """A patch as it lies on its sheet, true inches from the sheet's upper left corner."""

    id: str
    number: int
    outline: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class ReadSection:
    """A section as it lies on its sheet.

    Attributes:
        allowance: inches as printed, true to scale; None where it is not known.
        allowance_from: ``"lines"`` where one runs round the section, ``"choices"`` where it was
            said.
        confidence: 0 to 1: how well all that was found fits together.
    """

    id: str
    sheet: int
    allowance: float | None
    allowance_from: str | None
    confidence: float
    pieces: tuple[ReadPiece, ...]


@dataclass(frozen=True, slots=True)
class ReadSheet:
    """A sheet and what is on it; sizes are true inches."""

    number: int
    width: float
    height: float
    sections: tuple[str, ...]
    ignored: tuple[Ignored, ...]


@dataclass(frozen=True, slots=True)
class ReadScale:
    """How large the file's inches are.

    Attributes:
        measured: a length in the file, inches; None where none was measured.
        said: how long it truly is.
        origin: ``"page"``, ``"test-square"`` or ``"choices"``; None while it is not known.
    """

    measured: float | None
    said: float | None
    origin: str | None

    @property
    def factor(self) -> float:
        """True inches for each inch of the file."""
        return self.said / self.measured if self.said and self.measured else 1.0


@dataclass(frozen=True, slots=True)
class StyleUse:
    """A style and what its lines were taken as."""

    style: UsedStyle
    taken_as: Use


@dataclass(frozen=True, slots=True)
class Reading:
    """All that was read of a file."""

    sheets: tuple[ReadSheet, ...]
    sections: tuple[ReadSection, ...]
    styles: tuple[StyleUse, ...]
    scale: ReadScale
    questions: tuple[Question, ...]
    side: Side

    @property
    def is_complete(self) -> bool:
        """Whether it is certain in all."""
        return bool(self.sections) and not self.questions


@dataclass(frozen=True, slots=True)
class _SheetReading:
    """A sheet as its best choice of styles and numbers has it, in the file's inches."""

    page: Page
    found: FoundSections
    seams: frozenset[Style]
    labels: tuple[Label, ...]
    lines: tuple[DrawnLine, ...]
    rivals: tuple[FoundSections, ...] = ()


def read_pattern(pages: Sequence[Page], choices: Choices) -> Reading:
    """Read the pages of a pattern."""
    wanted = [p for p in pages if choices.sheets is None or p.number in choices.sheets]
    styles = used_styles(wanted)
    said = {u.style: choices.styles[u.id] for u in styles if u.id in choices.styles}
    sheets = [_read_sheet(page, said, choices.numbers) for page in wanted]
    scale, questions = _scale_of(sheets, choices)
    named = _named(sheets)
    kept, pictures = _without_pictures(named)
    sections: list[ReadSection] = []
    for name, sheet, section in kept:
        read, asked = _read_section(name, sheet, section, scale.factor, choices)
        sections.append(read)
        questions += asked
    questions += _questions_of_sheets(sheets)
    questions += _double_sections(kept)
    side = choices.side or "printed"
    if choices.side is None and any(not _is_mirror_image(s) for _, _, s in kept):
        questions.append(_SIDE)
    if not sections:
        questions.append(_no_sections(sheets))
    ignored = {sheet.page.number: _ignored(sheet, pictures) for sheet in sheets}
    read_sheets = tuple(
        ReadSheet(
            sheet.page.number,
            sheet.page.width * scale.factor,
            sheet.page.height * scale.factor,
            tuple(s.id for s in sections if s.sheet == sheet.page.number),
            ignored[sheet.page.number],
        )
        for sheet in sheets
    )
    uses = tuple(StyleUse(u, _use(u.style, kept, said)) for u in styles)
    return Reading(read_sheets, tuple(sections), uses, scale, tuple(questions), side)


# --- one sheet ---------------------------------------------------------------------------------


def _read_sheet(
    page: Page, said: dict[Style, Use], numbers: Iterable[GivenNumber]
) -> _SheetReading:
    """The reading of a sheet in which lines and numbers fit together best."""
    marks = by_style(page.marks)
    given = [n for n in numbers if n.sheet == page.number]
    classes = [_with_given(labels, given) for labels in label_classes(page.words)]
    if given and not classes:
        classes = [_with_given((), given)]
    everything = tuple(lines_of(page.marks))
    best: tuple[tuple[float, ...], _SheetReading] | None = None
    right: list[tuple[tuple[float, ...], FoundSections]] = []
    work = 0
    for beside, near in ((BESIDE, NEAR), (_DOUBLE, 2 * NEAR)):
        for seams in choices_of_styles(marks, said):
            lines = lines_of(itertools.chain(*(marks[s] for s in seams)), beside)
            work += len(lines)
            if best is not None and work > MOST_WORK:
                break
            try:
                faces = faces_of(lines, near=near)
            except TooTangled:
                continue
            for labels in classes:
                found = sections_of(faces, labels)
                rank = _rank(found, labels, everything)
                if found.is_right:
                    right.append((rank, found))
                if best is None or rank > best[0]:
                    best = rank, _SheetReading(page, found, seams, labels, everything)
        if best is not None and best[1].found.is_right:
            break  # lines further apart are put together only where nothing else helps
    if best is None:
        empty = FoundSections((), (), (), ())
        return _SheetReading(page, empty, frozenset(), (), everything)
    rank, chosen = best
    rivals = tuple(f for r, f in right if r == rank and _differ(f, chosen.found))
    return replace(chosen, found=_refined(chosen, marks), rivals=rivals)


def _refined(chosen: _SheetReading, marks: dict[Style, list[Mark]]) -> FoundSections:
    """The same patches, their corners where only their own edges meet.

    A line that runs past a corner by chance, such as the allowance of the next section, would draw
    the corner toward itself.
    """
    edges = shapely.union_all(
        [piece.shape.exterior for s in chosen.found.sections for piece in s.pieces]
    )
    if edges.is_empty:
        return chosen.found
    room = edges.buffer(2 * NEAR)
    lines = lines_of(itertools.chain(*(marks[s] for s in chosen.seams)))
    own = [line for line in lines if _runs_along(line, room)]
    again = sections_of(faces_of(own), chosen.labels)
    same = [len(s.pieces) for s in again.sections] == [len(s.pieces) for s in chosen.found.sections]
    return again if again.is_right and same else chosen.found


def _runs_along(line: DrawnLine, room: shapely.Geometry) -> bool:
    """Whether a line runs along an edge of a patch, not only across one."""
    along = LineString(line.points).intersection(room).length
    return bool(along > 6 * NEAR or along > 0.9 * LineString(line.points).length)


def _with_given(labels: Sequence[Label], given: Sequence[GivenNumber]) -> tuple[Label, ...]:
    """Labels with those that were said; one that was said to be none has number 0."""
    more = []
    for number in given:
        letters = "".join(c for c in number.text if c.isalpha()).upper()
        digits = "".join(c for c in number.text if c.isdigit())
        more.append(Label(letters, int(digits or 0), number.at, 0.0))
    return (*labels, *more)


def _rank(
    found: FoundSections, labels: Sequence[Label], lines: Sequence[DrawnLine]
) -> tuple[float, ...]:
    """How good a reading is, more being better.

    What is right comes first. Then patches count, and then sections with an allowance round them,
    which tells the line where a section is sewn from the one where it is cut. At last it is better
    to explain all faces beside a section than to leave them: lines of allowances that overlap cut
    faces off patches.
    """
    wrong = len(found.crowded) + len(found.stray)
    whole = sum(len(s.pieces) for s in found.sections if s.is_whole)
    bounded = 0
    if found.is_right:
        bounded = sum(allowance_round(s.shape, lines) is not None for s in found.sections)
    beside = sum(len(s.beside) for s in found.sections)
    return (found.is_right, whole - wrong, bounded, -beside)


def _differ(one: FoundSections, other: FoundSections) -> bool:
    """Whether two readings mean different patches, by more than the width of a line."""
    if [s.letters for s in one.sections] != [s.letters for s in other.sections]:
        return True
    for a, b in zip(one.sections, other.sections, strict=True):
        if len(a.pieces) != len(b.pieces):
            return True
        for p, q in zip(a.pieces, b.pieces, strict=True):
            if p.shape.symmetric_difference(q.shape).area > 0.02 * p.shape.length:
                return True
    return False


# --- names and doubles -------------------------------------------------------------------------

_Named = tuple[str, _SheetReading, FoundSection]


def _named(sheets: Sequence[_SheetReading]) -> list[_Named]:
    """Sections with their ids: the letters of their numbers, or A, B, … in reading order."""
    found = [(sheet, section) for sheet in sheets for section in sheet.found.sections]
    taken = {section.letters for _, section in found}
    free = (name for name in _letters() if name not in taken)
    return [(section.letters or next(free), sheet, section) for sheet, section in found]


def _letters() -> Iterable[str]:
    for size in itertools.count(1):
        for letters in itertools.product("ABCDEFGHIJKLMNOPQRSTUVWXYZ", repeat=size):
            yield "".join(letters)


def _without_pictures(named: Sequence[_Named]) -> tuple[list[_Named], list[_Named]]:
    """The sections, and apart from them those that are small pictures of another one."""
    kept, pictures = [], []
    for one in named:
        larger = (
            other
            for other in named
            if len(other[2].pieces) == len(one[2].pieces)
            and (other[2].letters == one[2].letters)
            and one[2].shape.area < _SMALL_PICTURE**2 * other[2].shape.area
            and _alike(one[2], other[2])
        )
        (pictures if any(larger) else kept).append(one)
    return kept, pictures


def _alike(one: FoundSection, other: FoundSection) -> bool:
    """Whether one section is the other at another size, not turned."""
    k = math.sqrt(one.shape.area / other.shape.area)
    moved = shapely.affinity.scale(other.shape, k, k, origin="centroid")
    dx = one.shape.centroid.x - moved.centroid.x
    dy = one.shape.centroid.y - moved.centroid.y
    moved = shapely.affinity.translate(moved, dx, dy)
    return bool(moved.symmetric_difference(one.shape).area < 0.1 * one.shape.area)


def _double_sections(named: Sequence[_Named]) -> list[Question]:
    """Questions about sections that have the same letters."""
    questions = []
    by_name: dict[str, list[_Named]] = {}
    for one in named:
        by_name.setdefault(one[0], []).append(one)
    for name, same in by_name.items():
        if len(same) == 1:
            continue
        sheet, at = same[1][1].page.number, _inside(same[1][2].shape)
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


# --- sections ----------------------------------------------------------------------------------


def _read_section(
    name: str, sheet: _SheetReading, section: FoundSection, factor: float, choices: Choices
) -> tuple[ReadSection, list[Question]]:
    """A section in true inches, and what is to be asked of it."""
    questions: list[Question] = []
    number = sheet.page.number
    given = choices.allowance_of(name)
    measured = allowance_round(section.shape, sheet.lines)
    shapes = {piece.number: piece.shape for piece in section.pieces}
    width: float | None = None
    origin: str | None = None
    if given is not None:
        width, origin = given.width, "choices"
        if given.is_inside:
            inner = section.shape.buffer(-given.width / factor, join_style="mitre", mitre_limit=20)
            shapes = {n: _largest(shape.intersection(inner)) for n, shape in shapes.items()}
    elif measured is not None:
        width, origin = measured.width * factor, "lines"
    else:
        questions.append(_allowance_question(name, number, section))
    band = measured.width if measured is not None else 0.0
    questions += _unnumbered(name, number, section, band)
    if not section.is_whole:
        questions.append(_not_whole(name, number, section))
    pieces = tuple(
        ReadPiece(f"{name}{piece.number}", piece.number, _outline(shapes[piece.number], factor))
        for piece in section.pieces
    )
    confidence = _confidence(section, measured, questions)
    return ReadSection(name, number, width, origin, confidence, pieces), questions


def _outline(shape: Polygon, factor: float) -> tuple[Point, ...]:
    """The corners of a patch, clockwise as seen, without those in the middle of straight edges."""
    # Clockwise with y down is counterclockwise with y up.
    ring = shapely.geometry.polygon.orient(shape, sign=1.0).exterior.coords[:-1]
    points = [(x * factor, y * factor) for x, y in ring]
    return tuple(points)


def _largest(shape: shapely.Geometry) -> Polygon:
    parts = [p for p in shapely.get_parts(shape).tolist() if isinstance(p, Polygon)]
    return max(parts, key=lambda p: p.area, default=Polygon())


def _confidence(
    section: FoundSection, measured: Allowance | None, questions: Sequence[Question]
) -> float:
    share = measured.share if measured is not None else 0.5
    return round(max(0.0, share - 0.25 * len(questions)), 2)


def _allowance_question(name: str, sheet: int, section: FoundSection) -> Question:
    detail = (
        f"No seam allowance is drawn round section {name}. Is its outermost line the seam line, or "
        "is the paper cut there, with the allowance inside it?"
    )
    options = (
        Option({"allowance": {name: "0"}}, "The outermost line is the seam line"),
        Option(
            {"allowance": {name: {"inside": "1/4 in"}}},
            "The paper is cut at the outermost line, and 1/4 in of it is allowance",
        ),
    )
    at = _inside(section.shape)
    return Question(f"allowance-{name}", "allowance", detail, sheet, at, options)


def _unnumbered(
    name: str, sheet: int, section: FoundSection, allowance: float
) -> Iterable[Question]:
    """Questions about faces that lie against a section and have no number."""
    room = section.shape.buffer(allowance + _BAND, join_style="mitre", mitre_limit=10)
    for k, face in enumerate(section.beside):
        if allowance and face.difference(room).area < 0.02 * face.area:
            continue
        if face.contains(Polygon(section.shape.exterior).representative_point()):
            continue
        at = _inside(face)
        detail = (
            f"There is a patch without a number beside section {name}. Is it a part of the section, "
            "and which number has it?"
        )
        place = {"sheet": sheet, "at": [round(at[0], 3), round(at[1], 3)]}
        options = (
            Option(
                {"numbers": [{**place, "number": f"{name}{len(section.pieces) + 1}"}]},
                f"It is patch {name}{len(section.pieces) + 1}",
            ),
            Option({"numbers": [{**place, "number": ""}]}, "It is no patch"),
        )
        yield Question(f"unnumbered-{name}-{k + 1}", "unnumbered", detail, sheet, at, options)


def _not_whole(name: str, sheet: int, section: FoundSection) -> Question:
    numbers = [piece.number for piece in section.pieces]
    missing = sorted(set(range(1, max(numbers) + 1)) - set(numbers))
    twice = sorted({n for n in numbers if numbers.count(n) > 1})
    if missing:
        said = f"Of section {name} the numbers {', '.join(map(str, missing))} are missing"
    elif twice:
        said = f"In section {name} the numbers {', '.join(map(str, twice))} stand twice"
    else:
        said = f"Section {name} has a hole, or hangs together at a corner only"
    detail = f"{said}. Give the numbers of its patches, or say which lines are seams."
    return Question(f"numbers-{name}", "numbers", detail, sheet, _inside(section.shape))


def _inside(shape: Polygon) -> Point:
    at = shape.representative_point()
    return (at.x, at.y)


def _is_mirror_image(section: FoundSection) -> bool:
    """Whether a section looks the same in a mirror, so that it does not matter which side shows."""
    middle = section.shape.centroid.x
    for piece in section.pieces:
        mirrored = shapely.affinity.scale(piece.shape, -1, 1, origin=(middle, 0))
        if mirrored.symmetric_difference(piece.shape).area > 0.02 * piece.shape.length:
            return False
    return True


_SIDE = Question(
    "side",
    "side",
    "Are these the printed sides of foundations, which are mirror images of the finished block, or "
    "do they show the block as it looks when it is finished?",
    options=(
        Option({"side": "printed"}, "The printed side: the block is its mirror image"),
        Option({"side": "face"}, "The finished block, seen from its right side"),
    ),
)


# --- sheets, scale and styles ------------------------------------------------------------------


def _questions_of_sheets(sheets: Sequence[_SheetReading]) -> Iterable[Question]:
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
        for k, label in enumerate(sheet.found.stray):
            detail = (
                f"The number {label.section}{label.number} stands in a patch that belongs to no "
                "section which starts with 1."
            )
            yield Question(f"stray-{number}-{k + 1}", "stray", detail, number, label.at)


def _no_sections(sheets: Sequence[_SheetReading]) -> Question:
    pictures = sum(sheet.page.pictures for sheet in sheets)
    if pictures and not any(sheet.page.marks for sheet in sheets):
        detail = "The file holds a picture made of dots and no lines; send it as a scan."
    else:
        detail = (
            "No patches with numbers were found. Say which sheets have sections, which styles of "
            "line are seams, and give the number of each patch."
        )
    return Question("sections", "sections", detail)


def _scale_of(
    sheets: Sequence[_SheetReading], choices: Choices
) -> tuple[ReadScale, list[Question]]:
    """The scale, from what was said, a test square or the page, in this order."""
    if choices.known is not None:
        measured = distance(choices.known.start, choices.known.end)
        return ReadScale(measured, choices.known.length, "choices"), []
    squares = [
        square
        for sheet in sheets
        for square in test_squares(sheet.page, [s.shape for s in sheet.found.sections])
    ]
    if squares and choices.page_is_true is None:
        first = squares[0]
        ratios = [square.measured / square.said for square in squares]
        if max(ratios) - min(ratios) > _TRUE:
            return ReadScale(None, None, "page"), [_scale_question(first.measured, first.said)]
        scale = ReadScale(first.measured, first.said, "test-square")
        if abs(ratios[0] - 1) > _TRUE:
            return scale, [_scale_question(first.measured, first.said)]
        # An inch as exact as the file has it: a square is drawn to the point as the rest is.
        return scale, []
    if not all(sheet.page.is_true for sheet in sheets) and not choices.page_is_true:
        detail = (
            "The file does not say how large it is. Give a line that you know the true length of: "
            "its two ends on the sheet, and how long it is."
        )
        return ReadScale(None, None, None), [Question("scale", "scale", detail)]
    return ReadScale(None, None, "page"), []


def _scale_question(measured: float, said: float) -> Question:
    detail = (
        f"The test square says {said:g} in and is {measured:.3f} in wide in the file. Was the file "
        "made smaller or larger, or is it true as it is?"
    )
    options = (
        Option({"scale": "test-square"}, "Make the test square as large as it says"),
        Option({"scale": "page"}, "The file is true as it is"),
    )
    return Question("scale", "scale", detail, options=options)


def _ignored(sheet: _SheetReading, pictures: Sequence[_Named]) -> tuple[Ignored, ...]:
    found = [
        Ignored("a small picture of a section", _inside(section.shape))
        for _, of, section in pictures
        if of is sheet
    ]
    found += [Ignored(f"the figure {l.section}{l.number}", l.at) for l in sheet.found.loose]
    return tuple(found)


def _use(
    style: Style,
    kept: Sequence[_Named],
    said: dict[Style, Use],
) -> Use:
    """What a style was taken as, by where its lines run: along patches, or round a section."""
    if style in said:
        return said[style]
    for _, sheet, section in kept:
        marks = [mark for mark in sheet.page.marks if mark.style == style]
        lines = [LineString(line.points) for line in lines_of(marks)]
        room = shapely.union_all([p.shape.exterior for p in section.pieces]).buffer(2 * NEAR)
        inked = shapely.union_all(lines).intersection(section.shape.buffer(2 * NEAR))
        if inked.length > 1e-6 and inked.intersection(room).length > 0.5 * inked.length:
            return "seam"
        if marks and allowance_round(section.shape, lines_of(marks)) is not None:
            return "allowance"
    return "other"
