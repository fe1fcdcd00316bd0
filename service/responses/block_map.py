"""The block map: its answer, and how it is made."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.joins import Spans
from piecewright.patchwork.block.model import extent
from piecewright.patchwork.lengths import Unit
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.patchwork.sewing.steps import Step
from piecewright.render.drawing.fabric_fills import fabric_fills
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.block_map import picture as block_map
from piecewright.render.printables.block_map.page_map import PageMap, page_map
from piecewright.render.sheets import page as sheet
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.sheet_settings import SheetSettings
from piecewright.service.requests.schemas import PRESSES
from piecewright.service.responses import fields
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.fields import CURVES, AnswerSchema, Json
from piecewright.service.responses.pages import Page, Sheets, on_sheets
from piecewright.service.responses.printout import Printout, printout_of_named
from piecewright.service.responses.sewing_plan import (
    Meeting,
    begun_seam,
    finished_seam,
    meetings,
    step_id,
)


class MapPiece(AnswerSchema):
    """A piece on the map."""

    id = fields.Text("As given, or p1, p2, … for a drawing.")
    fabric = fields.Text("The id of its fabric, or null.", nullable=True)
    finished = fields.Ring(
        f"Without allowance, in block coordinates at finished size. {CURVES}", of="outline"
    )


@dataclass(frozen=True, slots=True)
class _FabricOnMap:
    id: str | None
    name: str
    colour: str
    tint: str
    pieces: int


def _fabrics(plan: SewingPlan) -> list[_FabricOnMap]:
    """The fabrics that pieces have, in the order of the key."""
    block = plan.block
    colours = {fabric.id: fabric.colour for fabric in block.fabrics}
    pieces = Counter(piece.fabric for piece in block.pieces)
    return [
        # Pieces without a fabric have no colour of their own; they are shown in their tint.
        _FabricOnMap(id, look.name, colours.get(id or "", look.tint), look.tint, pieces[id])
        for id, look in fabric_fills(block).items()
    ]


class MapFabric(AnswerSchema):
    """A fabric on the map."""

    id = fields.Text("Null for pieces without one.", nullable=True)
    name = fields.Text("As the key names it.")
    colour = fields.Text("As given, `#rrggbb`.")
    tint = fields.Text("The pale colour that fills its pieces, `#rrggbb`.")
    pieces = fields.Count("How many pieces it has.", least=1)


@dataclass(frozen=True, slots=True)
class _SeamOnMap:
    step: Step
    toward: list[str]


def _seams(plan: SewingPlan) -> list[_SeamOnMap]:
    spans = Spans(plan.order)
    return [_SeamOnMap(step, _pressed_pieces(plan, spans, step)) for step in plan.sewing.steps]


def _pressed_pieces(plan: SewingPlan, spans: Spans, step: Step) -> list[str]:
    """The pieces along the side of a seam that it is pressed to."""
    if step.press == "open":
        return []
    join = plan.order.joins[step.join]
    toward = join.first if step.press == "first" else join.second
    edges = [plan.seams.edges[side.edge] for side in join.seam.sides]
    beside = [piece for edge in edges for piece in (edge.right, edge.left)]
    # A piece may lie along several edges of the seam; a dict names it once, and keeps the order.
    own = dict.fromkeys(p for p in beside if p is not None and spans.holds(toward, p))
    return [plan.block.pieces[piece].id for piece in own]


class MapSeam(AnswerSchema):
    """A seam on the map."""

    step = fields.Text("The step that sews it.", of=lambda seam: step_id(seam.step.join))
    seam = fields.Places("From one end to the other.", of="step.seam")
    begun = begun_seam("at first")
    finishes = finished_seam()
    press = fields.Word("Toward which unit of the step, or open.", PRESSES, of="step.press")
    toward = fields.ListOf(
        fields.Text(), "The pieces along the side that it is pressed to; empty if open."
    )


class BlockMapAnswer(AnswerSchema):
    """What the block map shows, and the sheets that the PDF would have."""

    unit = fields.Unit()
    width = fields.Length("Of the finished block.")
    height = fields.Length("Of the finished block.")
    scale = fields.Number("Of the map on its sheets: 1 for true size.")
    pieces = fields.Many(MapPiece, "In the order of the request.", of="block.pieces")
    fabrics = fields.Many(MapFabric, "Those that pieces have, as the key shows them.", of=_fabrics)
    seams = fields.Many(MapSeam, "In the order of sewing.", of=_seams)
    meetings = fields.Many(Meeting, "Seam intersections, in the order of sewing.", of=meetings)
    pages = fields.Many(Page, "The sheets, in order.")
    sheets = fields.One(Sheets, "How many they are, and how few would do.")


def _representation(
    plan: SewingPlan, unit: Unit, scale: float, pages: Sequence[sheet.Page]
) -> Json:
    left, top, right, bottom = extent(plan.block.pieces)
    return BlockMapAnswer.to_json(
        plan, unit, width=right - left, height=bottom - top, scale=scale, **on_sheets(pages)
    )


def block_map_printout(plans: BlockPlans) -> Printout:
    """A block at its finished size, with steps, pressing and meetings.

    Raises:
        BlockError: the block cannot be sewn as it asks to be.
    """
    plan, asked = plans.sewing, plans.request
    if asked.map_scale != "page":
        return _true_size(plans)
    found = page_map(plan, asked.sheet)
    return Printout(
        "block map",
        lambda pages: _representation(plan, asked.unit, found.scale, pages),
        pages=lambda: _on_one_sheet(found, plans.most_sheets),
        canvas=lambda: canvas_svg([found.drawing], found.heading, asked.unit),
    )


def _true_size(plans: BlockPlans) -> Printout:
    plan, unit = plans.sewing, plans.request.unit
    return printout_of_named(
        plans,
        "block map",
        lambda windows: block_map.block_map_drawings(plan, windows),
        block_map.heading(plan),
        lambda pages: _representation(plan, unit, 1.0, pages),
    )


def _on_one_sheet(found: PageMap, most_sheets: int) -> tuple[sheet.Page, ...]:
    return lay_out([found.drawing], found.settings, found.heading, most_sheets)


def packet_map_pages(plans: BlockPlans) -> tuple[sheet.Page, ...]:
    """The sheets of a block map in a packet: one, and those at true size where they are asked for.

    Raises:
        BlockError: as the block map.
    """
    asked, plan = plans.request, plans.sewing
    if asked.map_scale != "page" and _may_fit(plan, asked.sheet):
        pages = tuple(_true_size(plans).pages())
        if len(pages) == 1:
            return pages
    pages = _on_one_sheet(page_map(plan, asked.sheet), plans.most_sheets)
    if asked.map_scale == "true":
        pages = (*pages, *_true_size(plans).pages())
    return pages


def _may_fit(plan: SewingPlan, settings: SheetSettings) -> bool:
    """Whether a block at true size is no larger than a sheet, so that its map may fit one."""
    left, top, right, bottom = extent(plan.block.pieces)
    short, long = sorted((right - left, bottom - top))
    if settings.roll_width is not None:
        return short <= settings.roll_width
    sides = sorted((settings.width, settings.height))
    return short <= sides[0] and long <= sides[1]
