"""The marks and words on a page of a PDF, as PDFium sees it.

PDFium's page objects are read one by one, forms (ISO 32000-2, 8.10) within forms included. Their
coordinates are those of the page's user space; what is given here lies in the page as it is
shown: turned by its ``Rotate``, cut to its ``CropBox``, and as large as its ``UserUnit`` says.
"""

from __future__ import annotations

import ctypes
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import pypdfium2 as pdfium
import pypdfium2.raw as raw
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.page import Mark, Page, Style, Word
from piecewright.patchwork.reading.visible import Painted, clip_region, visible
from piecewright.service.pattern_files.limits import (
    DEEPEST,
    MOST_OBJECTS,
    MOST_SEGMENTS,
    PatternFileError,
)

_BARELY_SEEN = 8
"""Of 255: paint that is more transparent than this is not seen."""


@dataclass(frozen=True, slots=True)
class Matrix:
    """An affine map ``x' = a x + c y + e``, ``y' = b x + d y + f`` (ISO 32000-2, 8.3.3)."""

    a: float
    b: float
    c: float
    d: float
    e: float
    f: float

    def point(self, x: float, y: float) -> Point:
        """Where a point comes to lie."""
        return (self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f)

    def after(self, first: Matrix) -> Matrix:
        """The map that does ``first`` and then this."""
        (e, f) = self.point(first.e, first.f)
        return Matrix(
            self.a * first.a + self.c * first.b,
            self.b * first.a + self.d * first.b,
            self.a * first.c + self.c * first.d,
            self.b * first.c + self.d * first.d,
            e,
            f,
        )

    @property
    def scale(self) -> float:
        """By how much lengths grow, in the mean of all directions."""
        return math.sqrt(abs(self.a * self.d - self.b * self.c))


def page_of(document: pdfium.PdfDocument, number: int, user_unit: float) -> Page:
    """What stands on a page.

    Args:
        number: of the page, from 1.
        user_unit: of the page, in 1/72 in; PDFium leaves it out.

    Raises:
        PatternFileError: it has more objects than are read.
    """
    page = document[number - 1]
    shown = _shown(page, user_unit)
    painted: list[Painted] = []
    pictures = segments = 0
    for kind, found, matrix, outer in _objects(page.raw, shown):
        if kind == raw.FPDF_PAGEOBJ_PATH:
            segments += raw.FPDFPath_CountSegments(found)
            if segments > MOST_SEGMENTS:
                message = f"the lines of page {number} have more than {MOST_SEGMENTS} points"
                raise PatternFileError("too-much", message)
            painted += _painted(found, matrix, outer)
        elif kind in (raw.FPDF_PAGEOBJ_IMAGE, raw.FPDF_PAGEOBJ_SHADING):
            pictures += 1
    turned = page.get_rotation() in (90, 270)
    left, bottom, right, top = page.get_cropbox()
    across, down = (right - left) * user_unit / 72, (top - bottom) * user_unit / 72
    width, height = (down, across) if turned else (across, down)
    words = _words(page.get_textpage(), shown)
    return Page(number, width, height, tuple(visible(painted)), tuple(words), pictures=pictures)


def _shown(page: pdfium.PdfPage, user_unit: float) -> Matrix:
    """From a page's user space to inches on it as it is shown, from its upper left corner."""
    left, bottom, right, top = page.get_cropbox()
    k = user_unit / 72
    upright = Matrix(k, 0, 0, -k, -left * k, top * k)
    wide, high = (right - left) * k, (top - bottom) * k
    # Rotate turns the page clockwise as it is shown (ISO 32000-2, table 31).
    turns = {
        0: Matrix(1, 0, 0, 1, 0, 0),
        90: Matrix(0, 1, -1, 0, high, 0),
        180: Matrix(-1, 0, 0, -1, wide, high),
        270: Matrix(0, -1, 1, 0, 0, wide),
    }
    return turns[page.get_rotation()].after(upright)


