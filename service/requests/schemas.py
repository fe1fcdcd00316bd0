"""Requests for printables of a block; the OpenAPI document is made from these classes.

A docstring is the description that readers of the document see, and so is each field's.
"""

from __future__ import annotations

from typing import Any, ClassVar, get_args

from marshmallow import validates_schema

from piecewright.patchwork.block.model import MOST_PIECES
from piecewright.patchwork.cutting.borders import BorderCorners
from piecewright.patchwork.cutting.cutting_list import MOST_BLOCKS
from piecewright.patchwork.lengths import UNITS
from piecewright.patchwork.outlines.cut_outlines import Corners
from piecewright.patchwork.sewing.crossings import Press
from piecewright.render.printables.foundation.print_style import (
    LEAST_WEIGHT,
    MOST_COPIES,
    MOST_WEIGHT,
)
from piecewright.render.sheets.papers import PAPERS, Orientation
from piecewright.render.sheets.sheet_settings import Effort
from piecewright.service.requests import limits
from piecewright.service.requests.block_schemas import MOST_FABRICS, BlockField
from piecewright.service.requests.fields import (
    LONGEST_NAME,
    Choice,
    Count,
    CountOr,
    Flag,
    Id,
    Length,
    LengthOr,
    ListOf,
    NameOr,
    Nested,
    Number,
    Text,
    documented,
    refusal,
)
from piecewright.service.requests.request_schema import RequestSchema

CORNERS: tuple[str, ...] = get_args(Corners)
ORIENTATIONS: tuple[str, ...] = ("auto", *get_args(Orientation))
EFFORTS: tuple[str, ...] = get_args(Effort)
PRESSES: tuple[str, ...] = get_args(Press)
BORDER_CORNERS: tuple[str, ...] = get_args(BorderCorners)


def _by_unit(inches: str, metric: str) -> str:
    """Two defaults in words, the second for requests in metric units."""
    return f"`{inches}`, or `{metric}` for a request in `cm` or `mm`"


_USUAL_SEAM = _by_unit(limits.DEFAULT_SEAM, limits.METRIC_SEAM)


class Finish(RequestSchema):
    """The finished size: `width`, `height` or both; or `scale` alone."""

    width = Length(metadata=documented("Alone, it keeps the proportions."))
    height = Length(metadata=documented("Alone, it keeps the proportions."))
    scale = Number(1e-6, 1e6, metadata=documented("Times the drawn size.", examples=[2]))


class Allowance(RequestSchema):
    __doc__ = f"Seam allowances, each from {limits.NARROW}."

    seam = Length(metadata=documented(f"Between pieces; by default {_USUAL_SEAM}."))
    edge = Length(
        metadata=documented("At the outside of the block; the same as `seam` if left out.")
    )


class CustomPaper(RequestSchema):
    """Paper of any size."""

    width = Length(required=True, metadata=documented(f"One side, {limits.PAPER_SIDE}."))
    height = Length(required=True, metadata=documented(f"The other side, {limits.PAPER_SIDE}."))


class Sheet(RequestSchema):
    """The sheets to print on; `width` and `height`, or `roll`, may stand in place of `paper`."""

    rules: ClassVar[dict[str, Any]] = {
        "dependentRequired": {"width": ["height"], "height": ["width"]},
        "not": {
            "anyOf": [
                {"required": ["paper", "width"]},
                {"required": ["paper", "roll"]},
                {"required": ["roll", "width"]},
            ]
        },
    }

    paper = NameOr(
        tuple(PAPERS),
        CustomPaper,
        metadata=documented(
            "Its name, in any case. By default `letter` for a request in inches, else `a4`."
        ),
    )
    width = Length(metadata=documented(f"Of paper of any size, {limits.PAPER_SIDE}."))
    height = Length(metadata=documented(f"Of paper of any size, {limits.PAPER_SIDE}."))
    roll = Length(
        metadata=documented(
            f"Width of paper from a roll, {limits.ROLL_WIDTH}; each sheet is as long as what lies "
            "on it."
        )
    )
    orientation = Choice(
        ORIENTATIONS,
        metadata=documented(
            "`auto` takes the one that needs fewer sheets.", default=limits.DEFAULT_ORIENTATION
        ),
    )
    effort = Choice(
        EFFORTS,
        metadata=documented(
            "`quick` looks less long for fewer sheets: for a preview.",
            default=limits.DEFAULT_EFFORT,
        ),
    )
    margin = Length(
        metadata=documented(
            f"What the printer leaves blank along each side, {limits.NARROW}.",
            default=limits.DEFAULT_MARGIN,
        )
    )
    overlap = Length(
        metadata=documented(
            f"What two sheets of one template both show, {limits.NARROW}.",
            default=limits.DEFAULT_OVERLAP,
        )
    )

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def _has_one_size(self, data: Any, original: Any, **kwargs: Any) -> None:
        if not isinstance(original, dict):
            return
        sides = original.keys() & {"width", "height"}
        if bool(sides) + ("paper" in original) + ("roll" in original) > 1:
            detail = "a sheet has a paper, or a width and a height, or a roll's width"
            raise refusal("paper", detail)
        if len(sides) == 1:
            raise refusal("paper", "a sheet of any size has both a width and a height")


