"""A reading: what was found on the sheets of a pattern's file, and the block that it makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from cairosvg.surface import PDFSurface

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.foundation.plan import foundation
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import Unit
from piecewright.patchwork.reading.choices import Choices
from piecewright.patchwork.reading.page import Page
from piecewright.patchwork.reading.reading import read_pattern
from piecewright.patchwork.reading.results import Question, Reading
from piecewright.render.printables.reading_picture import reading_svg
from piecewright.service import measures
from piecewright.service.json_text import write_json
from piecewright.service.pattern_files.files import PatternFile
from piecewright.service.pattern_files.originals import originals_of
from piecewright.service.requests.block_schemas import BlockAsPieces
from piecewright.service.requests.choices import USES
from piecewright.service.responses import fields
from piecewright.service.responses.answer import Answer, Form
from piecewright.service.responses.fields import AnswerSchema, Json
from piecewright.service.responses.problem import Caution

_APART = 1.0
"""Inches between sections of different sheets, laid side by side."""


class IgnoredThing(AnswerSchema):
    """Something on a sheet that is no part of a section."""

    what = fields.Text("For people.")
    at = fields.Place("On the sheet.")


class SheetRead(AnswerSchema):
    """A sheet of the file. Places on it are from its upper left corner, as long as in the file."""

    number = fields.Count("Of the page in the file.", least=1)
    width = fields.Length("As in the file.")
    height = fields.Length("As in the file.")
    sections = fields.ListOf(fields.Text(), "Ids of those that are on it.")
    ignored = fields.Many(IgnoredThing, "What was taken for no part of a section.")


class PatchRead(AnswerSchema):
    """A patch as it lies on its sheet."""

    id = fields.Text("The section's id and the number.")
    number = fields.Count("In the order of sewing.", least=1)
    outline = fields.Places("On the sheet, clockwise as seen, without allowance.")


class SectionRead(AnswerSchema):
    """A section as it lies on its sheet."""

    id = fields.Text("The letters of its numbers, or A, B, … where they have none.")
    sheet = fields.Count("The number of its sheet.", least=1)
    allowance = fields.Length("As printed, true; null where it is not known.", nullable=True)
    allowance_from = fields.Word(
        "`lines`: one runs round the section; `choices`: it was said.",
        ["lines", "choices", None],
        nullable=True,
    )
    confidence = fields.Number("From 0 to 1: how well all that was found fits together.")
    pieces = fields.Many(PatchRead, "In the order of sewing.")


class StyleRead(AnswerSchema):
    """A style in which lines of the file are drawn."""

    id = fields.Text("For `choices`.", of="style.id")
    kind = fields.Word(
        "Lines, or borders of filled shapes.",
        ["line", "border"],
        of=lambda use: "border" if use.style.style.filled else "line",
    )
    colour = fields.Text("As `#rrggbb`.", of="style.style.colour")
    width = fields.Length("Of the line; 0 of a border.", of="style.style.width")
    dashed = fields.Flag("Whether the line is broken.", of="style.style.dashed")
    taken_as = fields.Word("What its lines mean.", USES)


class ScaleRead(AnswerSchema):
    """How large the pattern truly is."""

    measured = fields.Length("A length in the file; null where none was measured.", nullable=True)
    said = fields.Length("How long it truly is; null where none was measured.", nullable=True)
    from_ = fields.Word(
        "What tells so; null where nothing does.",
        ["page", "test-square", "choices", None],
        nullable=True,
        of="origin",
        data_key="from",
    )


class OptionRead(AnswerSchema):
    """An answer that may be chosen."""

    choices = fields.AnyObject("To be added to what is sent with the same file.", of="value")
    detail = fields.Text("What it means.")


class QuestionRead(AnswerSchema):
    """What is not certain."""

    id = fields.Text("The same for the same file and choices.")
    code = fields.Text("A fixed word for programs, such as `allowance`.")
    detail = fields.Text("For people.")
    sheet = fields.Count("Where.", least=1, optional=True)
    at = fields.Place("Where on the sheet.", optional=True)
    options = fields.Many(OptionRead, "Empty where the answer is for the maker to find.")


class PatternReading(AnswerSchema):
    """A pattern read back. What is not certain is asked, never guessed."""

    unit = fields.Unit()
    sheets = fields.Many(SheetRead, "Those that count.")
    sections = fields.Many(SectionRead, "In reading order.")
    styles = fields.Many(StyleRead, "Lines before borders, those with the most ink first.")
    scale = fields.One(ScaleRead, "Of the file.")
    block = fields.One(
        BlockAsPieces,
        "The patches at true size, seen from the face of the block, as any other request takes it; "
        "null where none were found.",
        ready=True,
        nullable=True,
    )
    questions = fields.Many(QuestionRead, "Empty if nothing is left to ask.")
    cautions = fields.Many(Caution, "What a maker should know of the block.")
    complete = fields.Flag("Whether patches were found and nothing is left to ask.")


PICTURES: Final[tuple[Form, ...]] = ("svg", "pdf")
"""The forms in which a reading is shown over the original."""


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A reading with the block that it makes, and what those who would sew it say of that.

    Attributes:
        block: as a request may have it; None where no patches were found.
        questions: of the reading, and of the block.
    """

    reading: Reading
    unit: Unit
    block: Json | None
    questions: tuple[Question, ...]
    cautions: tuple[Fault, ...]

    def to_json(self) -> Json:
        """The answer."""
        return PatternReading.to_json(
            self.reading,
            self.unit,
            block=self.block,
            questions=self.questions,
            cautions=self.cautions,
            complete=self.is_complete,
        )

    @property
    def is_complete(self) -> bool:
        """Whether nothing is left to ask."""
        return self.reading.is_complete and not self.questions


