"""Figures for Prometheus, read by the parser of its own client library."""

from __future__ import annotations

from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families


def figures(client: FlaskClient) -> dict[tuple[str, str, str, str], float]:
    """Requests by method, route and status."""
    text = client.get("/metrics").get_data(as_text=True)
    return {
        (s.labels["method"], s.labels["route"], s.labels["status"], s.name): s.value
        for family in text_string_to_metric_families(text)
        for s in family.samples
        if s.name == "piecewright_requests_total"
    }


def test_requests_are_counted_by_route_and_status(client: FlaskClient) -> None:
    before = figures(client)
    client.get("/v1/blocks/spools")
    client.get("/v1/blocks/pinwheel")
    client.get("/v1/blocks/no-such-block")
    after = figures(client)
    name = "piecewright_requests_total"
    good, bad = (("GET", "/v1/blocks/<id>", status, name) for status in ("200", "404"))
    assert after[good] - before.get(good, 0) == 2
    assert after[bad] - before.get(bad, 0) == 1


def test_what_strangers_try_makes_no_figures_of_its_own(client: FlaskClient) -> None:
    client.get("/login.php")
    client.open("/v1/blocks", method="BREW")
    labels = {label for key in figures(client) for label in key}
    assert "/login.php" not in labels
    assert "BREW" not in labels


def test_answers_that_were_kept_are_counted(client: FlaskClient) -> None:
    def kept() -> float:
        text = client.get("/metrics").get_data(as_text=True)
        families = {family.name: family for family in text_string_to_metric_families(text)}
        return families["piecewright_kept_answers"].samples[0].value

    body = {"block": "spools", "finish": {"width": "7 1/8"}}
    client.post("/v1/check", json=body)
    before = kept()
    client.post("/v1/check", json=body)
    assert kept() - before == 1
