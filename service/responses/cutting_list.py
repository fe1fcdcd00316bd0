"""The cutting list of a block: its answer, and how it is made."""

from __future__ import annotations

from dataclasses import dataclass
from operator import itemgetter

from piecewright.patchwork.cutting.cutting_list import Cut, FabricCuts, Strip, cutting_list
from piecewright.patchwork.cutting.wording import edging_text, note, strip_text
from piecewright.patchwork.lengths import Unit
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.cutting_list import canvas_drawings, cutting_list_pages, heading
from piecewright.service.responses import fields
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.fields import AnswerSchema
from piecewright.service.responses.pages import Page, Sheets, on_sheets
from piecewright.service.responses.printout import Printout


class PatchSize(AnswerSchema):
    """Two sides of what is cut or sewn."""

    width = fields.Length("The longer side, or as the field says.", of=itemgetter(0))
    height = fields.Length("The shorter side, or as the field says.", of=itemgetter(1))


def _side_along_the_cloth(cut: Cut) -> str | None:
    return None if cut.lengthwise is None else ("width", "height")[cut.lengthwise]


def _angles(cut: Cut) -> tuple[float, ...] | None:
    return None if cut.slant is None else cut.slant.angles


class CuttingCut(AnswerSchema):
    """What is cut of one kind."""

    shape = fields.Word(
        "`template` for every shape that is none of the others.",
        [
            "square",
            "rectangle",
            "half-square triangle",
            "quarter-square triangle",
            "template",
        ],
    )
    name = fields.Text("As makers call it: the shape, or `diamond`, `trapezoid`, `template A`, …")
    finished = fields.One(
        PatchSize,
        "Of the patch, sewn. Of a half-square triangle its two short sides; of a "
        "quarter-square triangle its long side and its height.",
    )
    cut = fields.One(
        PatchSize,
        "What to cut, rounded up to 1/8 in or 0.5 cm: the square for triangles; for a shape "
        "cut from a strip at an angle the step along the strip and the strip's width; for a "
        "template the extent of its cut outline, not rounded.",
    )
    count = fields.Count("Patches, of all blocks together.", least=1)
    blanks = fields.Count(
        "Squares or rectangles to cut for them; else the same as `count`.", least=1
    )
    yields = fields.Count("Patches that each of those gives: 1, 2 or 4.", least=1)
    source = fields.Word("How it is cut.", ["strip", "template"], data_key="from")
    lengthwise = fields.Word(
        "Which side lies along the cloth; null where straight and cross grain serve alike.",
        ["width", "height", None],
        nullable=True,
        of=_side_along_the_cloth,
    )
    angles = fields.ListOf(
        fields.Angle(),
        "For a shape cut from a strip at an angle: of its left and right end, degrees "
        "clockwise from the strip's direction as seen; else null.",
        nullable=True,
        of=_angles,
    )
    reversed = fields.Count("How many of the patches are cut face down, where that matters.")
    trim = fields.Flag("Whether rounding left more than 1/32 in to trim.")
    templates = fields.ListOf(fields.Text(), "The templates of this shape, by id.")
    note = fields.Text("How to cut, for people; may be empty.", within=note)


class StripYield(AnswerSchema):
    """Like pieces that follow each other in a strip."""

    cut = fields.Count("Which of the fabric's cuts, from 0.")
    count = fields.Count("Squares, rectangles or shapes from each strip.", least=1)
    length = fields.Length("That each takes along the strip.")


@dataclass(frozen=True, slots=True)
class _StripOfFabric:
    """A strip, and the cuts of its fabric, which its text names."""

    strip: Strip
    cuts: tuple[Cut, ...]

    def text(self, unit: Unit) -> str:
        return strip_text(self.strip, self.cuts, unit)


def _strips(fabric: FabricCuts) -> list[_StripOfFabric]:
    return [_StripOfFabric(strip, fabric.cuts) for strip in fabric.strips]


