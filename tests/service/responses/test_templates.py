"""``POST /v1/templates``: the same templates in every form, by ``Accept`` (RFC 9110, 12.5.1).

Sizes in a PDF are points of 1/72 in (ISO 32000-1); an SVG's viewBox is in inches or millimetres.
"""

from __future__ import annotations

import io
import re
import zipfile
from xml.etree import ElementTree

import pdfplumber
import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.patchwork.block.catalogue import load
from piecewright.patchwork.block.model import extent
from tests.service.asking import STAR, TWO_SQUARES, Json, templates

LARGE: Json = {
    "block": TWO_SQUARES,
    "finish": {"width": 16},
    "sheet": {"orientation": "portrait"},
}
FORMS = ["application/json", "application/pdf", "image/svg+xml", "application/zip"]


def test_json_tells_pieces_templates_and_pages(client: FlaskClient) -> None:
    got = templates(client, STAR).json
    assert got is not None
    assert list(got) == ["unit", "blocks", "pieces", "templates", "pages", "sheets"]
    assert len(got["pieces"]) == 17
    by_id = {template["id"]: template for template in got["templates"]}
    assert {piece["template"] for piece in got["pieces"]} == by_id.keys()
    corner = next(piece for piece in got["pieces"] if piece["id"] == "nw")
    assert corner["finished"] == [[0, 0], [3, 0], [3, 3], [0, 3]]
    assert corner["cut"] == [[-0.25, -0.25], [3.25, -0.25], [3.25, 3.25], [-0.25, 3.25]]
    square = by_id[corner["template"]]
    assert square["cuts"] == [{"fabric": "background", "plain": 4, "reversed": 0}]
    assert sorted(square["cut"]) == [[0, 0], [0, 3.5], [3.5, 0], [3.5, 3.5]]
    assert {item["drawing"] for page in got["pages"] for item in page["items"]} == by_id.keys()


def test_a_template_larger_than_the_sheet_is_tiled(client: FlaskClient) -> None:
    got = templates(client, LARGE).json
    assert got is not None
    parts = [item for page in got["pages"] for item in page["items"] if item["window"]]
    assert "A" in {item["drawing"] for item in parts}
    assert max(item["row"] for item in parts) * max(item["column"] for item in parts) > 1


def test_an_answer_is_in_the_requests_unit(client: FlaskClient) -> None:
    inches = templates(client, STAR).json
    own = {"unit": "cm", "finish": {"width": "12 in"}, "allowance": "1/4 in"}
    metric = templates(client, {**STAR, **own}).json
    assert inches is not None
    assert metric is not None
    for one, other in zip(inches["pieces"], metric["pieces"], strict=True):
        flat = [c * 2.54 for p in one["cut"] for c in p]
        assert [c for p in other["cut"] for c in p] == pytest.approx(flat, abs=1e-5)


def test_the_edge_of_the_block_may_have_another_allowance(client: FlaskClient) -> None:
    body = {"block": TWO_SQUARES, "allowance": {"seam": "1/4", "edge": 1}}
    got = templates(client, body).json
    assert got is not None
    assert [-1, -1] in got["pieces"][0]["cut"]
    assert max(x for x, _ in got["pieces"][0]["cut"]) == 3.25


def test_an_edge_alone_leaves_the_seams_as_usual(client: FlaskClient) -> None:
    got = templates(client, {"block": TWO_SQUARES, "allowance": {"edge": 1}}).json
    assert got is not None
    assert max(x for x, _ in got["pieces"][0]["cut"]) == 3.25


# --- forms ----------------------------------------------------------------------------------------


def test_a_pdf_has_true_size(client: FlaskClient) -> None:
    answer = templates(client, {**STAR, "sheet": {"paper": "letter"}}, "application/pdf")
    assert answer.mimetype == "application/pdf"
    with pdfplumber.open(io.BytesIO(answer.data)) as document:
        page = document.pages[0]
        assert (page.width, page.height) == (612, 792)
        inches = [r for r in page.rects + page.curves if abs(r["width"] - 72) < 0.005]
        assert any(abs(r["height"] - 72) < 0.005 for r in inches), "a 1 in test square"


def test_a_pdf_has_the_blocks_name(client: FlaskClient) -> None:
    pdf = templates(client, STAR, "application/pdf").data
    metadata = pypdf.PdfReader(io.BytesIO(pdf)).metadata
    assert metadata is not None
    assert str(metadata.title).startswith("Sawtooth Star")


