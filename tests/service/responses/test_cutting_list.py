"""``POST /v1/cutting-list``: the list in every form, and what it refuses."""

from __future__ import annotations

import io
import json
from functools import partial
from pathlib import Path
from typing import Any

import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.service import cli
from piecewright.service.http.openapi.examples import GUILD_QUILT
from tests.service.asking import STAR, codes, printed

asked = partial(printed, "cutting-list")


def test_json_has_every_field(client: FlaskClient) -> None:
    got = asked(client, STAR).json
    assert [fabric["fabric"] for fabric in got["fabrics"]] == ["background", "dark", "accent"]
    background, dark, accent = got["fabrics"]
    geese, corners = background["cuts"]
    # 6 + 1 1/4 = 7 1/4 in, cut twice; 3 + 1/2 in.
    assert geese["shape"] == "quarter-square triangle"
    assert geese["finished"] == {"width": 6, "height": 3}
    assert geese["cut"] == {"width": 7.25, "height": 7.25}
    assert (geese["count"], geese["blanks"], geese["yields"]) == (4, 1, 4)
    assert geese["from"] == "strip"
    assert geese["note"] == "cut twice corner to corner; trim to size"
    assert (corners["shape"], corners["count"]) == ("square", 4)
    assert corners["cut"] == {"width": 3.5, "height": 3.5}
    assert background["strips"][1]["yields"] == [{"cut": 1, "count": 4, "length": 3.5}]
    assert background["length"] == 7.25 + 3.5
    assert (background["yardage"], background["yardage_unit"]) == (0.375, "yd")
    assert background["buy"] == "3/8 yd"
    assert dark["cuts"][0]["cut"] == {"width": 3.875, "height": 3.875}
    assert accent["cuts"][0]["shape"] == "square"


def test_blocks_multiply_counts(client: FlaskClient) -> None:
    one, many = (asked(client, {**STAR, "quilt": {"blocks": n}}).json for n in (1, 30))
    for few, lots in zip(one["fabrics"], many["fabrics"], strict=True):
        assert [30 * cut["count"] for cut in few["cuts"]] == [c["count"] for c in lots["cuts"]]
        assert lots["yardage"] > few["yardage"]


def test_a_request_in_centimetres_is_cut_by_centimetres(client: FlaskClient) -> None:
    body = {
        "block": "nine-patch",
        "unit": "cm",
        "finish": {"width": 30},
        "quilt": {"blocks": 12},
    }
    got = asked(client, body).json
    # 10 + 2 × 0.75 cm; 106 // 11.5 = 9 to a strip; 60 dark squares: 7 strips, 80.5 cm.
    (cut,) = got["fabrics"][0]["cuts"]
    assert cut["cut"] == {"width": 11.5, "height": 11.5}
    assert [s["count"] for s in got["fabrics"][0]["strips"]] == [6, 1]
    assert got["fabrics"][0]["length"] == 80.5
    # 80.5 * 1.05 / 0.97 = 87.1 cm.
    assert (got["fabrics"][0]["yardage"], got["fabrics"][0]["buy"]) == (0.9, "0.9 m")
    assert got["cloth"]["width"] == 106


def test_a_request_may_round_to_another_step(client: FlaskClient) -> None:
    body = {"block": "nine-patch", "unit": "cm", "finish": {"width": 31}}
    for rounding, side in ((None, 11.9), (0.05, 11.85), ("5 mm", 12), ("2 cm", 12)):
        own = {} if rounding is None else {"rounding": rounding}
        (cut,) = asked(client, {**body, **own}).json["fabrics"][0]["cuts"]
        assert cut["cut"]["width"] == side  # 31 / 3 + 2 × 0.75 = 11.833 cm
    for wrong in ("1/8 in", "0.3 mm", 0, "3 in"):
        answer = asked(client, {**body, "rounding": wrong})
        assert answer.status_code == 422
        assert answer.json["errors"][0]["pointer"] == "/rounding"


