"""What lies where on a block map: rounds of placing, until all that is said has its place.

Dots at meetings come first, then what seams say, those with the shortest edges before others, then
the ids of pieces.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing.marks import Box
from piecewright.render.printables.block_map.ground import Claim, Ground, Put, Taken
from piecewright.render.printables.block_map.names import MANY, VERY_MANY, PieceNames
from piecewright.render.printables.block_map.outside import label_outside
from piecewright.render.printables.block_map.seams import NEAR, SeamSigns
from piecewright.render.printables.block_map.signs import MEETING, meeting_mark

_MOST_ROUNDS: Final = 6

_MOST_OUTSIDE: Final = 80
"""Labels outside the block; among more leaders than these nobody finds the one looked for.

Of a block of many pieces only what is at most ``_SHORT`` inches inside it stands outside, as a long
leader takes the room of many; of one of very many nothing does, as that names too few to be of use.
"""

_SHORT: Final = 0.5

_Sign: TypeAlias = tuple[bool, int]
"""A part of a seam (true) or a piece, by its number."""


@dataclass(frozen=True, slots=True)
class Placing:
    """All that is placed on a map, and how much found no room.

    Attributes:
        names: of pieces, left out.
        steps: whose number is left out somewhere.
    """

    put: tuple[Put, ...]
    names: int
    steps: int


def placing(plan: SewingPlan, shapes: Sequence[Polygon]) -> Placing:
    """What lies where on the map of a block whose pieces have these shapes."""
    return _Rounds(plan, shapes).placing()


class _Rounds:
    def __init__(self, plan: SewingPlan, shapes: Sequence[Polygon]) -> None:
        self._plan = plan
        self._seams = SeamSigns(plan)
        self._names = PieceNames(plan.block.pieces, shapes)
        self._many, self._very_many = len(shapes) > MANY, len(shapes) > VERY_MANY
        left, top, right, bottom = extent(plan.block.pieces)
        self._around = Box(left, top, right - left, bottom - top)
        self._signs: list[_Sign] = [
            *((True, run) for run in self._seams.by_room()),
            *((False, piece) for piece in range(len(shapes))),
        ]

    def placing(self) -> Placing:
        """All marks.  What finds no room in one round stands outside from the next one on.

        What stands outside is placed before all else and in the order in which it failed, so
        a round goes on from the last one's ground.  Once there are as many outside as help, the
        rest is left out.
        """
        outer: set[_Sign] = set()
        lost: set[_Sign] = set()
        ground = Ground()
        for one in self._meetings():
            ground.keep(one)
        failed: list[_Sign] = []
        for _ in range(_MOST_ROUNDS):
            chosen = self._nearest(failed, _MOST_OUTSIDE - len(outer))
            outer.update(chosen)
            lost.update(set(failed).difference(chosen))
            lost.update([sign for sign in chosen if not self._place_outside(sign, ground)])
            failed_before, placed, failed = failed, ground.copy(), []
            crowded = self._very_many or (self._many and bool(failed_before))
            full = crowded or len(outer) >= _MOST_OUTSIDE
            for sign in self._signs:
                if sign in outer:
                    continue
                given_up = sign in lost
                found = None if given_up else self._place_inside(sign, placed.taken)
                if found is None:
                    failed.append(sign)
                    found = self._bare_arrow(sign, placed.taken) if full else None
                if found is not None:
                    placed.keep(found)
            if full or not failed:
                break
        lost.update(failed)
        return Placing(
            tuple(placed.put),
            sum(not is_step for is_step, _ in lost),
            len({self._seams.runs[number].step for is_step, number in lost if is_step}),
        )

    def _nearest(self, signs: list[_Sign], most: int) -> list[_Sign]:
        """Those closest to the outside of the block, at most so many, in the given order."""
        if len(signs) <= most and not self._many:
            return signs
        box = self._around

        def depth(sign: _Sign) -> float:
            x, y = self._middle(sign)
            return round(min(x - box.x, box.right - x, y - box.y, box.bottom - y), 6)

        close = [sign for sign in signs if not self._many or depth(sign) <= _SHORT]
        chosen = set(sorted(close, key=depth)[:most])
        return [sign for sign in signs if sign in chosen]

    def _middle(self, sign: _Sign) -> Point:
        is_step, number = sign
        return self._seams.middle(number) if is_step else self._names.inside(number)

    def _place_inside(self, sign: _Sign, taken: Taken) -> Put | None:
        is_step, number = sign
        if is_step:
            return self._seams.numbered_arrow(number, taken)
        return self._names.name(number, taken)

    def _bare_arrow(self, sign: _Sign, taken: Taken) -> Put | None:
        """The arrow of a seam whose number is left out, if there is room for that."""
        is_step, number = sign
        return self._seams.bare_arrow(number, taken) if is_step else None

    def _place_outside(self, sign: _Sign, ground: Ground) -> bool:
        """Whether there was room for what is said; the arrow of a seam stands in any case."""
        is_step, number = sign
        if is_step:
            message = str(self._seams.runs[number].step + 1)
            arrow, anchor = self._seams.arrow(number, ground.taken)
            ground.keep(arrow)
        else:
            message, anchor = self._names.lettering(number), self._names.inside(number)
        label = label_outside(message, is_step, anchor, self._around, ground)
        if label is not None:
            ground.keep(label)
        return label is not None

    def _meetings(self) -> Iterator[Put]:
        meetings = self._plan.pressing.meetings
        points = np.array([self._plan.seams.points[meeting.at] for meeting in meetings])
        rooms = np.asarray(shapely.buffer(shapely.points(points.reshape(-1, 2)), MEETING + NEAR))
        for meeting, room in zip(meetings, rooms, strict=True):
            mark = meeting_mark(self._plan.seams.points[meeting.at], meeting.nests)
            yield Put(tuple(mark), (Claim(room),))
