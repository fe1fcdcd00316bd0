"""What the lengths of requests may be, and what they and the choices are if a request does not say.

The schemas' words are made from these, and so is the help of the command line; ``parse`` reads
them. A default that geometry or sheets have by themselves is taken from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.cutting.borders import BorderCorners
from piecewright.patchwork.cutting.cutting_list import Cloth, Quilt
from piecewright.patchwork.lengths import Unit, parse_length, spoken
from piecewright.patchwork.outlines.cut_outlines import Corners
from piecewright.patchwork.sewing.plan import PlanOptions
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.printables.foundation.print_style import DEFAULT_STYLE
from piecewright.render.sheets.sheet_settings import LARGEST_SHEET, SheetSettings


@dataclass(frozen=True, slots=True)
class Limits:
    """Of a length: the least and the most that it may be, inches, both of them included.

    >>> str(Limits(0.25, 40))
    '1/4 to 40 in'
    """

    least: float
    most: float

    def __str__(self) -> str:
        return f"{Fraction(self.least)} to {Fraction(self.most)} in"

    def hold(self, inches: float) -> bool:
        """Whether a length is within them."""
        return self.least <= inches <= self.most


NARROW: Final = Limits(0, 3)
"""An allowance, a margin, and an overlap; wider ones are in use nowhere."""

PAPER_SIDE: Final = Limits(2, LARGEST_SHEET)
"""A side of paper. Less than 2 in leave hardly any room between margins."""

ROLL_WIDTH: Final = Limits(5, LARGEST_SHEET)
"""Paper from a roll."""

DEVIATION: Final = Limits(0, 1)
"""What a cut or a seam is off."""

CLOTH_WIDTH: Final = Limits(5, 200)
"""Cloth, across what is usable of it."""

ROUNDING: Final = Limits(1 / 64, 1)
"""From a line of a rotary ruler to the next."""

EDGE_WIDTH: Final = Limits(0.25, 40)
"""A border as it shows, and the strips of a binding."""

QUILT_SIDE: Final = Limits(1, 400)
"""A quilt without its border."""


def _length(inches: float) -> str:
    """A length as a request may write it."""
    return spoken(inches, "in", 32)


DEFAULT_SEAM: Final = _length(Allowance().seam)
METRIC_SEAM: Final = "0.75 cm"
"""For requests in cm and mm: the usual allowance of those who sew by centimetres."""

DEFAULT_MARGIN: Final = _length(SheetSettings().margin)
DEFAULT_OVERLAP: Final = _length(SheetSettings().overlap)
DEFAULT_CUTTING: Final = _length(PlanOptions().cutting)
DEFAULT_SEWING: Final = _length(PlanOptions().sewing)
DEFAULT_CLOTH: Final = _length(Cloth().width)
METRIC_CLOTH: Final = "106 cm"
"""For requests in cm and mm: what can be used of cloth that is sold as 110 cm wide."""

DEFAULT_BINDING: Final = "2 1/2 in"
"""Of the strips: the usual width for a binding that is folded double."""


def default_seam(unit: Unit) -> float:
    """The seam allowance of a request in a unit that names none, inches."""
    return parse_length(DEFAULT_SEAM if unit == "in" else METRIC_SEAM)


def default_cloth(unit: Unit) -> float:
    """The usable width of cloth, for a request in a unit that names none, inches."""
    return parse_length(DEFAULT_CLOTH if unit == "in" else METRIC_CLOTH)


DEFAULT_SHRINKAGE: Final = round(Cloth().shrinkage)
DEFAULT_SPARE: Final = round(Cloth().spare)
"""Both in whole percent, as the document writes them."""

DEFAULT_BLOCKS: Final = Quilt().blocks
DEFAULT_CORNERS: Final[Corners] = "matched"
DEFAULT_BORDER_CORNERS: Final[BorderCorners] = "butted"
DEFAULT_ORIENTATION: Final = SheetSettings().orientation
DEFAULT_EFFORT: Final = SheetSettings().effort
DEFAULT_TITLE: Final = "Group quilt"

DEFAULT_MIRRORED: Final = DEFAULT_STYLE.mirrored
DEFAULT_COPIES: Final = DEFAULT_STYLE.copies
DEFAULT_LINE_WEIGHT: Final = PENS["sewing-line"].weight
"""Of foundation sections, in points."""
