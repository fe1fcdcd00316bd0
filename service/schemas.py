"""What requests and answers look like; the OpenAPI document is made from these classes.

A docstring is the description that readers of the document see, and so is each field's.
"""

from __future__ import annotations

from typing import Any, ClassVar

from marshmallow import EXCLUDE, RAISE, Schema, ValidationError, validates_schema
from marshmallow import fields as plain

from patchwork.block import MOST_PIECES, MOST_POINTS
from patchwork.lengths import UNITS
from patchwork.path_data import LONGEST as LONGEST_PATH
from render.papers import PAPERS
from service.fields import (
    LONGEST_ID,
    LONGEST_NAME,
    Choice,
    ChoiceOr,
    Colour,
    Grain,
    Id,
    JoinsTree,
    Length,
    LengthOr,
    ListOf,
    Nested,
    Number,
    Point,
    Points,
    Refer,
    RequestField,
    Text,
    kind_of,
    refusal,
    suggestion,
)

MOST_FABRICS = 200
MOST_LINES = 2000
MOST_GUESSES = 5
"""Unknown fields of one object that get a suggestion."""

_LATER = {"printer": "; the correction for a printer comes in a later version: leave it out"}
"""Fields that the interface will have, and what to do until then."""

CORNERS = ("matched", "blunt", "full")
ORIENTATIONS = ("auto", "portrait", "landscape")


def _said(description: str, **more: Any) -> dict[str, Any]:
    return {"description": description, **more}


# --- requests --------------------------------------------------------------------------------


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
        """Says of an unknown field which one may have been meant."""
        messages = error.messages
        if not isinstance(messages, dict) or not isinstance(data, dict):
            return
        unknown = [name for name in messages if name not in self.fields and name in data]
        for name in unknown[:MOST_GUESSES]:
            names = ", ".join(self.fields)
            hint = (
                _LATER.get(name)
                or suggestion(name, list(self.fields))
                or f"; the fields are: {names}"
            )
            said = f"there is no field {name!r:.60} here{hint}"
            messages[name] = [{"code": "unknown-field", "detail": said}]


class Fabric(RequestSchema):
    """A cloth of the block."""

    id = Id(required=True, metadata=_said("By which pieces refer to it."))
    name = Text(LONGEST_NAME, metadata=_said("As a label names it; the id if left out."))
    colour = Colour(metadata=_said("As `#rrggbb`; grey if left out.", default="#cccccc"))


class Piece(RequestSchema):
    """A patch at finished size, without seam allowance: `outline` or `path`, one of the two."""

    rules: ClassVar[dict[str, Any]] = {"oneOf": [{"required": ["outline"]}, {"required": ["path"]}]}

    id = Id(required=True, metadata=_said("Unique in the block."))
    outline = Points(3, MOST_POINTS, metadata=_said("The corners, in either direction."))
    path = Text(
        LONGEST_PATH,
        shortest=1,
        metadata=_said(
            "SVG 2 path data: one closed subpath of at most "
            f"{MOST_POINTS} segments. Curves stay real curves.",
            examples=["M0 0 L3 0 A3 3 0 0 1 0 3 Z"],
        ),
    )
    fabric = Id(allow_none=True, metadata=_said("The id of one of the block's fabrics."))
    grain = Grain(
        metadata=_said(
            "`auto`: worked out; `free`: no arrow; else degrees clockwise from +x as seen, "
            "of which only the line counts (200 is 20).",
            default="auto",
        )
    )

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def _has_one_shape(self, data: Any, original: Any, **kwargs: Any) -> None:
        if isinstance(original, dict) and ("outline" in original) == ("path" in original):
            raise refusal("shape", "a piece has either an outline or a path")


class Section(RequestSchema):
    """A foundation section and its sewing order."""

    id = Id(required=True, metadata=_said("Unique among the sections."))
    order = ListOf(
        Id(), "piece ids", fewest=1, most=MOST_PIECES, required=True, metadata=_said("Piece ids.")
    )


class _AnyBlock(RequestSchema):
    """What both forms of block geometry have."""

    name = Text(LONGEST_NAME, metadata=_said("As sheets name the block."))
    unit = Choice(UNITS, metadata=_said("Of the lengths in this block; the request's if left out."))
    fabrics = ListOf(
        Nested(Fabric), "fabrics", most=MOST_FABRICS, metadata=_said("The cloths of the block.")
    )
    joins = JoinsTree(MOST_PIECES, metadata=_said("The order of sewing; worked out if left out."))
    sections = ListOf(
        Nested(Section),
        "sections",
        most=MOST_PIECES,
        metadata=_said("Foundation sections; worked out if left out."),
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
        metadata=_said("They meet along their edges, without overlap or gap."),
    )


class Fill(RequestSchema):
    """Which fabric a piece of a drawing is cut from."""

    at = Point(required=True, metadata=_said("A place inside the piece."))
    fabric = Id(required=True, metadata=_said("The id of one of the block's fabrics."))


