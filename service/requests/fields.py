"""The kinds of field that requests have, for marshmallow.

Every refusal is a list of ``{"code", "detail"}``, of which ``schema_faults`` makes faults, each
with its pointer. A length stays as it was written: its unit is known only when the whole request
has been read (see ``parse``).
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from typing import Any, Final, TypeAlias

from marshmallow import ValidationError, fields
from marshmallow.schema import Schema

from piecewright.patchwork.lengths import LengthError, parse_length
from piecewright.patchwork.names import bare

Refer: TypeAlias = "Callable[[type[Schema] | str], dict[str, Any]]"
"""Gives the ``$ref`` of a schema class, or of a component by its name."""

LONGEST_ID: Final = 40
LONGEST_NAME: Final = 200

_LONGEST_GUESSED: Final = 60
"""Characters; a longer word gets no suggestion, as the search for one would take long."""


def refusal(code: str, detail: str) -> ValidationError:
    """The error that refuses a value."""
    return ValidationError([{"code": code, "detail": detail}])


def suggestion(word: str, known: Sequence[str]) -> str:
    """``; did you mean 'finish'?``, or nothing where no known word is close.

    >>> suggestion("finnish", ["finish", "sheet"])
    "; did you mean 'finish'?"
    """
    close = get_close_matches(word, known, 1) if len(word) <= _LONGEST_GUESSED else []
    return f"; did you mean {close[0]!r}?" if close else ""


def kind_of(value: object) -> str:
    """What kind of JSON value it is, in words."""
    kinds = {bool: "true or false", str: "text", list: "a list", dict: "an object"}
    return "null" if value is None else kinds.get(type(value), "a number")


class RequestField(fields.Field[Any]):
    """A field that says what it takes, for people and in JSON Schema."""

    default_error_messages: dict[str, Any] = {  # noqa: RUF012 - marshmallow's protocol
        "required": [{"code": "required", "detail": "this field is required"}],
        "null": [{"code": "type", "detail": "null is not taken here; leave the field out"}],
    }

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        """The field's values as JSON Schema 2020-12."""
        raise NotImplementedError


class Text(RequestField):
    """A line of text without control characters."""

    def __init__(self, longest: int, *, shortest: int = 0, **settings: Any) -> None:
        super().__init__(**settings)
        self.longest, self.shortest = longest, shortest

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "string", "minLength": self.shortest, "maxLength": self.longest}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise refusal("type", f"expected text, got {kind_of(value)}")
        if not self.shortest <= len(value) <= self.longest:
            message = f"{self.shortest} to {self.longest} characters are taken, got {len(value)}"
            raise refusal("text-length", message)
        bad = next((c for c in value if _unprintable(c)), None)
        if bad is not None:
            raise refusal("control-character", f"U+{ord(bad):04X} is no character of a line")
        return value


def _unprintable(character: str) -> bool:
    """Whether it is a control character, half a surrogate pair, or no character at all."""
    category = unicodedata.category(character)
    # Cn are code points without a character: those that may get one in a later Unicode are taken,
    # those that never will (the Unicode Standard, 23.7) are not.
    noncharacter = category == "Cn" and (
        ord(character) & 0xFFFE == 0xFFFE or 0xFDD0 <= ord(character) <= 0xFDEF
    )
    # Embeddings and overrides of direction hide what a name or a file's name is.
    overriding = character in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    return category in ("Cc", "Cs", "Zl", "Zp") or noncharacter or overriding


class Id(Text):
    """A name by which other fields refer to a thing."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(LONGEST_ID, shortest=1, **settings)


class Colour(RequestField):
    """A colour as ``#rrggbb``."""

    PATTERN: Final = "^#[0-9a-fA-F]{6}$"

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "string", "pattern": self.PATTERN}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or not re.fullmatch(self.PATTERN.strip("^$"), value):
            raise refusal("colour", "expected a colour such as '#24506e'")
        return value


class Choice(RequestField):
    """One of a few words."""

    def __init__(self, words: Sequence[str], **settings: Any) -> None:
        super().__init__(**settings)
        self.words = tuple(words)

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "string", "enum": list(self.words)}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or value not in self.words:
            hint = suggestion(value.lower(), self.words) if isinstance(value, str) else ""
            raise refusal("choice", f"expected one of {', '.join(self.words)}{hint}")
        return value


class Number(RequestField):
    """A finite number between two bounds, both of them included."""

    def __init__(self, least: float, most: float, **settings: Any) -> None:
        super().__init__(**settings)
        self.least, self.most = least, most

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "number", "minimum": self.least, "maximum": self.most}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise refusal("type", f"expected a number, got {kind_of(value)}")
        if not (math.isfinite(value) and self.least <= value <= self.most):
            raise refusal("range", f"expected a number from {self.least:g} to {self.most:g}")
        return value


