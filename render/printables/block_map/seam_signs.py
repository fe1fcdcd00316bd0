"""Arrows and step numbers on the seams of a block map.

A sign crosses its own seam and no other line, so it lies in the two pieces beside that seam. Where
these look the same, it lies the same way: such places are worked out once for each picture of a
part of a seam with the pieces beside it, seen from where that part starts.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point, Vector, plus
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing.labels import LEAST_SIZE
from piecewright.render.printables.block_map.occupied import (
    Claim,
    ClaimIndex,
    PlacedSign,
    form_of,
    grown,
)
from piecewright.render.printables.block_map.signs import (
    arrow,
    number_radius,
    pressed_way,
    step_number,
)

NEAR: Final = 0.02
"""Inches between two marks, and between a mark and a line."""

_SIZES: Final = ((0.17, 0.115), (0.14, 0.1), (0.115, 0.09), (0.09, LEAST_SIZE))
"""Half the length of an arrow, and the size of the number beside it."""

_ARROWS: Final = (0.09, 0.07, 0.05, 0.035)
"""Half the lengths of arrows without a number."""

_SHAFT: Final = 0.03
_SHAFT_TO_LINE: Final = 0.01
"""Inches; half the width that an arrow with a number takes, and how far that keeps off lines."""

_BARE_SHAFT: Final = 0.02
_BARE_SHAFT_TO_LINE: Final = 0.005
"""Inches; the same of an arrow without one, whose ends are round."""

_LEAST_SHAFT: Final = 0.01
"""Inches; half the width of an arrow for which there is no room."""

_TIE_TO_LINE: Final = 0.01
"""Inches; nothing lies so close to the way from an arrow to its number."""

_ALONG: Final = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88)
"""Where along an edge an arrow may lie: best in its middle, never at its ends, where seams meet."""

_MOST_EDGES: Final = 4
"""Edges of a part of a seam that are tried, the longest first; beside shorter ones there is
hardly more room."""

_ROUND: Final = 16
"""Sides of a quarter of a circle."""

_Shapes = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Run:
    """A part of a seam without a pivot, by its edges; step ``step`` counts from 0."""

    step: int
    edges: tuple[int, ...]


def runs(plan: SewingPlan) -> Iterator[Run]:
    """All seams in parts; a partial one goes on to the end of what it is finished with."""
    for step in range(len(plan.order.joins)):
        line = plan.order.pressed_line(step)
        own: list[int] = []
        for side in line.sides:
            if own and plan.seams.start(side) in line.pivots:
                yield Run(step, tuple(own))
                own = []
            own.append(side.edge)
        yield Run(step, tuple(own))


@dataclass(frozen=True, slots=True)
class _Place:
    """Where an arrow may lie, and the middle of its number, seen from the start of its edge."""

    at: Point
    way: Vector
    centres: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class _Places:
    """Such places along an edge, the best first, and what arrows there take up.

    Attributes:
        outlines: the corners of each arrow's shaft, or its ends if it has no number.
    """

    places: Sequence[_Place]
    outlines: NDArray[np.float64]

    def only(self, kept: Sequence[tuple[int, _Place]]) -> _Places:
        """Some of them, by their numbers here."""
        return _Places([place for _, place in kept], self.outlines[[n for n, _ in kept]])


class SeamSigns:
    """Places arrows and step numbers."""

    def __init__(self, plan: SewingPlan) -> None:
        self.runs = list(runs(plan))
        self._plan = plan
        self._edges = [
            LineString([*paths.flatten(e.segment), e.segment.end]) for e in plan.seams.edges
        ]
        self._forms = [form_of(edge) for edge in self._edges]
        lengths = [edge.length for edge in self._edges]
        self._lengths = lengths
        self._longest = [
            sorted(run.edges, key=lambda e: -lengths[e])[:_MOST_EDGES] for run in self.runs
        ]
        self._pictures: dict[int, Hashable] = {}
        self._stations: dict[Hashable, list[_Place]] = {}
        self._numbered: dict[Hashable, _Places] = {}
        self._bare: dict[Hashable, _Places] = {}

    def by_room(self) -> list[int]:
        """The parts of seams, those with the shortest edges first."""
        longest = [round(self._lengths[edges[0]], 3) for edges in self._longest]
        return sorted(range(len(self.runs)), key=lambda k: (longest[k], k))

    def middle(self, number: int) -> Point:
        """Of the longest edge of a part."""
        edge = self._longest[number][0]
        return _moved(self._stations_of(edge, self.runs[number].step)[0].at, self._forms[edge].at)

    def numbered_arrow(self, number: int, taken: ClaimIndex) -> PlacedSign | None:
        """An arrow with the step's number beside it, if there is room for both."""
        step = self.runs[number].step
        message = str(step + 1)
        # The largest sign that has room, wherever along the seam; then on its longest edge.
        for half, letters in _SIZES:
            radius = number_radius(message, letters)
            reach = half + 2 * radius + 5 * NEAR
            for edge in self._edges_of(number, 2 * radius):
                places = self._numbered_places(edge, step, half, radius)
                if not places.places:
                    continue
                others = _shapes(taken, self._edges[edge], reach)
                found = _free_place(places, self._forms[edge].at, others, radius)
                if found is None:
                    continue
                at, way, centre, shaft = found
                marks = [
                    *arrow(at, way, half, self._plan.pressing.directions[step]),
                    *step_number(message, centre, letters),
                ]
                disc = shapely.Point(centre).buffer(radius, quad_segs=_ROUND)
                return PlacedSign(tuple(marks), (Claim(shaft), Claim(disc)))
        return None

    def arrow(self, number: int, taken: ClaimIndex) -> tuple[PlacedSign, Point]:
        """An arrow alone, however small, and where a leader to it ends."""
        found = self._free_arrow(number, taken)
        if found is not None:
            return found
        step = self.runs[number].step
        half = _ARROWS[-1]
        # No room anywhere: the smallest arrow at the place that is tried last, over what is there.
        # A seam without an arrow would not say how it is pressed.
        *_, edge = self._edges_of(number, 0.0)
        last = self._stations_of(edge, step)[-1]
        return self._bare_arrow(
            step, _moved(last.at, self._forms[edge].at), last.way, half, _LEAST_SHAFT
        )

    def bare_arrow(self, number: int, taken: ClaimIndex) -> PlacedSign | None:
        """An arrow alone, if there is room for it."""
        found = self._free_arrow(number, taken)
        return None if found is None else found[0]

    def _free_arrow(self, number: int, taken: ClaimIndex) -> tuple[PlacedSign, Point] | None:
        step = self.runs[number].step
        for half in _ARROWS:
            for edge in self._edges_of(number, 0.0):
                places = self._bare_places(edge, step, half)
                if not places.places:
                    continue
                origin = self._forms[edge].at
                others = _shapes(taken, self._edges[edge], half + _BARE_SHAFT)
                close = _close(shapely.linestrings(places.outlines + origin), others, _BARE_SHAFT)
                for place, wrong in zip(places.places, close.tolist(), strict=True):
                    if not wrong:
                        at = _moved(place.at, origin)
                        return self._bare_arrow(step, at, place.way, half, _BARE_SHAFT)
        return None

    def _bare_arrow(
        self, step: int, at: Point, way: Vector, half: float, width: float
    ) -> tuple[PlacedSign, Point]:
        marks = arrow(at, way, half, self._plan.pressing.directions[step])
        shaft = LineString(_ends(at, way, half)).buffer(width)
        return PlacedSign(tuple(marks), (Claim(shaft),)), at

    # --- what keeps off the lines ---

    def _edges_of(self, number: int, least: float) -> Iterator[int]:
        """The longest edges of a part: the longest one, and others of a least length."""
        for n, edge in enumerate(self._longest[number]):
            if n and self._lengths[edge] < least:
                return
            yield edge

    def _numbered_places(self, edge: int, step: int, half: float, radius: float) -> _Places:
        """Where an arrow and its number keep off all lines but the arrow's own edge."""
        key = (self._picture(edge, step), half, round(radius, 9))
        if key not in self._numbered:
            stations = _Places(self._stations_of(edge, step), self._shafts_at(edge, step, half))
            kept = self._off_lines(edge, stations, half, radius)
            self._numbered[key] = stations.only(list(kept))
        return self._numbered[key]

    def _shafts_at(self, edge: int, step: int, half: float) -> NDArray[np.float64]:
        """The corners of arrows' shafts at all stations of an edge, seen from its start."""
        stations = self._stations_of(edge, step)
        along = np.array([place.way for place in stations])
        across = np.column_stack([-along[:, 1], along[:, 0]]) * _SHAFT
        middles = np.array([place.at for place in stations])
        tails, tips = middles - half * along, middles + half * along
        return np.stack([tails + across, tips + across, tips - across, tails - across], axis=1)

    def _off_lines(
        self, edge: int, stations: _Places, half: float, radius: float
    ) -> Iterator[tuple[int, _Place]]:
        origin, lines = self._forms[edge].at, self._lines_beside(edge)
        own = np.array([self._edges[edge]], dtype=object)
        close = _close(shapely.polygons(stations.outlines + origin), lines, _SHAFT_TO_LINE)
        for n, place in enumerate(stations.places):
            if close[n]:
                continue
            # All places for the number at once, as calls of shapely one by one take far longer.
            centres = np.array(_beside_arrow(place.at, place.way, half, radius))
            discs = shapely.points(centres + origin)
            # With a line between them the number would seem to be another seam's.
            ties = shapely.linestrings([(place.at, c) for c in centres] + np.array(origin))
            wrong = _close(discs, lines, radius + NEAR) | _close(discs, own, radius + NEAR)
            wrong |= _close(ties, lines, _TIE_TO_LINE)
            if not wrong.all():
                kept = tuple((x, y) for x, y in centres[~wrong].tolist())
                yield n, _Place(place.at, place.way, kept)

    def _bare_places(self, edge: int, step: int, half: float) -> _Places:
        """Where an arrow alone keeps off all lines but its own edge."""
        key = (self._picture(edge, step), half)
        if key not in self._bare:
            found = self._stations_of(edge, step)
            stations = _Places(found, np.array([_ends(p.at, p.way, half) for p in found]))
            shafts = shapely.linestrings(stations.outlines + self._forms[edge].at)
            room = _BARE_SHAFT + _BARE_SHAFT_TO_LINE
            close = _close(shafts, self._lines_beside(edge), room)
            self._bare[key] = stations.only([(n, p) for n, p in enumerate(found) if not close[n]])
        return self._bare[key]

    def _stations_of(self, edge: int, step: int) -> list[_Place]:
        """Places along an edge, with the way toward the pressed side."""
        key = self._picture(edge, step)
        if key not in self._stations:
            plan, (x, y) = self._plan, self._forms[edge].at
            press = plan.pressing.directions[step]
            found = (pressed_way(plan.seams, plan.order, edge, t, press) for t in _ALONG)
            self._stations[key] = [_Place((at[0] - x, at[1] - y), way) for at, way in found]
        return self._stations[key]

    def _picture(self, edge: int, step: int) -> Hashable:
        """The same for edges beside which all lines look the same, pressed to the same side."""
        if edge not in self._pictures:
            plan, form = self._plan, self._forms[edge]
            first_is_right = plan.order.on_first[edge] == plan.seams.edges[edge].right
            self._pictures[edge] = (
                form.points,
                (plan.pressing.directions[step] != "second") == first_is_right,
                tuple(self._forms[other].seen_from(form.at) for other in self._beside(edge)),
            )
        return self._pictures[edge]

    def _beside(self, edge: int) -> list[int]:
        """The other edges of the pieces on both sides of an edge."""
        e, sides = self._plan.seams.edges[edge], self._plan.seams.sides
        around = [*sides[e.right], *(sides[e.left] if e.left is not None else ())]
        return [side.edge for side in around if side.edge != edge]

    def _lines_beside(self, edge: int) -> _Shapes:
        return np.array([self._edges[other] for other in self._beside(edge)], dtype=object)