class BlockAsDrawing(_AnyBlock):
    """A block as a frame that lines cut into pieces, named p1, p2, … in reading order."""

    frame = Points(3, MOST_POINTS, required=True, metadata=_said("The corners of the outside."))
    lines = ListOf(
        Points(2, MOST_POINTS),
        "lines",
        most=MOST_LINES,
        metadata=_said("Each through two or more points, its ends on the frame or on a line."),
    )
    fills = ListOf(
        Nested(Fill), "fills", most=MOST_PIECES, metadata=_said("The fabrics of the pieces.")
    )


class BlockField(RequestField):
    """The block of a request, in one of three forms told apart by their fields."""

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


class Finish(RequestSchema):
    """The finished size: `width`, `height` or both; or `scale` alone."""

    width = Length(metadata=_said("Alone, it keeps the proportions."))
    height = Length(metadata=_said("Alone, it keeps the proportions."))
    scale = Number(1e-6, 1e6, metadata=_said("Times the drawn size.", examples=[2]))


class Allowance(RequestSchema):
    """Seam allowances, each from 0 to 3 in."""

    seam = Length(metadata=_said("Between pieces.", default="1/4 in"))
    edge = Length(metadata=_said("At the outside of the block; the same as `seam` if left out."))


class CustomPaper(RequestSchema):
    """Paper of any size."""

    width = Length(required=True, metadata=_said("One side, 2 to 200 in."))
    height = Length(required=True, metadata=_said("The other side, 2 to 200 in."))


class Sheet(RequestSchema):
    """The sheets to print on; `width` and `height` may stand in place of `paper`."""

    rules: ClassVar[dict[str, Any]] = {
        "dependentRequired": {"width": ["height"], "height": ["width"]},
        "not": {"required": ["paper", "width"]},
    }

    paper = ChoiceOr(
        tuple(PAPERS),
        CustomPaper,
        metadata=_said("By default `letter` for a request in inches, else `a4`."),
    )
    width = Length(metadata=_said("Of paper of any size, 2 to 200 in."))
    height = Length(metadata=_said("Of paper of any size, 2 to 200 in."))
    orientation = Choice(
        ORIENTATIONS,
        metadata=_said("`auto` takes the one that needs fewer sheets.", default="auto"),
    )
    margin = Length(
        metadata=_said(
            "What the printer leaves blank along each side, 0 to 3 in.", default="1/4 in"
        )
    )
    overlap = Length(
        metadata=_said("What two sheets of one template both show, 0 to 3 in.", default="1/4 in")
    )

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def _has_one_size(self, data: Any, original: Any, **kwargs: Any) -> None:
        if not isinstance(original, dict):
            return
        sides = original.keys() & {"width", "height"}
        if sides and "paper" in original:
            raise refusal("paper", "a sheet has either a paper, or a width and a height")
        if len(sides) == 1:
            raise refusal("paper", "a sheet of any size has both a width and a height")


class BlockRequest(RequestSchema):
    """A block and the settings that all printables share. `/v1/check` reads the `sheet` too,
    so that one request can be checked and then printed."""

    block = BlockField(required=True, metadata=_said("The block, in one of its three forms."))
    unit = Choice(
        UNITS,
        metadata=_said(
            "Of every length in the request that names none, and of the answer; the block's unit "
            "if left out, else `in`."
        ),
    )
    finish = Nested(Finish, metadata=_said("The finished size; as drawn if left out."))
    allowance = LengthOr(
        Allowance,
        metadata=_said("Seam allowance, from 0 to 3 in. It never scales.", default="1/4 in"),
    )
    corners = Choice(
        CORNERS,
        metadata=_said(
            "`matched`: raw edges end together at every seam; `blunt`: sharp points cut across; "
            "`full`: the plain offset.",
            default="matched",
        ),
    )
    sheet = Nested(Sheet, metadata=_said("The sheets to print on."))


# --- answers ---------------------------------------------------------------------------------


class AnswerSchema(Schema):
    """An object of an answer; later versions may add fields."""

    class Meta:
        unknown = EXCLUDE


def _number(description: str, **settings: Any) -> plain.Float:
    return plain.Float(required=True, metadata=_said(description), **settings)


def _string(description: str, **settings: Any) -> plain.String:
    return plain.String(required=True, metadata=_said(description), **settings)


def _count(description: str, least: int = 0) -> plain.Integer:
    return plain.Integer(required=True, metadata=_said(description, minimum=least))


def _unit() -> plain.String:
    return plain.String(required=True, metadata=_said("Of every length here.", enum=list(UNITS)))


def _all(schema: type[Schema], description: str) -> plain.List[Any]:
    return plain.List(plain.Nested(schema), required=True, metadata=_said(description))


class Place(plain.Field[Any]):
    """``[x, y]`` in an answer."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer("Place")


class Places(plain.Field[Any]):
    """The points of an outline in an answer."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "array", "items": refer("Place")}


def _places(description: str) -> Places:
    return Places(required=True, metadata=_said(description))


_CURVES = "Clockwise as seen; curves as points within 0.001 in."


class CatalogueEntry(AnswerSchema):
    """A block of the catalogue, for choosing."""

    id = _string("What the field `block` of a request may be.")
    name = _string("Its traditional name.")
    about = _string("How it is pieced, in a sentence.")
    width = _number("As drawn.")
    height = _number("As drawn.")
    pieces = _count("How many pieces it has.", least=1)


