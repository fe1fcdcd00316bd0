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
        "inside": [1.5, 1.5],
        "neighbours": ["post"],
    }
    assert (post["area"], post["inside"], post["neighbours"]) == (4.5, [3.75, 1.5], ["gull"])
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
        (9, (9, 6)),
        ("4½ inches", (4.5, 3)),
    ],
)
def test_the_finished_size(client: FlaskClient, finish: Any, size: tuple[float, float]) -> None:
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


def told(client: FlaskClient, body: Any) -> Json:
    response = check(client, body)
    assert response.status_code == 422, response.get_data(as_text=True)
    return dict(response.json or {})


def test_with_faults_the_pieces_that_are_found_are_shown_as_drawn(client: FlaskClient) -> None:
    """So that a block stays on the screen while its author draws a line of it."""
    block = {
        "frame": [[0, 0], [4, 0], [4, 4], [0, 4]],
        "lines": [[[0, 1], [4, 1]], [[1, 2], [2, 2]]],
        "fills": [{"at": [2, 3], "fabric": "sea"}],
        "fabrics": [{"id": "sea"}],
    }
    problem = told(client, {"block": block, "unit": "cm", "finish": {"width": 20}})
    (error,) = problem["errors"]
    assert error["at"] in ([1, 2], [2, 2])
    assert [(p["id"], p["fabric"], p["area"]) for p in problem["pieces"]] == [
        ("p1", None, pytest.approx(4)),
        ("p2", "sea", pytest.approx(12)),
    ]
    assert problem["pieces"][1]["inside"] == pytest.approx([2, 2.5])
    assert "neighbours" not in problem["pieces"][0]


def test_sound_pieces_are_shown_beside_one_that_is_not(client: FlaskClient) -> None:
    bow_tie = {"id": "bow", "outline": [[5, 0], [8, 3], [8, 0], [5, 3]]}
    block = {"pieces": [*TWO_SQUARES["pieces"], bow_tie]}
    assert [p["id"] for p in told(client, {"block": block})["pieces"]] == ["gull", "post"]


def test_what_cannot_be_read_of_a_block_hides_nothing_else(client: FlaskClient) -> None:
    """A coordinate that is being typed, say."""
    typing = {"id": "mast", "outline": [[0, 3], [3, 3], [3, "4 "], [0, "4 1/"]]}
    block = {**TWO_SQUARES, "unit": "cm", "pieces": [*TWO_SQUARES["pieces"], typing], "width": "x"}
    problem = told(client, {"block": block})
    assert [e["pointer"] for e in problem["errors"]] == [
        "/block/width",
        "/block/pieces/2/outline/3/1",
    ]
    assert [(p["id"], p["area"]) for p in problem["pieces"]] == [("gull", 9), ("post", 4.5)]
    lines = [[[0, 1], [3, 1]], [[0, 2], ["3 1/", 2]], "x"]
    drawing = {"frame": [[0, 0], [3, 0], [3, 3], [0, 3]], "lines": lines}
    assert [p["area"] for p in told(client, {"block": drawing})["pieces"]] == [3, 6]
    hopeless: list[Any] = [{"pieces": "x"}, {"lines": []}, {"frame": [[0, 0]]}, {"pieces": []}, 3]
    for block in hopeless:
        assert "pieces" not in told(client, {"block": block})


def test_a_wrong_setting_hides_no_piece(client: FlaskClient) -> None:
    problem = told(client, {"block": TWO_SQUARES, "corners": "round", "finish": 9})
    assert [p["area"] for p in problem["pieces"]] == [36, 18]


def test_pieces_are_no_business_of_other_requests(client: FlaskClient) -> None:
    wrong = {"block": TWO_SQUARES, "corners": "round"}
    assert "pieces" not in (client.post("/v1/templates", json=wrong).json or {})
    assert "pieces" not in told(client, {"block": "no such block"})


def test_a_fill_on_a_line_is_a_caution(client: FlaskClient) -> None:
    block = {
        "frame": [[0, 0], [4, 0], [4, 4], [0, 4]],
        "lines": [[[0, 1], [4, 1]]],
        "fills": [{"at": [2, 1], "fabric": "sea"}],
        "fabrics": [{"id": "sea"}],
    }
    checked = answer(client, {"block": block, "finish": 8})
    (caution,) = checked["cautions"]
    assert (caution["pointer"], caution["code"]) == ("/block/fills/0/at", "fill-on-line")
    assert caution["at"] == [4, 2]
    assert [p["fabric"] for p in checked["pieces"]] == [None, "sea"]


@pytest.mark.parametrize("name", ["Sawtooth Star", "sawtooth star", " SAWTOOTH-STAR "])
def test_a_block_is_found_by_its_name_too(client: FlaskClient, name: str) -> None:
    assert answer(client, {"block": name}) == answer(client, {"block": "sawtooth-star"})


@pytest.mark.parametrize("paper", ["A4", " a 4", "ANSI C", "Letter"])
def test_a_paper_is_found_by_its_name_too(client: FlaskClient, paper: str) -> None:
    answer(client, {"block": TWO_SQUARES, "sheet": {"paper": paper}})