def _objects(page: object, shown: Matrix) -> Iterator[tuple[int, object, Matrix, Matrix]]:
    """The objects of a page that are no forms, with the maps to the page from their own space and
    from that of the form or page which they stand in."""
    seen = 0
    stack = [(raw.FPDFPage_GetObject(page, i), shown, 0) for i in _backwards(page)]
    while stack:
        found, outer, depth = stack.pop()
        seen += 1
        if seen > MOST_OBJECTS:
            message = f"a page has more than {MOST_OBJECTS} objects; a pattern has some hundreds"
            raise PatternFileError("too-much", message)
        kind = raw.FPDFPageObj_GetType(found)
        matrix = raw.FS_MATRIX()
        raw.FPDFPageObj_GetMatrix(found, ctypes.byref(matrix))
        own = Matrix(matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f)
        if kind != raw.FPDF_PAGEOBJ_FORM:
            yield kind, found, outer.after(own), outer
            continue
        if depth == DEEPEST:
            message = f"drawings are nested more than {DEEPEST} deep; save the page anew"
            raise PatternFileError("too-deep", message)
        inner = outer.after(own)
        count = raw.FPDFFormObj_CountObjects(found)
        stack += [
            (raw.FPDFFormObj_GetObject(found, i), inner, depth + 1)
            for i in range(count - 1, -1, -1)
        ]


def _backwards(page: object) -> range:
    return range(raw.FPDFPage_CountObjects(page) - 1, -1, -1)


def _painted(found: object, matrix: Matrix, outer: Matrix) -> list[Painted]:
    """The subpaths of a path, with what they were clipped to and whether they hide anything.

    Args:
        outer: from the space in which its clip is given.
    """
    clip = _clip(found, outer)
    see_through = raw.FPDFPageObj_HasTransparency(found)
    marks = _marks(found, matrix)
    # Of several filled subpaths some may be holes, through which is seen what lies under them.
    covers = not see_through and sum(mark.style.filled for mark in marks) == 1
    return [Painted(mark, clip, covers and mark.style.filled) for mark in marks]


def _clip(found: object, outer: Matrix) -> Polygon | None:
    """What a page object is clipped to (ISO 32000-2, 8.5.4); None for nothing."""
    clip = raw.FPDFPageObj_GetClipPath(found)
    count = raw.FPDFClipPath_CountPaths(clip) if clip else 0
    outlines = []
    for k in range(max(count, 0)):
        segments = [
            raw.FPDFClipPath_GetPathSegment(clip, k, i)
            for i in range(raw.FPDFClipPath_CountPathSegments(clip, k))
        ]
        outlines += [path for path, _ in _subpaths(segments, outer) if len(path) > 1]
    return clip_region(outlines) if outlines else None


def _marks(found: object, matrix: Matrix) -> list[Mark]:
    """The subpaths of a path: as lines if it is stroked, as borders if it is filled."""
    fill, stroke = ctypes.c_int(), ctypes.c_int()
    raw.FPDFPath_GetDrawMode(found, ctypes.byref(fill), ctypes.byref(stroke))
    styles: list[Style] = []
    if fill.value and (colour := _colour(raw.FPDFPageObj_GetFillColor, found)):
        styles.append(Style(True, colour))
    if stroke.value and (colour := _colour(raw.FPDFPageObj_GetStrokeColor, found)):
        width = ctypes.c_float()
        raw.FPDFPageObj_GetStrokeWidth(found, ctypes.byref(width))
        dashed = raw.FPDFPageObj_GetDashCount(found) > 0
        styles.append(Style(False, colour, round(width.value * matrix.scale, 3), dashed))
    if not styles:
        return []
    segments = [
        raw.FPDFPath_GetPathSegment(found, i) for i in range(raw.FPDFPath_CountSegments(found))
    ]
    paths = list(_subpaths(segments, matrix))
    marks = []
    for style in styles:
        for path, closed in paths:
            if style.filled and path[-1].end != path[0].start:
                # A filled subpath is closed, whether it says so or not (ISO 32000-2, 8.5.3.3).
                path, closed = (*path, Line(path[-1].end, path[0].start)), True
            marks.append(Mark(path, closed, style))
    return marks


