"""The catalogue of blocks, and each of its blocks as geometry."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block, Piece, extent
from piecewright.patchwork.geometry import svg_path
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.lengths import PER_INCH, Unit, in_unit
from piecewright.render.output.svg import Ids, picture_svg
from piecewright.render.printables.block_picture import SMALL, block_picture
from piecewright.service.measures import degrees, places
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json, itself


class NoSuchBlock(Exception):
    """The catalogue has no block with that id."""


@dataclass(frozen=True, slots=True)
class _Listed:
    """A block of the catalogue, and its picture where that is asked for."""

    entry: catalogue.Entry
    picture: str | None


class CatalogueEntry(AnswerSchema):
    """A block of the catalogue, for choosing."""

    id = fields.Text("What the field `block` of a request may be.", of="entry.id")
    name = fields.Text("Its traditional name, which a request may have too.", of="entry.name")
    about = fields.Text("How it is pieced, in a sentence.", of="entry.about")
    width = fields.Length("As drawn.", of="entry.width")
    height = fields.Length("As drawn.", of="entry.height")
    pieces = fields.Count("How many pieces it has.", least=1, of="entry.pieces")
    picture = fields.Text(
        "The block drawn small, as an SVG element; with `?pictures=svg` alone. No two pictures "
        "have an id in common.",
        optional=True,
    )


class Catalogue(AnswerSchema):
    """The built-in blocks, by id."""

    unit = fields.Unit()
    blocks = fields.Many(CatalogueEntry, "Every block.", of=itself)


def catalogue_answer(unit: Unit = "in", pictures: bool = False) -> Json:
    """Every block of the catalogue, for choosing; with small pictures of them if so asked."""
    listed = [
        _Listed(entry, _small_picture(entry.id, unit) if pictures else None)
        for entry in catalogue.entries()
    ]
    return Catalogue.to_json(listed, unit)


@cache
def _small_picture(id: str, unit: Unit) -> str:
    drawing = block_picture(catalogue.load(id), SMALL)
    return picture_svg(drawing, Ids(f"-{id}"), unit, declared=False)


def block_svg(name: str, unit: Unit = "in") -> str:
    """The picture of a block of the catalogue, at its drawn size.

    Raises:
        NoSuchBlock: the catalogue has none with this id or name.
    """
    return picture_svg(block_picture(_block(name)), Ids(), unit)


def _block(name: str) -> Block:
    id = catalogue.id_of(name)
    if id is None:
        raise NoSuchBlock(f"the catalogue has no block {name!r:.60}")
    return catalogue.load(id)


def block_answer(name: str, unit: Unit = "in") -> Json:
    """A block of the catalogue as the field ``block`` of a request may be (piece by piece).

    Its schema is that of requests, ``BlockAsPieces``: what is written here is read there.

    Raises:
        NoSuchBlock: the catalogue has none with this id or name.
    """
    block = _block(name)
    left, top, right, bottom = extent(block.pieces)
    sections = block.sections
    return _without_none(
        name=block.name,
        unit=unit,
        width=in_unit(right - left, unit),
        height=in_unit(bottom - top, unit),
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
