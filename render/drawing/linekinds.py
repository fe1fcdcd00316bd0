"""The kinds of line on a sheet, and how each is drawn.

A kind's name is its class name in the SVG. Weights and dashes are in points
(1/72 in) and never scale with the block.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

LineKind: TypeAlias = Literal[
    "tint",
    "pattern",
    "dots",
    "here",
    "glue",
    "overlap",
    "trim",
    "map",
    "scale",
    "leader",
    "joining",
    "sewing-line",
    "meeting",
    "press",
    "grain",
    "cutting-line",
    "notch",
    "match-point",
    "join-mark",
    "test-square",
    "label",
]
"""The kinds in the order in which they are painted: labels lie over everything.

``glue`` is the hatch of a strip that another sheet is glued over, ``trim`` the line that a sheet is
cut along; ``map`` and ``here`` draw the little map of the sheets of a tiled drawing, and the
place of the present one on it. ``joining`` is in grey what a foundation section is joined to.
``tint``, ``pattern`` and ``dots`` fill a piece as its fabric is shown; ``press`` is the arrow
across a seam toward the side that it is pressed to, ``meeting`` the mark where seams meet.
"""

BACKGROUND: Final[frozenset[LineKind]] = frozenset({"tint", "pattern", "dots"})
"""Kinds that other marks may lie over."""

LINE_KINDS: Final[tuple[LineKind, ...]] = get_args(LineKind)

LAYER_NAMES: Final[dict[LineKind, str]] = {
    "tint": "fabrics",
    "pattern": "fabric-patterns",
    "dots": "fabric-dots",
    "here": "this-sheet-on-the-map",
    "glue": "glue-strips",
    "overlap": "overlaps",
    "trim": "trim-lines",
    "map": "map-of-the-sheets",
    "scale": "scales",
    "leader": "leaders",
    "joining": "joining-words",
    "sewing-line": "sewing-lines",
    "meeting": "seam-intersections",
    "press": "press-arrows",
    "grain": "grain-lines",
    "cutting-line": "cutting-lines",
    "notch": "notches",
    "match-point": "match-points",
    "join-mark": "join-marks",
    "test-square": "test-squares",
    "label": "labels",
}
"""What a layer with marks of one kind is called in a drawing program."""

POINTS_PER_INCH: Final = 72.0
"""Those of PostScript and PDF; the points of older printers were a little smaller."""


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
    # No line at all: two tints side by side would lie over each other.
    "tint": Pen(0.0, "#eeeeee"),
    "pattern": Pen(0.35, "#6a6a6a"),
    # A dash about as long as the line is wide is a dot.
    "dots": Pen(1.1, "#4a4a4a", (1.0, 6.2)),
    "here": Pen(0.1, "#bbbbbb"),
    "glue": Pen(0.3, "#b5b5b5"),
    # Greys: what helps with the paper must not be taken for a line of the drawing.
    "overlap": Pen(0.4, "#555555", (1.0, 2.5)),
    "trim": Pen(0.5, "#333333", (9.0, 2.5, 1.5, 2.5)),
    "map": Pen(0.4, "#333333"),
    "scale": Pen(0.35),
    "leader": Pen(0.35),
    "joining": Pen(0.4, "#777777"),
    # Cut along the solid line, sew along the dashed one, as makers are used to.
    "sewing-line": Pen(0.6, dash=(4.0, 2.5)),
    "meeting": Pen(0.8),
    "press": Pen(0.9),
    "grain": Pen(0.6),
    "cutting-line": Pen(0.9),
    "notch": Pen(0.7),
    "match-point": Pen(0.5),
    "join-mark": Pen(0.6),
    "test-square": Pen(0.5),
    "label": Pen(0.5),
}