def _colour(get: object, found: object) -> str | None:
    """A paint's colour as ``#rrggbb``; None where it cannot be seen."""
    r, g, b, alpha = (ctypes.c_uint() for _ in range(4))
    if not get(found, *(ctypes.byref(c) for c in (r, g, b, alpha))):  # type: ignore[operator]
        return None
    if alpha.value < _BARELY_SEEN:
        return None
    return f"#{r.value:02x}{g.value:02x}{b.value:02x}"


def _subpaths(
    segments: Iterable[object], matrix: Matrix
) -> Iterator[tuple[tuple[Segment, ...], bool]]:
    """The subpaths of a path that have a length, each with whether it is closed."""
    path: list[Segment] = []
    start = at = (0.0, 0.0)
    handles: list[Point] = []
    x, y = ctypes.c_float(), ctypes.c_float()
    for segment in segments:
        raw.FPDFPathSegment_GetPoint(segment, ctypes.byref(x), ctypes.byref(y))
        to = matrix.point(x.value, y.value)
        kind = raw.FPDFPathSegment_GetType(segment)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            if path:
                yield tuple(path), False
            path, start, handles = [], to, []
        elif kind == raw.FPDF_SEGMENT_BEZIERTO:
            handles.append(to)
            if len(handles) == 3:
                path.append(Curve(at, handles[0], handles[1], to))
                handles = []
        elif to != at:
            path.append(Line(at, to))
        if not handles:
            at = to
        if raw.FPDFPathSegment_GetClose(segment):
            if at != start:
                path.append(Line(at, start))
            if path:
                yield tuple(path), True
            path, at = [], start
    if path:
        yield tuple(path), path[-1].end == path[0].start


def _words(text: pdfium.PdfTextPage, shown: Matrix) -> list[Word]:
    """The words of a page: letters that stand together, as high as each other."""
    words: list[Word] = []
    letters: list[tuple[str, tuple[float, float, float, float], float]] = []

    def end() -> None:
        if letters:
            boxes = [box for _, box, _ in letters]
            left, right = min(b[0] for b in boxes), max(b[2] for b in boxes)
            top, bottom = min(b[1] for b in boxes), max(b[3] for b in boxes)
            said = "".join(letter for letter, _, _ in letters)
            size = max(size for _, _, size in letters)
            words.append(Word(said, ((left + right) / 2, (top + bottom) / 2), size))
            letters.clear()

    for i in range(text.count_chars()):
        letter = chr(raw.FPDFText_GetUnicode(text.raw, i))
        if letter.isspace() or not letter.isprintable():
            end()
            continue
        left, bottom, right, top = text.get_charbox(i)
        x0, y0 = shown.point(left, bottom)
        x1, y1 = shown.point(right, top)
        box = (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
        # The height of the ink does not grow with the type for all letters, so the type is asked.
        size = _type_size(text, i, shown)
        if letters and not _together(letters[-1][1], box, size):
            end()
        letters.append((letter, box, size))
    end()
    return words


def _type_size(text: pdfium.PdfTextPage, i: int, shown: Matrix) -> float:
    """The size of a letter's type, inches, with what its text matrix makes of it."""
    matrix = raw.FS_MATRIX()
    raw.FPDFText_GetMatrix(text.raw, i, ctypes.byref(matrix))
    own = Matrix(matrix.a, matrix.b, matrix.c, matrix.d, 0, 0).scale
    size = raw.FPDFText_GetFontSize(text.raw, i)
    return round(float(size) * (own or 1) * shown.scale, 3)


def _together(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float], size: float
) -> bool:
    """Whether two letters that follow each other stand as near as those of a word do."""
    across = max(one[0], other[0]) - min(one[2], other[2])
    down = max(one[1], other[1]) - min(one[3], other[3])
    return max(across, down) < 0.35 * max(size, 0.05)
