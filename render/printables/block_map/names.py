"""Ids of pieces inside them on a block map, clear of their lines and of what else lies there.

Where a piece of the same form has the same things around it, an id of the same width lies the same
way; so blocks of many like pieces take little longer than one of each.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import (
    CLEAR,
    SIZES,
    Room,
    TextBlock,
    rectangle_of,
    text_block,
    turns,
)
from piecewright.render.printables.block_map.occupied import (
    Claim,
    ClaimIndex,
    Form,
    PlacedSign,
    form_of,
    grown,
    kept_clear,
)

MANY: Final = 150
"""Pieces; in a block of more the ids keep off signs that are drawn coarser."""

VERY_MANY: Final = 600
"""Pieces; in a block of more the ids are looked for with one gap to the signs, in small sizes."""

_LONGEST: Final = 20
"""Letters of about average width that an id may have before it is cut short."""

_MOST_PARTS: Final = 4
"""Parts of what is left of a piece between its signs that are looked at, the largest first."""

_FIRST: Final = ((2 * CLEAR, SIZES[:4]), (CLEAR / 2, SIZES))
_FIRST_OF_VERY_MANY: Final = ((CLEAR / 2, SIZES[2:]),)
"""Gaps to the signs, and sizes of letters; what is tried one after the other."""

_Position: TypeAlias = tuple[Point, float, float]
"""The middle of an id, seen from where its piece starts, its turn and the size of its letters."""

_Picture: TypeAlias = tuple[bytes, float, frozenset[tuple[bytes, int, int]]]
"""A piece, the width of its id, and what lies about it, all seen from where the piece starts."""


class PieceNames:
    """Places the ids of pieces."""

    def __init__(self, pieces: Sequence[Piece], shapes: Sequence[Polygon]) -> None:
        self._shapes = shapes
        self._inner: NDArray[np.object_] = shapely.buffer(
            np.array(shapes, dtype=object), -CLEAR, join_style="mitre"
        )
        self._texts = [fonts.shortened(piece.id, 1.0, _LONGEST * 0.55) for piece in pieces]
        self._tried = _FIRST_OF_VERY_MANY if len(shapes) > VERY_MANY else _FIRST
        self._reach = max(gap for gap, _ in self._tried)
        self._forms: dict[int, Form] = {}
        self._placed: dict[_Picture, _Position | None] = {}
        self._clear: dict[tuple[Claim, float], BaseGeometry] = {}

    def lettering(self, piece: int) -> str:
        """The id as it is written."""
        return self._texts[piece]

    def inside(self, piece: int) -> Point:
        """A point of the piece to which a leader may run."""
        inner = self._shapes[piece].representative_point()
        return (inner.x, inner.y)

    def name(self, piece: int, taken: ClaimIndex) -> PlacedSign | None:
        """The id in its piece, if there is room for it."""
        inner = self._inner[piece]
        if inner.is_empty:
            return None
        near = taken.near(grown(inner.bounds, self._reach))
        others = _within(near, inner, self._reach)
        # A piece of the same form with the same around it has its id at the same place.
        origin, picture = self._picture(piece, others)
        if picture not in self._placed:
            found = self._look(piece, inner, others)
            if found is not None:
                at, turn, letters = found
                found = (at[0] - origin[0], at[1] - origin[1]), turn, letters
            self._placed[picture] = found
        known = self._placed[picture]
        if known is None:
            return None
        at, turn, letters = known
        return self._sign(piece, (at[0] + origin[0], at[1] + origin[1]), turn, letters)

    def name_in(self, piece: int, part: Polygon, taken: ClaimIndex) -> PlacedSign | None:
        """The id once more, in a part of its piece, if there is room for it."""
        inner = part.buffer(-CLEAR, join_style="mitre")
        if inner.is_empty:
            return None
        near = taken.near(grown(inner.bounds, self._reach))
        found = self._look(piece, inner, _within(near, inner, self._reach))
        return None if found is None else self._sign(piece, *found)

    def _sign(self, piece: int, at: Point, turn: float, letters: float) -> PlacedSign:
        block = text_block([(self._texts[piece], letters, False)])
        return PlacedSign(tuple(block.placed(at, turn)), (Claim(rectangle_of(block, at, turn)),))

    def _picture(self, piece: int, others: Sequence[Claim]) -> tuple[Point, _Picture]:
        if piece not in self._forms:
            self._forms[piece] = form_of(self._shapes[piece])
        form = self._forms[piece]
        width = round(fonts.text_width(self._texts[piece], 1.0), 9)
        about = frozenset(claim.form.seen_from(form.at) for claim in others)
        return form.at, (form.points, width, about)

    def _look(self, piece: int, inner: BaseGeometry, others: Sequence[Claim]) -> _Position | None:
        """The largest place among others: with the wider gap first, then in the larger part."""
        slants = turns(self._shapes[piece])
        for gap, sizes in self._tried:
            left = inner
            close = self._clear_of(_within(others, left, gap), gap)
            # What is left of the piece once all that is near is cut out of it, with the gap.
            if close:
                over = overlaid(shapely.union_all, close, on_block=False)
                left = overlaid(shapely.difference, left, over, on_block=False)
            parts = sorted(polygons(left), key=lambda p: -p.area)[:_MOST_PARTS]
            for found in _places([Room(part) for part in parts], self._texts[piece], sizes, slants):
                return found
        return None

    def _clear_of(self, claims: Sequence[Claim], gap: float) -> list[BaseGeometry]:
        """What an id keeps off, with a gap between."""
        fresh = [claim for claim in claims if (claim, gap) not in self._clear]
        found = kept_clear(fresh, gap, coarse=len(self._shapes) > MANY)
        self._clear.update(zip(((claim, gap) for claim in fresh), found, strict=True))
        return [self._clear[claim, gap] for claim in claims]


def _within(claims: Sequence[Claim], shape: BaseGeometry, room: float) -> list[Claim]:
    """The claims within ``room`` of a shape."""
    if not claims:
        return []
    close = shapely.dwithin(shape, [claim.shape for claim in claims], room)
    return [claim for claim, good in zip(claims, close.tolist(), strict=True) if good]


def _places(
    rooms: Sequence[Room], message: str, sizes: Sequence[float], slants: Sequence[float]
) -> Iterator[_Position]:
    """Places for a text, the largest letters first; of a size those in the first room first."""
    blocks = [text_block([(message, letters, False)]) for letters in sizes]
    wide_enough = [not room.too_thin(blocks[-1]) for room in rooms]
    largest: dict[tuple[int, float], int] = {}
    for k, (letters, block) in enumerate(zip(sizes, blocks, strict=True)):
        for n, room in enumerate(rooms):
            # Rooms come the largest first: those after this one are too small too.
            if room.shape.area < block.width * block.height:
                break
            for turn in slants if wide_enough[n] else ():
                # Once for each room and turn, by halving, which of the blocks is the first to fit.
                if (n, turn) not in largest:
                    largest[n, turn] = _largest(room, blocks, turn, k)
                if k < largest[n, turn]:
                    continue
                for at in room.places(block, turn):
                    yield at, turn, letters


def _largest(room: Room, blocks: Sequence[TextBlock], turn: float, first: int) -> int:
    """The first block from ``first`` on for which a room may have a place; their number if none.

    Blocks become smaller, and what holds one holds those after it.
    """
    if room.may_hold(blocks[first], turn):
        return first
    if not room.may_hold(blocks[-1], turn):
        return len(blocks)
    return bisect_left(blocks, True, first + 1, key=lambda block: room.may_hold(block, turn))
