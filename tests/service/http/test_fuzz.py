"""No body whatever makes the service fail: an answer is 200, 400 or 422, never 500."""

from __future__ import annotations

import json
from typing import Any

from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from piecewright.service.http.openapi.examples import GOOD

SLOW = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
WORDS = [
    "block",
    "unit",
    "finish",
    "allowance",
    "corners",
    "sheet",
    "pieces",
    "frame",
    "lines",
    "id",
]

plain = (
    st.none()
    | st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8)
    | st.sampled_from(["1/4", "3 1/2", "7/0", "12 mm", "-1", "pinwheel", "auto", "a4", "M0 0 Z"])
)
values = st.recursive(
    plain,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from(WORDS) | st.text(max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


def places(value: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value inside a JSON value."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    found = [way] if way else []
    if isinstance(value, dict | list):
        for key, below in inner:
            found += places(below, (*way, key)) if isinstance(below, dict | list) else [(*way, key)]
    return found


@st.composite
def damaged(draw: st.DrawFn) -> Any:
    """A good request in which a few values are others."""
    name = draw(st.sampled_from(sorted(GOOD)))
    body = json.loads(json.dumps(GOOD[name].body))
    for _ in range(draw(st.integers(1, 3))):
        *way, last = draw(st.sampled_from(places(body)))
        holder = body
        for step in way:
            holder = holder[step]
        holder[last] = draw(values)
    return body


def answers_properly(client: FlaskClient, body: Any) -> None:
    answer = client.post("/v1/templates", data=json.dumps(body), content_type="application/json")
    assert answer.status_code in (200, 422), answer.get_data(as_text=True)
    if answer.status_code == 422:
        told = answer.json
        assert told is not None
        assert told["errors"]
        assert all({"pointer", "code", "detail"} <= error.keys() for error in told["errors"])


@SLOW
@given(body=values)
def test_any_json(client: FlaskClient, body: Any) -> None:
    answers_properly(client, body)


@SLOW
@given(body=damaged())
def test_good_requests_with_some_damage(client: FlaskClient, body: Any) -> None:
    answers_properly(client, body)


@SLOW
@given(body=st.binary(max_size=40))
def test_any_bytes(client: FlaskClient, body: bytes) -> None:
    answer = client.post("/v1/check", data=body, content_type="application/json")
    assert answer.status_code in (400, 422)
