"""The cutting templates of a block: their answer, and how it is made."""

from __future__ import annotations

from piecewright.render.printables.templates import heading, template_drawings
from piecewright.service.responses import fields
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.fields import CURVES, AnswerSchema, itself
from piecewright.service.responses.pages import Page, Sheets, on_sheets
from piecewright.service.responses.printout import Printout, printout_of_named


class CutPiece(AnswerSchema):
    """A piece with its cut outline, in block coordinates at finished size."""

    id = fields.Text("As given; p1, p2, … for a drawing; b1, b2.p1, … in a grid.")
    template = fields.Text("The id of the template that it is cut from.")
    reversed = fields.Flag("Whether the template is laid face down for it.")
    finished = fields.Ring(f"Without allowance. {CURVES}")
    cut = fields.Ring(f"With allowance. {CURVES}")
    match_points = fields.Places("On the finished outline, to pin through.")
    stop_points = fields.Places(
        "Those match points at which a seam along the piece stops, as a later one pivots there."
    )


class GrainLine(AnswerSchema):
    """The straight grain of a template."""

    angle = fields.Direction("Degrees clockwise from +x as seen, 0 <= angle < 180.", of=itself)


class Cut(AnswerSchema):
    """How many to cut from one fabric."""

    fabric = fields.Text("The id of the fabric, or null.", nullable=True)
    plain = fields.Count("With the template face up.")
    reversed = fields.Count("With the template face down.")


class Template(AnswerSchema):
    """One shape to cut, at its own place: the cut outline touches both axes."""

    id = fields.Text("A, B, …")
    finished = fields.Ring(f"Without allowance. {CURVES}")
    cut = fields.Ring(f"With allowance. {CURVES}")
    grain = fields.One(GrainLine, "Null for no arrow.", nullable=True)
    bias_edges = fields.ListOf(
        fields.Integer(), "The edges of the finished outline that stretch, by number from 0."
    )
    cuts = fields.Many(Cut, "For each fabric, for one block.")


class TemplatesAnswer(AnswerSchema):
    """The cutting templates of a block, and the sheets that the PDF would have."""

    unit = fields.Unit()
    blocks = fields.Count("How many are made; sheets say what all of them take.", least=1)
    pieces = fields.Many(CutPiece, "In the order of the request.")
    templates = fields.Many(Template, "One for each shape.")
    pages = fields.Many(Page, "The sheets, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


def templates_printout(plans: BlockPlans) -> Printout:
    """The cutting templates of a block.

    Raises:
        BlockError: the block cannot be sewn as it asks to be.
    """
    found, unit, blocks = plans.templates, plans.request.unit, plans.request.quilt.blocks
    return printout_of_named(
        plans,
        "templates",
        lambda windows: template_drawings(found, blocks, windows),
        heading(found),
        lambda pages: TemplatesAnswer.to_json(found, unit, blocks=blocks, **on_sheets(pages)),
    )