@pytest.mark.parametrize(("unit", "per_inch"), [("in", 1), ("mm", 25.4), ("cm", 25.4)])
def test_a_canvas_has_every_template_at_true_scale(
    client: FlaskClient, unit: str, per_inch: float
) -> None:
    answer = templates(
        client, {"block": "nine-patch", "unit": unit, "allowance": "1/4 in"}, "image/svg+xml"
    )
    root = ElementTree.fromstring(answer.data)
    written = "in" if unit == "in" else "mm"
    _, _, width, height = root.attrib["viewBox"].split()
    assert root.attrib["width"] == f"{width}{written}"
    assert root.attrib["height"] == f"{height}{written}"
    cut = root.findall(".//*[@class='cutting-line']/*")
    left, _, right, _ = extent(load("nine-patch").pieces)
    side = ((right - left) / 3 + 0.5) * per_inch
    xs = [float(x) for x in re.findall(r"[ML]([-\d.]+),", cut[0].attrib["d"])]
    assert max(xs) - min(xs) == pytest.approx(side, abs=0.001)


def test_one_sheet_can_be_asked_for(client: FlaskClient) -> None:
    canvas = templates(client, LARGE, "image/svg+xml")
    sheets = [templates(client, LARGE, "image/svg+xml", f"?page={n}") for n in (1, 2)]
    assert sheets[0].data != sheets[1].data != canvas.data
    assert b'viewBox="0 0 8.5 11"' in sheets[1].data
    assert "page 2 of" in sheets[1].get_data(as_text=True)


@pytest.mark.parametrize("page", ["0", "-1", "99", "999999999"])
def test_a_sheet_that_is_not_there_is_404(client: FlaskClient, page: str) -> None:
    assert templates(client, STAR, "image/svg+xml", f"?page={page}").status_code == 404


@pytest.mark.parametrize("query", ["page=two", "page=", "page=1.5", "page=1&page=2", "pgae=1"])
def test_a_query_that_cannot_be_read_is_400(client: FlaskClient, query: str) -> None:
    assert templates(client, STAR, "image/svg+xml", f"?{query}").status_code == 400


def test_a_page_goes_with_svg_only(client: FlaskClient) -> None:
    assert templates(client, STAR, "application/pdf", "?page=1").status_code == 400


def test_a_zip_has_a_file_a_sheet(client: FlaskClient) -> None:
    answer = templates(client, LARGE, "application/zip")
    count = len(templates(client, LARGE).json["pages"])  # type: ignore[index]
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        names = archive.namelist()
        assert len(names) == count
        assert archive.read(names[1]) == templates(client, LARGE, "image/svg+xml", "?page=2").data


# --- negotiation ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        (None, "application/json"),
        ("*/*", "application/json"),
        ("application/*", "application/json"),
        ("image/*", "image/svg+xml"),
        ("APPLICATION/PDF", "application/pdf"),
        ("application/pdf, application/problem+json", "application/pdf"),
        ("application/pdf, */*", "application/pdf"),
        ("application/pdf;q=0.5, application/zip", "application/zip"),
        ("application/json;q=0, */*;q=0.1", "application/pdf"),
        ("application/pdf;q=0.9, */*;q=0.8", "application/pdf"),
        ("application/pdf;q=0.2, */*;q=0.8", "application/json"),
        ("text/html, application/zip;q=0.1", "application/zip"),
        ("image/svg+xml;charset=utf-8", "image/svg+xml"),
        ("image/avif,image/svg+xml,image/*,*/*;q=0.8", "image/svg+xml"),
    ],
)
def test_the_form_follows_accept(client: FlaskClient, accept: str | None, form: str) -> None:
    answer = templates(client, {"block": "pinwheel"}, accept)
    assert answer.status_code == 200
    assert answer.mimetype == form
    assert "Accept" in answer.headers["Vary"]


@pytest.mark.parametrize("accept", ["text/html", "application/json;q=0", "image/png", "*/*;q=0"])
def test_a_form_that_there_is_not_is_406(client: FlaskClient, accept: str) -> None:
    answer = templates(client, {"block": "pinwheel"}, accept)
    assert answer.status_code == 406
    assert "application/pdf" in answer.json["detail"]  # type: ignore[index]
    assert "Accept" in answer.headers["Vary"]


@pytest.mark.parametrize(
    ("form", "ending"), [("application/pdf", "pdf"), ("application/zip", "zip")]
)
def test_a_file_is_named_after_the_block(client: FlaskClient, form: str, ending: str) -> None:
    block = {**TWO_SQUARES, "name": 'Möwe "über" dem/Hafen ⚓'}
    message = templates(client, {"block": block}, form).headers["Content-Disposition"]
    assert message.isascii()
    assert re.search(rf'filename="Mowe [\w ]*Hafen[\w ]*\.{ending}"', message)
    assert "filename*=UTF-8''M%C3%B6we%20" in message
    assert "%2F" not in message
    assert "%22" not in message


@pytest.mark.parametrize("form", FORMS)
def test_a_name_in_letters_that_no_font_has_does_no_harm(client: FlaskClient, form: str) -> None:
    block = {**TWO_SQUARES, "name": "港の灯 <&> 🧵" * 5}
    answer = templates(client, {"block": block}, form)
    assert answer.status_code == 200
    if form == "image/svg+xml":
        ElementTree.fromstring(answer.data)