class CuttingStrip(AnswerSchema):
    """Strips that are cut up alike."""

    width = fields.Length("Of the strip.", of="strip.width")
    count = fields.Count("How many strips.", least=1, of="strip.count")
    yields = fields.Many(StripYield, "What each gives, from left to right.", of="strip.parts")
    length = fields.Length(
        "Of the strip: the cloth's usable width, unless it lies along the cloth.",
        of="strip.length",
    )
    used = fields.Length("Of its length.", of="strip.used")
    purpose = fields.Word("What for.", ["patches", "border", "binding"], of="strip.purpose")
    lengthwise = fields.Flag(
        "Whether it is cut along the cloth, not across.", of="strip.lengthwise"
    )
    text = fields.Text("The same for people.", within=_StripOfFabric.text)


class CuttingFabric(AnswerSchema):
    """All that is cut from one fabric."""

    fabric = fields.Text("The id of the fabric, or null.", nullable=True)
    cuts = fields.Many(CuttingCut, "Each kind of patch.")
    strips = fields.Many(CuttingStrip, "The widest first.", of=_strips)
    fewest_strips = fields.Count(
        "A proven lower bound for patches in strips of these widths.", of="bound"
    )
    nested = fields.Length("Length of cloth for templates, nested by outline.")
    length = fields.Length("Of cloth that is cut, before shrinkage and spare.")
    yardage = fields.Number(
        "To buy: yards in steps of 1/8, or metres in steps of 0.1.", of="yardage.amount"
    )
    yardage_unit = fields.Word(
        "`yd` for a request in inches, else `m`.", ["yd", "m"], of="yardage.unit"
    )
    buy = fields.Text("The same for people.", of=lambda fabric: str(fabric.yardage))


class EdgeLength(AnswerSchema):
    """A length of a border or of the binding."""

    length = fields.Length("To cut or to join up.", of=itemgetter(0))
    count = fields.Count("How many.", least=1, of=itemgetter(1))
    where = fields.Text("On which sides.", of=itemgetter(2))


class CuttingEdge(AnswerSchema):
    """A border or the binding."""

    purpose = fields.Word("Which.", ["border", "binding"])
    fabric = fields.Text("The id of the fabric, or null.", nullable=True)
    width = fields.Length("Of the strips.")
    lengths = fields.Many(EdgeLength, "What is needed.")
    strips = fields.Count("How many are cut.", least=1)
    joins = fields.Count("Diagonal joins between them; each takes a strip's width of length.")
    lengthwise = fields.Flag("Whether cut along the cloth.")
    text = fields.Text(
        "The same for people, with the rule that the lengths follow.", within=edging_text
    )


class UsedCloth(AnswerSchema):
    """The cloth that the list reckons with."""

    width = fields.Length("Usable.")
    shrinkage = fields.Number("Percent.")
    spare = fields.Number("Percent.")


class CuttingListAnswer(AnswerSchema):
    """What to cut, from which strips, and what to buy."""

    unit = fields.Unit()
    blocks = fields.Count("How many blocks it is for.", least=1, of="quilt.blocks")
    cloth = fields.One(UsedCloth, "As asked for.")
    fabrics = fields.Many(CuttingFabric, "In the order of the block's fabrics.")
    edges = fields.Many(CuttingEdge, "The border and the binding, where asked for.", of="edgings")
    pages = fields.Many(Page, "The sheets to tick off, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


def cutting_list_printout(plans: BlockPlans) -> Printout:
    """What to cut for a request's blocks, from which strips, and what to buy.

    Raises:
        BlockError: the block cannot be sewn as it asks to be, or the cloth does not serve.
    """
    asked = plans.request
    found = cutting_list(plans.templates, asked.cloth, asked.quilt, asked.rule)
    return Printout(
        "cutting list",
        representation=lambda pages: CuttingListAnswer.to_json(
            found, asked.unit, **on_sheets(pages)
        ),
        pages=lambda: cutting_list_pages(found, asked.sheet, plans.most_sheets),
        canvas=lambda: canvas_svg(canvas_drawings(found), heading(found), asked.unit),
    )