def read_back(pages: Sequence[Page], choices: Choices, unit: Unit) -> ReadBack:
    """What a file's pages were read as."""
    reading = read_pattern(pages, choices)
    block = _block(reading, unit) if reading.sections else None
    questions: tuple[Question, ...] = reading.questions
    cautions: tuple[Fault, ...] = ()
    # Only what is certain is worth a look by those who would sew it.
    if block is not None and not questions:
        questions, cautions = _looked_at(block)
    return ReadBack(reading, unit, block, questions, cautions)


def reading_answer(file: PatternFile, choices: Choices, unit: Unit, form: Form) -> Answer:
    """A file read back, in the form asked for: JSON, or one of ``PICTURES``."""
    read = read_back(file.pages, choices, unit)
    if form == "json":
        return Answer(form, write_json(read.to_json()), "reading")
    return picture_answer(file, read, form)


def picture_answer(file: PatternFile, read: ReadBack, form: Form) -> Answer:
    """What was read, over the original; in one of ``PICTURES``."""
    numbers = [sheet.number for sheet in read.reading.sheets]
    picture = reading_svg(
        read.reading, read.questions, originals_of(file.pdf, numbers), read.unit
    ).encode()
    if form == "pdf":
        # The one picture is drawn once, by what draws other people's SVG here too.
        picture = PDFSurface.convert(picture, dpi=96)
    return Answer(form, picture, "reading")


def _block(reading: Reading, unit: Unit) -> Json:
    """The block as a request may have it: at true size, from its face, sheets side by side."""
    factor = reading.scale.factor
    beside: dict[int, float] = {}
    across = 0.0
    for sheet in reading.sheets:
        beside[sheet.number] = across
        across += sheet.width * factor + _APART
    width = {sheet.number: sheet.width for sheet in reading.sheets}

    def on_face(point: Point, sheet: int) -> Point:
        x = width[sheet] - point[0] if reading.side == "printed" else point[0]
        return (x * factor + beside[sheet], point[1] * factor)

    pieces = []
    for section in reading.sections:
        for piece in section.pieces:
            points = [on_face(point, section.sheet) for point in piece.outline]
            pieces.append({"id": piece.id, "outline": measures.places(points, unit)})
    sections = [
        {"id": section.id, "order": [piece.id for piece in section.pieces]}
        for section in reading.sections
    ]
    return {"name": "Pattern", "unit": unit, "pieces": pieces, "sections": sections}


def _looked_at(block: Json) -> tuple[tuple[Question, ...], tuple[Fault, ...]]:
    """What keeps a block from being one, as questions, and what keeps it from being sewn in the
    order of its numbers, as cautions."""
    try:
        read = block_from_pieces(block)
    except BlockError as error:
        details = dict.fromkeys(fault.detail for fault in error.faults)
        detail = f"The patches make no whole block: {'; '.join(details)}."
        return (Question("block", "block", detail),), ()
    try:
        foundation(read, Allowance(), "matched", "/block/pieces")
    except BlockError as error:
        return (), error.faults
    return (), ()
