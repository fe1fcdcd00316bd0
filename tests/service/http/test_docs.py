"""The pages for people stand by themselves: no scripts, nothing loaded from elsewhere."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser

import pytest
from flask.testing import FlaskClient

from piecewright.service.problems import KINDS


class Reader(HTMLParser):
    """Collects tags, ids, and where links and sources lead."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.ids: list[str] = []
        self.leads: list[str] = []
        self.handlers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            elif name in ("href", "src"):
                self.leads.append(value or "")
            elif name.startswith("on") or name == "style":
                self.handlers.append(name)


def read(client: FlaskClient, path: str) -> tuple[str, Reader]:
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.content_type == "text/html; charset=utf-8"
    reader = Reader()
    reader.feed(answer.get_data(as_text=True))
    return answer.get_data(as_text=True), reader


@pytest.mark.parametrize("path", ["/docs", *(f"/problems/{id}" for id in KINDS)])
def test_a_page_stands_by_itself(client: FlaskClient, path: str) -> None:
    text, page = read(client, path)
    assert text.startswith("<!DOCTYPE html>")
    assert page.tags.isdisjoint({"script", "iframe", "img", "object", "embed", "form"})
    assert page.handlers == []
    assert all(lead.startswith(("#", "/", "data:,")) for lead in page.leads)


@pytest.mark.parametrize("path", ["/docs", "/problems/invalid-block"])
def test_the_policy_allows_the_pages_own_style_and_nothing_else(
    client: FlaskClient, path: str
) -> None:
    policy = client.get(path).headers["Content-Security-Policy"]
    text, _ = read(client, path)
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_every_link_within_the_page_leads_somewhere(client: FlaskClient) -> None:
    _, page = read(client, "/docs")
    assert {lead[1:] for lead in page.leads if lead.startswith("#")} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))


def test_every_link_to_another_page_leads_somewhere(client: FlaskClient) -> None:
    _, page = read(client, "/docs")
    others = {lead for lead in page.leads if lead.startswith("/")}
    assert "/openapi.json" in others
    assert all(client.get(lead).status_code == 200 for lead in others)


def test_the_page_tells_of_every_address_and_how_to_ask(client: FlaskClient) -> None:
    text, _ = read(client, "/docs")
    for path in ("/v1/blocks", "/v1/blocks/{id}", "/v1/check", "/v1/templates", "/health"):
        assert path in text
    assert "curl -X POST http://localhost/v1/templates" in text
    for field in ("allowance", "corners", "overlap", "bias_edges", "match_points"):
        assert field in text


def test_a_strange_host_does_not_get_into_the_lines_to_copy(client: FlaskClient) -> None:
    answer = client.get("/docs", headers={"Host": "a.example`rm`"})
    assert "`rm`" not in answer.get_data(as_text=True)


def test_the_start_leads_to_the_page(client: FlaskClient) -> None:
    answer = client.get("/")
    assert answer.status_code == 302
    assert answer.headers["Location"] == "/docs"