class Printer(RequestSchema):
    """What a printed test square measured: the 1 in square, or the 5 cm one. The sheets are
    stretched so that the next print comes out true."""

    across = Length(
        required=True, metadata=documented("Its width, within a tenth of what it should be.")
    )
    down = Length(
        required=True, metadata=documented("Its height, within a tenth of what it should be.")
    )


class Cloth(RequestSchema):
    """The cloth that a cutting list is for."""

    width = Length(
        metadata=documented(
            f"Usable, across the cloth: {limits.CLOTH_WIDTH}; by default "
            f"{_by_unit(limits.DEFAULT_CLOTH, limits.METRIC_CLOTH)}."
        ),
    )
    shrinkage = Number(
        0,
        30,
        metadata=documented(
            "Percent that the cloth's length shrinks by in the wash.",
            default=limits.DEFAULT_SHRINKAGE,
        ),
    )
    spare = Number(
        0,
        100,
        metadata=documented(
            "Percent to buy beyond what is cut, before it shrinks.", default=limits.DEFAULT_SPARE
        ),
    )
    directional = ListOf(
        Id(),
        "fabric ids",
        most=MOST_FABRICS,
        metadata=documented(
            "Fabrics with a one-way or large print: the longer side of a rectangle, and else the "
            "grain arrow, lies along the cloth."
        ),
    )


class Border(RequestSchema):
    """A border of one fabric round the quilt."""

    width = Length(
        required=True, metadata=documented(f"As it shows when finished, {limits.EDGE_WIDTH}.")
    )
    fabric = Id(metadata=documented("One of the block's fabrics or another; none if left out."))
    corners = Choice(
        BORDER_CORNERS,
        metadata=documented(
            "`butted`: the sides first, then top and bottom; `mitred`: seams at 45 degrees.",
            default=limits.DEFAULT_BORDER_CORNERS,
        ),
    )


class Binding(RequestSchema):
    """A binding round the finished quilt."""

    width = Length(
        metadata=documented(
            f"Of the strips to cut, {limits.EDGE_WIDTH}; rounded up as every cut is.",
            default=limits.DEFAULT_BINDING,
        )
    )
    fabric = Id(metadata=documented("One of the block's fabrics or another; none if left out."))


class Quilt(RequestSchema):
    """What the blocks are for. A border and a binding need `width` and `height`."""

    rules: ClassVar[dict[str, Any]] = {
        "dependentRequired": {
            "width": ["height"],
            "height": ["width"],
            "border": ["width", "height"],
            "binding": ["width", "height"],
        }
    }

    blocks = Count(
        1,
        MOST_BLOCKS,
        metadata=documented(
            "How many blocks are made; counts are for all together.", default=limits.DEFAULT_BLOCKS
        ),
    )
    width = Length(metadata=documented(f"Finished, without the border: {limits.QUILT_SIDE}."))
    height = Length(metadata=documented(f"Finished, without the border: {limits.QUILT_SIDE}."))
    border = Nested(Border, metadata=documented("None if left out."))
    binding = Nested(Binding, metadata=documented("None if left out."))

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def _has_a_size(self, data: Any, original: Any, **kwargs: Any) -> None:
        if not isinstance(original, dict):
            return
        sides = original.keys() & {"width", "height"}
        if len(sides) == 1 or (not sides and original.keys() & {"border", "binding"}):
            detail = "a quilt has both a width and a height; a border or a binding needs them"
            raise refusal("quilt-size", detail)


class FoundationLooks(RequestSchema):
    """How foundation sections are printed."""

    mirrored = Flag(
        metadata=documented(
            "`true`: mirror images of the face, to be sewn on from the printed side; `false`: as "
            "seen from the face, for a light box.",
            default=limits.DEFAULT_MIRRORED,
        )
    )
    line_weight = Number(
        LEAST_WEIGHT,
        MOST_WEIGHT,
        metadata=documented(
            "Width of the sewing lines, in points (1/72 in).", default=limits.DEFAULT_LINE_WEIGHT
        ),
    )
    copies = CountOr(
        1,
        MOST_COPIES,
        "needed",
        metadata=documented(
            "How many times each foundation is printed; `needed`: as many as all sections that "
            "are alike take, in all blocks of the `quilt`.",
            default=limits.DEFAULT_COPIES,
        ),
    )


MAP_SCALES: tuple[str, ...] = ("true", "page")


