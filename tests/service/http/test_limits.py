"""What is out of its limits, of the wrong type or unknown is a 422, with a pointer to it."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from piecewright.service.app import create_app
from piecewright.service.settings import Settings
from tests.service.asking import TWO_SQUARES, Json, check, codes, strip_of, templates

SQUARE = [[0, 0], [3, 0], [3, 3], [0, 3]]


def piece(**more: Any) -> Json:
    return {"pieces": [{"id": "a", "outline": SQUARE, **more}]}


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        ({"allowance": "3 1/16"}, "/allowance", "range"),
        ({"allowance": -0.1}, "/allowance", "range"),
        ({"allowance": {"seam": "1/4", "edge": "8 cm"}}, "/allowance/edge", "range"),
        ({"allowance": True}, "/allowance", "type"),
        ({"allowance": "1/0"}, "/allowance", "length"),
        ({"allowance": None}, "/allowance", "type"),
        ({"sheet": {"margin": 3.1}}, "/sheet/margin", "range"),
        ({"sheet": {"overlap": -1}}, "/sheet/overlap", "range"),
        ({"sheet": {"paper": {"width": 1.9, "height": 9}}}, "/sheet/paper/width", "range"),
        ({"sheet": {"paper": {"width": 9, "height": 201}}}, "/sheet/paper/height", "range"),
        ({"sheet": {"paper": {"width": 9}}}, "/sheet/paper/height", "required"),
        ({"sheet": {"width": 9, "height": 201}}, "/sheet/height", "range"),
        ({"sheet": {"width": 9}}, "/sheet", "paper"),
        ({"sheet": {"width": 9, "height": 12, "paper": "a4"}}, "/sheet", "paper"),
        ({"sheet": {"orientation": "upright"}}, "/sheet/orientation", "choice"),
        ({"sheet": []}, "/sheet", "type"),
        ({"finish": {}}, "/finish", "finish"),
        ({"finish": {"scale": 2, "width": 3}}, "/finish", "finish"),
        ({"finish": {"scale": 0}}, "/finish/scale", "range"),
        ({"finish": {"scale": "2"}}, "/finish/scale", "type"),
        ({"finish": {"width": 401}}, "/finish", "finish"),
        ({"finish": {"width": -3}}, "/finish", "finish"),
        ({"unit": "ft"}, "/unit", "choice"),
        ({"corners": 3}, "/corners", "choice"),
        ({"printer": {"across": 1}}, "/printer/down", "required"),
        ({"printer": {"across": "1 1/2 in", "down": 1}}, "/printer", "printer"),
        ({"printer": {"across": 0.85, "down": 1}}, "/printer", "printer"),
        ({"printer": {"across": "4 cm", "down": "5 cm"}}, "/printer", "printer"),
        ({"sheet": {"roll": "2 in"}}, "/sheet/roll", "range"),
        ({"sheet": {"roll": "24 in", "paper": "a4"}}, "/sheet", "paper"),
        ({"a/b~c": 1}, "/a~1b~0c", "unknown-field"),
        ({"block": 3}, "/block", "type"),
        ({"block": {}}, "/block", "block-form"),
        ({"block": {**piece(), "frame": SQUARE}}, "/block", "block-form"),
        ({"block": {"pieces": []}}, "/block/pieces", "too-few"),
        ({"block": {"pieces": [3]}}, "/block/pieces/0", "type"),
        ({"block": piece(id="")}, "/block/pieces/0/id", "text-length"),
        ({"block": piece(id="a" * 41)}, "/block/pieces/0/id", "text-length"),
        ({"block": piece(id="a\nb")}, "/block/pieces/0/id", "control-character"),
        ({"block": piece(id="\ud800")}, "/block/pieces/0/id", "control-character"),
        ({"block": {**piece(), "name": "n" * 201}}, "/block/name", "text-length"),
        ({"block": {**piece(), "name": "a\u0000"}}, "/block/name", "control-character"),
        ({"block": piece(path="M0 0 H3 V3 Z")}, "/block/pieces/0", "shape"),
        ({"block": piece(grain="up")}, "/block/pieces/0/grain", "choice"),
        ({"block": piece(grain=1e9)}, "/block/pieces/0/grain", "range"),
        (
            {"block": piece(outline=[[0, 0], [3, "x"], [3, 3]])},
            "/block/pieces/0/outline/1/1",
            "length",
        ),
        ({"block": piece(outline=[[0, 0], [3], [3, 3]])}, "/block/pieces/0/outline/1", "point"),
        ({"block": piece(outline=[[0, 0], [3, 3]])}, "/block/pieces/0/outline", "too-few"),
        ({"block": piece(outline=[[0, 0], [3, 1e5], [3, 3]])}, "/block/pieces/0/outline", "range"),
        (
            {"block": {"pieces": [{"id": "a", "path": "M0 0 H9 V9 H8"}]}},
            "/block/pieces/0/path",
            "path",
        ),
        ({"block": {"pieces": [{"id": "a"}]}}, "/block/pieces/0", "shape"),
        (
            {"block": {**piece(), "fabrics": [{"id": "f", "colour": "red"}]}},
            "/block/fabrics/0/colour",
            "colour",
        ),
        ({"block": {**piece(), "joins": ["a", "b", "c"]}}, "/block/joins", "joins"),
        ({"block": {**piece(), "joins": ["a", ["b", 3]]}}, "/block/joins/1/1", "joins"),
        ({"block": {"frame": SQUARE, "lines": [[[0, 0]]]}}, "/block/lines/0", "too-few"),
        (
            {"block": {"frame": SQUARE, "fills": [{"at": [1, 1]}]}},
            "/block/fills/0/fabric",
            "required",
        ),
    ],
)
def test_a_fault_is_told_with_its_pointer(
    client: FlaskClient, body: Json, pointer: str, code: str
) -> None:
    found = codes(check(client, {"block": TWO_SQUARES, **body}))
    assert found[pointer] == code


@pytest.mark.parametrize("body", ["null", "3", '"pinwheel"', "[]", "{}"])
def test_json_that_is_no_request_is_422(client: FlaskClient, body: str) -> None:
    codes(client.post("/v1/check", data=body, content_type="application/json"))


@pytest.mark.parametrize(
    ("field", "hint"),
    [
        ("alowance", "did you mean 'allowance'?"),
        ("printr", "did you mean 'printer'?"),
        ("xyzzy", "the fields are: block, unit"),
    ],
)
def test_an_unknown_field_gets_a_hint(client: FlaskClient, field: str, hint: str) -> None:
    (error,) = check(client, {"block": "pinwheel", field: 1}).json["errors"]  # type: ignore[index]
    assert hint in error["detail"]


def test_faults_of_settings_alone_are_a_problem_of_their_own(client: FlaskClient) -> None:
    problem = check(client, {"block": "pinwheel", "corners": "round"}).json
    assert problem is not None
    assert problem["type"] == "/problems/invalid-setting"


@pytest.mark.parametrize(
    "sheet",
    [
        {"paper": {"width": 9, "height": 12}},
        {"width": 9, "height": 12},
        {"width": "9in", "height": 12},
    ],
)
def test_paper_of_any_size_can_be_given_in_two_ways(client: FlaskClient, sheet: Json) -> None:
    answer = templates(client, {"block": "pinwheel", "sheet": sheet}, "image/svg+xml", "?page=1")
    assert b'viewBox="0 0 9 12"' in answer.data


def test_limits_are_the_limits_themselves(client: FlaskClient) -> None:
    body = {
        "block": {**TWO_SQUARES, "name": "n" * 200},
        "allowance": {"seam": 0, "edge": 3},
        "sheet": {"margin": 3, "overlap": 0, "paper": {"width": 200, "height": 200}},
    }
    assert check(client, body).status_code == 200


def test_more_pieces_or_points_than_are_read(client: FlaskClient) -> None:
    many = {"pieces": strip_of(2001)}
    assert codes(check(client, {"block": many}))["/block/pieces"] == "too-many-pieces"
    long = [[i, 0] for i in range(201)]
    found = codes(check(client, {"block": {"frame": long}}))
    assert found["/block/frame"] == "too-many-points"


def test_more_sheets_than_one_answer_has() -> None:
    few = create_app(Settings(max_sheets=2)).test_client()
    large = {"block": "pinwheel", "finish": {"width": 100}}
    assert codes(templates(few, large, "application/pdf"))["/sheet"] == "too-many-sheets"


def test_paper_without_room(client: FlaskClient) -> None:
    small = {"block": "pinwheel", "sheet": {"width": 4, "height": 4, "margin": "1 1/2"}}
    assert codes(templates(client, small, "application/pdf"))["/sheet"] == "paper-too-small"


def test_a_chain_of_joins_as_deep_as_a_block_can_have(client: FlaskClient) -> None:
    count = 300
    joins = "s0".join(["[" * (count - 1) + '"', '"']) + "".join(
        f',"s{i}"]' for i in range(1, count)
    )
    outlines = ",".join(
        f'{{"id":"s{i}","outline":[[{i},0],[{i + 1},0],[{i + 1},1],[{i},1]]}}' for i in range(count)
    )
    body = f'{{"block":{{"pieces":[{outlines}],"joins":{joins}}}}}'
    answer = client.post("/v1/check", data=body, content_type="application/json")
    assert answer.status_code == 200


def test_joins_deeper_than_pythons_calls_are_read_and_refused_plainly(client: FlaskClient) -> None:
    joins = "[" * 1999 + '"gull"' + ',"post"]' * 1999
    body = (
        '{"block":{"pieces":[{"id":"gull","outline":[[0,0],[3,0],[3,3],[0,3]]},'
        '{"id":"post","outline":[[3,0],[6,0],[6,3],[3,3]]}],"joins":' + joins + "}}"
    )
    answer = client.post("/v1/check", data=body, content_type="application/json")
    assert codes(answer)["/block/joins"] == "joins-incomplete"


@pytest.mark.parametrize(
    "body",
    [
        '{"allowance": DEEP, "block": "pinwheel"}',
        '{"block": DEEP}',
        '{"block": {"pieces": [{"id": DEEP, "outline": DEEP, "grain": DEEP}]}}',
        '{"block": {"frame": [DEEP, [DEEP, 1]], "lines": DEEP, "fills": [{"at": DEEP}]}}',
        '{"block": {"pieces": [{"id": "a", "path": DEEP}], "joins": DEEP, "sections": DEEP}}',
        '{"block": "pinwheel", "unit": DEEP, "corners": DEEP, "sheet": {"paper": DEEP}}',
        '{"block": "pinwheel", "finish": {"width": DEEP, "scale": DEEP}, "other": DEEP}',
        "DEEP",
    ],
)
@pytest.mark.parametrize("deep", ["[" * 1900 + "]" * 1900, '{"a":' * 1900 + "1" + "}" * 1900])
def test_deep_nesting_anywhere_is_a_plain_fault(client: FlaskClient, body: str, deep: str) -> None:
    data = body.replace("DEEP", deep)
    codes(client.post("/v1/check", data=data, content_type="application/json"))
