"""The pieces of a block as they were read, for those who show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.block.surroundings import label_point, neighbours
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.vectors import Point
from piecewright.service.responses import fields
from piecewright.service.responses.fields import CURVES, AnswerSchema


@dataclass(frozen=True, slots=True)
class ShownPiece:
    """A piece, and what is seen about it; ``neighbours`` is None where they are not known."""

    piece: Piece
    inside: Point
    neighbours: list[str] | None


class CheckedPiece(AnswerSchema):
    """A piece as it was read."""

    id = fields.Text("As given; p1, p2, … for a drawing; b1, b2.p1, … in a grid.", of="piece.id")
    fabric = fields.Text("The id of its fabric, or null.", nullable=True, of="piece.fabric")
    finished = fields.Ring(
        f"Without allowance, in block coordinates at finished size. {CURVES}", of="piece.outline"
    )
    area = fields.Area(
        "Finished, in square units.", of=lambda shown: paths.area(shown.piece.outline)
    )
    inside = fields.Place("A point well inside, where a name may stand or a finger be put.")
    neighbours = fields.ListOf(
        fields.Text(),
        "The ids of the pieces with which it shares an edge, clockwise round it; left out where "
        "the block has faults.",
        optional=True,
    )


def shown_pieces(pieces: Sequence[Piece], sound: bool = True) -> list[ShownPiece]:
    """Pieces with what is seen about them.

    Args:
        sound: whether they make up a block without faults.
    """
    beside: list[list[str]] | list[None] = [None] * len(pieces)
    if sound:
        seams = planar_map([piece.outline for piece in pieces])
        beside = [[pieces[k].id for k in others] for others in neighbours(seams)]
    return [
        ShownPiece(piece, label_point(polygon_of(piece.outline)), others)
        for piece, others in zip(pieces, beside, strict=True)
    ]
