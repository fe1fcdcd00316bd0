"""The block of a request, in each of its forms; the OpenAPI document is made from these classes.

A docstring is the description that readers of the document see, and so is each field's.
"""

from __future__ import annotations

from typing import Any, ClassVar, Final

from marshmallow import ValidationError, validates_schema

from piecewright.patchwork.block.grid import DEEPEST
from piecewright.patchwork.block.model import MOST_PIECES, MOST_POINTS
from piecewright.patchwork.faults import escaped
from piecewright.patchwork.geometry.svg_path import LONGEST as LONGEST_PATH
from piecewright.patchwork.lengths import UNITS
from piecewright.service.requests.fields import (
    LONGEST_ID,
    LONGEST_NAME,
    ByName,
    Choice,
    Colour,
    CountOrLengths,
    Flag,
    Grain,
    Id,
    JoinsTree,
    Length,
    ListOf,
    Nested,
    Point,
    Points,
    QuarterTurn,
    Refer,
    RequestField,
    Text,
    documented,
    kind_of,
    refusal,
    rows_of,
)
from piecewright.service.requests.request_schema import RequestSchema, either

MOST_FABRICS = 200
MOST_LINES = 2000
MOST_DESIGNS = 100


class Fabric(RequestSchema):
    """A cloth of the block."""

    id = Id(required=True, metadata=documented("By which pieces refer to it."))
    name = Text(LONGEST_NAME, metadata=documented("As a label names it; the id if left out."))
    colour = Colour(metadata=documented("As `#rrggbb`; grey if left out.", default="#cccccc"))


class Piece(RequestSchema):
    """A patch at finished size, without seam allowance: `outline` or `path`, one of the two."""

    rules: ClassVar[dict[str, Any]] = either(["outline"], ["path"])

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


_AS_DRAWN: Final = documented(
    "What an answer says of the drawn block; a request's is not looked at.", readOnly=True
)


class _AnyBlock(RequestSchema):
    """What all forms of block geometry have."""

    name = Text(LONGEST_NAME, metadata=documented("As sheets name the block."))
    unit = Choice(
        UNITS, metadata=documented("Of the lengths in this block; the request's if left out.")
    )
    width = Length(metadata=_AS_DRAWN)
    height = Length(metadata=_AS_DRAWN)
    fabrics = ListOf(
        Nested(Fabric),
        "fabrics",
        most=MOST_FABRICS,
        metadata=documented("The cloths of the block."),
    )


class _OfPieces(_AnyBlock):
    """What blocks have that are made of pieces."""

    joins = JoinsTree(
        MOST_PIECES, metadata=documented("The order of sewing; worked out if left out.")
    )
    sections = ListOf(
        Nested(Section),
        "sections",
        most=MOST_PIECES,
        metadata=documented("Foundation sections; worked out if left out."),
    )


class BlockAsPieces(_OfPieces):
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
    apart = Flag(
        metadata=documented(
            "Whether the `sections`, which have to be given then, lie apart: it is not known how "
            "they are joined, and each is checked and sewn by itself. A sewing plan ends with the "
            "sections then. Such a block is no part of another block, nor of a quilt.",
            default=False,
        )
    )


class Fill(RequestSchema):
    """Which fabric a piece of a drawing is cut from."""

    at = Point(required=True, metadata=documented("A place inside the piece."))
    fabric = Id(required=True, metadata=documented("The id of one of the block's fabrics."))


class BlockAsDrawing(_OfPieces):
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
    """The block of a request, in one of four forms known apart by their fields."""

    words = (
        "a block is an id of the catalogue, or has 'pieces', or has a 'frame' and 'lines', or has "
        "a 'grid'; give one of the four"
    )
    id_of = "The id of a block of the catalogue: see `GET /v1/blocks`."

    def forms(self) -> dict[str, type[RequestSchema]]:
        """The schema of each form, by a field that shows which one it is."""
        drawing = {"frame": BlockAsDrawing, "lines": BlockAsDrawing}
        return {"pieces": BlockAsPieces, **drawing, "grid": BlockAsGrid}

    def id_schema(self) -> dict[str, Any]:
        return {
            "type": "string",
            "minLength": 1,
            "maxLength": LONGEST_ID,
            "description": self.id_of,
        }

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        forms = dict.fromkeys(self.forms().values())
        return {"oneOf": [*(refer(form) for form in forms), self.id_schema()]}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str):
            return Id().deserialize(value)
        if not isinstance(value, dict):
            raise refusal("type", f"{self.words}; got {kind_of(value)}")
        found = {form for field, form in self.forms().items() if field in value}
        if len(found) != 1:
            raise refusal("block-form", self.words)
        if found == {BlockAsGrid}:
            check_depth(value)
        return found.pop()().load(value)


