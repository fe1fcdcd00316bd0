"""A batch for a group quilt: a packet for each maker."""

from __future__ import annotations

import io
from typing import Any

import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.problems import UNAVAILABLE, Problem
from piecewright.service.settings import Settings
from tests.service.batches.asking import do_all, posted, state

QUILT: dict[str, Any] = {
    "title": "Harbour quilt",
    "quilt": {"blocks": [["nine-patch", "pier"], ["pier", "nine-patch"]]},
    "designs": {
        "pier": {
            "name": "Long Pier",
            "frame": [[0, 0], [9, 0], [9, 9], [0, 9]],
            "lines": [[[0, 3], [9, 3]], [[0, 6], [9, 6]]],
        }
    },
    "makers": ["Ada", "Wim"],
    "defaults": {"finish": {"width": 9}, "parts": ["cover", "sewing-plan", "templates"]},
}


def texts(client: FlaskClient, href: str) -> list[str]:
    pdf = pypdf.PdfReader(io.BytesIO(client.get(href).data))
    return [page.extract_text() for page in pdf.pages]


def test_each_maker_gets_what_they_make(client: FlaskClient, settings: Settings) -> None:
    batch = posted(client, QUILT)
    assert [item["for"] for item in batch["items"]] == ["Ada", "Wim"]
    do_all(settings)
    told = state(client, batch)
    assert (told["state"], told["done"]) == ("done", 2), told
    plan: Any = client.post("/v1/quilt-plan", json=QUILT).json
    names = {"nine-patch": "Nine Patch", "pier": "Long Pier"}
    blocks = {variant["id"]: variant["block"] for variant in plan["variants"]}
    for item, maker in zip(told["items"], plan["makers"], strict=True):
        pages = texts(client, item["href"])
        assert all(f"for {item['for']}" in page for page in pages)
        assert "Harbour quilt" in pages[0]
        mine = {names[blocks[variant["id"]]] for variant in maker["variants"]}
        for name in names.values():
            assert (name in " ".join(pages[2:])) == (name in mine)
        for variant in maker["variants"]:
            assert f"make {variant['count']}" in pages[0]


def test_what_is_wrong_with_the_quilt_is_told_before_anything_is_made(
    client: FlaskClient,
) -> None:
    wrong = {**QUILT, "quilt": {"blocks": [["nine-patch", "pier"], ["pier"]]}}
    answer = client.post("/v1/batches", json=wrong)
    assert answer.status_code == 422
    found: Any = answer.json
    assert [fault["pointer"] for fault in found["errors"]] == ["/quilt/blocks/1"]


@pytest.mark.parametrize(
    "body",
    [
        {**QUILT, "items": [{"for": "Ada"}]},
        {name: value for name, value in QUILT.items() if name != "makers"},
        {"items": [{"for": "Ada"}], "designs": QUILT["designs"]},
    ],
)
def test_a_batch_has_items_or_a_quilt_with_makers(client: FlaskClient, body: Any) -> None:
    answer = client.post("/v1/batches", json=body)
    assert answer.status_code == 422
    found: Any = answer.json
    assert found["errors"][0]["code"] == "items"


def test_a_batch_of_nothing_is_none(client: FlaskClient) -> None:
    found: Any = client.post("/v1/batches", json={"title": "Nothing"}).json
    assert [(f["pointer"], f["code"]) for f in found["errors"]] == [("/items", "required")]


@pytest.mark.parametrize("maker", [-1, 2, "Ada", None, True])
def test_no_packet_for_a_maker_who_is_none(
    client: FlaskClient, settings: Settings, maker: Any
) -> None:
    """An item may be written as the makers' items are; what it says is checked all the same."""
    body = (
        {"items": [{**QUILT, "maker": maker}]} if maker is not None else {"items": [{"maker": 0}]}
    )
    batch = posted(client, body)
    do_all(settings)
    (item,) = state(client, batch)["items"]
    assert item["state"] == "failed"
    assert item["problem"]["status"] == 422


def test_a_repeated_request_is_known_though_no_worker_is_free(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = posted(client, QUILT, **{"Idempotency-Key": "harbour"})

    def busy(self: DrawingPool, task: Task) -> None:
        raise Problem(UNAVAILABLE, "Every worker is busy.")

    monkeypatch.setattr(DrawingPool, "run", busy)
    assert posted(client, QUILT, **{"Idempotency-Key": "harbour"})["id"] == first["id"]
    assert client.post("/v1/batches", json=QUILT).status_code == 503


def test_who_sews_on_paper_is_told_that_seams_then_lie_their_own_way(
    client: FlaskClient, settings: Settings
) -> None:
    """Common practice: on a foundation every seam is pressed toward the patch just added."""
    whole = {name: QUILT[name] for name in ("title", "makers")}
    body = {
        **whole,
        "quilt": {"blocks": [["nine-patch", "nine-patch"]]},
        "defaults": {"parts": ["cover", "foundation"]},
    }
    batch = posted(client, body)
    do_all(settings)
    for item in state(client, batch)["items"]:
        front = " ".join(texts(client, item["href"])[0].split())
        assert "Sewn on paper, seams lie toward the patch that is added last" in front
