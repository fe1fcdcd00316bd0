"""What holds for every printable, whatever it shows: its forms, and its sheets in each."""

from __future__ import annotations

import io
import zipfile
from xml.etree import ElementTree

import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.service.http.openapi.examples import HARBOUR_QUILT
from piecewright.service.requests.parse import read_request
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import Settings
from tests.service.asking import STAR, Json, printed, unlike

OF_A_BLOCK = [name for name, thing in PRINTABLES.items() if thing.read is read_request]
SMALL: Json = {**STAR, "finish": {"width": 8}, "sheet": {"paper": "a5"}}
ASKED: dict[str, Json] = {"packet": {**SMALL, "for": "Ada"}, "quilt-plan": HARBOUR_QUILT.body}
"""Requests for what a block alone does not serve, or serves with more."""


@pytest.mark.parametrize("name", OF_A_BLOCK)
def test_every_form_shows_the_same_sheets(client: FlaskClient, name: str) -> None:
    count = len(printed(name, client, SMALL).json["pages"])
    pdf = printed(name, client, SMALL, "application/pdf")
    assert pdf.mimetype == "application/pdf"
    document = pypdf.PdfReader(io.BytesIO(pdf.data))
    assert len(document.pages) == count
    assert "Sawtooth Star" in document.pages[0].extract_text()
    last = printed(name, client, SMALL, "image/svg+xml", f"?page={count}")
    assert f"page {count} of {count}" in last.get_data(as_text=True)
    archive = printed(name, client, SMALL, "application/zip")
    with zipfile.ZipFile(io.BytesIO(archive.data)) as files:
        assert len(files.namelist()) == count
        assert files.read(files.namelist()[-1]) == last.data


@pytest.mark.parametrize("name", PRINTABLES)
def test_the_same_request_gives_the_same_bytes(name: str) -> None:
    """Drawn twice; over HTTP the second answer would be the first one, kept."""
    thing, settings = PRINTABLES[name], Settings()
    asked = thing.read(ASKED.get(name, SMALL), settings)
    one, other = (thing.answer(asked, "pdf", settings.max_sheets, None, False) for _ in range(2))
    assert one.content == other.content


@pytest.mark.parametrize("name", OF_A_BLOCK)
def test_other_forms_and_sheets_are_refused(client: FlaskClient, name: str) -> None:
    assert printed(name, client, STAR, "image/png").status_code == 406
    assert printed(name, client, STAR, "image/svg+xml", "?page=99").status_code == 404
    assert printed(name, client, STAR, "application/pdf", "?page=1").status_code == 400


@pytest.mark.parametrize("name", ["templates", "quilt-plan", "packet"])
def test_every_sheet_is_in_one_answer_if_so_asked(client: FlaskClient, name: str) -> None:
    asked = {**ASKED, "packet": {**STAR, "parts": ["cover", "cutting-list"]}}.get(name, SMALL)
    answer = printed(name, client, asked, query="?sheets=svg")
    described = answer.json
    assert unlike(PRINTABLES[name].answer_schema.__name__, described) == []
    pages = described["pages"]
    assert answer.headers["Sheets"] == str(len(pages))
    ids = [
        element.attrib["id"]
        for page in pages
        for element in ElementTree.fromstring(page["svg"]).iter()
        if "id" in element.attrib
    ]
    assert len(set(ids)) == len(ids)
    if "svg" in PRINTABLES[name].forms:
        last = printed(name, client, asked, "image/svg+xml", f"?page={len(pages)}")
        assert last.get_data(as_text=True).partition("?>\n")[2] == pages[-1]["svg"]
        assert last.headers["Sheets"] == str(len(pages))
        assert "Sheets" not in printed(name, client, asked, "image/svg+xml").headers
    for page in pages:
        del page["svg"]
    assert described == printed(name, client, asked).json
    assert printed(name, client, asked, "application/pdf").headers["Sheets"] == str(len(pages))


def test_svg_of_sheets_goes_with_json_alone(client: FlaskClient) -> None:
    assert printed("packet", client, SMALL, "application/pdf", "?sheets=svg").status_code == 400
    assert printed("packet", client, SMALL, query="?sheets=png").status_code == 400
    assert printed("templates", client, SMALL, query="?sheet=svg").status_code == 400