def check_depth(value: Any) -> None:
    """Raises ``ValidationError`` for grids that lie too deep in each other.

    Before any of them is read, as reading them calls itself for each.
    """
    stack: list[tuple[Any, tuple[str | int, ...], int]] = [(value, (), 0)]
    while stack:
        one, place, depth = stack.pop()
        if isinstance(one, list):
            stack += [(inner, (*place, i), depth) for i, inner in enumerate(one)]
        elif isinstance(one, dict):
            if depth > DEEPEST:
                message = f"grids may lie {DEEPEST} deep in each other; this one lies deeper"
                raise ValidationError([{"code": "too-deep", "detail": message, "below": place}])
            if "grid" in one and isinstance(one["grid"], dict):
                designs = one["grid"].get("designs")
                inner = [("blocks", one["grid"].get("blocks"))]
                if isinstance(designs, dict):
                    inner += [(f"designs/{escaped(id)}", d) for id, d in designs.items()]
                stack += [(x, (*place, "grid", name), depth + 1) for name, x in inner]
            elif isinstance(one.get("block"), dict):
                stack.append((one["block"], (*place, "block"), depth))


class InnerBlockField(BlockField):
    """A block within a grid, as it is given itself."""

    id_of = "The id of one of the grid's `designs`, or of a block of the catalogue."

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        # The forms are named, not referred to: a schema that leads back to itself is more than many
        # programs that read the document can follow.
        block = {
            "type": "object",
            "description": "A block of its own: `BlockAsPieces`, `BlockAsDrawing` or, at most "
            f"{DEEPEST} deep, `BlockAsGrid`.",
        }
        return {"anyOf": [self.id_schema(), block]}


class PlainPatch(RequestSchema):
    """A cell that is one patch of one fabric."""

    fabric = Id(
        required=True,
        allow_none=True,
        metadata=documented("The id of a fabric of the grid, or of any block in it; null for none"),
    )


class RecolouredBlock(RequestSchema):
    """A block within a grid, with other fabrics in place of its own."""

    block = InnerBlockField(required=True, metadata=documented("The block."))
    fabrics = ByName(
        Id(),
        "fabrics",
        most=MOST_FABRICS,
        required=True,
        metadata=documented("For ids of its fabrics those that it is cut from here instead."),
    )


class DesignField(InnerBlockField):
    """A block within a grid, or what stands for one."""

    words = (
        "a block in a grid is an id, or has 'pieces', a 'frame' and 'lines', or a 'grid'; or it is "
        "a plain patch with a 'fabric', or a 'block' with other 'fabrics'; give one of them"
    )

    def forms(self) -> dict[str, type[RequestSchema]]:
        return {**super().forms(), "fabric": PlainPatch, "block": RecolouredBlock}

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        id, block = super().json_schema(refer)["anyOf"]
        return {"anyOf": [id, refer(PlainPatch), refer(RecolouredBlock), block]}


class Grid(RequestSchema):
    """Rows and columns of blocks. Each is scaled to its cell, and has to have its proportions."""

    rows = CountOrLengths(
        MOST_PIECES,
        metadata=documented(
            "Their heights from the top, or how many there are; if no heights are given, all are "
            "as high as the highest block is drawn."
        ),
    )
    columns = CountOrLengths(
        MOST_PIECES,
        metadata=documented(
            "Their widths from the left, or how many there are; if no widths are given, all are as "
            "wide as the widest block is drawn."
        ),
    )
    blocks = rows_of(
        DesignField(),
        "blocks",
        MOST_PIECES,
        required=True,
        metadata=documented(
            "Row by row from the top, each from the left. The pieces of the second of them are "
            "named `b2.` and their own id; a plain patch is `b2`."
        ),
    )
    turns = rows_of(
        QuarterTurn(),
        "turns",
        MOST_PIECES,
        metadata=documented("By how much the block in each cell is turned; none if left out."),
    )
    mirrored = rows_of(
        Flag(),
        "flags",
        MOST_PIECES,
        metadata=documented(
            "Whether the block in each cell is a mirror image, left and right exchanged before it "
            "is turned; none if left out."
        ),
    )
    designs = ByName(
        DesignField(),
        "designs",
        most=MOST_DESIGNS,
        metadata=documented("Blocks of your own, each under the id by which `blocks` names it."),
    )


class BlockAsGrid(_AnyBlock):
    """A block made of blocks. Each of them stays whole in the order of sewing. What `fabrics` says
    of a fabric holds for all of them; others are taken from the blocks."""

    grid = Nested(Grid, required=True, metadata=documented("The blocks."))
    joins = JoinsTree(
        MOST_PIECES,
        metadata=documented(
            "The order in which the blocks are joined, by their names `b1`, `b2`, …; worked out if "
            "left out."
        ),
    )
