"""JSON text (RFC 8259), read strictly and written plainly."""

from __future__ import annotations

import json
import math
import re
import sys
from collections import Counter
from threading import Lock
from typing import Any, NoReturn

MOST_DEPTH = 2050
"""Levels of nesting that are read: the joins of a block of 2,000 pieces may be one long chain."""

_LONGEST_INTEGER = 20
"""Digits; a longer whole number is read as a float, which is what any other program does."""

_LONGEST_NUMBER = 400
"""Characters: the largest float has 309 digits before the point; nobody writes a longer number."""

_recursion_limit = Lock()
"""The limit is the whole process's: who raises it must not have another lower it meanwhile."""


class NotJson(ValueError):
    """Bytes that are not JSON text; the message says where and why."""


def read_json(raw: bytes) -> Any:
    """The value that JSON text in UTF-8 stands for.

    Raises:
        NotJson: it is not UTF-8, not JSON (``NaN`` and ``Infinity`` are not), names a field
            twice in one object, or is nested too deep.

    >>> read_json(b'{"block": "pinwheel"}')
    {'block': 'pinwheel'}
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotJson(f"this is not UTF-8: byte {error.start + 1} is no part of it") from None
    if not text.strip():
        raise NotJson("there is nothing in it")
    try:
        return _parse(text)
    except RecursionError:
        return _parse_deep(text)


def _parse(text: str) -> Any:
    try:
        return json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_refuse_constant,
            parse_int=_integer,
            parse_float=_float,
        )
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise NotJson(f"this is not JSON: {error.msg} ({where})") from None


def _parse_deep(text: str) -> Any:
    """The value of text that is nested deeper than Python's usual limit for calls."""
    if _depth(text) > MOST_DEPTH:
        raise NotJson(f"this is nested more than {MOST_DEPTH} levels deep")
    with _recursion_limit:
        usual = sys.getrecursionlimit()
        # Ample: it is the check above that limits the depth.
        sys.setrecursionlimit(usual + 2 * MOST_DEPTH)
        try:
            return _parse(text)
        except RecursionError:
            raise NotJson("this is nested too deep") from None
        finally:
            sys.setrecursionlimit(usual)


def _depth(text: str) -> int:
    deepest = level = 0
    # Text that is not closed runs to the end, so that no part is looked at twice.
    for bracket in re.findall(r'"[^"\\]*(?:\\.[^"\\]*)*"?|[][{}]', text, re.DOTALL):
        if bracket in "[{":
            level += 1
            deepest = max(deepest, level)
        elif bracket in "]}":
            level -= 1
    return deepest


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) < len(pairs):
        ((twice, _),) = Counter(name for name, _ in pairs).most_common(1)
        raise NotJson(f"the field {twice!r:.60} stands twice in one object; keep one of them")
    return read


def _refuse_constant(word: str) -> NoReturn:
    raise NotJson(f"{word} is not JSON; write a number")


def _integer(digits: str) -> int | float:
    return int(digits) if len(digits) <= _LONGEST_INTEGER else _float(digits)


def _float(digits: str) -> float:
    if len(digits) > _LONGEST_NUMBER:
        raise NotJson(f"a number of {len(digits)} characters; at most {_LONGEST_NUMBER} are read")
    read = float(digits)
    if math.isinf(read):  # RFC 8259, section 6: limits of range are the reader's
        raise NotJson(f"the number {digits:.20} is larger than any that is read")
    return read


def write_json(value: Any, indent: int | None = None) -> bytes:
    """A value as JSON text in UTF-8, a line of its own.

    What UTF-8 cannot hold (a lone surrogate out of a request) is written as its JSON escape.
    """
    try:
        text = _written(value, indent)
    except RecursionError:  # the joins of a block of 2,000 pieces may be one long chain
        with _recursion_limit:
            usual = sys.getrecursionlimit()
            sys.setrecursionlimit(usual + 2 * MOST_DEPTH)
            try:
                text = _written(value, indent)
            finally:
                sys.setrecursionlimit(usual)
    return (text + "\n").encode("utf-8", "backslashreplace")


def _written(value: Any, indent: int | None) -> str:
    separators = (",", ": ") if indent else (",", ":")
    return json.dumps(
        value, ensure_ascii=False, allow_nan=False, indent=indent, separators=separators
    )


def canonical(value: Any) -> bytes:
    """A JSON value as text that does not depend on the order of fields.

    Nested deeper than Python's calls may be, it is written as it stands.

    >>> canonical({"b": 1, "a": "ü"})
    b'{"a":"\\\\u00fc","b":1}'
    """
    try:
        return json.dumps(value, sort_keys=True, separators=(",", ":")).encode()
    except RecursionError:
        return write_json(value)
