"""A group quilt and its makers in requests; the OpenAPI document is made from these classes.

A docstring is the description that readers of the document see, and so is each field's.
"""

from __future__ import annotations

from typing import Any, ClassVar

from marshmallow import ValidationError

from piecewright.service.requests import limits
from piecewright.service.requests.block_schemas import MOST_DESIGNS, BlockField
from piecewright.service.requests.fields import (
    LONGEST_NAME,
    ByName,
    Count,
    Id,
    ListOf,
    Nested,
    QuarterTurn,
    Refer,
    RequestField,
    Text,
    documented,
    kind_of,
    refusal,
    rows_of,
)
from piecewright.service.requests.request_schema import RequestSchema

MOST_MAKERS = 400
MOST_ROWS = 40


class QuiltLayout(RequestSchema):
    """How the blocks of a quilt lie: row by row from the top, each from the left."""

    rows = Count(1, MOST_ROWS, metadata=documented("How many; counted if left out."))
    columns = Count(1, MOST_ROWS, metadata=documented("How many; counted if left out."))
    blocks = rows_of(
        Id(),
        "blocks",
        MOST_ROWS,
        required=True,
        metadata=documented(
            "The id of the block in each place: of `designs`, or of the catalogue."
        ),
    )
    turns = rows_of(
        QuarterTurn(),
        "turns",
        MOST_ROWS,
        metadata=documented("By how much the block in each place is turned; none if left out."),
    )


class PacketSettings(RequestField):
    """What the packets of a quilt share: a packet request without what the quilt says."""

    ELSEWHERE: ClassVar[dict[str, str]] = {
        "block": "the quilt says which blocks there are",
        "for": "the quilt has makers",
        "quilt": "each maker's cutting list is for the blocks that they make",
    }

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "object", "not": {"anyOf": [{"required": [n]} for n in self.ELSEWHERE]}}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise refusal("type", f"expected an object with named fields, got {kind_of(value)}")
        wrong = {
            name: [{"code": "unknown-field", "detail": f"leave it out: {why}"}]
            for name, why in self.ELSEWHERE.items()
            if name in value
        }
        if wrong:
            raise ValidationError(wrong)
        return value


class QuiltAndMakers(RequestSchema):
    """Which blocks a quilt has, and who makes them."""

    quilt = Nested(QuiltLayout, metadata=documented("How its blocks lie."))
    makers = ListOf(
        Text(LONGEST_NAME, shortest=1),
        "makers",
        fewest=1,
        most=MOST_MAKERS,
        metadata=documented("Who makes the quilt; its blocks are shared out evenly."),
    )
    designs = ByName(
        BlockField(),
        "designs",
        most=MOST_DESIGNS,
        metadata=documented("Blocks of your own, each under the id by which `blocks` names it."),
    )


class GroupQuiltRequest(QuiltAndMakers):
    """A quilt that several people make together."""

    title = Text(
        LONGEST_NAME, metadata=documented("As sheets name the quilt.", default=limits.DEFAULT_TITLE)
    )
    quilt = Nested(QuiltLayout, required=True, metadata=documented("How its blocks lie."))
    defaults = PacketSettings(
        metadata=documented(
            "`finish`, `allowance`, `sheet` and whatever else a packet request may have, the same "
            "for every block."
        )
    )
