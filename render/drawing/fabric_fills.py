"""Fabrics as pale fills with patterns that a black-and-white printer can tell apart.

A fill is plain geometry: a tint, and lines cut off at the piece's outline. Patterns run on from
piece to piece, do not scale, and leave room for what lies over them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.geometry import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.model import Block, Piece
from piecewright.patchwork.geometry.paths import Line, Outline
from piecewright.patchwork.geometry.polygons import lines, polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.sewing.shades import luminance
from piecewright.render.drawing.linekinds import PENS, POINTS_PER_INCH, LineKind
from piecewright.render.drawing.marks import Mark, Part, Stroke

NO_FABRIC: Final = "no fabric given"

_PALE: Final = 0.26
"""How much of a fabric's colour is left in its tint; the rest is white. Black text on the tint of
black, #bdbdbd, still has a contrast of 11 to 1."""

_SPACING: Final = 0.1
"""Inches from a line of a pattern to the next: a piece of half an inch shows several."""

_SHORTEST: Final = 0.012
"""Inches; shorter bits of a pattern's line are left out."""

_Rails = tuple[float, float, LineKind]
"""A pattern's lines: their angle, their spacing, and whether they are lines or rows of dots."""


def _patterns() -> Iterator[tuple[_Rails, ...]]:
    """Patterns from the lightest on: none, then simple ones, then the same closer and wider."""
    yield ()
    for space in (_SPACING, _SPACING * 0.55, _SPACING * 1.7):
        yield ((0.0, space * 0.9, "dots"),)
        yield ((135.0, space, "pattern"),)
        yield ((45.0, space, "pattern"), (135.0, space, "pattern"))
        yield ((0.0, space, "pattern"),)
        yield ((45.0, space, "pattern"),)
        yield ((90.0, space, "pattern"),)
        yield ((0.0, space, "pattern"), (90.0, space, "pattern"))
        yield ((60.0, space, "pattern"), (120.0, space, "pattern"))


_PATTERNS: Final = tuple(_patterns())


@dataclass(frozen=True, slots=True)
class FabricFill:
    """How a fabric is shown."""

    name: str
    tint: str
    rails: tuple[_Rails, ...]


def fabric_fills(block: Block) -> dict[str | None, FabricFill]:
    """How each fabric that the pieces of a block have is shown, in the order of the block's list.

    The lighter a fabric, the simpler its pattern; pieces without a fabric are left white.
    """
    used = {piece.fabric for piece in block.pieces}
    names = {f.id: f.name for f in block.fabrics}
    colours = {f.id: f.colour for f in block.fabrics}
    known = [f.id for f in block.fabrics if f.id in used]
    others = sorted(f for f in used if f is not None and f not in names)
    by_light = sorted(
        [*known, *others], key=lambda f: (-round(luminance(colours.get(f, "#cccccc")), 4), f)
    )
    # Blank is for pieces without a fabric, if there are any.
    first = 1 if None in used else 0
    found: dict[str | None, FabricFill] = {}
    for fabric in [*known, *others]:
        number = first + by_light.index(fabric)
        # After the last pattern they begin again with the first that is not blank.
        pattern = _PATTERNS[number if number < len(_PATTERNS) else 1 + number % 24]
        found[fabric] = FabricFill(
            names.get(fabric, fabric), _pale(colours.get(fabric, "#cccccc")), pattern
        )
    if None in used:
        found[None] = FabricFill(NO_FABRIC, "#ffffff", ())
    return found


def _pale(colour: str) -> str:
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(255 - _PALE * (255 - part)):02x}" for part in parts)


def piece_part(piece: Piece, fabric: str) -> Part:
    """A piece as a part of its drawing, within its fabric, whose name for people is ``fabric``."""
    of_fabric = Part("no-fabric" if piece.fabric is None else f"fabric-{piece.fabric}", fabric)
    return Part(f"piece-{piece.id}", f"{piece.id}, {fabric}", of_fabric)


def filled(
    fill: FabricFill,
    outline: Outline,
    kept_clear: Sequence[BaseGeometry] = (),
    plain: bool = False,
    part: Part | None = None,
) -> list[Mark]:
    """A piece filled with its fabric.

    Args:
        kept_clear: where no line of the pattern runs.
        plain: the tint alone.
        part: the piece as a part of the drawing, where that is to be told.
    """
    marks: list[Mark] = [
        Stroke("tint", outline, closed=True, filled=True, colour=fill.tint, part=part)
    ]
    if plain or not fill.rails:
        return marks
    room: BaseGeometry = polygon_of(outline)
    if kept_clear:
        clear = overlaid(shapely.union_all, list(kept_clear), on_block=False)
        room = overlaid(shapely.difference, room, clear, on_block=False)
    for angle, spacing, kind in fill.rails:
        marks += _lines(room, angle, spacing, kind, part)
    return marks


def _lines(
    room: BaseGeometry, angle: float, spacing: float, kind: LineKind, piece: Part | None
) -> Iterator[Mark]:
    """Parallel lines inside a room; they lie where they would lie in any room."""
    if room.is_empty:
        return
    along = (math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    across = (-along[1], along[0])
    left, top, right, bottom = room.bounds
    # Lines are counted from the origin of the drawing, not of the room, so that a pattern runs on
    # from piece to piece.
    ends = [(x, y) for x in (left, right) for y in (top, bottom)]
    starts = [x * across[0] + y * across[1] for x, y in ends]
    reach = [x * along[0] + y * along[1] for x, y in ends]
    low, high = min(reach) - 0.1, max(reach) + 0.1
    first, last = math.ceil(min(starts) / spacing), math.floor(max(starts) / spacing)
    if last < first:
        return
    dash = sum(PENS[kind].dash) / POINTS_PER_INCH
    numbers = list(range(first, last + 1))
    rails = [
        LineString(
            [
                (along[0] * t + across[0] * k * spacing, along[1] * t + across[1] * k * spacing)
                for t in (low, high)
            ]
        )
        for k in numbers
    ]
    # One call for all lines, as a call for each takes many times as long.
    shapely.prepare(room)
    inside = overlaid(shapely.intersection, rails, room, on_block=False)
    for k, cut in zip(numbers, inside, strict=True):
        for part in lines(cut) if not isinstance(cut, MultiLineString) else list(cut.geoms):
            if part.length < _SHORTEST:
                continue
            (x0, y0), (x1, y1) = part.coords[0], part.coords[-1]
            offset = 0.0
            if dash:
                # Dots too lie where they would in any room, those of every second row between.
                offset = (x0 * along[0] + y0 * along[1] + (k % 2) * dash / 2) % dash
            yield Stroke(kind, (Line((x0, y0), (x1, y1)),), offset=offset, part=piece)
