"""What holds for every printable, whatever it shows: its forms, and its sheets in each."""

from __future__ import annotations

import io
import zipfile

import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.service.http.openapi.examples import HARBOUR_QUILT
from piecewright.service.requests.parse import read_request
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import Settings
from tests.service.asking import STAR, Json, printed

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
    one, other = (thing.answer(asked, "pdf", settings.max_sheets, None) for _ in range(2))
    assert one.content == other.content


@pytest.mark.parametrize("name", OF_A_BLOCK)
def test_other_forms_and_sheets_are_refused(client: FlaskClient, name: str) -> None:
    assert printed(name, client, STAR, "image/png").status_code == 406
    assert printed(name, client, STAR, "image/svg+xml", "?page=99").status_code == 404
    assert printed(name, client, STAR, "application/pdf", "?page=1").status_code == 400
