"""JSON is read as RFC 8259 has it, and strictly where that leaves a choice."""

from __future__ import annotations

import sys
from typing import Any

import pytest

from piecewright.service.json_text import MOST_DEPTH, NotJson, read_json, write_json


@pytest.mark.parametrize(
    ("raw", "value"),
    [
        (b"{}", {}),
        (b' [1, 2.5, -3e2, "a\\u00e9", true, null] ', [1, 2.5, -300.0, "aé", True, None]),
        ("{'ü': 1}".replace("'", '"').encode(), {"ü": 1}),
        (b"\xef\xbb\xbf1", 1),
    ],
)
def test_what_is_read(raw: bytes, value: Any) -> None:
    assert read_json(raw) == value


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", "nothing"),
        (b"[1,]", "line 1, column 4"),
        (b"[\n1 2]", "line 2, column 3"),
        (b"NaN", "NaN"),
        (b"[-Infinity]", "Infinity"),
        (b'{"a": 1, "a": 1}', "'a' stands twice"),
        (b'"\xe9"', "UTF-8"),
        (b"1" * 1000, "1000 characters"),
    ],
)
def test_what_is_refused_and_why(raw: bytes, message: str) -> None:
    with pytest.raises(NotJson, match=message):
        read_json(raw)


@pytest.mark.parametrize("depth", [900, 1500, 2000, MOST_DEPTH])
def test_nesting_as_deep_as_joins_may_be(depth: int) -> None:
    usual = sys.getrecursionlimit()
    value = read_json(b"[" * depth + b"]" * depth)
    for _ in range(depth - 1):
        (value,) = value
    assert value == []
    assert sys.getrecursionlimit() == usual


@pytest.mark.parametrize("depth", [MOST_DEPTH + 1, 200_000])
def test_deeper_nesting_is_refused(depth: int) -> None:
    with pytest.raises(NotJson, match="deep"):
        read_json(b"[" * depth + b"]" * depth)


def test_brackets_within_text_do_not_nest() -> None:
    deep = b'["[[[\\"[[[", ' * 1200 + b"1" + b"]" * 1200
    assert read_json(deep)[0] == '[[["[[['


def test_what_is_written() -> None:
    assert write_json({"name": "Möwe", "at": [1, 2.5]}) == '{"name":"Möwe","at":[1,2.5]}\n'.encode()
    assert read_json(write_json("\ud800 half a pair")) == "\ud800 half a pair"


def test_text_that_never_ends_is_soon_refused() -> None:
    with pytest.raises(NotJson):
        read_json(b"[" * 1500 + b'"' + b'\\"' * 1_000_000)
