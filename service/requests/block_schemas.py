"""The block of a request, in each of its forms; the OpenAPI document is made from these classes.

A docstring is the description that readers of the document see, and so is each field's.
"""

from __future__ import annotations

from typing import Any, ClassVar

from marshmallow import validates_schema

from piecewright.patchwork.block.model import MOST_PIECES, MOST_POINTS
from piecewright.patchwork.geometry.svg_path import LONGEST as LONGEST_PATH
from piecewright.patchwork.lengths import UNITS
from piecewright.service.requests.fields import (
    LONGEST_ID,
    LONGEST_NAME,
    Choice,
    Colour,
    Grain,
    Id,
    JoinsTree,
    ListOf,
    Nested,
    Point,
    Points,
    Refer,
    RequestField,
    Text,
    documented,
    kind_of,
    refusal,
)
from piecewright.service.requests.request_schema import RequestSchema

MOST_FABRICS = 200
MOST_LINES = 2000


class Fabric(RequestSchema):
    """A cloth of the block."""

    id = Id(required=True, metadata=documented("By which pieces refer to it."))
    name = Text(LONGEST_NAME, metadata=documented("As a label names it; the id if left out."))
    colour = Colour(metadata=documented("As `#rrggbb`; grey if left out.", default="#cccccc"))


class Piece(RequestSchema):
    """A patch at finished size, without seam allowance: `outline` or `path`, one of the two."""

    rules: ClassVar[dict[str, Any]] = {"oneOf": [{"required": ["outline"]}, {"required": ["path"]}]}

    id = Id(required=True, metadata=documented("Unique in the block."))
    outline = Points(3, MOST_POINTS, metadata=documented("The corners, in either direction."))
    path = Text(
        LONGEST_PATH,
        shortest=1,
        metadata=documented(
            "SVG 2 path data: one closed subpath of at most "
            f"{MOST_POINTS} segments. Curves stay real curves.",
            examples=["M0 0 L3 0 A3 3 0 0 1 0 3 Z"],
        ),
    )
    fabric = Id(allow_none=True, metadata=documented("The id of one of the block's fabrics."))
    grain = Grain(
        metadata=documented(
            "`auto`: worked out: an edge at the outside of the block lies on the grain, a strip "
            "along it, any other piece as the block does, a petal from tip to tip, and pieces of "
            "one shape alike; `free`: no arrow; else degrees clockwise from +x as seen, of which "
            "only the line counts (200 is 20).",
            default="auto",
        )
    )

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def _has_one_shape(self, data: Any, original: Any, **kwargs: Any) -> None:
        if isinstance(original, dict) and ("outline" in original) == ("path" in original):
            raise refusal("shape", "a piece has either an outline or a path")


class Section(RequestSchema):
    """A foundation section and its sewing order."""

    id = Id(required=True, metadata=documented("Unique among the sections."))
    order = ListOf(
        Id(),
        "piece ids",
        fewest=1,
        most=MOST_PIECES,
        required=True,
        metadata=documented("Piece ids."),
    )


class _AnyBlock(RequestSchema):
    """What both forms of block geometry have."""

    name = Text(LONGEST_NAME, metadata=documented("As sheets name the block."))
    unit = Choice(
        UNITS, metadata=documented("Of the lengths in this block; the request's if left out.")
    )
    fabrics = ListOf(
        Nested(Fabric),
        "fabrics",
        most=MOST_FABRICS,
        metadata=documented("The cloths of the block."),
    )
    joins = JoinsTree(
        MOST_PIECES, metadata=documented("The order of sewing; worked out if left out.")
    )
    sections = ListOf(
        Nested(Section),
        "sections",
        most=MOST_PIECES,
        metadata=documented("Foundation sections; worked out if left out."),
    )


class BlockAsPieces(_AnyBlock):
    """A block, piece by piece."""

    pieces = ListOf(
        Nested(Piece),
        "pieces",
        fewest=1,
        most=MOST_PIECES,
        code="too-many-pieces",
        required=True,
        metadata=documented("They meet along their edges, without overlap or gap."),
    )


class Fill(RequestSchema):
    """Which fabric a piece of a drawing is cut from."""

    at = Point(required=True, metadata=documented("A place inside the piece."))
    fabric = Id(required=True, metadata=documented("The id of one of the block's fabrics."))


class BlockAsDrawing(_AnyBlock):
    """A block as a frame that lines cut into pieces, named p1, p2, … in reading order."""

    frame = Points(
        3, MOST_POINTS, required=True, metadata=documented("The corners of the outside.")
    )
    lines = ListOf(
        Points(2, MOST_POINTS),
        "lines",
        most=MOST_LINES,
        metadata=documented("Each through two or more points, its ends on the frame or on a line."),
    )
    fills = ListOf(
        Nested(Fill), "fills", most=MOST_PIECES, metadata=documented("The fabrics of the pieces.")
    )


class BlockField(RequestField):
    """The block of a request, in one of three forms known apart by their fields."""

    FORMS = (
        "a block is an id of the catalogue, or has 'pieces', or has a 'frame' and 'lines'; "
        "give one of the three"
    )

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        id = {
            "type": "string",
            "minLength": 1,
            "maxLength": LONGEST_ID,
            "description": "The id of a block of the catalogue: see `GET /v1/blocks`.",
        }
        return {"oneOf": [refer(BlockAsPieces), refer(BlockAsDrawing), id]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str):
            return Id().deserialize(value)
        if not isinstance(value, dict):
            raise refusal("type", f"{self.FORMS}; got {kind_of(value)}")
        as_pieces, as_drawing = "pieces" in value, bool({"frame", "lines"} & value.keys())
        if as_pieces == as_drawing:
            raise refusal("block-form", self.FORMS)
        return (BlockAsPieces if as_pieces else BlockAsDrawing)().load(value)
