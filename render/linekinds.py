"""The kinds of line on a sheet, and how each is drawn.

A kind's name is its class name in the SVG. Weights and dashes are in points
(1/72 in) and never scale with the block.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

LineKind: TypeAlias = Literal[
    "overlap",
    "leader",
    "sewing-line",
    "grain",
    "cutting-line",
    "notch",
    "match-point",
    "join-mark",
    "test-square",
    "label",
]
"""The kinds in the order in which they are painted: labels lie over everything."""

LINE_KINDS: Final[tuple[LineKind, ...]] = get_args(LineKind)

POINTS_PER_INCH: Final = 72.0


@dataclass(frozen=True, slots=True)
class Pen:
    """How lines of one kind are drawn.

    Attributes:
        weight: width of the line, points.
        colour: ``#rrggbb``, for lines, filled shapes and text.
        dash: lengths drawn and left out in turn, points; empty for a solid line.
        dot: diameter of a dot of this kind, points.
    """

    weight: float
    colour: str = "#000000"
    dash: tuple[float, ...] = ()
    dot: float = 3.2

    @property
    def half(self) -> float:
        """How far ink reaches to either side of the line, inches."""
        return self.weight / POINTS_PER_INCH / 2

    @property
    def dot_radius(self) -> float:
        """Inches."""
        return self.dot / POINTS_PER_INCH / 2


PENS: Final[dict[LineKind, Pen]] = {
    "overlap": Pen(0.4, "#555555", (1.0, 2.5)),
    "leader": Pen(0.35),
    "sewing-line": Pen(0.6, dash=(4.0, 2.5)),
    "grain": Pen(0.6),
    "cutting-line": Pen(0.9),
    "notch": Pen(0.7),
    "match-point": Pen(0.5),
    "join-mark": Pen(0.6),
    "test-square": Pen(0.5),
    "label": Pen(0.5),
}
