"""The foundation sections of a block: their answer, and how it is made."""

from __future__ import annotations

from dataclasses import dataclass
from operator import itemgetter

from piecewright.patchwork.foundation import plan as planning
from piecewright.patchwork.foundation.like_sections import LikeSection
from piecewright.patchwork.foundation.plan import SectionJoin, foundation
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.foundation.sheets import (
    FoundationSet,
    foundation_drawings,
    foundation_pages,
    foundation_set,
    heading,
)
from piecewright.service.responses import fields
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.fields import CURVES, AnswerSchema
from piecewright.service.responses.pages import Page, Sheets, on_sheets
from piecewright.service.responses.printout import Printout


class FoundationPatch(AnswerSchema):
    """A piece of a section, and the rectangle of fabric to cut for it."""

    piece = fields.Text("The id of the piece.")
    number = fields.Count("Its place in the order of sewing, from 1.", least=1)
    fabric = fields.Text("The id of its fabric, or null.", nullable=True)
    width = fields.Length(
        "Of the rectangle: along or across the piece's grain, whichever lies more across the "
        "block. It has 1/4 in to spare all round (the allowance, where that is wider) and 1/8 in "
        "of ease on every side."
    )
    height = fields.Length("Of the rectangle, square to its width.")


class FoundationMark(AnswerSchema):
    """A mark on the seam of two sections, with the same number on both."""

    number = fields.Count("From 1.", least=1)
    at = fields.Place("On the finished outline.")


def _seam_lines(section: planning.FoundationSection) -> list[tuple[Point, Point]]:
    return [(seam.start, seam.end) for seam in section.seams]


class FoundationSection(AnswerSchema):
    """A section in block coordinates at finished size, seen from the face, not mirrored."""

    id = fields.Text("As given, or A, B, … in the order of joining.")
    order = fields.ListOf(fields.Text(), "Piece ids in the order of sewing.")
    outline = fields.Ring(f"Without allowance. {CURVES}")
    cut = fields.Ring(f"With allowance. {CURVES}")
    patches = fields.Many(FoundationPatch, "In the order of sewing.")
    seams = fields.ListOf(
        fields.Places(),
        "The two ends of the line of each step, from the second piece on.",
        of=_seam_lines,
    )
    marks = fields.Many(FoundationMark, "On its seams with other sections.")


def _two_units(join: SectionJoin) -> tuple[tuple[str, ...], tuple[str, ...]]:
    return join.first, join.second


def _ends(join: SectionJoin) -> tuple[Point, Point]:
    return join.seam[0].start, join.seam[-1].end


def _number(join: int | None) -> int | None:
    return None if join is None else join + 1


class FoundationStep(AnswerSchema):
    """A join of two units of sections."""

    units = fields.ListOf(
        fields.ListOf(fields.Text()), "Section ids of the two units.", of=_two_units
    )
    seam = fields.Places("The two ends of the seam.", of=_ends)
    finished_by = fields.Count(
        "The join, from 1, with which the seam is finished, if it is partial: sewn only to its "
        "middle at first. Null for any other.",
        least=1,
        nullable=True,
        of=lambda join: _number(join.finished_by),
    )
    finishes = fields.Count(
        "The join, from 1, of which the seam is finished after this one; null if none is.",
        least=1,
        nullable=True,
        of=lambda join: _number(join.finishes),
    )


class RectangleCount(AnswerSchema):
    """Rectangles of one size."""

    width = fields.Length("The longer side.", of=itemgetter(0))
    height = fields.Length("The shorter side.", of=itemgetter(1))
    count = fields.Count("How many.", least=1, of=itemgetter(2))


class FoundationFabric(AnswerSchema):
    """The rectangles of one fabric."""

    fabric = fields.Text("The id of the fabric, or null.", nullable=True)
    sizes = fields.Many(RectangleCount, "The largest first.")
    area = fields.Area("Of all of them, in square units.")


class LikeSectionOnPaper(AnswerSchema):
    """A section that is sewn on a foundation."""

    section = fields.Text("Its id.", of="section.id")
    turn = fields.Angle(
        "By how many degrees, clockwise from the face, it is turned to lie on the first one.",
        of="laid.turned",
    )


@dataclass(frozen=True, slots=True)
class _Paper:
    id: str
    members: tuple[LikeSection, ...]
    make: int
    total: int
    copies: int


class FoundationPaper(AnswerSchema):
    """A foundation that is printed, and the sections that are sewn on copies of it."""

    id = fields.Text("That of its first section, as `pages` name its drawing.")
    sections = fields.Many(LikeSectionOnPaper, "Those that are alike by a turn.", of="members")
    make = fields.Count("How many of it a block takes.", least=1)
    total = fields.Count("How many all blocks of the `quilt` take.", least=1)
    copies = fields.Count("How many times it is printed.", least=1)


class FoundationAnswer(AnswerSchema):
    """The foundation sections of a block, and the sheets that the PDF would have.

    On a sheet, a section's drawing has its origin at the top left corner of the box round its cut
    outline, as printed; mirrored, x runs from the right side of the outline to its left.
    """

    unit = fields.Unit()
    sections = fields.Many(FoundationSection, "Those given, or else the fewest that were found.")
    joins = fields.Joins(
        "Nested pairs of section ids: the order of joining; null where sections lie apart.",
        nullable=True,
    )
    steps = fields.Many(FoundationStep, "The joins in an order in which they can be sewn.")
    optimal = fields.Flag("Whether it is proven that fewer sections are not possible.")
    fabrics = fields.Many(FoundationFabric, "The rectangles of fabric, summed.")
    foundations = fields.Many(
        FoundationPaper, "What is printed: like sections once, in the order of the first of each."
    )
    pages = fields.Many(Page, "The sheets, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


def _foundations(printed: FoundationSet) -> list[_Paper]:
    return [
        _Paper(
            like.first.id,
            like.members,
            like.make,
            like.make * printed.blocks,
            printed.copies(like),
        )
        for like in printed.kinds
    ]


def foundation_printout(plans: BlockPlans) -> Printout:
    """The foundation sections of a block.

    Raises:
        BlockError: the block cannot be sewn on foundations.
    """
    asked = plans.request
    found = foundation(asked.block, asked.allowance, asked.corners, asked.pieces_pointer)
    printed = foundation_set(found, asked.looks, asked.rule, asked.quilt.blocks)
    head = heading(found, asked.looks)
    return Printout(
        "foundation",
        representation=lambda pages: FoundationAnswer.to_json(
            found, asked.unit, foundations=_foundations(printed), **on_sheets(pages)
        ),
        pages=lambda: foundation_pages(printed, asked.sheet, plans.most_sheets),
        canvas=lambda: canvas_svg(foundation_drawings(printed), head, asked.unit),
    )