def test_every_form_names_the_blocks_and_warns_of_the_blade(client: FlaskClient) -> None:
    pdf = asked(client, GUILD_QUILT.body, "application/pdf")
    assert "cutting list.pdf" in pdf.headers["Content-Disposition"]
    metadata = pypdf.PdfReader(io.BytesIO(pdf.data)).metadata
    assert metadata is not None
    assert metadata.title == "Sawtooth Star: Cutting list for 20 blocks"
    canvas = asked(client, GUILD_QUILT.body, "image/svg+xml").get_data(as_text=True)
    assert canvas.count("Rotary cutter: blade closed") == 1


@pytest.mark.parametrize(
    ("more", "pointer", "code"),
    [
        ({"quilt": {"blocks": 0}}, "/quilt/blocks", "range"),
        ({"quilt": {"blocks": 2.5}}, "/quilt/blocks", "type"),
        ({"quilt": {"blocks": "two"}}, "/quilt/blocks", "type"),
        ({"quilt": {"width": 60}}, "/quilt", "quilt-size"),
        ({"quilt": {"border": {"width": 4}}}, "/quilt", "quilt-size"),
        (
            {"quilt": {"width": 60, "height": 60, "border": {"width": 90}}},
            "/quilt/border/width",
            "range",
        ),
        (
            {"quilt": {"width": 60, "height": 60, "border": {"width": 30}}},
            "/quilt/border/width",
            "range",
        ),
        ({"cloth": {"width": 4}}, "/cloth/width", "range"),
        ({"cloth": {"shrinkage": 90}}, "/cloth/shrinkage", "range"),
        ({"cloth": {"directional": ["velvet"]}}, "/cloth/directional/0", "unknown-fabric"),
        ({"cloth": {"width": 5}, "finish": {"width": 60}}, "/cloth/width", "cloth-too-narrow"),
    ],
)
def test_faults_have_their_pointer(
    client: FlaskClient, more: dict[str, Any], pointer: str, code: str
) -> None:
    assert codes(asked(client, {**STAR, "block": "drunkards-path", **more}))[pointer] == code


def test_a_border_of_its_own_fabric(client: FlaskClient) -> None:
    quilt = {
        "width": 36,
        "height": 36,
        "border": {"width": 3, "fabric": "wool"},
        "binding": {"fabric": "wool"},
    }
    got = asked(client, {**STAR, "quilt": quilt}).json
    wool = next(fabric for fabric in got["fabrics"] if fabric["fabric"] == "wool")
    assert [strip["purpose"] for strip in wool["strips"]] == ["border", "binding"]
    border, binding = got["edges"]
    # Sides 36 + 1/2, top and bottom 36 + 6 + 1/2: 158 in, 5 strips of 40 less 4 * 3 1/2.
    assert [one["length"] for one in border["lengths"]] == [36.5, 42.5]
    assert (border["strips"], border["joins"]) == (5, 4)
    # 4 * 42 + 12 = 180 in: 5 strips of 40 less 4 * 2 1/2.
    assert (binding["lengths"][0]["length"], binding["strips"], binding["joins"]) == (180, 5, 4)
    assert wool["length"] == 5 * 3.5 + 5 * 2.5


def test_the_same_request_serves_check_and_templates(client: FlaskClient) -> None:
    for path in ("/v1/check", "/v1/templates"):
        assert client.post(path, json=GUILD_QUILT.body).status_code == 200


def test_command_line(client: FlaskClient, tmp_path: Path) -> None:
    out = tmp_path / "list.json"
    code = cli.main(
        [
            *("cutting-list", "sawtooth-star", "--blocks", "20", "--quilt", "48in x 60in"),
            *("--border", "4in", "--border-fabric", "dark", "--mitred"),
            *("--binding", "2 1/2 in", "--binding-fabric", "accent"),
            *("--cloth-width", "42in", "--shrinkage", "3", "--spare", "5"),
            *("--directional", "accent", "-o", str(out)),
        ]
    )
    assert code == cli.GOOD
    assert json.loads(out.read_text("utf-8")) == asked(client, GUILD_QUILT.body).json
