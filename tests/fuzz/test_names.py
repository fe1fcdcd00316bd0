"""Names that are markup, or hard to set: they stay text, whatever they say."""

from __future__ import annotations

import io
from typing import Any
from xml.etree import ElementTree

import pypdf
import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

pytestmark = pytest.mark.long

SVG = "{http://www.w3.org/2000/svg}"
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"

MARKUP = [
    "<script>alert(1)</script>",
    "&lt;&entities;&#x0;",
    "]]><![CDATA[",
    '"><image href="http://gull.invalid/a.png"/>',
    "--><!ENTITY x SYSTEM 'file:///etc/passwd'>",
    "url(http://gull.invalid/a.svg#b)",
    "\\) Tj ET /JS (app.alert) <</S/JavaScript>>",
]
HARD = [
    "שלום harbour عربى",
    "\u202eback\u202c to front",
    "e\u0301\u0302\u0303" * 40,
    "W" * 200,
    "\u200b\ufeff\u00ad",
    "港の灯台 🪡",
    " ",
    "\u00a0" * 100,
]


def request_with(name: str) -> dict[str, Any]:
    """The name wherever a request has room for one."""
    return {
        "block": {
            "name": name,
            "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
            "lines": [[[0, 0], [6, 6]]],
            "fabrics": [
                {"id": name[:20], "name": name, "colour": "#24506e"},
                {"id": "sail", "name": name},
            ],
            "fills": [{"at": [5, 1], "fabric": name[:20]}, {"at": [1, 5], "fabric": "sail"}],
        },
    }


def pieces_with(name: str) -> dict[str, Any]:
    """The same, as ids of pieces."""
    outlines = [[[0, 0], [3, 0], [3, 3], [0, 3]], [[3, 0], [6, 0], [6, 3], [3, 3]]]
    ids = [name[:30], "other"]
    pieces = [{"id": i, "outline": o} for i, o in zip(ids, outlines, strict=True)]
    return {"block": {"name": name, "pieces": pieces}}


def svg_is_harmless(content: bytes) -> None:
    """Well-formed (XML 1.0), nothing in it that runs or loads (SVG 2, 2.6: secure modes)."""
    root = ElementTree.fromstring(content)
    assert root.tag == f"{SVG}svg"
    for element in root.iter():
        assert isinstance(element.tag, str)
        assert element.tag.removeprefix(SVG) not in ("script", "foreignObject", "image", "iframe")
        for attribute, value in element.attrib.items():
            assert not attribute.lower().startswith("on")
            if attribute in ("href", XLINK_HREF):
                assert value.startswith("#")
            elif not attribute.startswith(("aria-", "data-")) and attribute not in ("id", "class"):
                assert "url(" not in value.replace("url(#", "")
        if element.tag == f"{SVG}style":
            assert "@import" not in (element.text or "")
            assert "url(" not in (element.text or "").replace("url(#", "")


def asked(client: FlaskClient, path: str, body: Any, form: str) -> bytes | None:
    """The answer, or None if it is refused for its faults."""
    answer = client.post(f"/v1/{path}", json=body, headers={"Accept": form})
    if answer.status_code == 422:
        assert answer.json is not None
        assert answer.json["errors"]
        return None
    assert answer.status_code == 200, answer.get_data(as_text=True)
    content: bytes = answer.data
    return content


@pytest.mark.parametrize("name", MARKUP + HARD)
@pytest.mark.parametrize("path", ["templates", "block-map"])
def test_a_drawing_has_names_as_text_alone(client: FlaskClient, name: str, path: str) -> None:
    content = asked(client, path, request_with(name), "image/svg+xml")
    if content is None:
        assert name not in MARKUP
    else:
        svg_is_harmless(content)


@pytest.mark.parametrize("name", MARKUP + HARD)
def test_a_piece_may_be_called_anything(client: FlaskClient, name: str) -> None:
    content = asked(client, "templates", pieces_with(name), "image/svg+xml")
    if content is not None:
        svg_is_harmless(content)


@pytest.mark.parametrize("name", MARKUP)
def test_a_pdf_says_what_was_sent(client: FlaskClient, name: str) -> None:
    """Read back by pypdf; spaces and lines are the page's own."""
    content = asked(client, "templates", request_with(name), "application/pdf")
    assert content is not None
    document = pypdf.PdfReader(io.BytesIO(content))
    text = "".join(page.extract_text() for page in document.pages)
    assert "".join(name.split()) in "".join(text.split())
    assert document.metadata is not None
    assert document.metadata.title is not None
    assert name in document.metadata.title
    root: Any = document.trailer["/Root"]
    assert not {"/OpenAction", "/AA", "/AcroForm"} & set(root)
    assert "/JavaScript" not in (root.get("/Names") or {})
    for page in document.pages:
        assert "/AA" not in page


@pytest.mark.parametrize("name", HARD)
def test_a_pdf_takes_what_is_hard_to_set(client: FlaskClient, name: str) -> None:
    content = asked(client, "packet", request_with(name) | {"for": name}, "application/pdf")
    if content is not None:
        assert len(pypdf.PdfReader(io.BytesIO(content)).pages) >= 1


@pytest.mark.parametrize("character", ["\x00", "\x07", "\n", "\x1b", "\x85", "\u2028", "\uffff"])
def test_a_name_is_one_line_of_text(client: FlaskClient, character: str) -> None:
    """XML 1.0, section 2.2, has no U+0000, U+0007, U+001B or U+FFFF at all."""
    body = request_with(f"gull{character}post")
    answer = client.post("/v1/templates", json=body, headers={"Accept": "image/svg+xml"})
    assert answer.status_code == 422
    assert answer.json is not None
    assert "/block/name" in {error["pointer"] for error in answer.json["errors"]}


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(name=st.text(max_size=60))
def test_any_name(client: FlaskClient, name: str) -> None:
    content = asked(client, "templates", request_with(name), "image/svg+xml")
    if content is not None:
        svg_is_harmless(content)
