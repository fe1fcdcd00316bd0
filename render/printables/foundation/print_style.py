"""How foundation sections are printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from piecewright.render.drawing.linekinds import PENS, LineKind

LEAST_WEIGHT: Final = 0.2
MOST_WEIGHT: Final = 2.0
"""Points; how thin and how thick sewing lines may be asked for."""

MOST_COPIES: Final = 200
"""Of each foundation, that a request may number; what all blocks take may be more."""


@dataclass(frozen=True, slots=True)
class PrintStyle:
    """How sections are printed.

    Attributes:
        mirrored: as mirror images of the face, to sew on; else as seen from the face, for tracing
            on a light box from behind.
        line_weight: width of the sewing lines, points; that of the table of pens if None. The
            cutting lines keep in proportion.
        copies: how many times each foundation is printed; ``needed`` for as many as are sewn.
    """

    mirrored: bool = True
    line_weight: float | None = None
    copies: int | Literal["needed"] = 1

    def weight(self, kind: LineKind) -> float | None:
        """Of the lines of a kind, points; None for that of the table of pens."""
        if self.line_weight is None:
            return None
        return self.line_weight * PENS[kind].weight / PENS["sewing-line"].weight

    def printed(self, needed: int) -> int:
        """How many times a foundation is printed of which so many are sewn."""
        return needed if self.copies == "needed" else self.copies


DEFAULT_STYLE: Final = PrintStyle()
