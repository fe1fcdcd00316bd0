"""``POST /v1/foundation``: what it answers in each form, and what it refuses."""

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
from piecewright.service.http.openapi.examples import FOUNDATIONS, PAPER_GEESE
from piecewright.service.json_text import write_json
from tests.service.asking import STAR, codes, printed

asked = partial(printed, "foundation")


def test_json_has_every_field(client: FlaskClient) -> None:
    got = asked(client, {"block": "pinwheel", "finish": {"width": 6}}).json
    assert {"sections", "joins", "optimal", "pages"} <= got.keys()
    assert got["joins"] == ["A", "B"]
    assert got["optimal"] is True
    first = got["sections"][0]
    assert {"id", "order", "outline", "cut", "patches"} <= first.keys()
    assert [patch["number"] for patch in first["patches"]] == [1, 2, 3, 4]
    assert [patch["piece"] for patch in first["patches"]] == first["order"]
    # 3 in, and 1/4 + 1/8 in on both sides.
    assert {(p["width"], p["height"]) for p in first["patches"]} == {(3.75, 3.75)}
    xs = [x for x, _ in first["outline"]]
    ys = [y for _, y in first["outline"]]
    assert (min(xs), max(xs), max(ys) - min(ys)) == (0, 6, 3)
    xs = [x for x, _ in first["cut"]]
    assert (min(xs), max(xs)) == (-0.25, 6.25)
    assert got["steps"][0]["units"] == [["A"], ["B"]]
    assert [fabric["sizes"][0]["count"] for fabric in got["fabrics"]] == [4, 4]


def test_given_sections_are_kept(client: FlaskClient) -> None:
    got = asked(client, FOUNDATIONS["breakwater"].body).json
    assert [(s["id"], s["order"]) for s in got["sections"]] == [("fan", ["p1", "p2", "p3"])]
    assert got["joins"] == "fan"


def test_places_are_in_the_unit_asked_for(client: FlaskClient) -> None:
    inches = asked(client, STAR).json
    metric = asked(client, {**STAR, "finish": {"width": "12 in"}, "unit": "mm"}).json
    for one, other in zip(inches["sections"], metric["sections"], strict=True):
        assert other["outline"][0] == pytest.approx([25.4 * c for c in one["outline"][0]], abs=1e-4)


def test_metric_request_has_a4_sheets(client: FlaskClient) -> None:
    pages = asked(client, {"block": "log-cabin", "unit": "cm", "finish": {"width": 15}}).json[
        "pages"
    ]
    assert pages[0]["sheet"]["width"] == 21


def test_a_pdf_is_named_and_says_that_it_is_mirrored(client: FlaskClient) -> None:
    pdf = asked(client, STAR, "application/pdf")
    assert "Sawtooth Star foundation.pdf" in pdf.headers["Content-Disposition"]
    metadata = pypdf.PdfReader(io.BytesIO(pdf.data)).metadata
    assert metadata is not None
    assert str(metadata.title).startswith("Sawtooth Star: Foundation sections, mirror")


def test_a_canvas_has_the_numbers_and_the_lines_of_every_section(client: FlaskClient) -> None:
    canvas = asked(client, STAR, "image/svg+xml").get_data(as_text=True)
    for word in ("A1", "B1", "C1", "Sections A, D", "join 1: to", "Order of joining"):
        assert word in canvas
    for kind in ("cutting-line", "sewing-line", "notch", "joining", "label"):
        assert f'class="{kind}"' in canvas


def test_an_answer_says_how_many_are_made_of_each_foundation(client: FlaskClient) -> None:
    body = {**STAR, "quilt": {"blocks": 20}, "foundation": {"copies": 2}}
    got = asked(client, body).json["foundations"]
    assert [(f["id"], f["make"], f["total"], f["copies"]) for f in got] == [
        ("A", 2, 40, 2),
        ("B", 1, 20, 2),
        ("C", 1, 20, 2),
    ]
    turns = {s["section"]: s["turn"] for s in got[0]["sections"]}
    assert turns == {"A": 0, "D": pytest.approx(180)}


def test_long_chain_of_joins_can_be_written() -> None:
    chain: Any = "s0"
    for n in range(1, 1900):
        chain = (chain, f"s{n}")
    assert write_json(chain).startswith(b"[[[[")


def test_looks(client: FlaskClient) -> None:
    plain, mirrored = (
        asked(
            client,
            {"block": "flying-geese", "foundation": {"mirrored": flag, "line_weight": 1.5}},
            "image/svg+xml",
        ).get_data(as_text=True)
        for flag in (False, True)
    )
    assert plain != mirrored
    assert 'stroke-width="0.02083"' in plain
    assert "as seen from the face" in plain


@pytest.mark.parametrize(
    ("more", "pointer", "code"),
    [
        ({"foundation": {"mirrored": "yes"}}, "/foundation/mirrored", "type"),
        ({"foundation": {"line_weight": 9}}, "/foundation/line_weight", "range"),
        ({"foundation": {"mirored": True}}, "/foundation/mirored", "unknown-field"),
        ({"foundation": {"copies": 0}}, "/foundation/copies", "range"),
        ({"foundation": {"copies": "neded"}}, "/foundation/copies", "choice"),
        ({"foundation": []}, "/foundation", "type"),
    ],
)
def test_faults_have_their_pointer(
    client: FlaskClient, more: dict[str, Any], pointer: str, code: str
) -> None:
    assert codes(asked(client, {**STAR, **more}))[pointer] == code


def test_curved_seam_is_named_with_its_place(client: FlaskClient) -> None:
    answer = asked(client, {"block": "drunkards-path", "unit": "cm"})
    assert set(codes(answer).values()) == {"curved-seam"}
    (error,) = answer.json["errors"]
    assert "'" not in error["pointer"]
    assert "pie" in error["detail"]
    assert len(error["at"]) == 2


def test_wrong_sections_are_named(client: FlaskClient) -> None:
    block = {
        "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
        "lines": [[[0, 3], [6, 3]], [[3, 0], [3, 6]]],
    }
    diagonal = [{"id": "A", "order": ["p1", "p4"]}, {"id": "B", "order": ["p2", "p3"]}]
    answer = asked(client, {"block": {**block, "sections": diagonal}})
    assert codes(answer) == {
        "/block/sections/0/order/1": "unsewable-step",
        "/block/sections/1/order/1": "unsewable-step",
    }
    bent = [{"id": "A", "order": ["p1", "p2", "p3"]}, {"id": "B", "order": ["p4"]}]
    answer = asked(client, {"block": {**block, "sections": bent}})
    assert codes(answer) == {"/block/sections": "sections-not-straight"}


def test_command_line(client: FlaskClient, tmp_path: Path) -> None:
    out = tmp_path / "geese.json"
    arguments = ["foundation", "flying-geese", "--scale", "2", "--no-mirrored"]
    assert cli.main([*arguments, "--line-weight", "0.4", "-o", str(out)]) == cli.GOOD
    assert json.loads(out.read_text("utf-8")) == asked(client, PAPER_GEESE.body).json
    assert cli.main(["foundation", "orange-peel", "-o", str(out)]) == cli.FAULTY
