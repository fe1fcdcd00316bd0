"""Blocks made of blocks, in every printable and in faults, over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.patchwork.block.nine_peaks import NINE_PEAKS, PEAK
from tests.service.asking import check, codes, printed, unlike

Json = dict[str, Any]


SCHEMAS = {
    "check": "CheckAnswer",
    "templates": "TemplatesAnswer",
    "sewing-plan": "SewingPlanAnswer",
    "block-map": "BlockMapAnswer",
    "foundation": "FoundationAnswer",
    "cutting-list": "CuttingListAnswer",
}


def asked(block: Json) -> Json:
    return {"block": block, "finish": {"width": 9}}


@pytest.mark.parametrize("path", SCHEMAS)
def test_every_printable_is_made_of_a_grid(client: FlaskClient, path: str) -> None:
    answer = printed(path, client, asked(NINE_PEAKS))
    assert answer.status_code == 200, answer.text
    assert unlike(SCHEMAS[path], answer.json) == []


def test_packet_is_made_of_a_grid(client: FlaskClient) -> None:
    body = {**asked(NINE_PEAKS), "parts": ["cover", "foundation"]}
    answer = printed("packet", client, body, "application/pdf")
    assert answer.status_code == 200
    assert answer.data.startswith(b"%PDF")


def test_peaks_of_all_cells_share_a_template(client: FlaskClient) -> None:
    answer = printed("templates", client, asked(NINE_PEAKS)).json
    peaks = {p["template"] for p in answer["pieces"] if p["id"].endswith(".peak")}
    patches = {p["template"] for p in answer["pieces"] if "." not in p["id"]}
    assert len(peaks) == len(patches) == 1
    assert len(answer["pieces"]) == 17


def test_foundation_has_the_sections_of_each_block(client: FlaskClient) -> None:
    answer = printed("foundation", client, asked(NINE_PEAKS)).json
    sections = {s["id"]: s["order"] for s in answer["sections"]}
    assert len(sections) == 9
    cells = {id: {piece.split(".")[0] for piece in order} for id, order in sections.items()}
    assert all(len(names) == 1 for names in cells.values())
    peaks = [order for order in sections.values() if len(order) == 3]
    # Alike, whatever the turn.
    assert len({tuple(piece.split(".")[1] for piece in order) for order in peaks}) == 1


def test_section_of_a_block_in_a_grid_keeps_its_name(client: FlaskClient) -> None:
    own = {
        "pieces": [
            {"id": "a", "outline": [[0, 0], [1, 0], [1, 2], [0, 2]]},
            {"id": "b", "outline": [[1, 0], [2, 0], [2, 2], [1, 2]]},
        ],
        "sections": [{"id": "S", "order": ["b", "a"]}],
    }
    answer = printed("foundation", client, {"block": {"grid": {"blocks": [[own, own]]}}}).json
    assert {s["id"]: s["order"] for s in answer["sections"]} == {
        "b1.S": ["b1.b", "b1.a"],
        "b2.S": ["b2.b", "b2.a"],
    }
    assert answer["joins"] == ["b1.S", "b2.S"]


def test_curved_block_in_a_grid_has_no_foundation_and_its_cell_is_named(
    client: FlaskClient,
) -> None:
    grid = {"blocks": [["nine-patch", "drunkards-path"]]}
    cloth = [{"id": id} for id in ("light", "dark", "background")]
    body = {"block": {"grid": grid, "fabrics": cloth}}
    assert codes(printed("foundation", client, body)) == {"/block/grid/blocks/0/1": "curved-seam"}


def test_cautions_point_to_the_cell(client: FlaskClient) -> None:
    body = {"block": NINE_PEAKS, "finish": {"width": 1}}
    cautions = check(client, body).json["cautions"]  # type: ignore[index]
    assert {c["pointer"] for c in cautions if c["code"] == "narrow-piece"} >= {
        "/block/grid/blocks/0/0",
        "/block/grid/blocks/0/1",
    }


def test_steps_of_a_grid_are_made_of_whole_blocks(client: FlaskClient) -> None:
    answer = printed("sewing-plan", client, asked(NINE_PEAKS)).json
    made = {frozenset(units[0] + units[1]) for units in (s["units"] for s in answer["steps"])}
    for cell in ("b2", "b4", "b6", "b8"):
        assert frozenset(f"{cell}.{id}" for id in ("left", "peak", "right")) in made
    assert not answer["order"]["given"]


@pytest.mark.parametrize(
    ("block", "fault"),
    [
        ({"grid": {}}, ("/block/grid/blocks", "required")),
        ({"grid": {"blocks": []}}, ("/block/grid/blocks", "too-few")),
        ({"grid": {"blocks": [[{"piece": 1}]]}}, ("/block/grid/blocks/0/0", "block-form")),
        ({"grid": {"blocks": [[None]]}}, ("/block/grid/blocks/0/0", "type")),
        ({"grid": {"blocks": [["nine-pach"]]}}, ("/block/grid/blocks/0/0", "unknown-block")),
        ({"grid": {"blocks": [[PEAK]], "turns": [[45]]}}, ("/block/grid/turns/0/0", "choice")),
        ({"grid": {"blocks": [[PEAK]], "rows": 0}}, ("/block/grid/rows", "range")),
        (
            {"grid": {"blocks": [[PEAK]], "columns": ["wide"]}},
            ("/block/grid/columns/0", "length"),
        ),
        (
            {"grid": {"blocks": [[{"block": {"block": PEAK, "fabrics": {}}, "fabrics": {}}]]}},
            ("/block/grid/blocks/0/0/block", "block-form"),
        ),
        (
            {"grid": {"blocks": [[{"pieces": [{"id": "a", "outline": [[0, 0], [1, 0]]}]}]]}},
            ("/block/grid/blocks/0/0/pieces/0/outline", "too-few"),
        ),
        (
            {
                "grid": {
                    "blocks": [[{"pieces": [{"id": "a", "outline": [[0, 0], [2e4, 0], [9, 9]]}]}]]
                }
            },
            ("/block/grid/blocks/0/0/pieces/0/outline", "range"),
        ),
        ({"grid": {"blocks": [[PEAK]]}, "pieces": []}, ("/block", "block-form")),
        ({"grid": {"blocks": [[PEAK]]}, "sections": []}, ("/block/sections", "unknown-field")),
    ],
)
def test_what_is_wrong_with_a_grid_is_told(
    client: FlaskClient, block: Json, fault: tuple[str, str]
) -> None:
    assert codes(check(client, {"block": block})) == dict([fault])


def test_grids_that_lie_thousands_deep_are_refused(client: FlaskClient) -> None:
    # As text, since the JSON module of Python cannot write what lies that deep.
    deep = '{"grid": {"blocks": [[' * 400 + f'"{PEAK}"' + "]]}}" * 400
    answer = client.post("/v1/check", data=f'{{"block": {deep}}}', content_type="application/json")
    found = codes(answer)
    assert found == {"/block" + "/grid/blocks/0/0" * 4: "too-deep"}


def test_quilt_may_have_blocks_made_of_blocks(client: FlaskClient) -> None:
    body = {
        "quilt": {"blocks": [["peaks", "nine-patch"], ["nine-patch", "peaks"]]},
        "designs": {"peaks": NINE_PEAKS},
        "defaults": {"finish": {"width": 9}},
    }
    answer = printed("quilt-plan", client, body)
    assert answer.status_code == 200, answer.text
