"""A section as it is read: its patches, its allowance, and what is to be asked of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import shapely
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.polygons import inner_point
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.allowances import Allowance
from piecewright.patchwork.reading.choices import Choices
from piecewright.patchwork.reading.results import Option, Question, ReadPiece, ReadSection, numbered
from piecewright.patchwork.reading.sections import FoundSection
from piecewright.patchwork.reading.sheet_search import SheetReading

_BAND = 0.04
"""Inches by which a face may reach out of the band of an allowance and still be a part of it."""


def read_section(
    name: str, sheet: SheetReading, section: FoundSection, factor: float, choices: Choices
) -> tuple[ReadSection, list[Question]]:
    """A section in true inches, and what is to be asked of it."""
    questions: list[Question] = []
    number = sheet.page.number
    given = choices.allowance_of(name)
    measured = sheet.lines.allowance(section.shape)
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
        ReadPiece(f"{name}{piece.number}", piece.number, _outline(shapes[piece.number]))
        for piece in section.pieces
    )
    confidence = _confidence(section, measured, questions)
    return ReadSection(name, number, width, origin, confidence, pieces), questions


def _outline(shape: Polygon) -> tuple[Point, ...]:
    """The points of a patch, clockwise as seen."""
    # Clockwise with y down is counterclockwise with y up.
    ring = shapely.geometry.polygon.orient(shape, sign=1.0).exterior.coords[:-1]
    return tuple((x, y) for x, y in ring)


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
        Option(
            {"allowances": [{"section": name, "width": 0}]}, "The outermost line is the seam line"
        ),
        Option(
            {"allowances": [{"section": name, "width": "1/4 in", "inside": True}]},
            "The paper is cut at the outermost line, and 1/4 in of it is allowance",
        ),
    )
    at = inner_point(section.shape)
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
        at = inner_point(face)
        detail = (
            f"There is a patch without a number beside section {name}. Is it a part of the "
            "section, and which number has it?"
        )
        following = f"{name}{len(section.pieces) + 1}"
        options = (
            numbered(sheet, at, following, f"It is patch {following}"),
            numbered(sheet, at, "", "It is no patch"),
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
    return Question(f"numbers-{name}", "numbers", detail, sheet, inner_point(section.shape))


def is_mirror_image(section: FoundSection) -> bool:
    """Whether a section looks the same in a mirror, so that it does not matter which side shows."""
    middle = section.shape.centroid.x
    for piece in section.pieces:
        mirrored = shapely.affinity.scale(piece.shape, -1, 1, origin=(middle, 0))
        if mirrored.symmetric_difference(piece.shape).area > 0.02 * piece.shape.length:
            return False
    return True


SIDE = Question(
    "side",
    "side",
    "Are these the printed sides of foundations, which are mirror images of the finished block, or "
    "do they show the block as it looks when it is finished?",
    options=(
        Option({"side": "printed"}, "The printed side: the block is its mirror image"),
        Option({"side": "face"}, "The finished block, seen from its right side"),
    ),
)
