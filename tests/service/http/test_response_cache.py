"""What is asked for again is given again, and is not sent to who has it (RFC 9110, 13)."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from flask.testing import FlaskClient

from piecewright.service.app import create_app
from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.http.response_cache import ResponseCache
from piecewright.service.responses.answer import Answer
from piecewright.service.settings import Settings
from tests.service.asking import Json, check
from tests.service.drawing_pool.odd_worker import ODD_WORKER

PINWHEEL: Json = {"block": "pinwheel"}
NUMBER: Json = {"odd": "number"}
"""What is answered with another number each time that a worker is asked."""


def task(body: str) -> Task:
    return Task("check", body.encode())


def of_bytes(count: int) -> Answer:
    return Answer("json", b"x" * count, "")


def test_the_answer_that_was_not_asked_for_longest_goes_first() -> None:
    cache = ResponseCache(100)
    for name in "abc":
        cache.put(task(name), of_bytes(30))
    cache.get(task("a"))
    cache.put(task("d"), of_bytes(40))
    assert [name for name in "abcd" if cache.get(task(name))] == ["a", "c", "d"]
    cache.put(task("e"), of_bytes(71))
    assert [name for name in "abcde" if cache.get(task(name))] == ["e"]


def test_an_answer_larger_than_all_that_is_kept_drives_nothing_out() -> None:
    cache = ResponseCache(100)
    cache.put(task("a"), of_bytes(100))
    cache.put(task("b"), of_bytes(101))
    assert cache.get(task("a"))
    assert cache.get(task("b")) is None


def test_an_answer_that_is_kept_twice_counts_once() -> None:
    cache = ResponseCache(100)
    cache.put(task("a"), of_bytes(40))
    for _ in range(3):
        cache.put(task("b"), of_bytes(60))
    assert cache.get(task("a"))


def test_an_answer_is_to_one_task_alone() -> None:
    cache = ResponseCache(100)
    cache.put(Task("templates", b"{}", "svg", 1), of_bytes(1))
    for other in (
        Task("packet", b"{}", "svg", 1),
        Task("templates", b"{} ", "svg", 1),
        Task("templates", b"{}", "pdf", 1),
        Task("templates", b"{}", "svg", 2),
        Task("templates", b"{}", "svg"),
    ):
        assert cache.get(other) is None


@pytest.fixture(scope="module")
def pool() -> Iterator[DrawingPool]:
    made = DrawingPool(Settings(), ODD_WORKER)
    yield made
    made.end()


@pytest.mark.parametrize(("bytes_kept", "again"), [(1000, True), (0, False)])
def test_a_worker_is_not_asked_twice_unless_nothing_is_kept(
    pool: DrawingPool, bytes_kept: int, again: bool
) -> None:
    client = create_app(Settings(cache_bytes=bytes_kept), pool).test_client()
    first, second = check(client, NUMBER), check(client, NUMBER)
    assert (first.data == second.data) is again
    assert (first.headers["ETag"] == second.headers["ETag"]) is again
    assert check(client, {**NUMBER, "unit": "cm"}).data not in (first.data, second.data)


def test_faults_are_told_again(client: FlaskClient) -> None:
    assert [check(client, {"block": "tide"}).status_code for _ in range(2)] == [422, 422]


@pytest.mark.parametrize(
    "path", ["/v1/blocks", "/v1/blocks?unit=cm", "/v1/blocks/churn-dash", "/openapi.json", "/docs"]
)
def test_who_has_an_answer_is_not_sent_it_again(client: FlaskClient, path: str) -> None:
    first = client.get(path)
    tag = first.headers["ETag"]
    assert tag.startswith('"')  # a strong one
    assert first.headers["Cache-Control"] == "no-cache"
    for sent in (tag, f'"other", {tag}', f"W/{tag}", "*"):
        again = client.get(path, headers={"If-None-Match": sent})
        assert (again.status_code, again.data) == (304, b"")
        assert again.headers["ETag"] == tag
        assert again.headers["Cache-Control"] == "no-cache"
    other = client.get(path, headers={"If-None-Match": '"other"'})
    assert (other.status_code, other.data) == (200, first.data)
    assert client.head(path).headers["ETag"] == tag


def test_each_form_of_an_answer_has_its_own_tag(client: FlaskClient) -> None:
    answers = [
        client.post("/v1/templates", json=PINWHEEL, headers={"Accept": accept})
        for accept in ("application/json", "application/pdf", "image/svg+xml", "application/zip")
    ]
    assert len({answer.headers["ETag"] for answer in answers}) == 4
    assert all("Accept" in answer.headers["Vary"] for answer in answers)


def test_a_condition_on_a_post_is_not_looked_at(client: FlaskClient) -> None:
    tag = check(client, PINWHEEL).headers["ETag"]
    answer = client.post("/v1/check", json=PINWHEEL, headers={"If-None-Match": tag})
    assert answer.status_code == 200
    assert len(json.loads(answer.data)["pieces"]) == 8


def test_errors_have_no_tag(client: FlaskClient) -> None:
    assert "ETag" not in client.get("/nothing").headers
    assert "ETag" not in check(client, {}).headers
