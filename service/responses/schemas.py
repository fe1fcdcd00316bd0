"""What answers look like; the OpenAPI document is made from these classes.

A docstring is the description that readers of the document see, and so is each field's.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from marshmallow import EXCLUDE, Schema
from marshmallow import fields as plain

from piecewright.patchwork.lengths import UNITS
from piecewright.service.requests.fields import Refer, documented
from piecewright.service.requests.schemas import PACKET_PARTS, PRESSES, KeptPress


class AnswerSchema(Schema):
    """An object of an answer; later versions may add fields."""

    class Meta:
        unknown = EXCLUDE


def _number(description: str, **settings: Any) -> plain.Float:
    return plain.Float(required=True, metadata=documented(description), **settings)


def _string(description: str, **settings: Any) -> plain.String:
    return plain.String(required=True, metadata=documented(description), **settings)


def _count(description: str, least: int = 0) -> plain.Integer:
    return plain.Integer(required=True, metadata=documented(description, minimum=least))


def _unit() -> plain.String:
    return _word("Of every length here.", UNITS)


def _flag(description: str) -> plain.Boolean:
    return plain.Boolean(required=True, metadata=documented(description))


def _word(description: str, words: Sequence[str | None], **settings: Any) -> plain.String:
    """One of a few words."""
    return plain.String(
        required=True, metadata=documented(description, enum=list(words)), **settings
    )


def _one(schema: type[Schema], description: str, **settings: Any) -> plain.Nested:
    return plain.Nested(schema, required=True, metadata=documented(description), **settings)


def _list(item: plain.Field[Any], description: str, **settings: Any) -> plain.List[Any]:
    return plain.List(item, required=True, metadata=documented(description), **settings)


def _all(schema: type[Schema], description: str) -> plain.List[Any]:
    return _list(plain.Nested(schema), description)


class Place(plain.Field[Any]):
    """``[x, y]`` in an answer."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer("Place")


