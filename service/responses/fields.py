"""The kinds of field that answers have, and ``AnswerSchema``, the table of an answer's fields.

A field says both what it is, for the OpenAPI document, and where its value comes from in the
object that the answer is about: a field that is added to a schema stands in the document and in
the answer. Without more words its value is the attribute of the field's own name;

- ``of`` is another attribute, as a path with dots, or a function of the object;
- ``within`` is a function of the object and of the answer's context: what holds for all of the
  answer and is no part of any one object. That is the unit of its lengths, or the address of a
  batch.

>>> from types import SimpleNamespace
>>> class Strip(AnswerSchema):
...     fabric = Text("Null for none.", nullable=True)
...     width = Length("Of the strip.", of="size.across")
...     note = Text("Left out where there is none.", optional=True)
>>> strip = SimpleNamespace(fabric=None, size=SimpleNamespace(across=2.0), note=None)
>>> Strip.to_json(strip, "cm")
{'fabric': None, 'width': 5.08}

marshmallow's own ``dump`` is not used: it knows no context, takes no part of an answer from
elsewhere, and takes four times as long.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from operator import attrgetter
from typing import Any, TypeAlias

from marshmallow import EXCLUDE, Schema
from marshmallow import fields as plain

from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import UNITS, in_unit
from piecewright.service import measures
from piecewright.service.requests.fields import Refer, documented

Json: TypeAlias = dict[str, Any]


class AnswerSchema(Schema):
    """An object of an answer; later versions may add fields."""

    class Meta:
        unknown = EXCLUDE

    @classmethod
    def to_json(cls, source: Any, context: Any = "in", **given: Any) -> Json:
        """What an answer says of an object, its fields in the order of the schema.

        A field without a value is null, or left out if it is ``optional``.

        Args:
            source: the object.
            context: what functions that are ``within`` it take: the answer's unit, as a rule.
            given: by the names of fields, values which the object does not have.
        """
        answer: Json = {}
        for column in _columns(cls):
            if column.name in given:
                value = given[column.name]
            elif column.within:
                value = column.take(source, context)
            else:
                value = column.take(source)
            if value is not None:
                value = column.convert(value, context)
            elif column.optional:
                continue
            answer[column.key] = value
        return answer


class AnswerField(plain.Field[Any]):
    """A field of an answer.

    Args:
        description: for the readers of the document.
        of, within: where the value comes from (see above).
        optional: the field is left out where it has no value.
        nullable: it is null there.
        facts: what the document says besides, in the words of JSON Schema.
    """

    def __init__(
        self,
        description: str = "",
        *,
        of: str | Callable[[Any], Any] | None = None,
        within: Callable[[Any, Any], Any] | None = None,
        optional: bool = False,
        nullable: bool = False,
        facts: Json | None = None,
        **settings: Any,
    ) -> None:
        super().__init__(
            required=not optional,
            allow_none=nullable,
            metadata=documented(description, **(facts or {})) if description else {},
            **settings,
        )
        self.of, self.within = of, within

    def to_json(self, value: Any, context: Any) -> Any:
        """A value other than None as the answer has it."""
        return value


@dataclass(frozen=True, slots=True)
class _Column:
    """A field of a schema, made ready to be answered often."""

    name: str
    key: str
    take: Callable[..., Any]
    within: bool
    optional: bool
    convert: Callable[[Any, Any], Any]


@cache
def _columns(schema: type[AnswerSchema]) -> tuple[_Column, ...]:
    columns = []
    for name, field in schema._declared_fields.items():
        assert isinstance(field, AnswerField), f"{schema.__name__}.{name} has no source"
        of = field.of or name
        take = field.within or (attrgetter(of) if isinstance(of, str) else of)
        columns.append(
            _Column(
                name=name,
                key=field.data_key or name,
                take=take,
                within=field.within is not None,
                optional=not field.required,
                convert=field.to_json,
            )
        )
    return tuple(columns)


def itself(source: Any) -> Any:
    """For ``of``: the object that the answer is about, of which a nested one says more."""
    return source


# --- words and numbers -----------------------------------------------------------------------


class Text(AnswerField, plain.String):
    """Text as it stands."""


class Word(Text):
    """One of a few words."""

    def __init__(self, description: str, words: Sequence[str | None], **settings: Any) -> None:
        super().__init__(description, facts={"enum": list(words)}, **settings)


class Unit(Word):
    """The unit of the answer's lengths, which is its context."""

    def __init__(self) -> None:
        super().__init__("Of every length here.", UNITS, within=lambda source, unit: unit)


