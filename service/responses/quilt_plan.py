"""The plan of a group quilt: its answer, and how it is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from operator import itemgetter

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.quilt import pressing
from piecewright.patchwork.quilt.plan import QuiltPlan, Variant, group_quilt
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.quilt_plan import heading, quilt_plan_drawings
from piecewright.render.printables.text_column import column
from piecewright.render.sheets.layout import lay_out
from piecewright.service.requests.parse import Refused, refusing_in
from piecewright.service.requests.quilt import QuiltAsked, fault_in_quilt
from piecewright.service.requests.schemas import KeptPress
from piecewright.service.responses import fields
from piecewright.service.responses.answer import Answer, Form
from piecewright.service.responses.fields import AnswerSchema, Json, itself
from piecewright.service.responses.pages import Page, Sheets, on_sheets
from piecewright.service.responses.printout import Printout, printout_answer
from piecewright.service.responses.sewing_plan import TrimSize


class QuiltPlacement(AnswerSchema):
    """A block in its place."""

    row = fields.Count("From 1, at the top.", least=1, of=lambda placed: placed.row + 1)
    column = fields.Count("From 1, on the left.", least=1, of=lambda placed: placed.column + 1)
    block = fields.Text("The id of the block.", of="design")
    turn = fields.Integer("Degrees, clockwise as seen.", facts={"enum": [0, 90, 180, 270]})
    variant = fields.Text("The id of its variant.")
    maker = fields.Text("Who makes it; null if nobody is named.", nullable=True)


def _keep(variant: Variant) -> list[Json]:
    return [{"step": str(one.step), "press": one.press} for one in variant.kept]


class KeptPressing(AnswerSchema):
    """Directions as `pressing` of a request takes them."""

    # Their schema is that of requests, which has no sources of values.
    keep = fields.Many(KeptPress, "One for each step.", of=_keep, ready=True)


class QuiltVariant(AnswerSchema):
    """A block with a direction for each of its steps."""

    id = fields.Text("The block's, and a letter.")
    block = fields.Text("The id of the block.", of="design")
    count = fields.Count("How many of the quilt's blocks are made so.", least=1)
    pressing = fields.One(KeptPressing, "With it, a sewing plan is that variant.", of=itself)


class VariantShare(AnswerSchema):
    """Blocks of one variant."""

    id = fields.Text("Of the variant.", of=itemgetter(0))
    count = fields.Count("How many of them.", least=1, of=itemgetter(1))


class QuiltMaker(AnswerSchema):
    """What one maker makes."""

    name = fields.Text("As given.", of="maker")
    blocks = fields.Count(
        "How many.", least=1, of=lambda share: sum(count for _, count in share.variants)
    )
    variants = fields.Many(VariantShare, "Which.")


def _rows_and_columns(meeting: pressing.QuiltMeeting) -> list[tuple[int, int]]:
    return [(row + 1, column + 1) for row, column in meeting.blocks]


class QuiltMeeting(AnswerSchema):
    """A point on a seam between blocks at which seams arrive from both sides."""

    at = fields.Place("On the quilt, at finished size.")
    step = fields.Text(
        "The step of joining that sews the seam.", of=lambda meeting: str(meeting.joining)
    )
    blocks = fields.ListOf(
        fields.ListOf(fields.Integer()),
        "Row and column, from 1, of the blocks whose seams arrive.",
        of=_rows_and_columns,
    )
    nests = fields.Flag("Whether the allowances nest.")
    reason = fields.Text("Why they do not nest, for people; null if they do.", nullable=True)


class QuiltArea(AnswerSchema):
    """Places from a first row and column to a last, both included, counted from 1."""

    top = fields.Count("First row.", least=1, of=lambda area: area.top + 1)
    left = fields.Count("First column.", least=1, of=lambda area: area.left + 1)
    bottom = fields.Count("Last row.", least=1, of=lambda area: area.bottom + 1)
    right = fields.Count("Last column.", least=1, of=lambda area: area.right + 1)


class QuiltStep(AnswerSchema):
    """A join of blocks into a row, or of rows."""

    id = fields.Text("`1`, `2`, … in the order of joining.", of=lambda step: str(step.number))
    level = fields.Count("What it joins was made at lower levels.", least=1)
    joins = fields.Word("What.", ["blocks", "rows"], of="kind")
    units = fields.Many(
        QuiltArea,
        "The left one and the right one, or the upper one and the lower one.",
        of=lambda step: (step.first, step.second),
    )
    press = fields.Word("Which way.", ["right", "left", "down"])
    unfinished = fields.One(TrimSize, "What to square the joined unit up to.")


class QuiltPlanAnswer(AnswerSchema):
    """Who makes which block of a quilt, pressed which way, and how the blocks are joined."""

    unit = fields.Unit()
    rows = fields.Count("Of blocks.", least=1, of="quilt.rows")
    columns = fields.Count("Of blocks.", least=1, of="quilt.columns")
    width = fields.Length(
        "Of the finished quilt, without a border.", of=lambda plan: sum(plan.widths)
    )
    height = fields.Length(
        "Of the finished quilt, without a border.", of=lambda plan: sum(plan.heights)
    )
    placements = fields.Many(QuiltPlacement, "Row by row.")
    variants = fields.Many(QuiltVariant, "By block, in the order of the quilt.")
    makers = fields.Many(
        QuiltMaker, "In the order of the request; empty if none are named.", of="shares"
    )
    steps = fields.Many(QuiltStep, "In the order of joining.", of="joinings")
    meetings = fields.Many(QuiltMeeting, "On the seams between blocks.")
    inside = fields.Count("How many meetings nest inside the blocks.", of="inside_nested")
    nested = fields.Count("How many nest inside and between blocks.")
    bound = fields.Count("No plan that keeps the most inside nests more.")
    optimal = fields.Flag("Whether `nested` is proven to be the most possible.")
    fewest_variants = fields.Flag("Whether it is proven that there are no fewer variants.")
    pages = fields.Many(Page, "The sheets, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


@dataclass(frozen=True, slots=True)
class PlannedQuilt:
    """A quilt that is asked for, with the plan of each of its blocks and of all together."""

    asked: QuiltAsked
    designs: Mapping[str, SewingPlan]
    plan: QuiltPlan


def planned(asked: QuiltAsked) -> PlannedQuilt:
    """The plan of a quilt.

    Raises:
        Refused: a block cannot be sewn as it asks to be, or the blocks make no quilt.
    """
    # Every block is planned even if another cannot be sewn, so that all faults are found at once.
    designs: dict[str, SewingPlan] = {}
    faults: list[Fault] = []
    for id, request in asked.designs.items():
        try:
            designs[id] = sewing_plan(request.block, request.allowance, request.plan)
        except BlockError as error:
            faults += (fault_in_quilt(fault, asked.pointers[id]) for fault in error.faults)
    if faults:
        raise Refused(tuple(dict.fromkeys(faults)), asked.unit)
    kept = {id: request.plan.kept for id, request in asked.designs.items() if request.plan}
    with refusing_in(asked.unit):
        plan = group_quilt(asked.quilt, designs, asked.makers or None, kept=kept)
    return PlannedQuilt(asked, designs, plan)


def quilt_plan_answer(
    asked: QuiltAsked, form: Form, most_sheets: int, sheet: int | None = None
) -> Answer:
    """Who makes which block of a quilt, pressed which way, and how the blocks are joined.

    Args:
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        Refused: the quilt cannot be made as it asks to be, or the sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    made = planned(asked)
    with refusing_in(asked.unit):
        return printout_answer(
            quilt_plan_printout(made, most_sheets), asked.title, asked.unit, form, sheet
        )


def quilt_plan_printout(made: PlannedQuilt, most_sheets: int, maker: str | None = None) -> Printout:
    """The plan of a quilt; with one maker's blocks marked."""
    asked, room = made.asked, column(made.asked.shared.sheet)
    blocks = {id: request.block for id, request in asked.designs.items()}
    drawings = quilt_plan_drawings(made.plan, blocks, room, maker)
    head = heading(made.plan, asked.title)
    return Printout(
        "plan",
        representation=lambda pages: QuiltPlanAnswer.to_json(
            made.plan, asked.unit, **on_sheets(pages)
        ),
        pages=lambda: lay_out(drawings, room.settings, head, most_sheets),
        canvas=lambda: canvas_svg(drawings, head, asked.unit),
    )
