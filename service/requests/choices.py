"""What a maker says of a pattern's file: the schema of ``choices``, and how they are read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, get_args

from marshmallow import ValidationError

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.lengths import UNITS, Unit, parse_length
from piecewright.patchwork.reading.choices import (
    Choices,
    GivenAllowance,
    GivenNumber,
    KnownLength,
    Side,
    Use,
)
from piecewright.service.requests.fields import (
    Choice,
    Count,
    Flag,
    Id,
    Length,
    ListOf,
    Nested,
    Point,
    Text,
    documented,
)
from piecewright.service.requests.limits import NARROW, QUILT_SIDE
from piecewright.service.requests.parse import Refused
from piecewright.service.requests.request_schema import RequestSchema
from piecewright.service.requests.schema_faults import schema_faults

MOST_SHEETS: Final = 50
"""Of a file, all of which may be chosen."""

MOST_GIVEN: Final = 2000
"""Numbers, as many as a block has pieces."""

USES: Final = get_args(Use)
SIDES: Final = get_args(Side)
SCALES: Final = ("page", "test-square")
_ON_SHEET: Final = "On the sheet as it is shown, from its upper left corner, as in the file."


class ChosenStyle(RequestSchema):
    """What the lines of a style are."""

    id = Id(required=True, metadata=documented("As the reading names the style."))
    taken_as = Choice(
        USES,
        required=True,
        metadata=documented(
            "`seam`: seams and outlines of sections; `allowance`: where paper or cloth is cut; "
            "`other`: no part of a section."
        ),
    )


class KnownLine(RequestSchema):
    """A distance whose true length is known, such as a side of the block or of a test square."""

    sheet = Count(1, MOST_SHEETS, required=True, metadata=documented("Its number."))
    start = Point(required=True, metadata=documented(_ON_SHEET))
    end = Point(required=True, metadata=documented(_ON_SHEET))
    length = Length(required=True, metadata=documented(f"How long it truly is, {QUILT_SIDE}."))


class ChosenAllowance(RequestSchema):
    """How wide the seam allowance of a section is as printed."""

    section = Id(metadata=documented("Its id; all that have none of their own if left out."))
    width = Length(required=True, metadata=documented(f"{NARROW}; 0 for none."))
    inside = Flag(
        metadata=documented(
            "Whether the outermost line of the section is where it is cut, so that the allowance "
            "lies inside it.",
            default=False,
        )
    )


class ChosenNumber(RequestSchema):
    """The number of the patch at a place."""

    sheet = Count(1, MOST_SHEETS, required=True, metadata=documented("Its number."))
    at = Point(required=True, metadata=documented(f"Anywhere inside the patch. {_ON_SHEET}"))
    number = Text(8, required=True, metadata=documented("Such as `A3`; empty if it is no patch."))


class PatternChoices(RequestSchema):
    """Answers to the questions of a reading; what is left out is worked out."""

    unit = Choice(UNITS, metadata=documented("Of lengths here and in the answer.", default="in"))
    sheets = ListOf(
        Count(1, MOST_SHEETS),
        "sheets",
        fewest=1,
        most=MOST_SHEETS,
        metadata=documented("Numbers of those that count; all if left out."),
    )
    styles = ListOf(
        Nested(ChosenStyle), "styles", most=MOST_GIVEN, metadata=documented("Of lines.")
    )
    known = Nested(KnownLine, metadata=documented("What the scale is taken from."))
    scale = Choice(
        SCALES,
        metadata=documented("Whether the page or its test square tells how large the pattern is."),
    )
    allowances = ListOf(
        Nested(ChosenAllowance), "allowances", most=MOST_GIVEN, metadata=documented("Of sections.")
    )
    numbers = ListOf(
        Nested(ChosenNumber), "numbers", most=MOST_GIVEN, metadata=documented("Of patches.")
    )
    side = Choice(
        SIDES,
        metadata=documented(
            "`printed`: the sheets show the side of a foundation that is sewn on, the mirror image "
            "of the block; `face`: they show the block."
        ),
    )


def read_choices(given: Any) -> tuple[Choices, Unit]:
    """Choices from their JSON value, and the unit of lengths.

    Raises:
        Refused: with every fault found.
    """
    try:
        spec = PatternChoices().load(given)
    except ValidationError as error:
        raise Refused(tuple(schema_faults(error.messages, "/choices")), "in") from None
    unit: Unit = spec.get("unit", "in")
    faults: list[Fault] = []
    known = spec.get("known") and _known(spec["known"], unit, faults)
    choices = Choices(
        sheets=frozenset(spec["sheets"]) if "sheets" in spec else None,
        styles={style["id"]: style["taken_as"] for style in spec.get("styles", ())},
        known=known,
        allowance=_allowances(spec.get("allowances", ()), unit, faults),
        numbers=tuple(
            GivenNumber(one["sheet"], _point(one["at"], unit), one["number"])
            for one in spec.get("numbers", ())
        ),
        side=spec.get("side"),
        scale=spec.get("scale"),
    )
    if faults:
        raise Refused(tuple(faults), unit)
    return choices, unit


def _known(given: Mapping[str, Any], unit: Unit, faults: list[Fault]) -> KnownLength:
    start, end = _point(given["start"], unit), _point(given["end"], unit)
    length = parse_length(given["length"], unit)
    if not QUILT_SIDE.hold(length):
        message = f"a known line is {QUILT_SIDE} long"
        faults.append(Fault("/choices/known/length", "range", message))
    if start == end:
        message = "a known line needs two ends that differ"
        faults.append(Fault("/choices/known/end", "no-length", message))
    return KnownLength(given["sheet"], start, end, length)


def _allowances(given: Any, unit: Unit, faults: list[Fault]) -> dict[str, GivenAllowance]:
    found: dict[str, GivenAllowance] = {}
    for i, one in enumerate(given):
        width = parse_length(one["width"], unit)
        if not NARROW.hold(width):
            message = f"an allowance is {NARROW} wide"
            faults.append(Fault(f"/choices/allowances/{i}/width", "range", message))
        found[one.get("section", "*")] = GivenAllowance(width, one.get("inside", False))
    return found


def _point(given: Any, unit: Unit) -> tuple[float, float]:
    return (parse_length(given[0], unit), parse_length(given[1], unit))
