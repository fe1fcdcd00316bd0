"""The sewing plan of a block: its answer, and how it is made.

Steps are named by their ids in every answer: ``"1"``, ``"2"``, … in the order of sewing, where
``patchwork`` numbers the joins from 0.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar, get_args

from piecewright.patchwork.block.joins import nested
from piecewright.patchwork.block.model import Joins
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing import error_budget, pressing, steps, stops
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.patchwork.sewing.wording import Words
from piecewright.render.printables import sewing_plan as cards
from piecewright.service.requests.schemas import PRESSES
from piecewright.service.responses import fields
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.fields import AnswerSchema, itself
from piecewright.service.responses.pages import Page, Sheets, on_sheets
from piecewright.service.responses.printout import Printout, printout_of_drawings

_Thing = TypeVar("_Thing", pressing.Meeting, error_budget.PointDeviation)


def step_id(join: int) -> str:
    """The id of the step that sews a join."""
    return str(join + 1)


def step_ids(joins: Iterable[int]) -> list[str]:
    """The ids of the steps that sew some joins."""
    return [step_id(join) for join in joins]


@dataclass(frozen=True, slots=True)
class AtPoint(Generic[_Thing]):
    """A thing at a point of the block, which plans give by its number alone."""

    at: Point
    thing: _Thing


def _at_points(plan: SewingPlan, things: Iterable[_Thing]) -> list[AtPoint[_Thing]]:
    points = plan.seams.points
    return [AtPoint(points[thing.at], thing) for thing in things]


class TrimSize(AnswerSchema):
    """A size with its seam allowances, to trim to."""

    width = fields.Length("Along the side that is nearer to level.")
    height = fields.Length("Square to that.")


class Tip(AnswerSchema):
    """An end of a seam at which the two raw edges do not end together."""

    at = fields.Place("The seam's end, at finished size.")
    piece = fields.Text("The piece whose tip it is.")
    by = fields.Length(
        "By how much it stands out beyond the other raw edge; negative where it stays back."
    )


@dataclass(frozen=True, slots=True)
class _StepInWords:
    """A step, and the words for all steps of its plan."""

    step: steps.Step
    words: Words

    @property
    def toward(self) -> str | None:
        return self.words.pressed_fabric(self.step)

    @property
    def text(self) -> list[str]:
        return self.words.step(self.step)


def _steps(plan: SewingPlan) -> list[_StepInWords]:
    words = Words(plan)
    return [_StepInWords(step, words) for step in plan.sewing.steps]


class PartialSeam(AnswerSchema):
    """How much of a seam is sewn, the rest being left open."""

    start = fields.Place("The end from which it is sewn.", data_key="from")
    stop = fields.Place("Its middle, up to which it is sewn.", data_key="to")
    finished_by = fields.Text(
        "The step in which it is finished.", of=lambda partial: step_id(partial.finished_by)
    )


class FinishedSeam(AnswerSchema):
    """What is sewn in one, to finish a partial seam."""

    step = fields.Text("The step that sewed its beginning.", of=lambda one: step_id(one.join))
    seam = fields.Places(
        "From where that stopped to the far end of the stretch that goes straight on from it."
    )


class Ridge(AnswerSchema):
    """A place where the presser foot climbs over the allowances of earlier seams: over more than
    two, or aslant. Slow down there."""

    at = fields.Place("The point of the seam at which they arrive, at finished size.")
    from_start = fields.Length(
        "Along the stitches, from the raw edge at the start to where it begins."
    )
    layers = fields.Count("Of cloth under the foot.")
    slanted = fields.Flag(
        "Whether a seam arrives at less than 66 degrees, so that one half of the foot meets it "
        "before the other."
    )


class Fold(AnswerSchema):
    """A place where an allowance underneath lies toward the start, and is easily folded over."""

    at = fields.Place("The point of the seam at which it arrives, at finished size.")
    from_start = fields.Length(
        "Along the stitches, from the raw edge at the start to its free edge."
    )


class AtNeedle(AnswerSchema):
    """How a seam that earlier seams cross is best sewn: the raw edges to the right of the needle,
    the cloth to its left."""

    start = fields.Place("The end of the seam to start at, so that least is folded over unseen.")
    on_top = fields.Word("The unit that then lies on top.", ["first", "second"])
    ridges = fields.Many(Ridge, "Where to slow down, from the start.")
    folds = fields.Many(Fold, "Where to keep it flat, from the start.")


def begun_seam(when: str) -> fields.One:
    """The field of how much of a seam is sewn, if not all of it."""
    return fields.One(
        PartialSeam,
        f"For a seam that is sewn only to its middle {when}; null for any other.",
        nullable=True,
        data_key="partial",
        of="step.partial",
    )


def finished_seam() -> fields.One:
    """The field of the seam that a step finishes besides its own."""
    return fields.One(
        FinishedSeam,
        "The partial seam that is finished after this one; null if none is.",
        nullable=True,
        of="step.finishes",
    )


class SewingStep(AnswerSchema):
    """A join, as it is sewn."""

    id = fields.Text("`1`, `2`, … in the order of sewing.", of=lambda one: step_id(one.step.join))
    units = fields.ListOf(
        fields.ListOf(fields.Text()),
        "The ids of the pieces of its first and its second unit.",
        of="step.units",
    )
    seam = fields.Places(
        "Along the seam, at finished size; curves as points within 0.001 in. A stretch with which "
        "an earlier seam is finished is no part of it.",
        of="step.seam",
    )
    kind = fields.Word(
        "`set-in` for a seam with pivots.", ["straight", "curved", "set-in"], of="step.kind"
    )
    pivots = fields.Places("Where to stop with the needle down and turn.", of="step.pivots")
    begun = begun_seam("now")
    finishes = finished_seam()
    stop = fields.ListOf(
        fields.Word("`start` or `end` of `seam`.", get_args(stops.SeamEnd)),
        "The ends of `seam` at which it stops at the match point and is backstitched, as a later "
        "seam pivots there.",
        of=lambda one: [stop.end for stop in one.step.stops],
    )
    press = fields.Word(
        "Toward which unit; `open` only where that was asked for.", PRESSES, of="step.press"
    )
    toward = fields.Text(
        "The fabric that it is pressed toward; null where several lie along that side, or the "
        "same on both.",
        nullable=True,
    )
    unfinished = fields.One(
        TrimSize,
        "What to trim the sewn unit to; null where it is no rectangle, or a seam in it is not "
        "finished yet.",
        nullable=True,
        of="step.unfinished",
    )
    at_needle = fields.One(
        AtNeedle,
        "Null where no earlier seam arrives inside the seam, or it has no ends.",
        nullable=True,
        of="step.needle",
    )
    level = fields.Count(
        "All steps of a level can be sewn one after another.", least=1, of="step.level"
    )
    like = fields.Text(
        "The first step of its level that is sewn just like it; itself if it is that.",
        of=lambda one: step_id(one.step.like),
    )
    tips = fields.Many(
        Tip,
        "Where raw edges do not end together when pieces lie right: like pieces are cut alike, and "
        "right corners are never cut. Centre the tip by this much; empty where all ends agree.",
        of="step.tips",
    )
    text = fields.ListOf(fields.Text(), "The same for people, in sentences.")


class SewingOrder(AnswerSchema):
    """What the order of sewing comes to. Of all orders one is taken that is best by `pivots`, then
    by `partial`, and so on."""

    given = fields.Flag("Whether the block brought it along.")
    fewest_pivots = fields.Flag(
        "Whether it is proven that no order has fewer; false for a given one."
    )
    pivots = fields.Count("In all seams together; the fewer the better.", of="measures.pivots")
    begun = fields.Count(
        "Seams that are sewn to their middle, and finished after a later one, each of which saves "
        "a pivot; the fewer the better.",
        data_key="partial",
        of="measures.partial",
    )
    rectangles = fields.Count(
        "Joins that make a rectangle; the more the better.", of="measures.rectangles"
    )
    half_turns = fields.Count(
        "Joins whose unit, as it is divided into pieces, looks the same after a half turn; the "
        "more the better.",
        of="measures.half_turns",
    )
    kinds = fields.Count(
        "Different units that are sewn; those that are alike when turned or flipped, fabrics not "
        "regarded, count once. The fewer the better, as are all that follow.",
        of="measures.kinds",
    )
    set_in = fields.Length("Of set-in seams, added up.", of="measures.set_in")
    meeting_seams = fields.Count(
        "Seams with a seam intersection inside.", of="measures.meeting_seams"
    )
    levels = fields.Count(
        "The longest chain of steps that wait for each other.", of="measures.levels"
    )
    optimal = fields.Flag(
        "Whether it is proven that no order is better, what comes first in this list counting "
        "first; false for a given one. For a block made of blocks, which stay whole: that none is "
        "better for each of them by itself, nor for joining them."
    )


class Meeting(AnswerSchema):
    """A seam intersection: a point inside a seam at which earlier seams arrive from both units."""

    at = fields.Place("At finished size.")
    step = fields.Text(
        "The step that sews the seam.", of=lambda meeting: step_id(meeting.thing.step)
    )
    arrive = fields.ListOf(
        fields.ListOf(fields.Text()),
        "The steps that arrive from its first and from its second unit; where a partial seam is "
        "finished, from the sides of the units of that one.",
        of=lambda meeting: [step_ids(joins) for joins in meeting.thing.arrive],
    )
    nests = fields.Flag("Whether their allowances nest.", of="thing.nests")
    reason = fields.Text(
        "Why it does not nest, for people; null if it does.", nullable=True, of="thing.reason"
    )
    layers = fields.Count("Of cloth in the thickest place round the point.", of="thing.layers")


def meetings(plan: SewingPlan) -> list[AtPoint[pressing.Meeting]]:
    """The meetings of a plan, as ``Meeting`` answers them."""
    return _at_points(plan, plan.pressing.meetings)


class FromCentre(AnswerSchema):
    """From the middle of the centre to each raw edge."""

    left = fields.Length("To the left.", of=lambda away: away[0])
    up = fields.Length("Up.", of=lambda away: away[1])
    right = fields.Length("To the right.", of=lambda away: away[2])
    down = fields.Length("Down.", of=lambda away: away[3])


class SewingRound(AnswerSchema):
    """A round of strips about a centre."""

    number = fields.Count("From 1.", least=1)
    centre = fields.ListOf(fields.Text(), "The pieces in the middle.")
    steps = fields.ListOf(
        fields.Text(),
        "Square up after the last of them.",
        of=lambda one: step_ids(one.joins),
    )
    unfinished = fields.One(
        TrimSize, "What to square up to; null where the unit is no rectangle.", nullable=True
    )
    from_centre = fields.One(
        FromCentre, "So that what is off is not carried into the next round.", nullable=True
    )


class Deviation(AnswerSchema):
    """To either side."""

    worst = fields.Length("If all deviations are as large as they may be, and add up.")
    likely = fields.Length("19 times in 20.")


class ComparedDeviation(AnswerSchema):
    """With and without trimming."""

    untrimmed = fields.One(Deviation, "If nothing is trimmed.")
    trimmed = fields.One(Deviation, "If every rectangle is trimmed as soon as it is sewn.")


class UnitDeviation(AnswerSchema):
    """How far off the size of a sewn unit is."""

    step = fields.Text("The step that makes it.", of=lambda unit: step_id(unit.join))
    rectangle = fields.Flag("Whether it is one, and is trimmed.")
    width = fields.One(
        ComparedDeviation,
        "Of another unit along its last seam; null across a gap.",
        nullable=True,
    )
    height = fields.One(
        ComparedDeviation,
        "Of another unit square to its last seam; null across a gap.",
        nullable=True,
    )


class PointDeviation(AnswerSchema):
    """How far apart seams lie that should meet."""

    at = fields.Place("At finished size.")
    step = fields.Text(
        "The step that sews the seam on which they meet.",
        of=lambda point: step_id(point.thing.join),
    )
    mismatch = fields.One(ComparedDeviation, "Along that seam.", of="thing.mismatch")


class ErrorBudget(AnswerSchema):
    """How far off units and seam intersections will be, with these deviations."""

    cutting = fields.Length("As asked for.", of="budget.cutting")
    sewing = fields.Length("As asked for.", of="budget.sewing")
    units = fields.Many(UnitDeviation, "In the order of sewing.", of="budget.units")
    points = fields.Many(
        PointDeviation,
        "In the order of sewing.",
        of=lambda plan: _at_points(plan, plan.budget.points),
    )
    first_to_suffer = fields.Many(
        PointDeviation,
        "At most three, the one most likely off first.",
        of=lambda plan: _at_points(plan, plan.budget.first_to_suffer),
    )
    first_to_suffer_trimmed = fields.Many(
        PointDeviation,
        "The same if all rectangles are trimmed.",
        of=lambda plan: _at_points(plan, plan.budget.first_to_suffer_trimmed),
    )


def _joins(plan: SewingPlan) -> Joins | None:
    if plan.block.apart:
        return None  # not one tree, but one for each section
    return nested(plan.order, [piece.id for piece in plan.block.pieces])


class SewingPlanAnswer(AnswerSchema):
    """In which order a block is sewn, pressed which way, and how big it should then be."""

    unit = fields.Unit()
    joins = fields.Joins(
        "The order of sewing, as a request may give it; null where sections lie apart.",
        nullable=True,
        of=_joins,
    )
    order = fields.One(SewingOrder, "How good it is.", of=itself)
    steps = fields.Many(SewingStep, "In an order in which they can be sewn.", of=_steps)
    levels = fields.ListOf(
        fields.ListOf(fields.Text()),
        "The steps of each level.",
        of=lambda plan: [step_ids(joins) for joins in plan.sewing.batches],
    )
    meetings = fields.Many(Meeting, "Seam intersections, in the order of sewing.", of=meetings)
    nested = fields.Count("At how many seam intersections the seams nest.", of="pressing.nested")
    bound = fields.Count("No plan nests more.", of="pressing.bound")
    alike = fields.Count(
        "Pairs of alike seams that are pressed alike. Two seams are alike if a turn carries the "
        "one and the pieces along it onto the other and its pieces, or where no turn does a flip; "
        "they are pressed alike if it carries the side too. Of plans that nest as many seams, the "
        "more the better.",
        of="pressing.alike",
    )
    pairs = fields.Count("Pairs of alike seams that there are.", of="pressing.pairs")
    bulk = fields.Count(
        "Seams that come in on the side to which a seam is pressed, added up over all seams: of "
        "those of the first rectangle that the seam becomes a part of, or of the whole block. The "
        "fewer the better, what stands before being equal.",
        of="pressing.bulk",
    )
    away = fields.Count(
        "Seams pressed away from the unit with more pieces; of two single pieces, away from the "
        "one that holds the block's middle, or else from the one round which the pieces after it "
        "are sewn. The more the better, what stands before being equal.",
        of="pressing.away",
    )
    darker = fields.Count(
        "Seams pressed toward the darker fabric: that of lower lightness (CIE L*), on average "
        "along the seam. The more the better, what stands before being equal.",
        of="pressing.darker",
    )
    layers = fields.Count(
        "In the thickest place, summed over all points where seams arrive.", of="pressing.layers"
    )
    optimal = fields.Flag(
        "Whether it is proven that no plan is better: by `nested`, then `alike`, `bulk`, `away` "
        "and `darker`.",
        of="pressing.optimal",
    )
    rounds = fields.Many(
        SewingRound, "Of units that grow round a centre, as log cabins do.", of="sewing.rounds"
    )
    deviations = fields.One(ErrorBudget, "The error budget.", of=itself)
    pages = fields.Many(Page, "The sheets, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


def sewing_plan_printout(plans: BlockPlans) -> Printout:
    """The steps of sewing a block, with pressing, sizes and error budget.

    Raises:
        BlockError: the block cannot be sewn as it asks to be.
    """
    plan, unit = plans.sewing, plans.request.unit
    return printout_of_drawings(
        plans,
        "sewing plan",
        cards.sewing_plan_drawings(plan),
        cards.heading(plan),
        lambda pages: SewingPlanAnswer.to_json(plan, unit, **on_sheets(pages)),
    )
