"""A block: its pieces, its fabrics, and the order of sewing that its author gave."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import shapely
from shapely import STRtree

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.vectors import TOLERANCE, distance
from piecewright.patchwork.lengths import Unit

Joins: TypeAlias = "str | tuple[Joins, Joins]"
"""A piece id, or two units that are sewn to each other."""

Grain: TypeAlias = Literal["auto", "free"] | float

MOST_PIECES = 2000
"""Of a block: far more than there are in any that is sewn."""

MOST_POINTS = 200
"""Of an outline or a line; a finer curve is drawn as path data."""

_SMALLEST, _LARGEST = 0.25, 400
"""Inches: the longer side of a finished block, from a doll's quilt to a whole one."""


@dataclass(frozen=True, slots=True)
class Fabric:
    """A cloth of the block; ``colour`` is ``#rrggbb``."""

    id: str
    name: str
    colour: str


@dataclass(frozen=True, slots=True)
class Piece:
    """A patch at finished size: its outline runs clockwise as seen, without allowance.

    Attributes:
        grain: degrees clockwise from +x as seen (0 <= grain < 180), ``"auto"`` to have it
            worked out, ``"free"`` for none.
    """

    id: str
    outline: Outline
    fabric: str | None = None
    grain: Grain = "auto"


@dataclass(frozen=True, slots=True)
class Section:
    """A foundation section: its piece ids in the order in which they are sewn."""

    id: str
    order: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BlockUnit:
    """A block within a block, or a whole one that is made of blocks: a unit that is sewn whole.

    Attributes:
        name: ``b1``, ``b2``, … in reading order; within another unit after that one's name and a
            dot; empty for the whole block.
        pieces: the ids of its pieces.
        design: units of the same number are the same block, turned or flipped over: their pieces
            are those of each other, in this order.
        joins: its order of sewing, of its ``units`` if it has any and else of its pieces; None to
            have it worked out.
        sections: its foundation sections, if it brings any.
        units: the blocks that it is made of itself; none if it is made of pieces.
        pointer: to the cell of the request that it fills.
    """

    name: str
    pieces: tuple[str, ...]
    design: int
    joins: Joins | None = None
    sections: tuple[Section, ...] | None = None
    units: tuple[BlockUnit, ...] = ()
    pointer: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Block:
    """A block as read: geometry in inches, at drawn or at finished size.

    Attributes:
        unit: the unit in which its author works and is answered.
        joins: the order of sewing as given, or None to have it worked out.
        built: how it is made of blocks that are sewn whole; None for one that is not.
    """

    name: str
    unit: Unit
    pieces: tuple[Piece, ...]
    fabrics: tuple[Fabric, ...] = ()
    joins: Joins | None = None
    sections: tuple[Section, ...] | None = None
    built: BlockUnit | None = None


def innermost(unit: BlockUnit) -> Iterator[BlockUnit]:
    """The blocks within a unit that are made of pieces, in order; itself if it is."""
    if not unit.units:
        yield unit
    for inner in unit.units:
        yield from innermost(inner)


def extent(pieces: Sequence[Piece]) -> tuple[float, float, float, float]:
    """``(left, top, right, bottom)`` of the pieces' outlines, inches."""
    points = [p for piece in pieces for p in paths.ring(piece.outline)]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def finished(
    block: Block,
    width: float | None = None,
    height: float | None = None,
    scale: float | None = None,
    pointer: str = "/finish",
) -> Block:
    """The block at its finished size.

    One of ``width`` and ``height`` (inches) keeps the proportions; both stretch the
    block to that size; ``scale`` multiplies the drawn size.

    Raises:
        BlockError: nothing or too much is given, the size is not between 1/4 in and
            400 in, or so small that points of the block become one.
    """
    if (scale is None) == (width is None and height is None):
        message = "give width, height or both; or scale alone"
        raise BlockError([Fault(pointer, "finish", message)])
    left, top, right, bottom = extent(block.pieces)
    across = width / (right - left) if width is not None else None
    down = height / (bottom - top) if height is not None else None
    across, down = across or scale or down, down or scale or across
    if across is None or down is None or not (across > 0 and down > 0):
        raise BlockError([Fault(pointer, "finish", "a finished size must be more than zero")])
    longest = max((right - left) * across, (bottom - top) * down)
    if not (math.isfinite(longest) and _SMALLEST <= longest <= _LARGEST):
        message = "a finished block must be between 1/4 in and 400 in on its longer side"
        raise BlockError([Fault(pointer, "finish", message)])
    # Allowances and labels are no part of a block, and so never stretched.
    pieces = tuple(_stretched(piece, across, down) for piece in block.pieces)
    if min(across, down) < 1:
        _refuse_too_small(block.pieces, across, down, pointer)
    return replace(block, pieces=pieces)


def _refuse_too_small(pieces: Sequence[Piece], across: float, down: float, pointer: str) -> None:
    """Refuse a scale at which points of a block come so near to each other that they count as one.

    Raises:
        BlockError: two do.
    """
    drawn = sorted({s.start for piece in pieces for s in piece.outline})
    dots = shapely.points([(x * across, y * down) for x, y in drawn])
    found, near = STRtree(dots).query(dots, predicate="dwithin", distance=TOLERANCE)
    for one, other in zip(found.tolist(), near.tolist(), strict=True):
        # The points of a finely drawn curve may have been as near as that from the first.
        if one < other and distance(drawn[one], drawn[other]) > TOLERANCE:
            message = (
                f"at this size two points of the block lie within {TOLERANCE} in of each other "
                "here and cannot be told apart; make it larger, or leave one of them out"
            )
            raise BlockError([Fault(pointer, "too-fine", message, drawn[one])])


def _stretched(piece: Piece, across: float, down: float) -> Piece:
    """A piece with x times ``across`` and y times ``down``, its grain turned with it."""
    grain = piece.grain
    if not isinstance(grain, str):
        turned = math.atan2(
            math.sin(math.radians(grain)) * down, math.cos(math.radians(grain)) * across
        )
        grain = math.degrees(turned) % 180.0
    outline = tuple(paths.stretched(s, across, down) for s in piece.outline)
    return replace(piece, outline=outline, grain=grain)