class Flag(AnswerField, plain.Boolean):
    """True or false."""


class Integer(AnswerField, plain.Integer):
    """A whole number."""


class Count(Integer):
    """How many, or a number that counts from ``least``."""

    def __init__(self, description: str, least: int = 0, **settings: Any) -> None:
        super().__init__(description, facts={"minimum": least}, **settings)


class Number(AnswerField, plain.Float):
    """A number as it stands."""


class Length(Number):
    """A length in inches, answered in the context's unit to 6 decimals."""

    def to_json(self, value: float, context: Any) -> float:
        return in_unit(value, context)


class Area(Number):
    """An area in square inches, answered in squares of the context's unit."""

    def to_json(self, value: float, context: Any) -> float:
        return measures.area(value, context)


class Angle(Number):
    """Degrees, to 6 decimals."""

    def to_json(self, value: float, context: Any) -> float:
        return round(value, 6)


class Direction(Number):
    """The direction of a line in degrees, from 0 to less than 180."""

    def to_json(self, value: float, context: Any) -> float:
        return measures.degrees(value)


class Moment(AnswerField, plain.DateTime):
    """A time in seconds since 1970, answered as RFC 3339 writes it, to the millisecond."""

    def to_json(self, value: float, context: Any) -> str:
        return moment(value)


def moment(seconds: float) -> str:
    """A time as RFC 3339 writes it, to the millisecond.

    >>> moment(1_772_000_000.25)
    '2026-02-25T06:13:20.250Z'
    """
    time = datetime.fromtimestamp(seconds, UTC)
    return time.isoformat(timespec="milliseconds").replace("+00:00", "Z")


# --- places ----------------------------------------------------------------------------------


class OwnShape(AnswerField):
    """A field that tells the document itself what its values look like."""

    def json_schema(self, refer: Refer) -> Json:
        """The field's values as JSON Schema 2020-12."""
        raise NotImplementedError


class Place(OwnShape):
    """A point in inches, answered as ``[x, y]`` in the context's unit."""

    def json_schema(self, refer: Refer) -> Json:
        return refer("Place")

    def to_json(self, value: Point, context: Any) -> list[float]:
        return measures.place(value, context)


class Places(OwnShape):
    """Points, each answered as a ``Place``."""

    def json_schema(self, refer: Refer) -> Json:
        return {"type": "array", "items": refer("Place")}

    def to_json(self, value: Iterable[Point], context: Any) -> list[list[float]]:
        return measures.places(value, context)


class Ring(Places):
    """An outline, answered as its points; ``CURVES`` says how."""

    def to_json(self, value: Outline, context: Any) -> list[list[float]]:  # type: ignore[override]
        return measures.ring(value, context)


CURVES = "Clockwise as seen; curves as points within 0.001 in."


class Joins(OwnShape):
    """Nested pairs of ids, as a request may give them."""

    def json_schema(self, refer: Refer) -> Json:
        return refer("Joins")


# --- objects and lists -----------------------------------------------------------------------


class One(AnswerField, plain.Nested):
    """An object with a schema of its own.

    Args:
        ready: its values are JSON already.
    """

    def __init__(
        self, schema: type[Schema], description: str = "", *, ready: bool = False, **settings: Any
    ) -> None:
        super().__init__(description, nested=schema, **settings)
        self.answered = None if ready else schema

    def to_json(self, value: Any, context: Any) -> Any:
        if self.answered is None:
            return value
        assert issubclass(self.answered, AnswerSchema)
        return self.answered.to_json(value, context)


class AnyObject(AnswerField, plain.Dict):
    """An object whose fields are those of another schema, any of them."""


class ListOf(AnswerField, plain.List[Any]):
    """A list of values of one kind."""

    def __init__(self, item: AnswerField, description: str = "", **settings: Any) -> None:
        super().__init__(description, cls_or_instance=item, **settings)
        self.convert = item.to_json

    def to_json(self, value: Iterable[Any], context: Any) -> list[Any]:
        convert = self.convert
        return [convert(item, context) for item in value]


class Many(ListOf):
    """A list of objects, each with the same schema; ``ready`` as for ``One``."""

    def __init__(
        self, schema: type[Schema], description: str, *, ready: bool = False, **settings: Any
    ) -> None:
        super().__init__(One(schema, ready=ready), description, **settings)
