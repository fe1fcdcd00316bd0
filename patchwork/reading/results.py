"""What a reading of a pattern consists of."""

from __future__ import annotations

from dataclasses import dataclass

from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.choices import Side, Use
from piecewright.patchwork.reading.styles import UsedStyle


@dataclass(frozen=True, slots=True)
class Option:
    """An answer that may be chosen: a part of the choices as they are sent, and what it means."""

    value: object
    detail: str


def numbered(sheet: int, at: Point, number: str, detail: str) -> Option:
    """The answer that what lies at a place of a sheet has a number; an empty one for no patch."""
    place = [f"{at[0]:.3f} in", f"{at[1]:.3f} in"]
    return Option({"numbers": [{"sheet": sheet, "at": place, "number": number}]}, detail)


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
    """A patch as it lies on its sheet, in the file's inches from the sheet's upper left corner."""

    id: str
    number: int
    outline: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class ReadSection:
    """A section as it lies on its sheet.

    Attributes:
        allowance: true inches as printed; None where it is not known.
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
    """A sheet and what is on it, in the file's inches."""

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
