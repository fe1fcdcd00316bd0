"""What schemas found wrong as faults, each with its JSON pointer (RFC 6901) into the request."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from piecewright.patchwork.faults import Fault, escaped


def schema_faults(messages: Any, pointer: str = "") -> Iterator[Fault]:
    """Marshmallow's tree of errors as faults, each with its JSON pointer.

    The tree's leaves are lists of ``{"code", "detail"}``; its names become the pointer's
    parts, with ``~`` and ``/`` escaped (RFC 6901). Marshmallow puts what is wrong with an
    object as a whole under ``_schema``.
    """
    if isinstance(messages, list):
        for message in messages:
            # What is wrong deep in a tree of joins is found by a loop, not by nested fields.
            below = "".join(f"/{number}" for number in message.get("below", ()))
            yield Fault(pointer + below, message["code"], message["detail"])
        return
    for name, inner in messages.items():
        of_whole = name == "_schema" and not _is_unknown_field(inner)
        yield from schema_faults(inner, pointer if of_whole else f"{pointer}/{escaped(name)}")


def _is_unknown_field(messages: Any) -> bool:
    """Whether ``_schema`` is what somebody called a field."""
    return isinstance(messages, list) and messages[0]["code"] == "unknown-field"
