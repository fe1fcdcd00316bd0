"""What the fields of answers make of values, and that answers have the documented fields."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient

from piecewright.patchwork.geometry.paths import Line
from piecewright.service.http.openapi import document as openapi
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, itself
from piecewright.service.settings import Settings
from tests.service.asking import STAR, Json, printed

TRIANGLE = (Line((0, 0), (2, 0)), Line((2, 0), (0, 1)), Line((0, 1), (0, 0)))


class Pin(AnswerSchema):
    """A schema to nest."""

    place = fields.Place()


@pytest.mark.parametrize(
    ("field", "value", "unit", "answer"),
    [
        (fields.Text(), "ü", "mm", "ü"),
        (fields.Number(), 0.5, "mm", 0.5),
        (fields.Length(), 0.5, "in", 0.5),
        (fields.Length(), 0.5, "mm", 12.7),
        (fields.Length(), 1 / 3, "cm", 0.846667),
        (fields.Area(), 0.5, "cm", 3.2258),
        (fields.Angle(), 270.00000049, "in", 270),
        (fields.Direction(), 200, "in", 20),
        (fields.Place(), (1, -0.0), "mm", [25.4, 0]),
        (fields.Places(), [(0, 1), (2, 3)], "in", [[0, 1], [2, 3]]),
        (fields.Ring(), TRIANGLE, "cm", [[0, 0], [5.08, 0], [0, 2.54]]),
        (fields.Joins(), ["a", ["b", "c"]], "in", ["a", ["b", "c"]]),
        (fields.Moment(), 0, "in", "1970-01-01T00:00:00.000Z"),
        (fields.One(Pin), SimpleNamespace(place=(1, 2)), "mm", {"place": [25.4, 50.8]}),
        (fields.One(Pin, ready=True), {"place": [1, 2]}, "mm", {"place": [1, 2]}),
        (fields.ListOf(fields.ListOf(fields.Length())), [(1,), ()], "mm", [[25.4], []]),
        (fields.Many(Pin, ""), [SimpleNamespace(place=(0, 1))], "in", [{"place": [0, 1]}]),
    ],
)
def test_a_value_is_answered_in_the_unit_asked_for(
    field: fields.AnswerField, value: Any, unit: str, answer: Any
) -> None:
    assert field.to_json(value, unit) == answer


class Strip(AnswerSchema):
    """Fields with every kind of source."""

    unit = fields.Unit()
    fabric = fields.Text("As it is called.", nullable=True)
    width = fields.Length("Across.", of="size.across")
    parts = fields.Count("How many.", of=lambda strip: len(strip.cuts))
    text = fields.Text("For people.", within=lambda strip, unit: f"{strip.size.across} {unit}")
    at = fields.Place("Where.", optional=True)
    to = fields.Text("Which way.", data_key="from")
    whole = fields.One(Pin, "Of the same object.", of=itself)


STRIP = SimpleNamespace(
    fabric="sea", size=SimpleNamespace(across=2), cuts="abc", at=(1, 1), to="up", place=(0, 0)
)


def test_a_value_is_taken_from_where_its_field_says() -> None:
    assert Strip.to_json(STRIP, "mm") == {
        "unit": "mm",
        "fabric": "sea",
        "width": 50.8,
        "parts": 3,
        "text": "2 mm",
        "at": [25.4, 25.4],
        "from": "up",
        "whole": {"place": [0, 0]},
    }


def test_fields_stand_in_the_order_of_the_schema() -> None:
    names = ["unit", "fabric", "width", "parts", "text", "at", "from", "whole"]
    assert list(Strip.to_json(STRIP, "mm")) == names


def test_without_a_value_a_field_is_null_or_left_out() -> None:
    bare = SimpleNamespace(**{**vars(STRIP), "fabric": None, "at": None})
    answer = Strip.to_json(bare, "in")
    assert answer["fabric"] is None
    assert "at" not in answer


def test_what_the_object_does_not_have_can_be_given() -> None:
    bare = SimpleNamespace(**{**vars(STRIP), "fabric": None})
    answer = Strip.to_json(bare, "mm", at=(0, 1), fabric="sail")
    assert (answer["at"], answer["fabric"]) == ([0, 25.4], "sail")


# --- answers and the document ----------------------------------------------------------------


def shapes(schema: Json, value: Any) -> Iterator[tuple[str, set[str], set[str]]]:
    """Of every object in an answer: its schema, the fields that it has, and those documented."""
    components = openapi.document(Settings())["components"]["schemas"]
    for choice in schema.get("anyOf", [schema]):
        name = choice.get("$ref", "").removeprefix("#/components/schemas/")
        found = components[name] if name else choice
        if isinstance(value, dict) and "properties" in found:
            yield name, set(value), set(found["properties"])
            for key, inner in value.items():
                yield from shapes(found["properties"].get(key, {}), inner)
        elif isinstance(value, list) and "items" in found:
            for inner in value:
                yield from shapes(found["items"], inner)


@pytest.mark.parametrize(
    ("name", "schema", "objects"),
    [
        ("templates", "TemplatesAnswer", {"CutPiece", "Template", "Cut", "Page", "Window"}),
        ("sewing-plan", "SewingPlanAnswer", {"SewingStep", "TrimSize", "Meeting", "Deviation"}),
    ],
)
def test_an_answer_has_the_documented_fields_and_no_other(
    client: FlaskClient, name: str, schema: str, objects: set[str]
) -> None:
    answer = printed(name, client, STAR, query="?sheets=svg").json
    met = set()
    for of, answered, documented in shapes({"$ref": f"#/components/schemas/{schema}"}, answer):
        assert answered == documented, of
        met.add(of)
    assert met >= {schema, *objects}
