"""How much cloth to buy for a length that is cut."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from piecewright.patchwork.lengths import Unit

_YARD: Final = 36.0
_METRE: Final = 1000 / 25.4


@dataclass(frozen=True, slots=True)
class Yardage:
    """Cloth to buy, in eighths of a yard or tenths of a metre.

    Attributes:
        parts: how many of those.
    """

    parts: int
    unit: Literal["yd", "m"]

    @property
    def amount(self) -> float:
        """Yards or metres."""
        return self.parts / (8 if self.unit == "yd" else 10)

    @property
    def inches(self) -> float:
        """The same in inches."""
        return self.amount * (_YARD if self.unit == "yd" else _METRE)

    def __str__(self) -> str:
        """As it is asked for in a shop.

        >>> str(Yardage(11, "yd")), str(Yardage(13, "m"))
        ('1 3/8 yd', '1.3 m')
        """
        if self.unit == "m":
            return f"{self.amount:.1f} m"
        whole, part = divmod(Fraction(self.parts, 8), 1)
        words = [str(whole)] if whole or not part else []
        if part:
            words.append(f"{part.numerator}/{part.denominator}")
        return f"{' '.join(words)} yd"


def to_buy(length: float, shrinkage: float, spare: float, unit: Unit) -> Yardage:
    """What to buy so that ``length`` inches and the spare are there after washing.

    Cloth that shrinks by s percent keeps 1 - s/100 of its length, so the length with its spare
    is divided by that; then it is rounded up to 1/8 yd, or 0.1 m.

    Args:
        shrinkage, spare: percent.

    >>> str(to_buy(36.0, 0, 0, "in")), str(to_buy(36.0, 3, 5, "in"))
    ('1 yd', '1 1/8 yd')
    """
    # Less than a millionth of a part over is rounding, and buys no further one.
    needed = length * (1 + spare / 100) / (1 - shrinkage / 100)
    part = _YARD / 8 if unit == "in" else _METRE / 10
    return Yardage(math.ceil(needed / part - 1e-6), "yd" if unit == "in" else "m")
