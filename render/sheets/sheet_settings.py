"""The paper that somebody asks for, and the sheets in the printer that it can mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.lengths import Unit, spoken
from piecewright.render.sheets.papers import TRUE, Orientation, Printer, Sheet

MOST_SHEETS: Final = 500
"""A ream; who needs more of them has mistaken the size."""

LARGEST_SHEET: Final = 200.0
"""Inches; a PDF page is at most 14,400 units long (ISO 32000-1, annex C)."""


Effort: TypeAlias = Literal["usual", "quick"]
"""How long fewer sheets are looked for."""


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """The sheets to print on.

    Attributes:
        width, height: of the paper, either way up.
        roll_width: of paper from a roll, in place of width, height and orientation: each
            sheet is as long as what is on it needs, 200 in at most.
        orientation: ``auto`` takes the one that needs fewer sheets, upright if both need the same.
        margin: what the printer leaves blank along each side.
        overlap: how much of a divided drawing two neighbouring parts both show.
        paper: the paper's name, for the reader.
        unit: in which the reader is told the size of paper that has no name.
        effort: how long fewer sheets are looked for; ``quick`` for a preview.
        printer: what the printer made of the test square; the sheets are corrected for it.
    """

    width: float = 8.5
    height: float = 11.0
    orientation: Literal["auto", "portrait", "landscape"] = "auto"
    margin: float = 0.25
    overlap: float = 0.25
    paper: str = ""
    printer: Printer = TRUE
    roll_width: float | None = None
    unit: Unit = "in"
    effort: Effort = "usual"

    def sheet(self, orientation: Orientation) -> Sheet:
        """The paper laid one way.

        >>> SheetSettings(8.5, 11.0).sheet("landscape").width
        11.0
        """
        short, long = sorted((self.width, self.height))
        width, height = (short, long) if orientation == "portrait" else (long, short)
        name = self.paper or f"{spoken(width, self.unit)} by {spoken(height, self.unit)}"
        return Sheet(width, height, self.margin, name, orientation, self.printer)


def sheets(settings: SheetSettings) -> list[Sheet]:
    """The sheet in each orientation asked for, upright first.

    Raises:
        BlockError: at ``/sheet``: it is larger than a PDF page can be (``paper-too-large``).
    """
    if max(settings.width, settings.height) > LARGEST_SHEET:
        raise _too_large(f"a sheet can be at most {LARGEST_SHEET:g} in long")
    if settings.orientation != "auto":
        return [settings.sheet(settings.orientation)]
    if settings.width == settings.height:
        return [settings.sheet("portrait")]
    return [settings.sheet("portrait"), settings.sheet("landscape")]


def roll_sheet(settings: SheetSettings, width: float) -> Sheet:
    """The longest sheet that is cut off a roll of a width.

    Raises:
        BlockError: at ``/sheet``: it is wider than a PDF page can be (``paper-too-large``).
    """
    if width > LARGEST_SHEET:
        raise _too_large(f"a roll can be at most {LARGEST_SHEET:g} in wide")
    name = f"roll {spoken(width, settings.unit)} wide"
    return Sheet(
        width, LARGEST_SHEET, settings.margin, name, "portrait", settings.printer, roll=True
    )


def _too_large(message: str) -> BlockError:
    return BlockError([Fault("/sheet", "paper-too-large", message)])
