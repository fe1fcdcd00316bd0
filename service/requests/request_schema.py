"""What all objects of requests have alike: a field that is not known is refused, with a hint."""

from __future__ import annotations

from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError

from piecewright.service.requests.fields import suggestion

MOST_GUESSES = 5
"""Unknown fields of one object that get a suggestion."""


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
        # Marshmallow goes through a set of them, whose order is another in each process.
        unknown = [name for name in data if name not in self.fields and name in messages]
        for name in unknown:
            messages[name] = messages.pop(name)
        for name in unknown[:MOST_GUESSES]:
            names = ", ".join(self.fields)
            hint = suggestion(name, list(self.fields)) or f"; the fields are: {names}"
            detail = f"there is no field {name!r:.60} here{hint}"
            messages[name] = [{"code": "unknown-field", "detail": detail}]
