"""Sections that lie apart: each is checked, cut and sewn by itself."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from shapely.geometry import Polygon

from tests.service.http.test_problems import problem

Json = dict[str, Any]


def section(id: str, x: float, y: float) -> list[Json]:
    """A square of 4 in: two triangles, and a strip below them."""
    outlines = [
        [[0, 0], [4, 0], [0, 3]],
        [[4, 0], [4, 3], [0, 3]],
        [[0, 3], [4, 3], [4, 4], [0, 4]],
    ]
    return [
        {"id": f"{id}{n}", "outline": [[x + a, y + b] for a, b in outline]}
        for n, outline in enumerate(outlines, 1)
    ]


def apart(x: float = 6, y: float = 1, **more: Any) -> Json:
    return {
        "pieces": [*section("A", 0, 0), *section("B", x, y)],
        "sections": [{"id": id, "order": [f"{id}{n}" for n in (1, 2, 3)]} for id in "AB"],
        "apart": True,
        **more,
    }


def answered(client: FlaskClient, path: str, block: Json, **more: Any) -> Json:
    answer = client.post(f"/v1/{path}", json={"block": block, **more})
    assert answer.status_code == 200, answer.text
    made: Json | None = answer.json
    assert made is not None
    return made


def test_foundations_are_those_of_each_section_by_itself(client: FlaskClient) -> None:
    whole = answered(client, "foundation", apart(), finish={"scale": 2})
    alone = answered(
        client,
        "foundation",
        {"pieces": section("A", 0, 0), "sections": apart()["sections"][:1]},
        finish={"scale": 2},
    )
    assert whole["joins"] is None
    assert whole["steps"] == []
    assert whole["optimal"]
    first, second = whole["sections"]
    assert first["cut"] == alone["sections"][0]["cut"]
    assert Polygon(second["cut"]).area == pytest.approx(8.5**2, abs=1e-4)


@pytest.mark.parametrize("path", ["templates", "cutting-list", "block-map", "check", "packet"])
@pytest.mark.parametrize("near", [(6, 1), (4.1, 0), (4.1, 2)])
def test_other_printables_take_sections_that_lie_apart(
    client: FlaskClient, path: str, near: tuple[float, float]
) -> None:
    answered(client, path, apart(*near))
    for form in () if path == "check" else ("application/pdf",):
        body = {"block": apart(*near)}
        assert client.post(f"/v1/{path}", json=body, headers={"Accept": form}).status_code == 200


def test_a_piece_is_cut_as_in_its_section_alone_however_near_others_lie(
    client: FlaskClient,
) -> None:
    far, near = (answered(client, "templates", apart(*at)) for at in ((20, 0), (4.1, 0)))
    assert [t["cut"] for t in far["templates"]] == [t["cut"] for t in near["templates"]]


def faults(client: FlaskClient, block: Json) -> list[tuple[str, str]]:
    told = problem(client.post("/v1/check", json={"block": block}), 422, "invalid-block")
    return [(error["pointer"], error["code"]) for error in told["errors"]]


def test_a_gap_within_a_section_is_a_fault(client: FlaskClient) -> None:
    block = apart()
    block["pieces"][2]["outline"][:2] = [[0, 3.03], [4, 3.03]]
    assert "gap" in {code for _, code in faults(client, block)}


def test_a_section_that_does_not_hang_together_is_a_fault(client: FlaskClient) -> None:
    block = apart()
    block["pieces"][2]["outline"] = [[x + 20, y] for x, y in block["pieces"][2]["outline"]]
    assert ("/block/pieces/2", "apart") in faults(client, block)


def test_sections_that_overlap_are_a_fault(client: FlaskClient) -> None:
    assert "overlap" in {code for _, code in faults(client, apart(2, 1))}


def test_without_sections_it_is_not_known_what_lies_apart(client: FlaskClient) -> None:
    block = apart()
    del block["sections"]
    assert faults(client, block) == [("/block/sections", "required")]


def test_sections_that_lie_apart_are_not_joined(client: FlaskClient) -> None:
    joins = [[["A1", "A2"], "A3"], [["B1", "B2"], "B3"]]
    assert ("/block/joins", "apart") in faults(client, apart(joins=joins))


def test_a_sewing_plan_ends_with_the_sections(client: FlaskClient) -> None:
    plan = answered(client, "sewing-plan", apart())
    assert plan["joins"] is None
    assert [step["units"] for step in plan["steps"]] == [
        [["A1"], ["A2"]],
        [["A1", "A2"], ["A3"]],
        [["B1"], ["B2"]],
        [["B1", "B2"], ["B3"]],
    ]


def test_sections_that_lie_apart_are_no_part_of_a_grid_or_a_quilt(client: FlaskClient) -> None:
    grid = {"grid": {"blocks": [["pinwheel", apart()]]}}
    assert ("/block/grid/blocks/0/1/apart", "apart") in faults(client, grid)
    quilt = {"quilt": {"blocks": [["ours"]]}, "designs": {"ours": apart()}}
    told = problem(client.post("/v1/quilt-plan", json=quilt), 422, "invalid-setting")
    assert [error["code"] for error in told["errors"]] == ["apart"]