def _moved(p: Point, by: Point) -> Point:
    return (p[0] + by[0], p[1] + by[1])


def _ends(at: Point, way: Vector, half: float) -> tuple[Point, Point]:
    return plus(at, way, -half), plus(at, way, half)


def _beside_arrow(at: Point, way: Vector, half: float, radius: float) -> list[Point]:
    """Middles of a number's circle beside an arrow, the best first: behind it, then at its ends."""
    across, tail = (-way[1], way[0]), plus(at, way, -half)
    left, right = plus(at, across, radius + 0.045), plus(at, across, -radius - 0.045)
    return [
        plus(tail, way, -radius - 0.012),
        plus(left, way, -radius - 0.035),
        plus(right, way, -radius - 0.035),
        plus(left, way, radius + 0.035),
        plus(right, way, radius + 0.035),
    ]


def _shapes(taken: ClaimIndex, edge: LineString, reach: float) -> _Shapes:
    """What is taken within reach of an edge."""
    return np.array([claim.shape for claim in taken.near(grown(edge.bounds, reach))], dtype=object)


def _close(shapes: BaseGeometry | _Shapes, others: _Shapes, room: float) -> NDArray[np.bool_]:
    """Which shapes have another one within ``room``."""
    own = np.asarray(shapes, dtype=object).reshape(-1, 1)
    return np.asarray(np.any(shapely.dwithin(own, others, room), axis=1), dtype=np.bool_)


def _free_place(
    places: _Places, origin: Point, others: _Shapes, radius: float
) -> tuple[Point, Vector, Point, shapely.Polygon] | None:
    """The first place where an arrow and its number keep off all that is taken."""
    shafts = np.asarray(shapely.polygons(places.outlines + origin))
    close = _close(shafts, others, 2 * NEAR)
    for n, place in enumerate(places.places):
        if close[n]:
            continue
        at = _moved(place.at, origin)
        centres = [_moved(centre, origin) for centre in place.centres]
        wrong = _close(shapely.points(centres), others, radius + 2 * NEAR)
        for centre in (c for c, bad in zip(centres, wrong.tolist(), strict=True) if not bad):
            if not _close(LineString([at, centre]), others, 0.0)[0]:
                return at, place.way, centre, shafts[n]
    return None
