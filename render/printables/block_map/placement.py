"""Label placement on a block map: which sign lies where, in rounds, until all have their place.

It is greedy: a sign takes the best place that is free. What fails in one round stands outside in
the next, where it no longer takes room from others. Dots at meetings and bars at stops come first,
then what seams say, those with the shortest edges before others, then the ids of pieces.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.geometry.vectors import Point, minus, normalised, plus
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing.labels import parts_on_sheets
from piecewright.render.drawing.marks import Box
from piecewright.render.printables.block_map.boundary_labels import label_outside
from piecewright.render.printables.block_map.names import MANY, VERY_MANY, PieceNames
from piecewright.render.printables.block_map.occupied import (
    Claim,
    ClaimIndex,
    ClaimsAndJoins,
    OccupiedArea,
    PlacedSign,
)
from piecewright.render.printables.block_map.seam_signs import NEAR, SeamSigns
from piecewright.render.printables.block_map.signs import (
    MEETING,
    STOP,
    meeting_mark,
    seam_from_stop,
    stop_bar,
)

_MOST_ROUNDS: Final = 6
"""Nearly all traditional blocks need one, at 6 in and at 12 in alike; what needs more than these is
crowded whatever is done."""

_MOST_OUTSIDE: Final = 80
"""Labels outside the block; among more leaders than these nobody finds the one looked for.

