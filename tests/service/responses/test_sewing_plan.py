"""``POST /v1/sewing-plan`` and ``POST /v1/block-map``: every field, every form."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from flask.testing import FlaskClient

from piecewright.patchwork.block.catalogue import load
from piecewright.patchwork.sewing.plan import sewing_plan
from piecewright.service import cli
from tests.service.asking import STAR, TWO_SQUARES, printed, unlike

PATHS = ["sewing-plan", "block-map"]
SCHEMAS = {"sewing-plan": "SewingPlanAnswer", "block-map": "BlockMapAnswer"}
NAMES = ["nine-patch", "hexagon-rosette", "orange-peel", "log-cabin", "bright-hopes"]


def flat(joins: Any) -> list[str]:
    return [joins] if isinstance(joins, str) else [id for unit in joins for id in flat(unit)]


# --- JSON -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("name", NAMES)
def test_answers_are_as_the_document_says(client: FlaskClient, path: str, name: str) -> None:
    answer = printed(path, client, {"block": name})
    assert answer.status_code == 200, answer.text
    assert unlike(SCHEMAS[path], answer.json) == []


def test_a_plan_says_where_tips_stand_out(client: FlaskClient) -> None:
    asked = {"block": "bow-tie", "unit": "cm", "allowance": "1/4 in"}
    first, second, *others = printed("sewing-plan", client, asked).json["steps"]
    for step in (first, second):
        ends = sorted(tip["at"] for tip in step["tips"])
        assert ends == sorted([step["seam"][0], step["seam"][-1]])
        assert {(tip["piece"], round(tip["by"], 3)) for tip in step["tips"]} == {("knot", 0.372)}
        assert "Centre it: 0.4 cm stands out at each end (knot)." in step["text"]
    assert all(step["tips"] == [] for step in others)
    blunt = printed("sewing-plan", client, {**asked, "corners": "blunt"}).json
    assert all(step["tips"] == [] for step in blunt["steps"])


def test_steps_say_at_which_end_they_stop_for_a_later_pivot(client: FlaskClient) -> None:
    first, second = printed("sewing-plan", client, {"block": "tumbling-blocks"}).json["steps"]
    (end,) = first["stop"]
    assert first["seam"][{"start": 0, "end": -1}[end]] == second["pivots"][0]
    assert second["stop"] == []
    pieces = printed("templates", client, {"block": "tumbling-blocks"}).json["pieces"]
    stops = {piece["id"]: piece["stop_points"] for piece in pieces}
    sewn_first = {id for unit in first["units"] for id in unit}
    assert {id for id, points in stops.items() if points} == sewn_first
    assert all(points == second["pivots"] for points in stops.values() if points)


def test_a_plan_has_every_field(client: FlaskClient) -> None:
    got = printed("sewing-plan", client, STAR).json
    plan = sewing_plan(load("sawtooth-star"))
    assert sorted(flat(got["joins"])) == sorted(piece.id for piece in plan.block.pieces)
    assert got["joins"][0] != got["joins"][1]
    assert [step["id"] for step in got["steps"]] == [str(k) for k in range(1, 17)]
    first, second = got["steps"][0], got["steps"][1]
    assert first["units"] == [["n"], ["n1"]]
    assert sorted(first["seam"]) == [[3, 0], [6, 3]]
    assert (first["kind"], first["pivots"], first["unfinished"]) == ("straight", [], None)
    assert (first["press"], first["toward"]) == ("second", "dark")
    assert second["unfinished"] == {"width": 6.5, "height": 3.5}
    assert got["steps"][-1]["unfinished"] == {"width": 12.5, "height": 12.5}
    assert (got["nested"], got["bound"], got["optimal"]) == (4, 4, True)
    assert len(got["meetings"]) == 4
    for meeting in got["meetings"]:
        assert meeting["nests"]
        assert len(meeting["arrive"]) == 2
        earlier = [int(step) for side in meeting["arrive"] for step in side]
        assert max(earlier) < int(meeting["step"])
    assert len(got["deviations"]["first_to_suffer"]) == 3
    assert [level[0] for level in got["levels"]][:2] == ["1", "2"]


def test_steps_can_be_sewn_in_their_order(client: FlaskClient) -> None:
    for name in NAMES:
        got = printed("sewing-plan", client, {"block": name}).json
        made = {(piece,) for piece in flat(got["joins"])}
        for step in got["steps"]:
            units = [tuple(unit) for unit in step["units"]]
            assert set(units) <= made
            made = (made - set(units)) | {units[0] + units[1]}
        assert len(made) == 1


def test_joins_of_an_answer_can_be_sent_back(client: FlaskClient) -> None:
    block = client.get("/v1/blocks/ohio-star").json
    assert block is not None
    got = printed("sewing-plan", client, {"block": block}).json
    again = printed("sewing-plan", client, {"block": {**block, "joins": got["joins"]}}).json
    assert again["steps"] == got["steps"]
    assert again["order"]["given"]


def test_rounds_of_a_log_cabin(client: FlaskClient) -> None:
    got = printed("sewing-plan", client, {"block": "log-cabin", "finish": {"width": 9}}).json
    sizes = [one["unfinished"]["width"] for one in got["rounds"]]
    assert sizes == [3.5, 5.5, 7.5, 9.5]
    assert got["rounds"][0]["from_centre"] == dict.fromkeys(("left", "up", "right", "down"), 1.75)


def test_lengths_are_in_the_requests_unit(client: FlaskClient) -> None:
    got = printed("sewing-plan", client, {**STAR, "unit": "mm", "finish": {"width": "12 in"}}).json
    assert got["steps"][-1]["unfinished"] == {"width": 319.8, "height": 319.8}
    assert got["deviations"]["cutting"] == pytest.approx(25.4 / 32, abs=1e-6)
    assert got["steps"][-1]["text"][-1] == "Trim to ~320 × ~320 mm."


def test_a_map_has_what_it_shows(client: FlaskClient) -> None:
    got = printed("block-map", client, STAR).json
    assert (got["width"], got["height"]) == (12, 12)
    assert len(got["pieces"]) == 17
    assert {f["id"]: f["pieces"] for f in got["fabrics"]} == {
        "background": 8,
        "dark": 8,
        "accent": 1,
    }
    assert got["seams"][0]["toward"] == ["n1"]
    assert len(got["seams"]) == 16
    assert got["meetings"] == printed("sewing-plan", client, STAR).json["meetings"]
    shown = {item["drawing"] for page in got["pages"] for item in page["items"]}
    assert shown == {"block-map"}


# --- options --------------------------------------------------------------------------------------


def test_directions_are_kept_and_thick_seams_opened(client: FlaskClient) -> None:
    wish = {"open_above": 5, "keep": [{"step": "1", "press": "second"}]}
    for path, steps in zip(PATHS, ("steps", "seams"), strict=True):
        got = printed(path, client, {"block": "nine-patch", "pressing": wish}).json
        assert got[steps][0]["press"] == "second"
        assert "open" in {step["press"] for step in got[steps]}


def test_a_careful_maker_is_less_far_off(client: FlaskClient) -> None:
    def off(**deviation: Any) -> float:
        body = {"block": "nine-patch", "deviation": deviation}
        got = printed("sewing-plan", client, body).json
        return float(got["deviations"]["first_to_suffer"][0]["mismatch"]["untrimmed"]["likely"])

    assert off(cutting="1/64 in", sewing="1/64 in") == pytest.approx(off() / 2, abs=1e-5)
    assert off(cutting=0, sewing=0) == 0.0


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    ("field", "value", "pointer", "code"),
    [
        ("pressing", {"keep": [{"step": "99", "press": "first"}]}, "keep/0/step", "unknown-step"),
        ("pressing", {"keep": [{"step": "p1", "press": "first"}]}, "keep/0/step", "unknown-step"),
        ("pressing", {"keep": [{"step": "٣", "press": "first"}]}, "keep/0/step", "unknown-step"),
        ("pressing", {"keep": [{"step": "1", "press": "up"}]}, "keep/0/press", None),
        ("pressing", {"keep": [{"step": 1, "press": "open"}]}, "keep/0/step", None),
        ("pressing", {"open_above": 1}, "open_above", "range"),
        ("pressing", {"open": 8}, "open", "unknown-field"),
        ("deviation", {"cutting": 3}, "cutting", "range"),
        ("deviation", {"sewing": "-1/32"}, "sewing", "range"),
    ],
)
def test_wishes_that_cannot_be_are_refused(
    client: FlaskClient, path: str, field: str, value: Any, pointer: str, code: str | None
) -> None:
    answer = printed(path, client, {"block": "nine-patch", field: value})
    assert answer.status_code == 422
    (fault,) = answer.json["errors"]
    assert fault["pointer"] == f"/{field}/{pointer}"
    assert code in (fault["code"], None)


# --- forms ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", PATHS)
def test_a_canvas_is_plain_svg_with_its_lines_named(client: FlaskClient, path: str) -> None:
    root = ElementTree.fromstring(printed(path, client, STAR, "image/svg+xml").data)
    classes = {element.get("class") for element in root.iter()}
    assert {"tint", "pattern", "dots", "sewing-line", "press", "meeting", "label"} <= classes
    tags = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert not tags & {"pattern", "script", "image", "use"}
    # What is filled has no line of its own besides.
    tints = [e for e in root.iter() if e.get("class") == "tint"]
    assert {e.get("stroke-width") for e in tints} == {"0"}


@pytest.mark.parametrize("path", PATHS)
def test_names_in_letters_that_no_font_has_do_no_harm(client: FlaskClient, path: str) -> None:
    fabric = {"id": "海", "name": "海 <&> 🧵" * 9, "colour": "#123456"}
    pieces = [{**piece, "fabric": "海"} for piece in TWO_SQUARES["pieces"]]
    block = {**TWO_SQUARES, "name": "港の灯", "pieces": pieces, "fabrics": [fabric]}
    for form in ("application/json", "application/pdf", "image/svg+xml"):
        assert printed(path, client, {"block": block}, form).status_code == 200


@pytest.mark.parametrize("path", PATHS)
def test_a_block_of_one_piece_is_no_error(client: FlaskClient, path: str) -> None:
    block = {"pieces": TWO_SQUARES["pieces"][:1]}
    got = printed(path, client, {"block": block}).json
    assert got["meetings"] == []
    if path == "sewing-plan":
        assert (got["joins"], got["steps"]) == ("gull", [])


# --- the command line -----------------------------------------------------------------------------


@pytest.mark.parametrize("path", PATHS)
def test_the_command_line_answers_alike(
    client: FlaskClient, path: str, tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    options = ["--finish-width", "9in", "--open-above", "5", "--keep", "1=second"]
    assert cli.main([path, "nine-patch", *options, "--cutting", "1/64in"]) == 0
    got = json.loads(capsysbinary.readouterr().out)
    body = {
        "block": "nine-patch",
        "finish": {"width": "9in"},
        "pressing": {"open_above": 5, "keep": [{"step": "1", "press": "second"}]},
        "deviation": {"cutting": "1/64 in"},
    }
    assert got == printed(path, client, body).json
    assert cli.main([path, "nine-patch", "-o", str(tmp_path / "out.pdf")]) == 0
    assert (tmp_path / "out.pdf").read_bytes().startswith(b"%PDF")
    assert cli.main([path, "nine-patch", "--keep", "1=sideways"]) == 1
    assert b"/pressing/keep/0/press" in capsysbinary.readouterr().err
    assert cli.main([path, "nine-patch", "--page", "1"]) == 2