class Places(plain.Field[Any]):
    """The points of an outline in an answer."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return {"type": "array", "items": refer("Place")}


class Nesting(Place):
    """Nested pairs of ids in an answer."""

    def json_schema(self, refer: Refer) -> dict[str, Any]:
        return refer("Joins")


def _places(description: str) -> Places:
    return Places(required=True, metadata=documented(description))


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
    at = Place(metadata=documented("Where on the block, at finished size."))


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
    reversed = _flag("Whether the template is laid face down for it.")
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
    grain = _one(GrainLine, "Null for no arrow.", allow_none=True)
    bias_edges = _list(
        plain.Integer(), "The edges of the finished outline that stretch, by number from 0."
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

    drawing = _string("The id of the template, the section, the list, …")
    x = _number("Where the drawing's origin lies on the sheet.")
    y = _number("Where the drawing's origin lies on the sheet.")
    turn = _number("Degrees by which the drawing is turned about its origin, clockwise as seen.")


class Paper(AnswerSchema):
    """A sheet of paper; places on it count from its top left corner, x right and y down."""

    width = _number("Across.")
    height = _number("Down.")
    margin = _number("What is left blank along each side.")


class Measured(AnswerSchema):
    """What an inch on the sheet that is sent comes out as on the print."""

    across = _number("Its width.")
    down = _number("Its height.")


class Page(AnswerSchema):
    """A sheet and what it shows."""

    number = _count("From 1.", least=1)
    row = _count("Of the tile, from 1; 1 for a sheet of whole drawings.", least=1)
    column = _count("Of the tile, from 1; 1 for a sheet of whole drawings.", least=1)
    of = _string("The drawing of which it shows a tile; null for whole ones.", allow_none=True)
    sheet = _one(Paper, "The paper.")
    printer = _one(
        Measured,
        "What the sheet is corrected for: it is stretched about its middle by 1 in over these.",
    )
    window = _one(
        Window,
        "What a tile shows, in its drawing's coordinates before it is turned; for a sheet of "
        "whole drawings the room for them on it.",
    )
    items = _all(Item, "What stands on the sheet.")


class TemplatesAnswer(AnswerSchema):
    """The cutting templates of a block, and the sheets that the PDF would have."""

    unit = _unit()
    pieces = _all(CutPiece, "In the order of the request.")
    templates = _all(Template, "One for each shape.")
    pages = _all(Page, "The sheets, in order.")


class PatchSize(AnswerSchema):
    """Two sides of what is cut or sewn."""

    width = _number("The longer side, or as the field says.")
    height = _number("The shorter side, or as the field says.")


class CuttingCut(AnswerSchema):
    """What is cut of one kind."""

    shape = _word(
        "`template` for every shape that is none of the others.",
        [
            "square",
            "rectangle",
            "half-square triangle",
            "quarter-square triangle",
            "template",
        ],
    )
    name = _string("As makers call it: the shape, or `diamond`, `trapezoid`, `template A`, …")
    finished = _one(
        PatchSize,
        "Of the patch, sewn. Of a half-square triangle its two short sides; of a "
        "quarter-square triangle its long side and its height.",
    )
    cut = _one(
        PatchSize,
        "What to cut, rounded up to 1/8 in or 0.5 cm: the square for triangles; for a shape "
        "cut from a strip at an angle the step along the strip and the strip's width; for a "
        "template the extent of its cut outline, not rounded.",
    )
    count = _count("Patches, of all blocks together.", least=1)
    blanks = _count("Squares or rectangles to cut for them; else the same as `count`.", least=1)
    yields = _count("Patches that each of those gives: 1, 2 or 4.", least=1)
    source = _word("How it is cut.", ["strip", "template"], data_key="from")
    lengthwise = _word(
        "Which side lies along the cloth; null where straight and cross grain serve alike.",
        ["width", "height", None],
        allow_none=True,
    )
    angles = _list(
        plain.Float(),
        "For a shape cut from a strip at an angle: of its left and right end, degrees "
        "clockwise from the strip's direction as seen; else null.",
        allow_none=True,
    )
    reversed = _count("How many of the patches are cut face down, where that matters.")
    trim = _flag("Whether rounding left more than 1/32 in to trim.")
    templates = _list(plain.String(), "The templates of this shape, by id.")
    note = _string("How to cut, for people; may be empty.")


class StripYield(AnswerSchema):
    """Like pieces that follow each other in a strip."""

    cut = _count("Which of the fabric's cuts, from 0.")
    count = _count("Squares, rectangles or shapes from each strip.", least=1)
    length = _number("That each takes along the strip.")


class CuttingStrip(AnswerSchema):
    """Strips that are cut up alike."""

    width = _number("Of the strip.")
    count = _count("How many strips.", least=1)
    yields = _all(StripYield, "What each gives, from left to right.")
    length = _number("Of the strip: the cloth's usable width, unless it lies along the cloth.")
    used = _number("Of its length.")
    purpose = _word("What for.", ["patches", "border", "binding"])
    lengthwise = _flag("Whether it is cut along the cloth, not across.")
    text = _string("The same for people.")


class CuttingFabric(AnswerSchema):
    """All that is cut from one fabric."""

    fabric = _string("The id of the fabric, or null.", allow_none=True)
    cuts = _all(CuttingCut, "Each kind of patch.")
    strips = _all(CuttingStrip, "The widest first.")
    fewest_strips = _count("A proven lower bound for patches in strips of these widths.")
    nested = _number("Length of cloth for templates, nested by outline.")
    length = _number("Of cloth that is cut, before shrinkage and spare.")
    yardage = _number("To buy: yards in steps of 1/8, or metres in steps of 0.1.")
    yardage_unit = _word("`yd` for a request in inches, else `m`.", ["yd", "m"])
    buy = _string("The same for people.")


class EdgeLength(AnswerSchema):
    """A length of a border or of the binding."""

    length = _number("To cut or to join up.")
    count = _count("How many.", least=1)
    where = _string("On which sides.")


class CuttingEdge(AnswerSchema):
    """A border or the binding."""

    purpose = _word("Which.", ["border", "binding"])
    fabric = _string("The id of the fabric, or null.", allow_none=True)
    width = _number("Of the strips.")
    lengths = _all(EdgeLength, "What is needed.")
    strips = _count("How many are cut.", least=1)
    joins = _count("Diagonal joins between them; each takes a strip's width of length.")
    lengthwise = _flag("Whether cut along the cloth.")
    text = _string("The same for people, with the rule that the lengths follow.")


class UsedCloth(AnswerSchema):
    """The cloth that the list reckons with."""

    width = _number("Usable.")
    shrinkage = _number("Percent.")
    spare = _number("Percent.")


class CuttingListAnswer(AnswerSchema):
    """What to cut, from which strips, and what to buy."""

    unit = _unit()
    blocks = _count("How many blocks it is for.", least=1)
    cloth = _one(UsedCloth, "As asked for.")
    fabrics = _all(CuttingFabric, "In the order of the block's fabrics.")
    edges = _all(CuttingEdge, "The border and the binding, where asked for.")
    pages = _all(Page, "The sheets to tick off, in order.")


class FoundationPatch(AnswerSchema):
    """A piece of a section, and the rectangle of fabric to cut for it."""

    piece = _string("The id of the piece.")
    number = _count("Its place in the order of sewing, from 1.", least=1)
    fabric = _string("The id of its fabric, or null.", allow_none=True)
    width = _number(
        "Of the rectangle: along or across the piece's grain, whichever lies more across the "
        "block. It has 1/4 in to spare all round (the allowance, where that is wider) and 1/8 in "
        "of ease on every side."
    )
    height = _number("Of the rectangle, square to its width.")


class FoundationMark(AnswerSchema):
    """A mark on the seam of two sections, with the same number on both."""

    number = _count("From 1.", least=1)
    at = Place(required=True, metadata=documented("On the finished outline."))


class FoundationSection(AnswerSchema):
    """A section in block coordinates at finished size, seen from the face, not mirrored."""

    id = _string("As given, or A, B, … in the order of joining.")
    order = _list(plain.String(), "Piece ids in the order of sewing.")
    outline = _places(f"Without allowance. {_CURVES}")
    cut = _places(f"With allowance. {_CURVES}")
    patches = _all(FoundationPatch, "In the order of sewing.")
    seams = _list(Places(), "The two ends of the line of each step, from the second piece on.")
    marks = _all(FoundationMark, "On its seams with other sections.")


class FoundationStep(AnswerSchema):
    """A join of two units of sections."""

    units = _list(plain.List(plain.String()), "Section ids of the two units.")
    seam = _places("The two ends of the seam.")


class RectangleCount(AnswerSchema):
    """Rectangles of one size."""

    width = _number("The longer side.")
    height = _number("The shorter side.")
    count = _count("How many.", least=1)


class FoundationFabric(AnswerSchema):
    """The rectangles of one fabric."""

    fabric = _string("The id of the fabric, or null.", allow_none=True)
    sizes = _all(RectangleCount, "The largest first.")
    area = _number("Of all of them, in square units.")


class FoundationAnswer(AnswerSchema):
    """The foundation sections of a block, and the sheets that the PDF would have.

    On a sheet, a section's drawing has its origin at the top left corner of the box round its cut
    outline, as printed; mirrored, x runs from the right side of the outline to its left.
    """

    unit = _unit()
    sections = _all(FoundationSection, "Those given, or else the fewest that were found.")
    joins = Nesting(
        required=True, metadata=documented("Nested pairs of section ids: the order of joining.")
    )
    steps = _all(FoundationStep, "The joins in an order in which they can be sewn.")
    optimal = _flag("Whether it is proven that fewer sections are not possible.")
    fabrics = _all(FoundationFabric, "The rectangles of fabric, summed.")
    pages = _all(Page, "The sheets, in order.")


class PacketPart(AnswerSchema):
    """A part of a packet."""

    part = _word("As a request names it.", PACKET_PARTS)
    title = _string("As the bookmarks have it.")
    first = _count("The number of its first sheet.", least=1)
    sheets = _count("How many sheets it has.", least=1)


class PacketAnswer(AnswerSchema):
    """What a packet holds, and the sheets that the PDF has."""

    unit = _unit()
    name = _string("The block's name; empty if it has none.")
    maker = _string("Whose packet it is; null if it is nobody's.", allow_none=True, data_key="for")
    parts = _all(PacketPart, "In their order.")
    cautions = _all(Caution, "As `/v1/check` tells them.")
    pages = _all(Page, "All sheets, in order.")


class TrimSize(AnswerSchema):
    """A size with its seam allowances, to trim to."""

    width = _number("Along the side that is nearer to level.")
    height = _number("Square to that.")


class QuiltPlacement(AnswerSchema):
    """A block in its place."""

    row = _count("From 1, at the top.", least=1)
    column = _count("From 1, on the left.", least=1)
    block = _string("The id of the block.")
    turn = plain.Integer(
        required=True, metadata=documented("Degrees, clockwise as seen.", enum=[0, 90, 180, 270])
    )
    variant = _string("The id of its variant.")
    maker = _string("Who makes it; null if nobody is named.", allow_none=True)


class KeptPressing(AnswerSchema):
    """Directions as `pressing` of a request takes them."""

    keep = _all(KeptPress, "One for each step.")


class QuiltVariant(AnswerSchema):
    """A block with a direction for each of its steps."""

    id = _string("The block's, and a letter.")
    block = _string("The id of the block.")
    count = _count("How many of the quilt's blocks are made so.", least=1)
    pressing = _one(KeptPressing, "With it, a sewing plan is that variant.")


class VariantShare(AnswerSchema):
    """Blocks of one variant."""

    id = _string("Of the variant.")
    count = _count("How many of them.", least=1)


class QuiltMaker(AnswerSchema):
    """What one maker makes."""

    name = _string("As given.")
    blocks = _count("How many.", least=1)
    variants = _all(VariantShare, "Which.")


class QuiltMeeting(AnswerSchema):
    """A point on a seam between blocks at which seams arrive from both sides."""

    at = Place(required=True, metadata=documented("On the quilt, at finished size."))
    step = _string("The step of joining that sews the seam.")
    blocks = _list(
        plain.List(plain.Integer()), "Row and column, from 1, of the blocks whose seams arrive."
    )
    nests = _flag("Whether the allowances nest.")
    reason = _string("Why they do not nest, for people; null if they do.", allow_none=True)


class QuiltArea(AnswerSchema):
    """Places from a first row and column to a last, both included, counted from 1."""

    top = _count("First row.", least=1)
    left = _count("First column.", least=1)
    bottom = _count("Last row.", least=1)
    right = _count("Last column.", least=1)


class QuiltStep(AnswerSchema):
    """A join of blocks into a row, or of rows."""

    id = _string("`1`, `2`, … in the order of joining.")
    level = _count("What it joins was made at lower levels.", least=1)
    joins = _word("What.", ["blocks", "rows"])
    units = _all(QuiltArea, "The left one and the right one, or the upper one and the lower one.")
    press = _word("Which way.", ["right", "left", "down"])
    unfinished = _one(TrimSize, "What to square the joined unit up to.")


class QuiltPlanAnswer(AnswerSchema):
    """Who makes which block of a quilt, pressed which way, and how the blocks are joined."""

    unit = _unit()
    rows = _count("Of blocks.", least=1)
    columns = _count("Of blocks.", least=1)
    width = _number("Of the finished quilt, without a border.")
    height = _number("Of the finished quilt, without a border.")
    placements = _all(QuiltPlacement, "Row by row.")
    variants = _all(QuiltVariant, "By block, in the order of the quilt.")
    makers = _all(QuiltMaker, "In the order of the request; empty if none are named.")
    steps = _all(QuiltStep, "In the order of joining.")
    meetings = _all(QuiltMeeting, "On the seams between blocks.")
    inside = _count("How many meetings nest inside the blocks.")
    nested = _count("How many nest inside and between blocks.")
    bound = _count("No plan that keeps the most inside nests more.")
    optimal = _flag("Whether `nested` is proven to be the most possible.")
    fewest_variants = _flag("Whether it is proven that there are no fewer variants.")
    pages = _all(Page, "The sheets, in order.")


class SewingStep(AnswerSchema):
    """A join, as it is sewn."""

    id = _string("`1`, `2`, … in the order of sewing.")
    units = _list(
        plain.List(plain.String()), "The ids of the pieces of its first and its second unit."
    )
    seam = _places("Along the seam, at finished size; curves as points within 0.001 in.")
    kind = _word("`set-in` for a seam with pivots.", ["straight", "curved", "set-in"])
    pivots = _places("Where to stop with the needle down and turn.")
    press = _word("Toward which unit; `open` only where that was asked for.", PRESSES)
    toward = _string(
        "The fabric that it is pressed toward; null where several lie along that side, or the "
        "same on both.",
        allow_none=True,
    )
    unfinished = _one(
        TrimSize, "What to trim the sewn unit to; null where it is no rectangle.", allow_none=True
    )
    level = _count("All steps of a level can be sewn one after another.", least=1)
    like = _string("The first step of its level that is sewn just like it; itself if it is that.")
    text = _list(plain.String(), "The same for people, in sentences.")


class SewingOrder(AnswerSchema):
    """What is known of the order of sewing."""

    given = _flag("Whether the block brought it along.")
    fewest_pivots = _flag("Whether it is proven that no order has fewer; false for a given one.")
    fewest_levels = _flag("Whether besides none with as few pivots has fewer levels.")


class Meeting(AnswerSchema):
    """A point inside a seam at which earlier seams arrive from both units."""

    at = Place(required=True, metadata=documented("At finished size."))
    step = _string("The step that sews the seam.")
    arrive = _list(
        plain.List(plain.String()), "The steps that arrive from its first and from its second unit."
    )
    nests = _flag("Whether their allowances nest.")
    reason = _string("Why it does not nest, for people; null if it does.", allow_none=True)
    layers = _count("Of cloth in the thickest place round the point.")


class FromCentre(AnswerSchema):
    """From the middle of the centre to each raw edge."""

    left = _number("To the left.")
    up = _number("Up.")
    right = _number("To the right.")
    down = _number("Down.")


class SewingRound(AnswerSchema):
    """A round of strips about a centre."""

    number = _count("From 1.", least=1)
    centre = _list(plain.String(), "The pieces in the middle.")
    steps = _list(plain.String(), "Square up after the last of them.")
    unfinished = _one(
        TrimSize, "What to square up to; null where the unit is no rectangle.", allow_none=True
    )
    from_centre = _one(
        FromCentre, "So that what is off is not carried into the next round.", allow_none=True
    )


class Deviation(AnswerSchema):
    """To either side."""

    worst = _number("If all deviations are as large as they may be, and add up.")
    likely = _number("19 times in 20.")


class ComparedDeviation(AnswerSchema):
    """With and without trimming."""

    untrimmed = _one(Deviation, "If nothing is trimmed.")
    trimmed = _one(Deviation, "If every rectangle is trimmed as soon as it is sewn.")


class UnitDeviation(AnswerSchema):
    """How far off the size of a sewn unit is."""

    step = _string("The step that makes it.")
    rectangle = _flag("Whether it is one, and is trimmed.")
    width = _one(
        ComparedDeviation,
        "Of another unit along its last seam; null across a gap.",
        allow_none=True,
    )
    height = _one(
        ComparedDeviation,
        "Of another unit square to its last seam; null across a gap.",
        allow_none=True,
    )


class PointDeviation(AnswerSchema):
    """How far apart seams lie that should meet."""

    at = Place(required=True, metadata=documented("At finished size."))
    step = _string("The step that sews the seam on which they meet.")
    mismatch = _one(ComparedDeviation, "Along that seam.")


class ErrorBudget(AnswerSchema):
    """How far off units and meeting points will be, with these deviations."""

    cutting = _number("As asked for.")
    sewing = _number("As asked for.")
    units = _all(UnitDeviation, "In the order of sewing.")
    points = _all(PointDeviation, "In the order of sewing.")
    first_to_suffer = _all(PointDeviation, "At most three, the one most likely off first.")
    first_to_suffer_trimmed = _all(PointDeviation, "The same if all rectangles are trimmed.")


class SewingPlanAnswer(AnswerSchema):
    """In which order a block is sewn, pressed which way, and how big it should then be."""

    unit = _unit()
    joins = Nesting(
        required=True, metadata=documented("The order of sewing, as a request may give it.")
    )
    order = _one(SewingOrder, "How good it is.")
    steps = _all(SewingStep, "In an order in which they can be sewn.")
    levels = _list(plain.List(plain.String()), "The steps of each level.")
    meetings = _all(Meeting, "In the order of sewing.")
    nested = _count("How many meetings nest.")
    bound = _count("No plan nests more.")
    optimal = _flag("Whether `nested` is proven to be the most possible.")
    darker = _count("Seams pressed toward the darker fabric.")
    layers = _count("In the thickest place, summed over all points where seams arrive.")
    rounds = _all(SewingRound, "Of units that grow round a centre, as log cabins do.")
    deviations = _one(ErrorBudget, "The error budget.")
    pages = _all(Page, "The sheets, in order.")


class MapPiece(AnswerSchema):
    """A piece on the map."""

    id = _string("As given, or p1, p2, … for a drawing.")
    fabric = _string("The id of its fabric, or null.", allow_none=True)
    finished = _places(f"Without allowance, in block coordinates at finished size. {_CURVES}")


class MapFabric(AnswerSchema):
    """A fabric on the map."""

    id = _string("Null for pieces without one.", allow_none=True)
    name = _string("As the key names it.")
    colour = _string("As given, `#rrggbb`.")
    tint = _string("The pale colour that fills its pieces, `#rrggbb`.")
    pieces = _count("How many pieces it has.", least=1)


class MapSeam(AnswerSchema):
    """A seam on the map."""

    step = _string("The step that sews it.")
    seam = _places("From one end to the other.")
    press = _word("Toward which unit of the step, or open.", PRESSES)
    toward = _list(
        plain.String(), "The pieces along the side that it is pressed to; empty if open."
    )


class BlockMapAnswer(AnswerSchema):
    """What the block map shows, and the sheets that the PDF would have."""

    unit = _unit()
    width = _number("Of the finished block.")
    height = _number("Of the finished block.")
    pieces = _all(MapPiece, "In the order of the request.")
    fabrics = _all(MapFabric, "Those that pieces have, as the key shows them.")
    seams = _all(MapSeam, "In the order of sewing.")
    meetings = _all(Meeting, "In the order of sewing.")
    pages = _all(Page, "The sheets, in order.")


class Health(AnswerSchema):
    """That the service can do its work."""

    status = _word("Always `ok`.", ["ok"])
    version = _string("Of Piecewright.")


class ProblemError(AnswerSchema):
    """One thing that is wrong."""

    pointer = _string("JSON pointer (RFC 6901) into the request; empty for the whole of it.")
    code = _string("A fixed word for programs, such as `overlap`.")
    detail = _string("What is wrong and what to do, for people.")
    at = Place(
        metadata=documented(
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
        plain.Nested(ProblemError),
        metadata=documented("Every fault found, where there are several."),
    )