Of a block of many pieces only what is at most ``_SHORT`` inches inside it stands outside, as a long
leader takes the room of many; of one of very many nothing does, as that names too few to be of use.
"""

_SHORT: Final = 0.5

_TRIM: Final = 0.02
"""Inches that signs keep off a line along a join of sheets."""
_SHORT_BAR: Final = 0.045
_STOP_AWAY: Final = 0.1
"""Inches; half the length of the bar where a seam stops at a match point, and how far from there it
stands: where seams come in at 60 degrees to each other the bars of all of them keep apart."""

_Feature: TypeAlias = tuple[bool, int]
"""What a sign belongs to: a part of a seam (true) or a piece, by its number."""


@dataclass(frozen=True, slots=True)
class LabelPlacement:
    """All signs that are placed on a map, and how much found no room.

    Attributes:
        placed: the signs.
        names: how many names of pieces are left out.
        steps: how many steps there are whose number is left out somewhere.
    """

    placed: tuple[PlacedSign, ...]
    names: int
    steps: int


def label_placement(
    plan: SewingPlan, shapes: Sequence[Polygon], windows: Sequence[Polygon]
) -> LabelPlacement:
    """Which sign lies where on the map of a block whose pieces have these shapes.

    Args:
        windows: what of the map each sheet shows, where it goes over several. Signs keep off the
            joins, unless they have no place else; an id stands on each sheet that shows enough of
            its piece.
    """
    return _Rounds(plan, shapes, windows).placement()


class _Rounds:
    """Places all signs of one map."""

    def __init__(
        self, plan: SewingPlan, shapes: Sequence[Polygon], windows: Sequence[Polygon]
    ) -> None:
        self._plan, self._shapes, self._windows = plan, shapes, windows
        self._joins = _joins(windows)
        self._seams = SeamSigns(plan)
        self._names = PieceNames(plan.block.pieces, shapes)
        self._many, self._very_many = len(shapes) > MANY, len(shapes) > VERY_MANY
        self._around = Box.of_bounds(*extent(plan.block.pieces))
        self._features: list[_Feature] = [
            *((True, run) for run in self._seams.by_room()),
            *((False, piece) for piece in range(len(shapes))),
        ]

    def placement(self) -> LabelPlacement:
        """All marks. What finds no room in one round stands outside from the next one on.

        What stands outside is placed before all else and in the order in which it failed, so
        each round goes on from what was occupied before the last one placed anything inside.
        Once there are as many outside as help, the rest is left out.
        """
        outer: set[_Feature] = set()
        lost: set[_Feature] = set()
        occupied = OccupiedArea()
        for one in (*self._meetings(), *self._stops(), *self._match_stops()):
            occupied.add(one)
        failed: list[_Feature] = []
        for _ in range(_MOST_ROUNDS):
            # What is far inside needs a leader that takes the room of many: that is left out.
            chosen = self._nearest(failed, _MOST_OUTSIDE - len(outer))
            outer.update(chosen)
            lost.update(set(failed).difference(chosen))
            lost.update(
                [feature for feature in chosen if not self._place_outside(feature, occupied)]
            )
            failed_before, placed, failed = failed, occupied.copy(), []
            named: dict[int, PlacedSign] = {}
            # The last round is that after which another one has no use or takes too long. In it
            # seams whose number is left out still show the side that they are pressed to.
            crowded = self._very_many or (self._many and bool(failed_before))
            full = crowded or len(outer) >= _MOST_OUTSIDE
            for feature in self._features:
                if feature in outer:
                    continue
                left_out = feature in lost
                found = None if left_out else self._place_inside(feature, placed.taken)
                if found is None:
                    failed.append(feature)
                    found = self._bare_arrow(feature, placed.taken) if full else None
                if found is not None:
                    placed.add(found)
                    if not feature[0]:
                        named[feature[1]] = found
            if full or not failed:
                break
        lost.update(failed)
        self._name_parts(named, placed)
        return LabelPlacement(
            tuple(placed.placed),
            sum(not is_step for is_step, _ in lost),
            len({self._seams.runs[number].step for is_step, number in lost if is_step}),
        )

    def _nearest(self, features: list[_Feature], most: int) -> list[_Feature]:
        """Those closest to the outside of the block, at most so many, in the given order."""
        if len(features) <= most and not self._many:
            return features
        box = self._around

        def depth(feature: _Feature) -> float:
            x, y = self._middle(feature)
            return round(min(x - box.x, box.right - x, y - box.y, box.bottom - y), 6)

        close = [feature for feature in features if not self._many or depth(feature) <= _SHORT]
        chosen = set(sorted(close, key=depth)[:most])
        return [feature for feature in features if feature in chosen]

    def _middle(self, feature: _Feature) -> Point:
        is_step, number = feature
        return self._seams.middle(number) if is_step else self._names.inside(number)

    def _name_parts(self, named: Mapping[int, PlacedSign], placed: OccupiedArea) -> None:
        """Ids once more, on each further sheet that shows enough of their pieces."""
        if not self._windows:
            return
        for piece, sign in named.items():
            for part in parts_on_sheets(self._shapes[piece], self._windows):
                if any(part.intersects(claim.shape) for claim in sign.claims):
                    continue
                again = self._names.name_in(piece, part, placed.taken)
                if again is not None:
                    placed.add(again)

    def _place_inside(self, feature: _Feature, taken: ClaimIndex) -> PlacedSign | None:
        """Off the joins of sheets if that can be."""
        if self._windows:
            found = self._place_among(feature, ClaimsAndJoins(taken, self._joins))
            if found is not None:
                return found
        return self._place_among(feature, taken)

    def _place_among(self, feature: _Feature, taken: ClaimIndex) -> PlacedSign | None:
        is_step, number = feature
        if is_step:
            return self._seams.numbered_arrow(number, taken)
        return self._names.name(number, taken)

    def _bare_arrow(self, feature: _Feature, taken: ClaimIndex) -> PlacedSign | None:
        """The arrow of a seam whose number is left out, if there is room for that."""
        is_step, number = feature
        return self._seams.bare_arrow(number, taken) if is_step else None

    def _place_outside(self, feature: _Feature, occupied: OccupiedArea) -> bool:
        """Whether there was room for what is said; the arrow of a seam stands in any case."""
        is_step, number = feature
        if is_step:
            message = str(self._seams.runs[number].step + 1)
            arrow, anchor = self._seams.arrow(number, occupied.taken)
            occupied.add(arrow)
        else:
            message, anchor = self._names.lettering(number), self._names.inside(number)
        label = label_outside(message, is_step, anchor, self._around, occupied)
        if label is not None:
            occupied.add(label)
        return label is not None

    def _meetings(self) -> Iterator[PlacedSign]:
        meetings = self._plan.pressing.meetings
        points = np.array([self._plan.seams.points[meeting.at] for meeting in meetings])
        rooms = np.asarray(shapely.buffer(shapely.points(points.reshape(-1, 2)), MEETING + NEAR))
        for meeting, room in zip(meetings, rooms, strict=True):
            mark = meeting_mark(self._plan.seams.points[meeting.at], meeting.nests)
            yield PlacedSign(tuple(mark), (Claim(room),))

    def _stops(self) -> Iterator[PlacedSign]:
        """The bars at which the first parts of partial seams stop."""
        for step in self._plan.sewing.steps:
            if step.partial is not None:
                at, along = (
                    step.partial.stop,
                    normalised(minus(step.partial.stop, step.partial.start)),
                )
                across = (-along[1], along[0])
                room = shapely.LineString([plus(at, across, -STOP), plus(at, across, STOP)])
                yield PlacedSign(tuple(stop_bar(at, along)), (Claim(room.buffer(NEAR)),))

    def _match_stops(self) -> Iterator[PlacedSign]:
        """The bars at which seams stop, as later ones pivot at their ends."""
        plan = self._plan
        for step in plan.sewing.steps:
            for stop in step.stops:
                seam = plan.order.joins[step.join].seam
                point, along = seam_from_stop(plan.seams, seam, stop)
                at = plus(point, along, _STOP_AWAY)
                room = shapely.Point(at).buffer(_SHORT_BAR + NEAR)
                yield PlacedSign(tuple(stop_bar(at, along, _SHORT_BAR)), (Claim(room),))


def _joins(windows: Sequence[Polygon]) -> ClaimIndex:
    """The lines round what two sheets show: what crosses none is whole on the one or the other."""
    joins = ClaimIndex()
    for n, first in enumerate(windows):
        for second in windows[n + 1 :]:
            strip = first.intersection(second)
            # Sheets that meet at a corner alone share a small square, whose sides are in others.
            if isinstance(strip, Polygon) and not strip.is_empty:
                corners = strip.exterior.coords
                for side in itertools.pairwise(corners):
                    joins.add(Claim(LineString(side).buffer(_TRIM, cap_style="flat")))
    return joins
