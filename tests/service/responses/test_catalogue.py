"""The catalogue over HTTP: what it lists, and blocks that can be sent back as they come."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from flask.testing import FlaskClient

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.names import bare
from tests.service.asking import check, templates

IDS = [entry.id for entry in catalogue.entries()]


def test_every_block_is_listed_with_its_size(client: FlaskClient) -> None:
    listed = client.get("/v1/blocks").json
    assert listed is not None
    assert [entry["id"] for entry in listed["blocks"]] == IDS
    star = next(entry for entry in listed["blocks"] if entry["id"] == "sawtooth-star")
    assert (star["width"], star["height"], star["pieces"]) == (12, 12, 17)
    assert star["about"].endswith(".")


def test_sizes_are_told_in_the_unit_asked_for(client: FlaskClient) -> None:
    listed = client.get("/v1/blocks?unit=cm").json
    assert listed is not None
    assert listed["unit"] == "cm"
    assert next(e for e in listed["blocks"] if e["id"] == "sawtooth-star")["width"] == 30.48


@pytest.mark.parametrize("id", IDS)
def test_a_block_can_be_sent_back_as_it_comes(client: FlaskClient, id: str) -> None:
    block = client.get(f"/v1/blocks/{id}").json
    sent_back = check(client, {"block": block})
    by_id = check(client, {"block": id})
    assert sent_back.status_code == by_id.status_code == 200
    assert sent_back.json is not None
    assert by_id.json is not None
    same, drawn = sent_back.json["pieces"], by_id.json["pieces"]
    assert [(p["id"], p["fabric"]) for p in same] == [(p["id"], p["fabric"]) for p in drawn]
    # 6 decimals of an inch are what the block is answered with.
    assert [p["area"] for p in same] == pytest.approx([p["area"] for p in drawn], abs=1e-4)


def test_a_block_says_how_large_it_is(client: FlaskClient) -> None:
    for query, size in (("", 12), ("?unit=cm", 30.48)):
        block = client.get(f"/v1/blocks/sawtooth-star{query}").json
        assert block is not None
        assert (block["width"], block["height"]) == (size, size)


@pytest.mark.parametrize("name", ["Drunkard's Path", "DRUNKARDS PATH"])
def test_a_block_is_found_by_its_name(client: FlaskClient, name: str) -> None:
    assert client.get(f"/v1/blocks/{name}").json == client.get("/v1/blocks/drunkards-path").json


def test_no_two_blocks_are_found_by_one_name() -> None:
    names = [bare(name) for e in catalogue.entries() for name in {bare(e.id), bare(e.name)}]
    assert len(set(names)) == len(names)


def test_pictures_of_all_blocks_can_stand_in_one_page(client: FlaskClient) -> None:
    listed = client.get("/v1/blocks?pictures=svg").json
    plain = client.get("/v1/blocks").json
    assert listed is not None
    assert plain is not None
    pictures = [ElementTree.fromstring(block.pop("picture")) for block in listed["blocks"]]
    assert listed == plain
    ids = [e.attrib["id"] for picture in pictures for e in picture.iter() if "id" in e.attrib]
    assert len(set(ids)) == len(ids)
    for block, picture in zip(listed["blocks"], pictures, strict=True):
        assert sum(id.startswith("piece-") for id in ids if id.endswith(f"-{block['id']}")) > 0
        names = [e.attrib.get("data-name", "") for e in picture.iter()]
        assert sum(name.startswith("piece-") for name in names) == block["pieces"]
        sides = [float(picture.attrib[side].removesuffix("in")) for side in ("width", "height")]
        assert max(sides) == pytest.approx(1.5, abs=0.02)


def test_a_block_is_to_be_had_as_a_picture(client: FlaskClient) -> None:
    answer = client.get("/v1/blocks/pinwheel?unit=mm", headers={"Accept": "image/svg+xml"})
    assert (answer.status_code, answer.mimetype) == (200, "image/svg+xml")
    picture = ElementTree.fromstring(answer.data)
    assert float(picture.attrib["width"].removesuffix("mm")) == pytest.approx(152.4, abs=0.2)
    missing = client.get("/v1/blocks/pinwheels", headers={"Accept": "image/svg+xml"})
    assert (missing.status_code, missing.mimetype) == (404, "application/problem+json")


def test_a_curved_block_comes_as_path_data(client: FlaskClient) -> None:
    block = client.get("/v1/blocks/drunkards-path").json
    assert block is not None
    assert all("path" in piece and "outline" not in piece for piece in block["pieces"])
    assert "C" in block["pieces"][0]["path"]


def test_a_block_in_millimetres_is_the_same_size(client: FlaskClient) -> None:
    block = client.get("/v1/blocks/drunkards-path?unit=mm").json
    answer = check(client, {"block": block, "unit": "in"}).json
    assert answer is not None
    assert (answer["width"], answer["height"]) == (6, 6)


def test_an_unknown_block_is_404_by_its_address_and_422_in_a_request(client: FlaskClient) -> None:
    assert client.get("/v1/blocks/pinwhel").status_code == 404
    answer = templates(client, {"block": "pinwhel"})
    assert answer.status_code == 422
    assert "pinwheel" in answer.json["errors"][0]["detail"]  # type: ignore[index]


@pytest.mark.parametrize("query", ["unit=ft", "unit=in&unit=cm", "units=cm"])
def test_a_query_that_cannot_be_read_is_400(client: FlaskClient, query: str) -> None:
    assert client.get(f"/v1/blocks?{query}").status_code == 400
    assert client.get(f"/v1/blocks/pinwheel?{query}").status_code == 400
