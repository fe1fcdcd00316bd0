"""``POST /v1/quilt-plan``: who makes what of a quilt, pressed which way."""

from __future__ import annotations

import io
from collections import Counter
from functools import partial
from typing import Any

import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.service.http.openapi.examples import HARBOUR_QUILT
from tests.service.asking import codes, printed

NINE: dict[str, Any] = {
    "quilt": {"blocks": [["nine-patch"] * 4] * 3},
    "makers": ["Ada", "Wim", "Noor", "Bente", "Carl"],
}
asked = partial(printed, "quilt-plan")
SQUARE = {"frame": [[0, 0], [3, 0], [3, 3], [0, 3]], "lines": [[[0, 1], [3, 1]]]}


def test_like_nine_patches_nest_if_every_second_one_is_pressed_the_other_way(
    client: FlaskClient,
) -> None:
    """Common practice, no source: two kinds of block, set like the fields of a draughts board."""
    got = asked(client, NINE).json
    assert got["nested"] == got["bound"]
    assert got["optimal"]
    assert all(meeting["nests"] for meeting in got["meetings"])
    assert [variant["count"] for variant in got["variants"]] == [6, 6]
    of = {(one["row"], one["column"]): one["variant"] for one in got["placements"]}
    assert len({of[r, c] for r, c in of if (r + c) % 2}) == 1
    assert of[1, 1] != of[1, 2]
    # 9 seams across and 8 down between 12 blocks, two meetings on each; 6 corners of four.
    assert len(got["meetings"]) == 2 * (9 + 8) + 6


def test_blocks_are_shared_out_evenly(client: FlaskClient) -> None:
    got = asked(client, NINE).json
    assert sorted(maker["blocks"] for maker in got["makers"]) == [2, 2, 2, 3, 3]
    by_maker = Counter(one["maker"] for one in got["placements"])
    assert {m["name"]: m["blocks"] for m in got["makers"]} == by_maker


def test_two_ways_to_write_a_name_are_one_block(client: FlaskClient) -> None:
    got = asked(client, {"quilt": {"blocks": [["Nine Patch", "nine-patch"]]}}).json
    assert {one["block"] for one in got["placements"]} == {"nine-patch"}
    own = {"quilt": {"blocks": [["Nine Patch"]]}, "designs": {"Nine Patch": SQUARE}}
    assert {one["block"] for one in asked(client, own).json["placements"]} == {"Nine Patch"}


def test_nobody_need_be_named(client: FlaskClient) -> None:
    got = asked(client, {"quilt": NINE["quilt"]}).json
    assert got["makers"] == []
    assert {one["maker"] for one in got["placements"]} == {None}


def test_a_variant_is_what_its_pressing_makes_of_the_block(client: FlaskClient) -> None:
    got = asked(client, NINE).json
    own: Any = client.post("/v1/sewing-plan", json={"block": "nine-patch"}).json
    for variant in got["variants"]:
        body = {"block": variant["block"], "pressing": variant["pressing"]}
        plan: Any = client.post("/v1/sewing-plan", json=body).json
        assert plan["nested"] == own["nested"]
        kept = {one["step"]: one["press"] for one in variant["pressing"]["keep"]}
        assert {step["id"]: step["press"] for step in plan["steps"]} == kept


def test_sizes_to_square_up_to_have_the_allowance_at_both_edges(client: FlaskClient) -> None:
    got = asked(client, {**NINE, "defaults": {"finish": {"width": 12}}}).json
    assert (got["width"], got["height"]) == (48, 36)
    assert got["steps"][-1]["unfinished"] == {"width": 48.5, "height": 36.5}
    rows = [step for step in got["steps"] if step["joins"] == "blocks"]
    assert {step["press"] for step in rows if step["units"][0]["top"] == 1} == {"right"}
    assert {step["press"] for step in rows if step["units"][0]["top"] == 2} == {"left"}


def test_every_form_names_the_quilt_and_its_makers(client: FlaskClient) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(asked(client, HARBOUR_QUILT.body, "application/pdf").data))
    text = " ".join(page.extract_text() for page in pdf.pages)
    for message in ("Harbour quilt", "Ada", "Wim", "not to scale"):
        assert message in text
    svg = asked(client, HARBOUR_QUILT.body, "image/svg+xml")
    assert svg.status_code == 200
    assert asked(client, HARBOUR_QUILT.body, "application/zip").status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"quilt": {"blocks": [["nine-patch", "pinwhel"]]}}, "/quilt/blocks/0/1", "unknown-block"),
        ({"quilt": {"blocks": [["spools"] * 2, ["spools"]]}}, "/quilt/blocks/1", "quilt-layout"),
        ({"quilt": {"rows": 2, "blocks": [["spools"]]}}, "/quilt/blocks", "quilt-layout"),
        ({"quilt": {"blocks": [["spools"]], "turns": [[45]]}}, "/quilt/turns/0/0", "choice"),
        ({"quilt": {"blocks": [["spools"]], "turns": [[0], [0]]}}, "/quilt/turns", "quilt-layout"),
        ({"makers": ["Ada", "Wim", "Ada"]}, "/makers/2", "duplicate"),
        ({"makers": [f"Maker {n}" for n in range(13)]}, "/makers", "makers"),
        ({"designs": {"pier": SQUARE}}, "/designs/pier", "unused-design"),
        ({"defaults": {"corners": "round"}}, "/defaults/corners", "choice"),
        ({"defaults": {"block": "spools"}}, "/defaults/block", "unknown-field"),
        ({"quilt": {"blocks": [["hexagon-rosette"]]}}, "/quilt/blocks/0/0", "not-a-rectangle"),
        (
            {"quilt": {"blocks": [["flying-geese"], ["nine-patch"]]}},
            "/quilt/blocks/1/0",
            "block-size",
        ),
    ],
)
def test_what_is_wrong_is_pointed_to(
    client: FlaskClient, change: Any, pointer: str, code: str
) -> None:
    body = {**NINE, **change}
    if "quilt" in change:
        body.pop("makers")
    assert codes(asked(client, body)).get(pointer) == code


def test_a_fault_of_a_design_is_pointed_to_inside_it(client: FlaskClient) -> None:
    torn = {**SQUARE, "lines": [[[0, 1], [2, 1]]]}
    body = {"quilt": {"blocks": [["pier/1", "pier/1"]]}, "designs": {"pier/1": torn}}
    assert codes(asked(client, body)) == {"/designs/pier~11/lines/0": "dangling-line"}


def test_a_wrong_setting_is_told_once_for_all_blocks(client: FlaskClient) -> None:
    body = {**HARBOUR_QUILT.body, "defaults": {"allowance": "4 in"}}
    answer = asked(client, body)
    assert [fault["pointer"] for fault in answer.json["errors"]] == ["/defaults/allowance"]
