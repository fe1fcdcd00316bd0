"""What a client is told that it may ask for can be asked for."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from piecewright.service.responses.settings import settings_answer
from piecewright.service.settings import Settings
from tests.service.asking import STAR, Json, check, codes


def told(client: FlaskClient, query: str = "") -> Json:
    answer = client.get(f"/v1/settings{query}")
    assert answer.status_code == 200
    return dict(answer.json or {})


def test_every_paper_can_be_asked_for_by_id_and_by_name(client: FlaskClient) -> None:
    papers = told(client)["papers"]
    assert {"letter", "a4", "ansi-c", "b2"} <= {paper["id"] for paper in papers}
    for paper in papers[:4] + papers[-2:]:
        for name in (paper["id"], paper["name"]):
            assert check(client, {**STAR, "sheet": {"paper": name}}).status_code == 200


def test_papers_are_told_in_the_unit_asked_for(client: FlaskClient) -> None:
    """ISO 216: A4 is 210 mm by 297 mm."""
    (a4,) = (paper for paper in told(client, "?unit=mm")["papers"] if paper["id"] == "a4")
    assert (a4["name"], a4["width"], a4["height"]) == ("A4", 210, 297)
    assert told(client, "?unit=cm")["defaults"]["paper"] == "a4"
    assert client.get("/v1/settings?unit=ell").status_code == 400


@pytest.mark.parametrize("field", ["allowance", "margin", "overlap", "roll", "finish"])
def test_lengths_are_taken_up_to_their_bounds(client: FlaskClient, field: str) -> None:
    (bounds,) = (one for one in told(client)["lengths"] if one["field"] == field)

    def asked(length: float) -> Json:
        own: Json = {field: length}
        return {**STAR, **(own if field in ("allowance", "finish") else {"sheet": own})}

    assert check(client, asked(bounds["most"])).status_code == 200
    assert len(codes(check(client, asked(bounds["most"] + 0.01)))) == 1
    if bounds["least"] > 0:
        assert len(codes(check(client, asked(bounds["least"] - 0.01)))) == 1


def test_the_limits_are_those_of_the_service() -> None:
    settings = Settings(max_sheets=77, rate=60, deadline=12)
    limits = settings_answer(settings)["limits"]
    assert (limits["sheets"], limits["requests"], limits["seconds"]) == (77, 60, 12)
    assert settings_answer(Settings())["limits"]["requests"] is None


@pytest.mark.parametrize(("unit", "seam", "cloth"), [("in", 0.25, 40), ("cm", 0.75, 106)])
def test_allowance_and_cloth_are_those_that_makers_use_in_the_unit(
    client: FlaskClient, unit: str, seam: float, cloth: float
) -> None:
    """A quarter of an inch and 0.75 cm: common practice, with no source."""
    answer = client.get(f"/v1/settings?unit={unit}").json
    assert answer is not None
    assert answer["defaults"]["allowance"] == pytest.approx(seam)
    assert answer["defaults"]["cloth"] == pytest.approx(cloth)
