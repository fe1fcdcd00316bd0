"""The catalogue of blocks, and each of its blocks as geometry."""

from __future__ import annotations

from typing import Any

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.geometry import svg_path
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.lengths import PER_INCH, Unit
from piecewright.service.measures import degrees, places
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json, itself


class NoSuchBlock(Exception):
    """The catalogue has no block with that id."""


class CatalogueEntry(AnswerSchema):
    """A block of the catalogue, for choosing."""

    id = fields.Text("What the field `block` of a request may be.")
    name = fields.Text("Its traditional name.")
    about = fields.Text("How it is pieced, in a sentence.")
    width = fields.Length("As drawn.")
    height = fields.Length("As drawn.")
    pieces = fields.Count("How many pieces it has.", least=1)


class Catalogue(AnswerSchema):
    """The built-in blocks, by id."""

    unit = fields.Unit()
    blocks = fields.Many(CatalogueEntry, "Every block.", of=itself)


def catalogue_answer(unit: Unit = "in") -> Json:
    """Every block of the catalogue, for choosing."""
    return Catalogue.to_json(catalogue.entries(), unit)


def block_answer(id: str, unit: Unit = "in") -> Json:
    """A block of the catalogue as the field ``block`` of a request may be (piece by piece).

    Its schema is that of requests, ``BlockAsPieces``: what is written here is read there.

    Raises:
        NoSuchBlock: the catalogue has none with this id.
    """
    try:
        block = catalogue.load(id)
    except KeyError:
        raise NoSuchBlock(f"the catalogue has no block {id!r:.60}") from None
    sections = block.sections
    return _without_none(
        name=block.name,
        unit=unit,
        pieces=[_piece(piece, unit) for piece in block.pieces],
        fabrics=[{"id": f.id, "name": f.name, "colour": f.colour} for f in block.fabrics] or None,
        joins=block.joins,
        sections=sections and [{"id": s.id, "order": list(s.order)} for s in sections],
    )


def _piece(piece: Piece, unit: Unit) -> Json:
    straight = all(isinstance(segment, Line) for segment in piece.outline)
    grain = piece.grain if isinstance(piece.grain, str) else degrees(piece.grain)
    return _without_none(
        id=piece.id,
        outline=places([s.start for s in piece.outline], unit) if straight else None,
        # Points of a curve would be read back as corners; a path keeps it a curve.
        path=None if straight else svg_path.written(piece.outline, float(PER_INCH[unit])),
        fabric=piece.fabric,
        grain=None if grain == "auto" else grain,
    )


def _without_none(**values: Any) -> Json:
    """The fields that have a value; a request leaves the others out."""
    return {name: value for name, value in values.items() if value is not None}
