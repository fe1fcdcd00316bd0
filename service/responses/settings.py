"""What a client may ask for here: papers, units, choices, limits, and whether it needs a key."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from piecewright.patchwork.block.model import LARGEST, SMALLEST
from piecewright.patchwork.lengths import UNITS, Unit, parse_length
from piecewright.render.sheets.papers import PAPERS
from piecewright.service import VERSION
from piecewright.service.requests import limits
from piecewright.service.requests.block_schemas import MOST_FABRICS, MOST_LINES
from piecewright.service.requests.fields import LONGEST_ID, LONGEST_NAME
from piecewright.service.requests.limits import Limits
from piecewright.service.requests.parse import paper_name, usual_paper
from piecewright.service.requests.schemas import CORNERS, ORIENTATIONS, PACKET_PARTS, PACKET_TITLES
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json, itself
from piecewright.service.settings import Settings

_LENGTHS: Final[Mapping[str, Limits]] = {
    "finish": Limits(SMALLEST, LARGEST),
    "allowance": limits.NARROW,
    "margin": limits.NARROW,
    "overlap": limits.NARROW,
    "paper": limits.PAPER_SIDE,
    "roll": limits.ROLL_WIDTH,
    "cloth": limits.CLOTH_WIDTH,
    "border": limits.EDGE_WIDTH,
    "binding": limits.EDGE_WIDTH,
    "quilt": limits.QUILT_SIDE,
}
"""What lengths of a request may be, by the fields that they stand in."""


class PaperSize(AnswerSchema):
    """A paper, upright."""

    id = fields.Text("What `sheet.paper` of a request may be.", of="name")
    name = fields.Text("As people write it.", of=lambda paper: paper_name(paper.name))
    width = fields.Length("Across.")
    height = fields.Length("Down.")


class LengthLimits(AnswerSchema):
    """What a length of a request may be."""

    field = fields.Text("Which: `finish` is the longer side of a finished block.")
    least = fields.Length("It may be this.")
    most = fields.Length("It may be this.")


class CountLimits(AnswerSchema):
    """How much of a thing is taken."""

    pieces = fields.Count("In a block.", of="max_pieces")
    points = fields.Count("In an outline, a frame or a line.", of="max_points")
    lines = fields.Count("In a drawing.", of=lambda _: MOST_LINES)
    fabrics = fields.Count("In a block.", of=lambda _: MOST_FABRICS)
    sheets = fields.Count("In a document.", of="max_sheets")
    items = fields.Count("In a batch.", of="max_items")
    bytes = fields.Count("In the body of a request.", of="max_request_bytes")
    name = fields.Count("Characters in a name.", of=lambda _: LONGEST_NAME)
    id = fields.Count("Characters in an id.", of=lambda _: LONGEST_ID)
    seconds = fields.Count("For drawing an answer.", of="deadline")
    requests = fields.Count(
        "Of one user in a minute; null for any number.",
        nullable=True,
        of=lambda settings: settings.rate or None,
    )


class PartTitle(AnswerSchema):
    """A part that a packet may have."""

    id = fields.Word("What `parts` of a request may name.", PACKET_PARTS, of=lambda part: part)
    title = fields.Text("As bookmarks have it.", of=PACKET_TITLES.__getitem__)


class Defaults(AnswerSchema):
    """What holds in the unit asked for where a request does not say."""

    paper = fields.Text("The id of the paper.", within=lambda _, unit: usual_paper(unit))
    orientation = fields.Word("Of a sheet.", ORIENTATIONS, of=lambda _: limits.DEFAULT_ORIENTATION)
    corners = fields.Word("Of cut outlines.", CORNERS, of=lambda _: limits.DEFAULT_CORNERS)
    allowance = fields.Length("Of seams.", within=lambda _, unit: limits.default_seam(unit))
    margin = fields.Length("Of a sheet.", of=lambda _: parse_length(limits.DEFAULT_MARGIN))
    overlap = fields.Length("Of sheets.", of=lambda _: parse_length(limits.DEFAULT_OVERLAP))
    cloth = fields.Length("Usable width.", within=lambda _, unit: limits.default_cloth(unit))


@dataclass(frozen=True, slots=True)
class _Range:
    """A field of requests, and what its length may be."""

    field: str
    least: float
    most: float


def _ranges(_: Any) -> list[_Range]:
    return [_Range(name, each.least, each.most) for name, each in _LENGTHS.items()]


class ServiceSettings(AnswerSchema):
    """What can be asked for here."""

    version = fields.Text("Of Piecewright.", of=lambda _: VERSION)
    key_needed = fields.Flag(
        "Whether other requests need `Authorization: Bearer <key>`.",
        of=lambda settings: bool(settings.keys),
    )
    unit = fields.Unit()
    units = fields.ListOf(fields.Text(), "That lengths may be in.", of=lambda _: UNITS)
    papers = fields.Many(PaperSize, "By name.", of=lambda _: PAPERS.values())
    orientations = fields.ListOf(fields.Text(), "Of a sheet.", of=lambda _: ORIENTATIONS)
    corners = fields.ListOf(fields.Text(), "Of cut outlines.", of=lambda _: CORNERS)
    parts = fields.Many(PartTitle, "Of a packet, in their order.", of=lambda _: PACKET_PARTS)
    defaults = fields.One(Defaults, "Where a request does not say.", of=itself)
    lengths = fields.Many(LengthLimits, "The bounds of lengths.", of=_ranges)
    limits = fields.One(CountLimits, "The most of what is counted.", of=itself)


def settings_answer(settings: Settings, unit: Unit = "in") -> Json:
    """What can be asked for of a service with these settings, lengths in ``unit``."""
    return ServiceSettings.to_json(settings, unit)
