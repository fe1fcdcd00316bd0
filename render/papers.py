"""Sheets of paper: the trade sizes by name, and a sheet as it lies in the printer.

ISO sizes are in whole millimetres, as the standard rounds them: A4 is 210 mm wide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from render.drawing import Box

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
        Paper("ansi-c", 17.0, 22.0),
        Paper("ansi-d", 22.0, 34.0),
        *(_iso("A", number) for number in range(7)),
        *(_iso("B", number) for number in range(6)),
    )
}
"""Papers by name: US office sizes, ASME Y14.1 (tabloid is B) and ISO 216."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet as it lies in the printer; inches.

    Attributes:
        paper: its name, for the reader; empty for a size without one.
        margin: what the printer leaves blank along each side.
        orientation: None for a canvas that is no sheet of paper.
    """

    width: float
    height: float
    margin: float
    paper: str
    orientation: Orientation | None

    @property
    def printable(self) -> Box:
        """What lies inside the margins."""
        m = self.margin
        return Box(m, m, self.width - 2 * m, self.height - 2 * m)
