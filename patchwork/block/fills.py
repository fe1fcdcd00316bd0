"""The fabrics of a drawing's pieces, from points that are put into them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import STRtree

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.faults import Fault
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point


@dataclass(frozen=True, slots=True)
class Fill:
    """A fabric, and a point of the piece that is cut from it.

    Attributes:
        pointer: to the fill in the request.
    """

    pointer: str
    at: Point
    fabric: str


@dataclass(frozen=True, slots=True)
class Filled:
    """Pieces with their fabrics, and what is to be said of the fills."""

    pieces: list[Piece]
    faults: list[Fault]
    cautions: list[Fault]


def filled(pieces: Sequence[Piece], fills: Sequence[Fill]) -> Filled:
    """The pieces with the fabrics that the fills give them.

    A fill that a line runs through goes to the largest piece at that line, with a caution: its
    author has drawn a line across a piece that had a fabric.
    """
    cloth: dict[int, str] = {}
    faults: list[Fault] = []
    shapes = [polygon_of(piece.outline) for piece in pieces]
    tree = STRtree(shapes)
    on_lines: list[tuple[Fill, list[int]]] = []
    for fill in fills:
        dot = shapely.Point(fill.at)
        inside = sorted(tree.query(dot, predicate="within").tolist())
        beside = sorted(tree.query(dot, predicate="dwithin", distance=TOLERANCE).tolist())
        # As everywhere, what lies within the tolerance of a line lies on it.
        if len(beside) > 1:
            on_lines.append((fill, beside))
        elif not inside:
            message = "this fill lies on the frame or outside it; put it inside a piece"
            faults.append(Fault(f"{fill.pointer}/at", "fill-outside", message, fill.at))
        elif cloth.setdefault(inside[0], fill.fabric) != fill.fabric:
            message = f"piece {pieces[inside[0]].id} is already filled with {cloth[inside[0]]!r}"
            faults.append(Fault(fill.pointer, "filled-twice", message, fill.at))
    cautions: list[Fault] = []
    # Pieces with a fill of their own keep it.
    for fill, beside in on_lines:
        free = [k for k in beside if k not in cloth]
        message = "this fill lies on a line between pieces that have a fabric; it is left out"
        if free:
            # Of halves that differ by a rounding alone the first is taken.
            largest = max(free, key=lambda k: (round(shapes[k].area, 6), -k))
            cloth[largest] = fill.fabric
            message = (
                f"this fill lies on a line; it is taken for {pieces[largest].id}, the largest "
                "piece there that has no fill of its own"
            )
        cautions.append(Fault(f"{fill.pointer}/at", "fill-on-line", message, fill.at))
    return Filled(
        [replace(piece, fabric=cloth.get(k)) for k, piece in enumerate(pieces)], faults, cautions
    )
