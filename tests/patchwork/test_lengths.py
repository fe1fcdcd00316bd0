"""Lengths: numbers, decimals and fractions, with and without a unit, read exactly.

An inch is 25.4 mm exactly (the international inch of 1959); what a text should mean is
reckoned with Python's fractions.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.lengths import (
    PER_INCH,
    UNITS,
    LengthError,
    Unit,
    in_unit,
    parse_length,
    spoken,
)

MILLIMETRES = {"in": Fraction(254, 10), "cm": Fraction(10), "mm": Fraction(1)}

units = st.sampled_from(UNITS)


def inches(amount: Fraction, unit: Unit) -> float:
    return float(amount * MILLIMETRES[unit] / MILLIMETRES["in"])


# --- reading ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (3, 3.0),
        (3.5, 3.5),
        (0, 0.0),
        (-1.25, -1.25),
        ("3.5", 3.5),
        ("3", 3.0),
        (".5", 0.5),
        ("3.", 3.0),
        ("3 1/2", 3.5),
        ("3-1/2", 3.5),
        ("3 - 1/2", 3.5),
        ("7/8", 0.875),
        ("7 / 8", 0.875),
        ("11/8", 1.375),
        ("0 1/4", 0.25),
        ("  3   1/2  ", 3.5),
        ("12 mm", 60 / 127),
        ("12mm", 60 / 127),
        ("2.54 cm", 1.0),
        ("1/4 in", 0.25),
        ("1/4in", 0.25),
        ('3 1/2"', 3.5),
        ("3-1/2 in", 3.5),
        ("+3 1/2", 3.5),
        ("-3 1/2", -3.5),
        ("-7/8", -0.875),
        ("-0.25", -0.25),
        ("7½", 7.5),
        ("7 ½", 7.5),
        ("7-½", 7.5),
        ("⅓", 1 / 3),
        ("-⅞", -0.875),
        ("7 1⁄2", 7.5),
        ('7 1/3"', 22 / 3),
        ("7 1/3″", 22 / 3),
        ("7 1/3”", 22 / 3),
        ("7 1/3''", 22 / 3),
        ("7 1/3 inches", 22 / 3),
        ("1 inch", 1.0),
        ("1 In.", 1.0),
        ("7,5", 7.5),
        ("0,375", 0.375),
        ("7,5 cm", 375 / 127),
        ("254 MM", 10.0),
        ("2.54\u202fcentimetres", 1.0),
    ],
)
def test_every_spelling_of_a_length_is_read(value: float | str, expected: float) -> None:
    assert parse_length(value) == expected


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (2.54, "cm", 1.0),
        (254, "mm", 10.0),
        ("25.4", "mm", 1.0),
        ("63 1/2", "mm", 2.5),
        ("1 in", "mm", 1.0),
        ('1"', "cm", 1.0),
        ("10 mm", "cm", 50 / 127),
        ("1 cm", "in", 50 / 127),
    ],
)
def test_the_units_own_name_wins_over_the_unit_of_the_request(
    value: float | str, unit: Unit, expected: float
) -> None:
    assert parse_length(value, unit) == expected


@st.composite
def spellings(draw: st.DrawFn) -> tuple[str, Fraction]:
    """A fraction and one of the ways to write it."""
    under = draw(st.integers(1, 128))
    over, whole = draw(st.integers(0, 2 * under)), draw(st.integers(0, 999))
    written = {
        f"{whole} {over}/{under}": whole + Fraction(over, under),
        f"{whole}-{over}/{under}": whole + Fraction(over, under),
        f"{whole}  {over} / {under}": whole + Fraction(over, under),
        f"{whole * under + over}/{under}": whole + Fraction(over, under),
        f"{over}/{under}": Fraction(over, under),
        f"{whole}": Fraction(whole),
        f"{whole}.{over:03}": whole + Fraction(over, 1000),
        f".{over:03}": Fraction(over, 1000),
    }
    text, amount = draw(st.sampled_from(sorted(written.items())))
    sign = draw(st.sampled_from(["", "+", "-"]))
    blanks = st.sampled_from(["", " "])
    return f"{draw(blanks)}{sign}{text}{draw(blanks)}", -amount if sign == "-" else amount


@settings(deadline=None)
@given(spellings(), units)
def test_any_fraction_is_read_back_exactly(spelling: tuple[str, Fraction], unit: Unit) -> None:
    text, amount = spelling
    assert parse_length(text, unit) == inches(amount, unit)


@settings(deadline=None)
@given(spellings(), units, units)
def test_any_fraction_with_its_unit_is_read_back_exactly(
    spelling: tuple[str, Fraction], own: Unit, other: Unit
) -> None:
    text, amount = spelling
    assert parse_length(f"{text}{own}", other) == inches(amount, own)
    assert parse_length(f"{text} {own} ", other) == inches(amount, own)


@settings(deadline=None)
@given(st.floats(-1e9, 1e9), units)
def test_a_number_is_read_as_exactly_as_a_float_can_be(value: float, unit: Unit) -> None:
    assert parse_length(value, unit) == inches(Fraction(value), unit)


@pytest.mark.parametrize(
    "value",
    [
        "",
        " ",
        "half",
        "three",
        "3 1",
        "3 1/",
        "/2",
        "1/2/3",
        "3 1/2 1/2",
        "3.5 1/2",
        "3 1.5/2",
        "3 -",
        "--3",
        "1e3",
        "nan",
        "inf",
        "0x10",
        "3 ft",
        "3½½",
        "½3",
        "3 1/2½",
        "7.½",
        "1,250",
        "12,125 cm",
        "1,2,3",
        "3 in..",
        "mm",
        "3 mm mm",
        "3 in 2",
        "9" * 41,
        "9" * 39,
        "1" + "0" * 10,
        math.nan,
        math.inf,
        -math.inf,
        1e10,
        -1e10,
        pytest.param(10**400, id="401 digits"),
        True,
        False,
        None,
        [3],
        {"width": 3},
        b"3",
    ],
)
def test_what_is_no_length_is_an_error(value: object) -> None:
    with pytest.raises(LengthError, match=r"length|divides"):
        parse_length(value)


@pytest.mark.parametrize("text", ["1/0", "3 1/0", "0/0", "-3-1/00 mm"])
def test_a_fraction_over_zero_is_an_error(text: str) -> None:
    with pytest.raises(LengthError, match="divides by zero"):
        parse_length(text)


@settings(deadline=None)
@given(st.text(alphabet='0123456789 .,/-+incm"″x½٣', max_size=12) | st.text(max_size=50))
def test_any_text_is_a_finite_length_or_a_length_error(text: str) -> None:
    try:
        read = parse_length(text)
    except LengthError:
        return
    assert math.isfinite(read)
    assert re.search(r"\d", text)


# --- answering ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "unit", "expected"),
    [
        (3.5, "in", 3.5),
        (1.0, "cm", 2.54),
        (1.0, "mm", 25.4),
        (1 / 3, "in", 0.333333),
        (2 / 3, "mm", 16.933333),
        (1e-9, "in", 0.0),
    ],
)
def test_answers_are_in_the_requests_unit_to_6_decimals(
    length: float, unit: Unit, expected: float
) -> None:
    assert in_unit(length, unit) == expected


def test_an_answer_is_never_minus_nought() -> None:
    assert math.copysign(1, in_unit(-1e-9, "mm")) == 1


@settings(deadline=None)
@given(spellings(), units)
def test_what_is_read_is_answered_to_6_decimals(spelling: tuple[str, Fraction], unit: Unit) -> None:
    text, amount = spelling
    assert in_unit(parse_length(text, unit), unit) == pytest.approx(float(amount), abs=5.1e-7)


@pytest.mark.parametrize("unit", UNITS)
def test_units_are_worth_what_the_international_inch_says(unit: Unit) -> None:
    assert PER_INCH[unit] * MILLIMETRES[unit] == Fraction(254, 10)


# --- speaking -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "expected"),
    [
        (0, "0 in"),
        (1, "1 in"),
        (12, "12 in"),
        (1 / 16, "1/16 in"),
        (0.125, "1/8 in"),
        (0.25, "1/4 in"),
        (0.375, "3/8 in"),
        (0.5, "1/2 in"),
        (0.875, "7/8 in"),
        (3.5, "3 1/2 in"),
        (2.9375, "2 15/16 in"),
        (3.25049, "3 1/4 in"),
        (3.251, "~3 1/4 in"),
        (10 / 3, "~3 5/16 in"),
        (3.8536, "~3 7/8 in"),
        (2.98, "~3 in"),
        (0.01, "~0 in"),
    ],
)
def test_inches_are_spoken_as_fractions_to_a_sixteenth(length: float, expected: str) -> None:
    assert spoken(length, "in") == expected


@pytest.mark.parametrize(
    ("length", "expected"),
    [(3.5, "3 1/2 in"), (3.8536, "~3 7/8 in"), (3.4375, "~3 1/2 in"), (0.0625, "~0 in")],
)
def test_rotary_cuts_are_spoken_in_eighths(length: float, expected: str) -> None:
    assert spoken(length, "in", 8) == expected


@pytest.mark.parametrize(
    ("millimetres", "expected"),
    [
        (0, "0 mm"),
        (6, "6 mm"),
        (6.5, "6.5 mm"),
        (6.35, "~6.5 mm"),
        (6.2, "~6 mm"),
        (304.8, "~305 mm"),
        (304.51, "304.5 mm"),
        (1200, "1200 mm"),
    ],
)
def test_millimetres_are_spoken_to_a_half(millimetres: float, expected: str) -> None:
    assert spoken(millimetres / 25.4, "mm") == expected


@pytest.mark.parametrize(
    ("centimetres", "expected"),
    [
        (0, "0 cm"),
        (0.75, "0.75 cm"),
        (0.635, "~0.65 cm"),
        (8.9, "8.9 cm"),
        (30.48, "~30.5 cm"),
        (30.451, "30.45 cm"),
        (120, "120 cm"),
    ],
)
def test_centimetres_are_spoken_to_a_twentieth(centimetres: float, expected: str) -> None:
    assert spoken(centimetres / 2.54, "cm") == expected


@pytest.mark.parametrize("sixteenths", range(0, 12 * 16 + 1))
def test_a_spoken_sixteenth_reads_back_as_itself(sixteenths: int) -> None:
    message = spoken(sixteenths / 16, "in")
    assert not message.startswith("~")
    assert parse_length(message, "mm") == sixteenths / 16


@settings(deadline=None)
@given(st.floats(0, 400), units, st.sampled_from([8, 16]))
def test_spoken_lengths_are_near_and_marked_where_they_are_rounded(
    length: float, unit: Unit, denominator: int
) -> None:
    message = spoken(length, unit, denominator)
    off = abs(parse_length(message.removeprefix("~")) - length)
    assert off <= (0.5 / denominator if unit == "in" else 0.25 / 25.4) + 1e-9
    if off > 0.000501:
        assert message.startswith("~")
    elif off < 0.000491:
        assert not message.startswith("~")
    fraction = re.search(r"(\d+)/(\d+)", message)
    if fraction:
        over, under = int(fraction[1]), int(fraction[2])
        assert math.gcd(over, under) == 1
        assert over < under <= denominator
