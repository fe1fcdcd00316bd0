"""``POST /v1/packet``: the parts asked for, in one document that a viewer can find its way in."""

from __future__ import annotations

import io
import zipfile
from functools import partial
from typing import Any

import pypdf
import pytest
from flask.testing import FlaskClient

from tests.service.asking import STAR, printed

ALONE = ["block-map", "sewing-plan", "cutting-list", "templates", "foundation"]
"""The parts that are printables of their own."""

asked = partial(printed, "packet")


def page_of(pdf: pypdf.PdfReader, bookmark: Any) -> int:
    number = pdf.get_destination_page_number(bookmark)
    assert number is not None
    return number + 1


def pdf_of(client: FlaskClient, body: Any) -> pypdf.PdfReader:
    answer = asked(client, body, "application/pdf")
    assert answer.status_code == 200, answer.text
    return pypdf.PdfReader(io.BytesIO(answer.data))


def test_all_parts_but_the_foundation_unless_asked(client: FlaskClient) -> None:
    got = asked(client, STAR).json
    assert [part["part"] for part in got["parts"]] == [
        "cover", "block-map", "sewing-plan", "cutting-list", "templates",
    ]  # fmt: skip
    chosen = asked(client, {**STAR, "parts": ["foundation", "cover", "foundation"]}).json
    assert [part["part"] for part in chosen["parts"]] == ["cover", "foundation"]


def test_each_part_has_the_sheets_that_it_has_by_itself(client: FlaskClient) -> None:
    got = asked(client, {**STAR, "parts": ["cover", *ALONE]}).json
    first = 1
    for part in got["parts"]:
        assert part["first"] == first
        first += part["sheets"]
        if part["part"] != "cover":
            # Of a map that is larger than a sheet a packet has the small one.
            small = {**STAR, "map": {"scale": "page"}}
            alone: Any = printed(part["part"], client, small).json
            assert part["sheets"] == len(alone["pages"])
            own = got["pages"][part["first"] - 1 : first - 1]
            unnumbered = [{**page, "number": 0} for page in own]
            assert unnumbered == [{**page, "number": 0} for page in alone["pages"]]
    assert first - 1 == len(got["pages"])
    assert [page["number"] for page in got["pages"]] == list(range(1, first))


def test_a_packet_has_a_map_on_one_sheet_and_one_at_true_size_where_asked(
    client: FlaskClient,
) -> None:
    def sheets(width: int, **more: Any) -> list[Any]:
        body = {"block": "nine-patch", "finish": {"width": width}, "parts": ["block-map"], **more}
        pages: list[Any] = asked(client, body).json["pages"]
        return [page["of"] for page in pages]

    for more in ({}, {"map": {"scale": "page"}}, {"map": {"scale": "true"}}):
        assert len(sheets(6, **more)) == 1
    assert sheets(12) == sheets(12, map={"scale": "page"}) == [None]
    assert sheets(12, map={"scale": "true"}) == [None, *["block-map"] * 4]


def test_bookmarks_lead_to_parts_and_to_their_sheets(client: FlaskClient) -> None:
    """ISO 32000-1, 12.3.3: the document outline, read back by pypdf."""
    got = asked(client, {**STAR, "parts": ["cover", *ALONE]}).json
    pdf = pdf_of(client, {**STAR, "parts": ["cover", *ALONE]})
    assert len(pdf.pages) == len(got["pages"])
    outline: list[Any] = pdf.outline
    tops = [entry for entry in outline if not isinstance(entry, list)]
    assert [(e.title, page_of(pdf, e)) for e in tops] == [
        (part["title"], part["first"]) for part in got["parts"]
    ]
    below = [entry for entry in outline if isinstance(entry, list)]
    many = [part["sheets"] for part in got["parts"] if part["sheets"] > 1]
    assert [len(entries) for entries in below] == many


def test_cover_shows_size_and_contents_and_the_sheets_to_scale_both_test_squares(
    client: FlaskClient,
) -> None:
    front, *others = [page.extract_text() for page in pdf_of(client, STAR).pages]
    for message in ("Sawtooth Star", "12 × 12 in", "In this packet", "Block map"):
        assert message in front
    # The cover is not to scale.
    assert "5 cm" not in front
    assert any("1 in" in page and "5 cm" in page for page in others)


def test_cautions_are_those_of_the_check(client: FlaskClient) -> None:
    small = {"block": "pineapple", "finish": {"width": 4}}
    checked: Any = client.post("/v1/check", json=small).json
    assert checked["cautions"]
    assert asked(client, small).json["cautions"] == checked["cautions"]


def test_every_sheet_carries_the_name(client: FlaskClient) -> None:
    pdf = pdf_of(client, {**STAR, "for": "Ada of the Slipway"})
    assert all("Ada of the Slipway" in page.extract_text() for page in pdf.pages)
    assert asked(client, {**STAR, "for": "Ada of the Slipway"}).json["for"] == "Ada of the Slipway"
    assert asked(client, STAR).json["for"] is None


def test_zip_has_a_file_a_sheet(client: FlaskClient) -> None:
    answer = asked(client, STAR, "application/zip")
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        assert len(archive.namelist()) == len(asked(client, STAR).json["pages"])


def test_svg_is_no_form_of_a_packet(client: FlaskClient) -> None:
    answer = asked(client, STAR, "image/svg+xml")
    assert answer.status_code == 406
    assert answer.mimetype == "application/problem+json"


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"parts": []}, "/parts"),
        ({"parts": ["poster"]}, "/parts/0"),
        ({"parts": "cover"}, "/parts"),
        ({"for": 7}, "/for"),
        ({"for": "x" * 10_000}, "/for"),
        ({"sheet": {"paper": "a5"}, "finish": {"width": 390}, "parts": ["templates"]}, "/sheet"),
        ({"map": {"scale": "life"}}, "/map/scale"),
    ],
)
def test_what_is_wrong_is_pointed_to(client: FlaskClient, more: Any, pointer: str) -> None:
    answer = asked(client, {**STAR, **more})
    assert answer.status_code == 422
    assert pointer in [fault["pointer"] for fault in answer.json["errors"]]


@pytest.mark.parametrize(("name", "code"), [(7, "type"), ("x" * 10_000, "text-length")])
def test_a_wrong_name_is_no_unknown_field(client: FlaskClient, name: object, code: str) -> None:
    (fault,) = asked(client, {**STAR, "for": name}).json["errors"]
    assert (fault["pointer"], fault["code"]) == ("/for", code)


def test_a_field_of_a_packet_is_hinted_at_by_its_name_in_a_request(client: FlaskClient) -> None:
    (fault,) = asked(client, {**STAR, "maker": "Ada"}).json["errors"]
    assert fault["code"] == "unknown-field"
    assert ", for" in fault["detail"]
    assert "maker, " not in fault["detail"]


def test_a_block_that_no_foundation_serves_says_which_seam(client: FlaskClient) -> None:
    answer = asked(client, {"block": "drunkards-path", "parts": ["cover", "foundation"]})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["code"]
    assert "at" in answer.json["errors"][0]
