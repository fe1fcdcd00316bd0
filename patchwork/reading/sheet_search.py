"""The search for what the lines and numbers of one sheet mean.

Choices of line styles and of classes of numbers are tried, and the one is kept in which patches
and numbers fit together best.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.reading.allowances import LinesAround
from piecewright.patchwork.reading.choices import GivenNumber, Use
from piecewright.patchwork.reading.glyphs import drawn_words
from piecewright.patchwork.reading.labels import Label, label_classes
from piecewright.patchwork.reading.lines import BESIDE, DrawnLine, lines_of
from piecewright.patchwork.reading.network import NEAR, TooTangled, faces_of
from piecewright.patchwork.reading.page import Mark, Page, Style, Word
from piecewright.patchwork.reading.sections import Faces, FoundSections, sections_of
from piecewright.patchwork.reading.styles import by_style, choices_of_styles

MOST_AT_ONCE = 12_000
"""Segments of one choice of styles: a grid of dots, or letters as outlines, on every part of a
sheet, takes some 8 s."""

MOST_WORK = 6_000
"""Segments that all choices of styles of a sheet may have together: some 3 s. A sheet has some
fifty lines in three styles."""

_DOUBLE = 0.06
"""Inches: two lines this near may be meant as one seam, as a second try."""


@dataclass(frozen=True, slots=True)
class SheetReading:
    """A sheet as its best choice of styles and numbers has it, in the file's inches.

    Attributes:
        lines: all that are drawn on it.
        rivals: what other choices would make of it as well.
    """

    page: Page
    found: FoundSections
    seams: frozenset[Style]
    labels: tuple[Label, ...]
    lines: LinesAround
    rivals: tuple[FoundSections, ...] = ()


def read_sheet(page: Page, said: dict[Style, Use], numbers: Iterable[GivenNumber]) -> SheetReading:
    """The reading of a sheet in which lines and numbers fit together best.

    Args:
        said: what is known of styles.
        numbers: those that were given, of all sheets.
    """
    given = [number for number in numbers if number.sheet == page.number]
    search = _Search(page, said)
    written = search.best(_classes(page.words, given))
    if written.found.is_right:
        return written
    # Shapes that look like figures are worth a look only where text alone does not do.
    drawn = drawn_words(page.marks)
    if not drawn:
        return written
    both = search.best(_classes([*page.words, *drawn], given))
    return max(written, both, key=lambda reading: _rank(reading.found, search.lines))


def _classes(words: Sequence[Word], given: Sequence[GivenNumber]) -> list[tuple[Label, ...]]:
    classes = [_with_given(labels, given) for labels in label_classes(words)]
    return classes or ([_with_given((), given)] if given else [])


class _Search:
    """The search on one sheet; the faces that each choice of styles gives are found once."""

    def __init__(self, page: Page, said: dict[Style, Use]) -> None:
        self.page, self.said = page, said
        self.marks = by_style(page.marks)
        self.lines = LinesAround(lines_of(page.marks))
        self._faces: dict[tuple[frozenset[Style], float], Faces] = {}
        self._work = 0

    def best(self, classes: Sequence[tuple[Label, ...]]) -> SheetReading:
        """The best reading with one of some classes of numbers."""
        best: tuple[tuple[float, ...], SheetReading] | None = None
        right: list[tuple[tuple[float, ...], FoundSections]] = []
        for beside, near in ((BESIDE, NEAR), (_DOUBLE, 2 * NEAR)):
            for seams in choices_of_styles(self.marks, self.said) if classes else ():
                faces = self._faces_of(seams, beside, near)
                for labels in classes if faces.shapes else ():
                    found = sections_of(faces, labels)
                    rank = _rank(found, self.lines)
                    if found.is_right:
                        right.append((rank, found))
                    if best is None or rank > best[0]:
                        best = rank, SheetReading(self.page, found, seams, labels, self.lines)
            if best is not None and best[1].found.is_right:
                break  # lines further apart are put together only where nothing else helps
        if best is None:
            empty = FoundSections((), (), (), (), ())
            return SheetReading(self.page, empty, frozenset(), (), self.lines)
        rank, chosen = best
        rivals = tuple(f for r, f in right if r == rank and _differ(f, chosen.found))
        return replace(chosen, found=_refined(chosen, self.marks), rivals=rivals)

    def _faces_of(self, seams: frozenset[Style], beside: float, near: float) -> Faces:
        """The faces between lines of some styles; none once too much was looked at."""
        key = (seams, near)
        if key not in self._faces:
            self._faces[key] = Faces(self._faces_between(seams, beside, near))
        return self._faces[key]

    def _faces_between(self, seams: frozenset[Style], beside: float, near: float) -> list[Polygon]:
        # The first choice, all styles together, is looked at unless it alone is too much.
        segments = sum(len(mark.path) for style in seams for mark in self.marks[style])
        if self._work + segments > (MOST_WORK if self._work else MOST_AT_ONCE):
            return []
        self._work += segments
        try:
            lines = lines_of(itertools.chain(*(self.marks[s] for s in seams)), beside)
            return faces_of(lines, near=near)
        except TooTangled:
            return []


def _refined(chosen: SheetReading, marks: dict[Style, list[Mark]]) -> FoundSections:
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
    again = sections_of(Faces(faces_of(own)), chosen.labels)
    same = [len(s.pieces) for s in again.sections] == [len(s.pieces) for s in chosen.found.sections]
    if not (again.is_right and same):
        return chosen.found
    return replace(chosen.found, sections=again.sections)


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
        more.append(Label(letters, int(digits or 0), number.at, is_given=True))
    return (*labels, *more)


def _rank(found: FoundSections, lines: LinesAround) -> tuple[float, ...]:
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
        bounded = sum(lines.allowance(s.shape) is not None for s in found.sections)
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