class Count(RequestField):
    """A whole number between two bounds, both of them included."""

    def __init__(self, least: int, most: int, **settings: Any) -> None:
        super().__init__(**settings)
        self.least, self.most = least, most

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.least, "maximum": self.most}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise refusal("type", f"expected a whole number, got {kind_of(value)}")
        # JSON has one kind of number: 3.0 is a whole one. What is not finite is no number at all.
        if value != value or value in (math.inf, -math.inf) or value != int(value):
            raise refusal("type", "expected a whole number")
        if not self.least <= value <= self.most:
            raise refusal("range", f"expected a whole number from {self.least} to {self.most:,}")
        return int(value)


class CountOr(Count):
    """A whole number between two bounds, or a word."""

    def __init__(self, least: int, most: int, word: str, **settings: Any) -> None:
        super().__init__(least, most, **settings)
        self.word = word

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"oneOf": [super().json_schema(refer), {"type": "string", "enum": [self.word]}]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str):
            if value == self.word:
                return value
            hint = suggestion(value.lower(), [self.word])
            raise refusal("choice", f"expected a whole number or {self.word!r}{hint}")
        return super()._deserialize(value, attr, data, **kwargs)


class QuarterTurn(RequestField):
    """Degrees of a turn, clockwise as seen: whole quarter turns."""

    TURNS: Final = (0, 90, 180, 270)

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "integer", "enum": list(self.TURNS)}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise refusal("type", f"expected a number of degrees, got {kind_of(value)}")
        if value not in self.TURNS:
            raise refusal("choice", "expected 0, 90, 180 or 270 degrees, clockwise as seen")
        return int(value)


class Flag(RequestField):
    """True or false."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "boolean"}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise refusal("type", f"expected true or false, got {kind_of(value)}")
        return value


class Grain(Number):
    """``auto``, ``free``, or degrees."""

    WORDS: Final = ("auto", "free")

    def __init__(self, **settings: Any) -> None:
        super().__init__(-360.0, 360.0, **settings)

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        words = {"type": "string", "enum": list(self.WORDS)}
        return {"oneOf": [words, super().json_schema(refer)]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str):
            if value in self.WORDS:
                return value
            hint = suggestion(value.lower(), self.WORDS)
            raise refusal("choice", f"expected 'auto', 'free' or degrees as a number{hint}")
        return super()._deserialize(value, attr, data, **kwargs)


class Length(RequestField):
    """A length, kept as written: a number, or text as ``patchwork.lengths`` reads it."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer("Length")

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int | float | str:
        check_length(value)
        return value  # type: ignore[no-any-return]


def check_length(value: object) -> None:
    """Raises ``ValidationError`` unless the value can be read as a length."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        message = f"expected a length such as 3.5, '3 1/2' or '12 mm', got {kind_of(value)}"
        raise refusal("type", message)
    try:
        parse_length(value)
    except LengthError as error:
        raise refusal("length", str(error)) from None


class CountOrLengths(RequestField):
    """How many there are, or the length of each; lengths are kept as written."""

    def __init__(self, most: int, **settings: Any) -> None:
        super().__init__(**settings)
        self.count = Count(1, most)
        self.lengths = ListOf(Length(), "lengths", fewest=1, most=most)

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"oneOf": [self.count.json_schema(refer), self.lengths.json_schema(refer)]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        return (self.lengths if isinstance(value, list) else self.count).deserialize(value)


class Point(RequestField):
    """``[x, y]``, both lengths."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer("Point")

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        check_point(value)
        return value  # type: ignore[no-any-return]


def check_point(value: object) -> None:
    """Raises ``ValidationError`` unless the value is a pair of lengths."""
    if not isinstance(value, list) or len(value) != 2:
        raise refusal("point", "a point is two lengths: [x, y]")
    faults: dict[int, Any] = {}
    for i, coordinate in enumerate(value):
        try:
            check_length(coordinate)
        except ValidationError as error:
            faults[i] = error.messages
    if faults:
        raise ValidationError(faults)


class Points(RequestField):
    """A list of points: an outline, a frame or a line."""

    def __init__(self, fewest: int, most: int, **settings: Any) -> None:
        super().__init__(**settings)
        self.fewest, self.most = fewest, most

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {
            "type": "array",
            "items": refer("Point"),
            "minItems": self.fewest,
            "maxItems": self.most,
        }

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        check_size(value, self.fewest, self.most, "points", "too-many-points")
        faults: dict[int, Any] = {}
        for i, point in enumerate(value):
            try:
                check_point(point)
            except ValidationError as error:
                faults[i] = error.messages
        if faults:
            raise ValidationError(faults)
        return value  # type: ignore[no-any-return]


def check_size(value: object, fewest: int, most: int, things: str, code: str) -> None:
    """Raises ``ValidationError`` unless the value is a list of so many things."""
    if not isinstance(value, list):
        raise refusal("type", f"expected a list of {things}, got {kind_of(value)}")
    if len(value) < fewest:
        raise refusal("too-few", f"at least {fewest} {things} are needed, got {len(value)}")
    if len(value) > most:
        raise refusal(code, f"at most {most} {things} are read, got {len(value)}")