class Catalogue(AnswerSchema):
    """The built-in blocks, by id."""

    unit = _unit()
    blocks = _all(CatalogueEntry, "Every block.")


class CheckedPiece(AnswerSchema):
    """A piece as it was read."""

    id = _string("As given, or p1, p2, … for a drawing.")
    fabric = _string("The id of its fabric, or null.", allow_none=True)
    finished = _places(f"Without allowance, in block coordinates at finished size. {_CURVES}")
    area = _number("Finished, in square units.")


class Caution(AnswerSchema):
    """What a maker should know about a block that can be made."""

    pointer = _string("JSON pointer (RFC 6901) into the request.")
    code = _string("A fixed word for programs, such as `sharp-point`.")
    detail = _string("What it is and what to do, for people.")
    at = Place(metadata=_said("Where on the block, at finished size."))


class CheckAnswer(AnswerSchema):
    """A good block, read back as pieces."""

    unit = _unit()
    width = _number("Of the finished block.")
    height = _number("Of the finished block.")
    pieces = _all(CheckedPiece, "In the order of the request.")
    cautions = _all(Caution, "Empty if there are none.")


class CutPiece(AnswerSchema):
    """A piece with its cut outline, in block coordinates at finished size."""

    id = _string("As given, or p1, p2, … for a drawing.")
    template = _string("The id of the template that it is cut from.")
    reversed = plain.Boolean(
        required=True, metadata=_said("Whether the template is laid face down for it.")
    )
    finished = _places(f"Without allowance. {_CURVES}")
    cut = _places(f"With allowance. {_CURVES}")
    match_points = _places("On the finished outline, to pin through.")


class GrainLine(AnswerSchema):
    """The straight grain of a template."""

    angle = _number("Degrees clockwise from +x as seen, 0 <= angle < 180.")


class Cut(AnswerSchema):
    """How many to cut from one fabric."""

    fabric = _string("The id of the fabric, or null.", allow_none=True)
    plain = _count("With the template face up.")
    reversed = _count("With the template face down.")


class Template(AnswerSchema):
    """One shape to cut, at its own place: the cut outline touches both axes."""

    id = _string("A, B, …")
    finished = _places(f"Without allowance. {_CURVES}")
    cut = _places(f"With allowance. {_CURVES}")
    grain = plain.Nested(
        GrainLine, required=True, allow_none=True, metadata=_said("Null for no arrow.")
    )
    bias_edges = plain.List(
        plain.Integer(),
        required=True,
        metadata=_said("The edges of the finished outline that stretch, by number from 0."),
    )
    cuts = _all(Cut, "For each fabric.")


class Window(AnswerSchema):
    """A rectangle."""

    x = _number("Its left side.")
    y = _number("Its top.")
    width = _number("Across.")
    height = _number("Down.")


class Item(AnswerSchema):
    """A drawing on a sheet."""

    drawing = _string("The id of the template.")
    x = _number("Where the drawing's origin lies on the sheet.")
    y = _number("Where the drawing's origin lies on the sheet.")


class Page(AnswerSchema):
    """A sheet and what it shows."""

    number = _count("From 1.", least=1)
    row = _count("Of the tile, from 1; 1 for a sheet of whole drawings.", least=1)
    column = _count("Of the tile, from 1; 1 for a sheet of whole drawings.", least=1)
    of = _string("The drawing of which it shows a tile; null for whole ones.", allow_none=True)
    window = plain.Nested(
        Window,
        required=True,
        metadata=_said(
            "What a tile shows, in its drawing's coordinates; for a sheet of whole drawings the "
            "room for them on it."
        ),
    )
    items = _all(Item, "What stands on the sheet.")


class TemplatesAnswer(AnswerSchema):
    """The cutting templates of a block, and the sheets that the PDF would have."""

    unit = _unit()
    pieces = _all(CutPiece, "In the order of the request.")
    templates = _all(Template, "One for each shape.")
    pages = _all(Page, "The sheets, in order.")


class Health(AnswerSchema):
    """That the service can do its work."""

    status = plain.String(required=True, metadata=_said("Always `ok`.", enum=["ok"]))
    version = _string("Of Piecewright.")


class ProblemError(AnswerSchema):
    """One thing that is wrong."""

    pointer = _string("JSON pointer (RFC 6901) into the request; empty for the whole of it.")
    code = _string("A fixed word for programs, such as `overlap`.")
    detail = _string("What is wrong and what to do, for people.")
    at = Place(
        metadata=_said(
            "Where on the block, in the request's unit; as drawn for a fault of the block's "
            "own geometry."
        )
    )


class Problem(AnswerSchema):
    """What went wrong (RFC 9457)."""

    type = _string("A page that explains this kind of problem.")
    title = _string("This kind of problem, in a few words.")
    status = _count("The HTTP status.", least=400)
    detail = _string("What went wrong this time.")
    errors = plain.List(
        plain.Nested(ProblemError), metadata=_said("Every fault found, where there are several.")
    )
