"""``POST /v1/check``: the block read back, or every fault at once, in the request's unit."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.service.asking import TWO_SQUARES, Json, check, codes


def answer(client: FlaskClient, body: Any) -> Json:
    response = check(client, body)
    assert response.status_code == 200, response.get_data(as_text=True)
    return dict(response.json or {})


def test_a_block_is_read_back(client: FlaskClient) -> None:
    checked = answer(client, {"block": TWO_SQUARES})
    assert (checked["unit"], checked["width"], checked["height"]) == ("in", 4.5, 3)
    gull, post = checked["pieces"]
    assert gull == {
        "id": "gull",
        "fabric": None,
        "finished": [[0, 0], [3, 0], [3, 3], [0, 3]],
        "area": 9,
    }
    assert post["area"] == 4.5
    assert checked["cautions"] == []


@pytest.mark.parametrize(
    ("body", "unit", "width"),
    [
        pytest.param({}, "in", 4.5, id="inches if nothing is said"),
        pytest.param({"unit": "cm"}, "cm", 4.5, id="the request's, for a block without one"),
        pytest.param({"block": {"unit": "mm"}}, "mm", 4.5, id="the block's"),
        pytest.param({"unit": "in", "block": {"unit": "cm"}}, "in", 1.771654, id="both"),
        pytest.param({"unit": "cm", "block": {"unit": "in"}}, "cm", 11.43, id="both, about"),
        pytest.param({"unit": "mm", "finish": {"width": 90}}, "mm", 90, id="of the finish"),
        pytest.param({"finish": {"width": "9 cm"}}, "in", 3.543307, id="of a length's own"),
    ],
)
def test_units(client: FlaskClient, body: Json, unit: str, width: float) -> None:
    block = {**TWO_SQUARES, **body.get("block", {})}
    if body.get("unit", block.get("unit")) == "mm" and "finish" not in body:
        body = {**body, "finish": {"scale": 10}}  # the least block is 1/4 in wide
        width *= 10
    checked = answer(client, {**body, "block": block})
    assert (checked["unit"], checked["width"]) == (unit, width)


@pytest.mark.parametrize(
    ("finish", "size"),
    [
        ({"width": 9}, (9, 6)),
        ({"height": "1 1/2"}, (2.25, 1.5)),
        ({"width": 9, "height": 9}, (9, 9)),
        ({"scale": 2}, (9, 6)),
    ],
)
def test_the_finished_size(client: FlaskClient, finish: Json, size: tuple[float, float]) -> None:
    checked = answer(client, {"block": TWO_SQUARES, "finish": finish})
    assert (checked["width"], checked["height"]) == size


def test_a_curve_is_answered_as_points(client: FlaskClient) -> None:
    checked = answer(client, {"block": "drunkards-path"})
    pie = next(piece for piece in checked["pieces"] if piece["id"] == "pie")
    assert pie["area"] == pytest.approx(4 * 3.14159265, abs=1e-4)
    radii = [(x * x + y * y) ** 0.5 for x, y in pie["finished"] if (x, y) != (0, 0)]
    assert radii == pytest.approx([4] * len(radii), abs=1e-5)


def test_cautions_point_to_the_piece_and_tell_the_place(client: FlaskClient) -> None:
    block = {"pieces": [{"id": "a", "outline": [[0, 0], [6, 0], [6, 0.3], [0, 0.3]]}]}
    (caution,) = answer(client, {"block": block})["cautions"]
    assert (caution["pointer"], caution["code"]) == ("/block/pieces/0", "narrow-piece")
    assert 0 <= caution["at"][0] <= 6


def test_cautions_of_a_catalogue_block_point_to_the_block(client: FlaskClient) -> None:
    checked = answer(client, {"block": "pinwheel", "allowance": 3})
    assert {caution["pointer"] for caution in checked["cautions"]} == {"/block"}


def test_all_faults_are_told_at_once(client: FlaskClient) -> None:
    response = check(
        client,
        {
            "block": {
                "name": "Torn Sail",
                "pieces": [
                    {"id": "a", "outline": [[0, 0], [3, 0], [3, 3], [0, 3]], "fabric": "jib"},
                    {"id": "a", "outline": [[2, 0], [6, 0], [6, 3], [2, 3]]},
                ],
            },
            "alowance": 1,
            "corners": "round",
            "sheet": {"paper": "a44", "margin": "4 thumbs"},
        },
    )
    assert codes(response) == {
        "/alowance": "unknown-field",
        "/corners": "choice",
        "/sheet/paper": "choice",
        "/sheet/margin": "length",
        "/block/pieces/0/id": "duplicate-id",
        "/block/pieces/1/id": "duplicate-id",
        "/block/pieces/0/fabric": "unknown-fabric",
        "/block/pieces/1": "overlap",
    }
    assert response.json["type"] == "/problems/invalid-block"  # type: ignore[index]


def test_places_of_faults_are_told_in_the_requests_unit(client: FlaskClient) -> None:
    block = {
        "unit": "mm",
        "frame": [[0, 0], [100, 0], [100, 100], [0, 100]],
        "lines": [[[0, 50], [40, 50]]],
    }
    (error,) = check(client, {"block": block, "unit": "cm"}).json["errors"]  # type: ignore[index]
    assert error["code"] == "dangling-line"
    assert error["at"] == pytest.approx([4, 5], abs=1e-4)


def test_joins_that_do_not_fit_are_a_fault_of_the_block(client: FlaskClient) -> None:
    response = check(client, {"block": {**TWO_SQUARES, "joins": ["gull", "mast"]}})
    assert codes(response)["/block/joins/1"] == "unknown-piece"


def test_sections_that_cannot_be_sewn_are_a_fault(client: FlaskClient) -> None:
    """The middle of three strips comes last: on paper it would have to meet both at once."""
    strips = {
        "frame": [[0, 0], [3, 0], [3, 3], [0, 3]],
        "lines": [[[1, 0], [1, 3]], [[2, 0], [2, 3]]],
        "sections": [{"id": "A", "order": ["p1", "p3", "p2"]}],
    }
    assert codes(check(client, {"block": strips})) == {
        "/block/sections/0/order/1": "unsewable-step"
    }
    sewable = {**strips, "sections": [{"id": "A", "order": ["p1", "p2", "p3"]}]}
    assert check(client, {"block": sewable}).status_code == 200


def test_unknown_fields_are_told_in_the_order_of_the_request(client: FlaskClient) -> None:
    """So that the same request gives the same bytes, whichever process answers it."""
    names = ["gull", "tern", "knot", "avocet", "plover", "dunlin", "curlew", "whimbrel"]
    # Flask's client would sort the fields.
    body = json.dumps({"block": TWO_SQUARES, **dict.fromkeys(names, 1)})
    answer = client.post("/v1/check", data=body, content_type="application/json")
    assert answer.json is not None
    assert [fault["pointer"] for fault in answer.json["errors"]] == [f"/{n}" for n in names]


def test_what_is_wrong_with_an_object_as_a_whole_keeps_its_place(client: FlaskClient) -> None:
    answer = check(client, {"block": {"pieces": [{"id": "gull", "tern": 1}]}})
    assert codes(answer) == {"/block/pieces/0/tern": "unknown-field", "/block/pieces/0": "shape"}
    assert answer.json is not None
    assert [fault["pointer"] for fault in answer.json["errors"]] == list(codes(answer))
