"""Sheets of paper: the trade sizes by name, a sheet as it lies in the printer, and the printer.

ISO sizes are in whole millimetres, as the standard rounds them: A4 is 210 mm wide.

Lengths on a sheet are those of the print in a maker's hand. Where a printer does not print
true, what it is sent is stretched to make up for that; see ``Sheet.correction``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.faults import Fault
from piecewright.render.drawing.marks import Box

Orientation: TypeAlias = Literal["portrait", "landscape"]

MILLIMETRES_PER_INCH: Final = 25.4


@dataclass(frozen=True, slots=True)
class Paper:
    """A size of paper, upright; inches."""

    name: str
    width: float
    height: float


def iso_millimetres(series: Literal["A", "B"], number: int) -> tuple[int, int]:
    """Width and height of an ISO 216 trimmed size.

    The sides of A0 are ``1000 / 2**(1/4)`` and ``1000 * 2**(1/4)``, those of B0 ``1000`` and
    ``1000 * 2**(1/2)``, to the nearest millimetre. Each size after it is the one before,
    its long side halved, with half a millimetre left out.

    >>> iso_millimetres("A", 4)
    (210, 297)
    """
    short, long = (841, 1189) if series == "A" else (1000, 1414)
    # Halves are cut, not rounded, so that two of a size always fit the one before it.
    for _ in range(number):
        short, long = long // 2, short
    return short, long


def _iso(series: Literal["A", "B"], number: int) -> Paper:
    width, height = iso_millimetres(series, number)
    name = f"{series.lower()}{number}"
    return Paper(name, width / MILLIMETRES_PER_INCH, height / MILLIMETRES_PER_INCH)


PAPERS: Final[dict[str, Paper]] = {
    paper.name: paper
    for paper in (
        Paper("letter", 8.5, 11.0),
        Paper("legal", 8.5, 14.0),
        Paper("tabloid", 11.0, 17.0),
        Paper("ansi-a", 8.5, 11.0),
        Paper("ansi-b", 11.0, 17.0),
        Paper("ansi-c", 17.0, 22.0),
        Paper("ansi-d", 22.0, 34.0),
        Paper("ansi-e", 34.0, 44.0),
        *(_iso("A", number) for number in range(11)),
        *(_iso("B", number) for number in range(11)),
    )
}
"""Papers by name: US office sizes, ASME Y14.1 (letter is A, tabloid is B) and ISO 216.

The least of them leave no room beside the test squares; ``lay_out`` refuses those.
"""

LEAST_CORRECTION: Final = 0.9
MOST_CORRECTION: Final = 1.1
"""Inches that the 1 in square may measure. Printing fitted to the page makes it some 0.95 in; what
is further off is rather a slip of measuring."""


@dataclass(frozen=True, slots=True)
class Printer:
    """What a printer made of the 1 in test square; inches.

    Attributes:
        across: the width of the printed square.
        down: its height.
    """

    across: float = 1.0
    down: float = 1.0

    @property
    def exact(self) -> bool:
        return self.across == self.down == 1.0

    def faults(self, pointer: str = "/printer") -> list[Fault]:
        """What is wrong with the measures: empty if sheets can be corrected for them."""
        if all(
            LEAST_CORRECTION - _ROUNDING <= measured <= MOST_CORRECTION + _ROUNDING
            for measured in (self.across, self.down)
        ):
            return []
        message = (
            f"the printed 1 in test square should measure {LEAST_CORRECTION} to "
            f"{MOST_CORRECTION} in across and down, not {self.across:.4g} by {self.down:.4g} in; "
            "set the print dialogue to 100 % (actual size), print once more and measure again"
        )
        return [Fault(pointer, "printer", message)]


_ROUNDING: Final = 1e-9
"""Inches; a bound given in millimetres is still within it."""

TRUE: Final = Printer()
"""A printer that prints true."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet as it lies in the printer; inches.

    Attributes:
        paper: its name, for the reader; empty for a size without one.
        margin: what the printer leaves blank along each side.
        orientation: None for a canvas that is no sheet of paper.
        printer: what the sheet is corrected for.
        roll: the paper comes from a roll and is cut off where the drawings end.
    """

    width: float
    height: float
    margin: float
    paper: str
    orientation: Orientation | None
    printer: Printer = TRUE
    roll: bool = False

    @property
    def printable(self) -> Box:
        """What lies inside the margins, on the sheet that is sent and on the print alike.

        A printer that prints too small has that much less room, about the middle of the sheet.
        """
        width = (self.width - 2 * self.margin) * min(1.0, self.printer.across)
        height = (self.height - 2 * self.margin) * min(1.0, self.printer.down)
        if self.printer.exact:
            return Box(self.margin, self.margin, width, height)
        return Box((self.width - width) / 2, (self.height - height) / 2, width, height)

    @property
    def correction(self) -> tuple[float, float, float, float] | None:
        """How places on the print become places on the sheet that is sent to the printer.

        Returns:
            ``a, d, e, f`` for ``x -> a x + e`` and ``y -> d y + f``; None if nothing changes.
            The middle of the sheet stays where it is.
        """
        if self.printer.exact:
            return None
        # About the middle, as the margins of the sheet that is sent are then alike on both sides.
        a, d = 1 / self.printer.across, 1 / self.printer.down
        return a, d, self.width / 2 * (1 - a), self.height / 2 * (1 - d)
