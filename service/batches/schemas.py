"""Requests for batches and answers about them; the OpenAPI document is made from these classes."""

from __future__ import annotations

from typing import Any, ClassVar, Final, get_args

from marshmallow import ValidationError, validates_schema

from piecewright.service.batches import model
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
from piecewright.service.requests.quilt_schemas import QuiltAndMakers
from piecewright.service.requests.request_schema import either
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, itself
from piecewright.service.responses.problem import Problem
from piecewright.service.settings import MOST_ITEMS

COLLATED_STATES: Final = ("queued", "running", "done", "failed")


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
        **either(["items"], ["quilt", "makers"]),
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
#
# Their context is the address of the batch, from which all other addresses follow.


def _href(item: model.BatchItem, address: str) -> str | None:
    return f"{address}/items/{item.number}" if item.state == "done" else None


class BatchItem(AnswerSchema):
    """One packet of a batch."""

    number = fields.Count("From 1, as asked for.", least=1)
    maker = fields.Text("Whose it is; empty for nobody's.", data_key="for", of="name")
    state = fields.Word(
        "`failed` comes with `problem`, `done` with `href`; an item of a batch that was "
        "cancelled before it was done is `cancelled`.",
        get_args(model.ItemState),
    )
    pages = fields.Count("Of its PDF, once it is done.", least=1, nullable=True)
    href = fields.Text("Where its PDF is, once it is done.", optional=True, within=_href)
    # A problem is kept as the JSON that is answered.
    problem = fields.One(
        Problem,
        "Why it failed, as `/v1/packet` would have said; pointers lead into the request that "
        "`defaults` and the item's changes make together.",
        optional=True,
        ready=True,
    )


class BatchLinks(AnswerSchema):
    """Addresses of a batch."""

    self = fields.Text(
        "The batch: its state as JSON or events.", within=lambda batch, address: address
    )
    archive = fields.Text(
        "All its packets, when it has ended.", within=lambda batch, address: f"{address}/archive"
    )


class Collated(AnswerSchema):
    """All packets of a batch in one PDF, which is made when the batch has ended."""

    state = fields.Word(
        "Once it is `done`, the archive is to be had as `application/pdf`; `failed` comes with "
        "`problem`.",
        COLLATED_STATES,
    )
    pages = fields.Count("Once it is done.", least=1, nullable=True)
    problem = fields.One(
        Problem,
        "Why it failed, for good. The PDFs of the items and the ZIP are not touched by that.",
        optional=True,
        ready=True,
    )


class BatchProgress(AnswerSchema):
    """How far a batch is, without its items."""

    id = fields.Text("By which it is asked for; keep it secret.")
    title = fields.Text("As given; empty if none was.")
    state = fields.Word(
        "`done` once no item is left to do, whether they could be drawn or not; `cancelled` "
        "if it was stopped before.",
        get_args(model.BatchState),
    )
    total = fields.Count("Items.", least=1)
    done = fields.Count("Items whose PDF is there.")
    failed = fields.Count("Items with a problem.")
    created = fields.Moment("In UTC (RFC 3339).")
    ended = fields.Moment("In UTC; null while there is work left.", nullable=True)
    expires = fields.Moment(
        "When it is removed, with its files; null until it has ended.", nullable=True
    )
    collated = fields.One(
        Collated,
        "All packets in one PDF; null until the batch has ended, and if no packet is done.",
        nullable=True,
    )
    links = fields.One(BatchLinks, "Where to go from here.", of=itself)


class BatchAnswer(BatchProgress):
    """A batch and all its items."""

    items = fields.Many(BatchItem, "In the order of the request.")