class MapLooks(RequestSchema):
    """How the block map is drawn."""

    scale = Choice(
        MAP_SCALES,
        metadata=documented(
            "`true`: at the finished size, over as many sheets as that takes; `page`: on one "
            "sheet, drawn small where it must be. By default `true`; in a packet `page` where true "
            "size takes several sheets, and `true` adds those to it."
        ),
    )


class KeptPress(RequestSchema):
    """A direction that the plan must keep."""

    step = Id(
        required=True, metadata=documented("The id of a step, as an answer without this has it.")
    )
    press = Choice(
        PRESSES, required=True, metadata=documented("Toward which of its units, or open.")
    )


class Pressing(RequestSchema):
    """What is wished of a pressing plan."""

    open_above = Count(
        2,
        1000,
        metadata=documented(
            "Seams at which more layers of cloth than this would lie on one another are pressed "
            "open; none if left out. A nested four-patch has 7 at its middle.",
            examples=[8],
        ),
    )
    keep = ListOf(
        Nested(KeptPress),
        "directions",
        most=MOST_PIECES,
        metadata=documented("Directions to keep; all are worked out if left out."),
    )


class Deviations(RequestSchema):
    __doc__ = f"How far off cuts and seams are, {limits.DEVIATION} each."

    cutting = Length(metadata=documented("Of an edge that is cut.", default=limits.DEFAULT_CUTTING))
    sewing = Length(metadata=documented("Of the width of a seam.", default=limits.DEFAULT_SEWING))


class BlockRequest(RequestSchema):
    """A block and the settings that all printables share. `/v1/check` reads the `sheet` too,
    so that one request can be checked and then printed."""

    block = BlockField(required=True, metadata=documented("The block, in one of its four forms."))
    unit = Choice(
        UNITS,
        metadata=documented(
            "Of every length in the request that names none, and of the answer; the block's unit "
            "if left out, else `in`."
        ),
    )
    finish = LengthOr(
        Finish,
        metadata=documented("The finished size, or its width alone; as drawn if left out."),
    )
    allowance = LengthOr(
        Allowance,
        metadata=documented(
            f"Seam allowance, from {limits.NARROW}; by default {_USUAL_SEAM}. It never scales."
        ),
    )
    corners = Choice(
        CORNERS,
        metadata=documented(
            "`matched`: points are trimmed so that raw edges end together, at as many seam ends as "
            "they can with one template for each shape; `matched-each`: each piece by itself, so "
            "that like pieces may need several templates; `blunt`: points cut across; `full`: the "
            "plain offset. Corners of 90 degrees or more are never cut.",
            default=limits.DEFAULT_CORNERS,
        ),
    )
    sheet = Nested(Sheet, metadata=documented("The sheets to print on."))
    printer = Nested(
        Printer, metadata=documented("To correct sheets for a printer that is a little off.")
    )
    cloth = Nested(Cloth, metadata=documented("For a cutting list: the cloth that there is."))
    rounding = Length(
        metadata=documented(
            "For a cutting list: the step that sizes of rotary cuts are rounded up to; by default "
            "1/8 in, or 1 mm for a request in `cm` or `mm`. It is a whole number of 1/16 in, or of "
            "0.5 mm.",
            examples=["1/4 in"],
        )
    )
    quilt = Nested(
        Quilt, metadata=documented("For a cutting list: how many blocks, and the edges.")
    )
    foundation = Nested(
        FoundationLooks, metadata=documented("For foundations: how they are printed.")
    )
    map = Nested(MapLooks, metadata=documented("For a block map: how it is drawn."))
    pressing = Nested(Pressing, metadata=documented("For a sewing plan: what is wished of it."))
    deviation = Nested(
        Deviations, metadata=documented("For a sewing plan: how exactly the maker cuts and sews.")
    )


PACKET_TITLES = {
    "cover": "Cover",
    "block-map": "Block map",
    "sewing-plan": "Sewing plan",
    "cutting-list": "Cutting list",
    "templates": "Cutting templates",
    "foundation": "Foundation sections",
}
"""The parts of a packet by their names in a request, in the order in which a packet has them."""

PACKET_PARTS = tuple(PACKET_TITLES)
PARTS = PACKET_PARTS[:-1]
"""What a packet has if its request does not say."""


class PacketRequest(BlockRequest):
    """A block, the settings that all printables share, and what of it all is wanted."""

    parts = ListOf(
        Choice(PACKET_PARTS),
        "parts",
        fewest=1,
        most=len(PACKET_PARTS),
        metadata=documented(
            "The parts wanted, which the packet has in this order whatever the order here.",
            default=list(PARTS),
        ),
    )
    maker = Text(
        LONGEST_NAME,
        data_key="for",
        attribute="for",
        metadata=documented("Whose packet it is: every sheet carries the name."),
    )
