"""What all objects of requests have alike: a field that is not known is refused, with a hint."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError

from piecewright.service.requests.fields import suggestion

MOST_GUESSES = 5
"""Unknown fields of one object that get a suggestion."""


def either(one: Sequence[str], other: Sequence[str]) -> dict[str, Any]:
    """In JSON Schema: an object has the fields ``one`` or the fields ``other``, and not both.

    ``oneOf`` would say it shorter, but generators of clients take that for a choice between two
    types without fields.
    """
    return {
        "if": {"required": list(one)},
        "then": {"not": {"required": list(other)}},
        "else": {"required": list(other)},
    }


class RequestSchema(Schema):
    """An object of a request: a field that it does not know is refused."""

    class Meta:
        unknown = RAISE

    rules: ClassVar[dict[str, Any]] = {}
    """What JSON Schema says of the fields together."""

    error_messages: dict[str, Any] = {  # noqa: RUF012 - marshmallow's protocol
        "unknown": {"code": "unknown-field", "detail": "there is no such field here"},
        "type": {"code": "type", "detail": "expected an object with named fields"},
    }

    def handle_error(self, error: ValidationError, data: Any, *, many: bool, **kwargs: Any) -> None:
        """Says of unknown fields, in the order of the request, which ones may have been meant."""
        messages = error.messages
        if not isinstance(messages, dict) or not isinstance(data, dict):
            return
        # By their names on the wire, which an attribute of Python may not have ("for").
        known = [field.data_key or name for name, field in self.fields.items()]
        unknown = [name for name in data if name not in known and name in messages]
        _put_in_order(messages, unknown)
        for name in unknown[:MOST_GUESSES]:
            hint = suggestion(name, known) or f"; the fields are: {', '.join(known)}"
            detail = f"there is no field {name!r:.60} here{hint}"
            messages[name] = [{"code": "unknown-field", "detail": detail}]


def _put_in_order(messages: dict[str, Any], unknown: Sequence[str]) -> None:
    """Give the unknown fields among the messages the order of the request.

    Marshmallow goes through a set of them, whose order is another in each process. All else stays
    where it is.
    """
    names = iter(unknown)
    ordered = [next(names) if name in unknown else name for name in messages]
    ordered_messages = {name: messages[name] for name in ordered}
    messages.clear()
    messages.update(ordered_messages)