class ListOf(RequestField):
    """A list of values of one kind."""

    def __init__(
        self,
        inner: RequestField | Nested,
        things: str,
        *,
        fewest: int = 0,
        most: int,
        code: str = "too-many",
        **settings: Any,
    ) -> None:
        super().__init__(**settings)
        self.inner, self.things, self.fewest, self.most, self.code = (
            inner,
            things,
            fewest,
            most,
            code,
        )

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {
            "type": "array",
            "items": self.inner.json_schema(refer),
            "minItems": self.fewest,
            "maxItems": self.most,
        }

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        check_size(value, self.fewest, self.most, self.things, self.code)
        read: list[Any] = []
        faults: dict[int, Any] = {}
        for i, item in enumerate(value):
            try:
                read.append(self.inner.deserialize(item))
            except ValidationError as error:
                faults[i] = error.messages
        if faults:
            raise ValidationError(faults)
        return read


def rows_of(inner: RequestField, things: str, most: int, **settings: Any) -> ListOf:
    """A list of rows, each a list of things, as blocks lie in a grid or a quilt.

    Args:
        most: rows, and things in each of them.
    """
    row = ListOf(inner, things, fewest=1, most=most)
    return ListOf(row, "rows", fewest=1, most=most, **settings)


class Nested(RequestField):
    """An object with a schema of its own."""

    def __init__(self, schema: type[Schema], **settings: Any) -> None:
        super().__init__(**settings)
        self.schema_class = schema
        self._schema: Schema | None = None

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer(self.schema_class)

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if self._schema is None:
            self._schema = self.schema_class()
        return self._schema.load(value)


class LengthOr(Nested):
    """A length, or an object with a schema of its own."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"oneOf": [refer("Length"), refer(self.schema_class)]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, dict):
            return super()._deserialize(value, attr, data, **kwargs)
        check_length(value)
        return value


class Name(Choice):
    """One of a few names, whatever its case and its spaces; it is read as the field lists it."""

    def __init__(self, words: Sequence[str], **settings: Any) -> None:
        super().__init__(words, **settings)
        self._by_bare = {bare(word): word for word in words}

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        # The list is for those who choose from it; the text is for those who type.
        return {"anyOf": [super().json_schema(refer), {"type": "string", "maxLength": LONGEST_ID}]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if isinstance(value, str) and len(value) <= LONGEST_ID:
            value = self._by_bare.get(bare(value), value)
        return super()._deserialize(value, attr, data, **kwargs)


class NameOr(Nested):
    """One of a few names, or an object with a schema of its own."""

    def __init__(self, words: Sequence[str], schema: type[Schema], **settings: Any) -> None:
        super().__init__(schema, **settings)
        self.name_field = Name(words)

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        names = self.name_field.json_schema(refer)["anyOf"]
        return {"anyOf": [*names, refer(self.schema_class)]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, dict):
            return super()._deserialize(value, attr, data, **kwargs)
        return self.name_field.deserialize(value)


class JoinsTree(RequestField):
    """The order of sewing: a piece id, or a pair of such trees."""

    def __init__(self, most: int, **settings: Any) -> None:
        super().__init__(**settings)
        self.most = most

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer("Joins")

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        name = Id()
        faults: list[tuple[tuple[int, ...], Any]] = []
        count = 0
        # An explicit stack: a chain of 2,000 joins nests deeper than Python's calls may.
        stack: list[tuple[Any, tuple[int, ...]]] = [(value, ())]
        while stack:
            unit, place = stack.pop()
            if isinstance(unit, list):
                if len(unit) != 2:
                    faults.append((place, "a join is a pair of units: [first, second]"))
                    continue
                stack += [(unit[1], (*place, 1)), (unit[0], (*place, 0))]
                continue
            count += 1
            if count > self.most:
                raise refusal("too-many", f"at most {self.most} pieces are joined")
            try:
                name.deserialize(unit)
            except ValidationError:
                message = f"a unit is a piece id or a pair of units; got {kind_of(unit)}"
                faults.append((place, message))
        if faults:
            raise ValidationError(
                [{"code": "joins", "detail": message, "below": place} for place, message in faults]
            )
        return value


class ByName(RequestField):
    """An object whose fields somebody named, their values all of one kind."""

    def __init__(self, inner: RequestField, things: str, *, most: int, **settings: Any) -> None:
        super().__init__(**settings)
        self.inner, self.things, self.most = inner, things, most

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {
            "type": "object",
            "propertyNames": Id().json_schema(refer),
            "additionalProperties": self.inner.json_schema(refer),
            "maxProperties": self.most,
        }

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise refusal("type", f"expected an object of {self.things}, got {kind_of(value)}")
        if len(value) > self.most:
            raise refusal("too-many", f"at most {self.most} {self.things} are taken")
        read: dict[str, Any] = {}
        faults: dict[str, Any] = {}
        for name, inner in value.items():
            try:
                Id().deserialize(name)
                read[name] = self.inner.deserialize(inner)
            except ValidationError as error:
                faults[name] = error.messages
        if faults:
            raise ValidationError(faults)
        return read


def documented(description: str, **more: Any) -> dict[str, Any]:
    """What the OpenAPI document says of a field; ``more`` is in the words of JSON Schema."""
    return {"description": description, **more}
