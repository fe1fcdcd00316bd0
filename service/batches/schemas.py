"""What requests for batches and their answers look like."""

from __future__ import annotations

from typing import Any, ClassVar, Final

from marshmallow import ValidationError, validates_schema
from marshmallow import fields as plain

from piecewright.service.requests.fields import (
    LONGEST_NAME,
    ListOf,
    Refer,
    RequestField,
    Text,
    documented,
    kind_of,
    refusal,
)
from piecewright.service.requests.schemas import QuiltAndMakers
from piecewright.service.responses.schemas import AnswerSchema, Problem

MOST_ITEMS: Final = 2000
BATCH_STATES: Final = ("queued", "running", "done", "cancelled")
COLLATED_STATES: Final = ("queued", "running", "done", "failed")
ITEM_STATES: Final = ("queued", "running", "done", "failed", "cancelled")


class PacketPart(RequestField):
    """A packet request or part of one; all that is read of it here is its name."""

    NAME = Text(LONGEST_NAME)

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {
            "type": "object",
            "properties": {
                "for": {
                    **self.NAME.json_schema(refer),
                    "type": ["string", "null"],
                    "description": "Whose packet it is: every sheet carries the name. `null`: "
                    "nobody's, whatever the defaults say.",
                }
            },
            "additionalProperties": True,
        }

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise refusal("type", f"expected an object with named fields, got {kind_of(value)}")
        if value.get("for") is None:  # a merge patch takes the default's name away with null
            return {**value, "for": ""} if "for" in value else value
        try:
            self.NAME.deserialize(value["for"])
        except ValidationError as error:
            raise ValidationError({"for": error.messages}) from None
        return value


class BatchRequest(QuiltAndMakers):
    """Many packets: those of `items`, or one for each of the `makers` of a `quilt`. What is wrong
    with one of them is told with it, and does not stop the rest."""

    rules: ClassVar[dict[str, Any]] = {
        "oneOf": [{"required": ["items"]}, {"required": ["quilt", "makers"]}],
        "dependentRequired": {"makers": ["quilt"], "designs": ["quilt"]},
    }

    title = Text(LONGEST_NAME, metadata=documented("For people; the batch is known by its id."))
    defaults = PacketPart(
        metadata=documented(
            "A packet request, as `/v1/packet` takes it, or what items share of one."
        )
    )
    items = ListOf(
        PacketPart(),
        "items",
        fewest=1,
        most=MOST_ITEMS,
        metadata=documented(
            "The packets: each a JSON merge patch (RFC 7396) on `defaults`. Items that differ in "
            "nothing but `for` are drawn once."
        ),
    )

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def _has_packets(self, data: Any, original: Any, **kwargs: Any) -> None:
        if not isinstance(original, dict):
            return
        if not {"items", "quilt"} & original.keys():
            detail = "a batch has items, or a quilt and its makers"
            raise ValidationError({"items": [{"code": "required", "detail": detail}]})
        if {"items", "quilt"} <= original.keys():
            raise refusal("items", "a batch has either items, or a quilt and its makers")
        if ("makers" in original) != ("quilt" in original):
            raise refusal("items", "a quilt's packets are for its makers; give both or neither")
        if "designs" in original and "quilt" not in original:
            raise refusal("items", "designs are the blocks of a quilt, and there is none here")


# --- answers ---------------------------------------------------------------------------------


class BatchItem(AnswerSchema):
    """One packet of a batch."""

    number = plain.Integer(required=True, metadata=documented("From 1, as asked for.", minimum=1))
    maker = plain.String(
        data_key="for", required=True, metadata=documented("Whose it is; empty for nobody's.")
    )
    state = plain.String(
        required=True,
        metadata=documented(
            "`failed` comes with `problem`, `done` with `href`; an item of a batch that was "
            "cancelled before it was done is `cancelled`.",
            enum=list(ITEM_STATES),
        ),
    )
    pages = plain.Integer(
        required=True,
        allow_none=True,
        metadata=documented("Of its PDF, once it is done.", minimum=1),
    )
    href = plain.String(metadata=documented("Where its PDF is, once it is done."))
    problem = plain.Nested(
        Problem,
        metadata=documented(
            "Why it failed, as `/v1/packet` would have said; pointers lead into the request that "
            "`defaults` and the item's changes make together."
        ),
    )


class BatchLinks(AnswerSchema):
    """Addresses of a batch."""

    self = plain.String(
        required=True, metadata=documented("The batch: its state as JSON or events.")
    )
    archive = plain.String(
        required=True, metadata=documented("All its packets, when it has ended.")
    )


class Collated(AnswerSchema):
    """All packets of a batch in one PDF, which is made when the batch has ended."""

    state = plain.String(
        required=True,
        metadata=documented(
            "Once it is `done`, the archive is to be had as `application/pdf`; `failed` comes with "
            "`problem`.",
            enum=list(COLLATED_STATES),
        ),
    )
    pages = plain.Integer(
        required=True, allow_none=True, metadata=documented("Once it is done.", minimum=1)
    )
    problem = plain.Nested(
        Problem,
        metadata=documented(
            "Why it failed, for good. The PDFs of the items and the ZIP are not touched by that."
        ),
    )


class BatchProgress(AnswerSchema):
    """How far a batch is, without its items."""

    id = plain.String(
        required=True, metadata=documented("By which it is asked for; keep it secret.")
    )
    title = plain.String(required=True, metadata=documented("As given; empty if none was."))
    state = plain.String(
        required=True,
        metadata=documented(
            "`done` once no item is left to do, whether they could be drawn or not; `cancelled` "
            "if it was stopped before.",
            enum=list(BATCH_STATES),
        ),
    )
    total = plain.Integer(required=True, metadata=documented("Items.", minimum=1))
    done = plain.Integer(required=True, metadata=documented("Items whose PDF is there.", minimum=0))
    failed = plain.Integer(required=True, metadata=documented("Items with a problem.", minimum=0))
    created = plain.DateTime(required=True, metadata=documented("In UTC (RFC 3339)."))
    ended = plain.DateTime(
        required=True,
        allow_none=True,
        metadata=documented("In UTC; null while there is work left."),
    )
    expires = plain.DateTime(
        required=True,
        allow_none=True,
        metadata=documented("When it is removed, with its files; null until it has ended."),
    )
    collated = plain.Nested(
        Collated,
        required=True,
        allow_none=True,
        metadata=documented(
            "All packets in one PDF; null until the batch has ended, and if no packet is done."
        ),
    )
    links = plain.Nested(BatchLinks, required=True, metadata=documented("Where to go from here."))


class BatchAnswer(BatchProgress):
    """A batch and all its items."""

    items = plain.List(
        plain.Nested(BatchItem), required=True, metadata=documented("In the order of the request.")
    )
