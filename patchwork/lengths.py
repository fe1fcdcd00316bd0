"""Lengths as makers write them: ``3.5``, ``"3 1/2"``, ``"7⅓"``, ``'7/8″'``, ``"12 mm"``.

A length is read exactly, as a fraction of its own unit, and turned into inches
once; everything after that is floating-point inches.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from typing import Final, Literal, TypeAlias, get_args

Unit: TypeAlias = Literal["in", "cm", "mm"]

UNITS: Final[tuple[Unit, ...]] = get_args(Unit)
PER_INCH: Final[dict[Unit, Fraction]] = {
    "in": Fraction(1),
    "cm": Fraction(254, 100),
    "mm": Fraction(254, 10),
}

_WRITTEN = re.compile(
    r"""\s*(?P<sign>[+-]?)\s*
    (?:
        (?P<whole>\d+)(?:\s+|\s*-\s*)(?P<over>\d+)\s*/\s*(?P<under>\d+)   # 3 1/2, 3-1/2
      | (?P<top>\d+)\s*/\s*(?P<bottom>\d+)                                # 7/8
      | (?P<decimal>\d+(?:[.,]\d*)?|[.,]\d+)                               # 3, 3.5, 3,5, .5
    )
    \s*(?P<unit>\D*?)\s*""",
    re.VERBOSE,
)

_VULGAR = re.compile(r"(\d?)\s*([¼½¾⅐-⅞↉])(?!\d)")
"""A fraction of one character, and the digit before it if there is one."""

_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")
"""A thousand to some, one and some thousandths to others."""

_WORDS: Final[dict[Unit, tuple[str, ...]]] = {
    "in": ("in", "in.", "inch", "inches", '"', "″", "”", "''", "’’", "′′"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
}
"""How units are written. A word processor makes a quotation mark of an inch sign, and a telephone
two apostrophes."""

_UNIT_OF: Final = {word: unit for unit, words in _WORDS.items() for word in words}

_LONGEST_TEXT = 40
"""Characters; no length that a person writes is longer, and huge digits cost time."""

_LARGEST = 10**9
"""Of any unit; far more than any block, and far inside the range of floating point."""


class LengthError(ValueError):
    """A length that cannot be read; the message says what would be."""


def parse_length(value: object, unit: Unit = "in") -> float:
    """Read a length and give it in inches.

    Args:
        value: a finite number, or text: a decimal or a fraction, with or without a unit.
        unit: the unit of a value that names none.

    Raises:
        LengthError: ``value`` is no length.

    >>> parse_length("3 1/2")
    3.5
    >>> parse_length("12.7 mm")
    0.5
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise LengthError(f"expected a length such as 3.5, '3 1/2' or '12 mm', got {value!r:.40}")
    if isinstance(value, str):
        amount, unit = _parse_text(value, unit)
    elif isinstance(value, float) and not math.isfinite(value):
        raise LengthError("a length must be a finite number")
    else:
        amount = Fraction(value)
    if abs(amount) > _LARGEST:
        raise LengthError("a length must be a number up to a thousand million")
    return float(amount / PER_INCH[unit])


def _parse_text(text: str, unit: Unit) -> tuple[Fraction, Unit]:
    match = _WRITTEN.fullmatch(_plain(text)) if len(text) <= _LONGEST_TEXT else None
    written = match["unit"].casefold() if match else ""
    if match is None or (written and written not in _UNIT_OF):
        raise LengthError(
            f"cannot read {text!r:.40} as a length; write 3.5, '3 1/2', '3-1/2', '7/8' or '12 mm'"
        )
    if match["decimal"]:
        decimal = match["decimal"]
        if _THOUSANDS.fullmatch(decimal):
            message = (
                f"the length {text!r} can be read in two ways; write a decimal point, or no comma"
            )
            raise LengthError(message)
        amount = Fraction(decimal.replace(",", "."))
    else:
        whole, over, under = match["whole"] or "0", match["over"], match["under"]
        over, under = over or match["top"], under or match["bottom"]
        if int(under) == 0:
            raise LengthError(f"{text!r} divides by zero")
        amount = int(whole) + Fraction(int(over), int(under))
    if match["sign"] == "-":
        amount = -amount
    return amount, _UNIT_OF.get(written, unit)


def _plain(text: str) -> str:
    """The text with digits and a slash in place of fractions of one character.

    >>> _plain("7⅓"), _plain("½ in"), _plain("3 1⁄2")
    ('7 1/3', '1/2 in', '3 1/2')
    """

    def spelt(match: re.Match[str]) -> str:
        digit, fraction = match.groups()
        return f"{digit} {unicodedata.normalize('NFKC', fraction)}".strip()

    # NFKC writes ½ as 1⁄2, with the fraction slash, which some keyboards have too.
    return _VULGAR.sub(spelt, text).replace("⁄", "/")


def in_unit(inches: float, unit: Unit) -> float:
    """A length in ``unit``, rounded to the 6 decimals that JSON answers carry."""
    rounded = round(inches * float(PER_INCH[unit]), 6)
    return rounded + 0.0  # never "-0.0"


READ_TO: Final[dict[Unit, Fraction]] = {
    "in": Fraction(1, 16),
    "cm": Fraction(1, 20),
    "mm": Fraction(1, 2),
}
"""Of each unit: how finely people read it off a ruler, and so how lengths are written for them."""

_MEANT: Final = 0.0005
"""Inches. A decimal of three digits is off by that much, and means the fraction all the same."""


def spoken(inches: float, unit: Unit, denominator: int = 16) -> str:
    """A length as a maker reads it: inches as a fraction, centimetres to 0.05, millimetres to 0.5.

    A length that those do not hit is marked as rounded with ``~``.

    Args:
        denominator: of the finest fraction of an inch.

    >>> spoken(3.5, "in"), spoken(3.333, "in")
    ('3 1/2 in', '~3 5/16 in')
    >>> spoken(2.0, "mm"), spoken(2.0, "cm"), spoken(7.5 / 2.54, "cm")
    ('~51 mm', '~5.1 cm', '7.5 cm')
    """
    step = Fraction(1, denominator) if unit == "in" else READ_TO[unit]
    rounded = round(inches * float(PER_INCH[unit] / step)) * step
    near = abs(float(rounded / PER_INCH[unit]) - inches) <= _MEANT
    amount = fraction(rounded) if unit == "in" else _decimal(rounded)
    return f"{'' if near else '~'}{amount} {unit}"


def _decimal(amount: Fraction) -> str:
    """A multiple of a twentieth, without needless noughts."""
    digits = f"{float(amount):.2f}".rstrip("0").rstrip(".")
    return "0" if digits == "-0" else digits


def fraction(amount: Fraction) -> str:
    """An amount as a whole number and a fraction.

    >>> fraction(Fraction(7, 2)), fraction(Fraction(3, 8)), fraction(Fraction(2))
    ('3 1/2', '3/8', '2')
    """
    whole, part = divmod(amount, 1)
    words = [str(whole)] if whole or not part else []
    if part:
        words.append(f"{part.numerator}/{part.denominator}")
    return " ".join(words)
