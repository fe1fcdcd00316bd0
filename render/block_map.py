"""The block map: the finished block with its fabrics, piece ids, steps, and how seams are pressed.

Nothing that is written lies over a line.  Step numbers and arrows keep to their seams, piece ids to
their pieces; where there is no room for one it stands outside, with a leader.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from patchwork import paths
from patchwork.block import extent
from patchwork.block_words import block_size
from patchwork.joins import Order
from patchwork.paths import Outline
from patchwork.points import Point, Vector, distance, plus
from patchwork.polygons import polygon_of, polygons
from patchwork.pressing import Press, Spans
from patchwork.seams import Seams, straightened
from patchwork.sewing_plan import SewingPlan
from render import fonts
from render.drawing import Box, Drawing, Mark, Stroke, Text, drawn, line, moved
from render.fabric_fills import Look, filled, looks
from render.furniture import Heading
from render.labels import CLEAR, SIZES, Room, rectangle_of, text_block, turns

EDGE: Final = 1.4
"""Points; the weight of the block's outside."""

_ONE_SHEET: Final = 7.9
"""Inches; a larger map goes over several sheets of the usual papers."""

_HEAD: Final = 0.075
_MEETING: Final = 0.045
_NEAR: Final = 0.02
"""Inches between two marks, and between a mark and a line."""

_MARK_SIZES: Final = ((0.17, 0.115), (0.14, 0.1), (0.115, 0.09), (0.09, 0.08))
"""Half the length of an arrow, and the size of the number beside it."""

_ARROWS: Final = (0.09, 0.07, 0.05, 0.035)
"""Half the lengths of arrows without a number."""

_ALONG: Final = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88)
_MOST_EDGES: Final = 4
_LONGEST_ID: Final = 20
_MOST_ROUNDS: Final = 6
_ROWS_TO_TRY: Final = 3
_MOST_ROWS: Final = 10
"""Of labels round the block; one for which there is no room in any is left out."""

_MOST_OUTSIDE: Final = 80
"""Labels outside the block; among more leaders than these nobody finds the one looked for."""

_OUTSIDE: Final = 0.09

_TIP: Final = 0.05
"""Inches at a leader's end in which it may run into the sign that it is for."""

_MANY: Final = 150
"""Pieces; in a block of more the labels keep off signs that are drawn coarser, and only what
is at most ``_SHORT`` inches inside the block stands outside: a long leader takes the room of many.
"""

_SHORT: Final = 0.5

_VERY_MANY: Final = 600
"""Pieces; of a block of more nothing stands outside, as that names too few to be of use."""

_COARSE: Final = 0.004
"""Inches by which a coarse outline may be off."""

_ROUND: Final = 16
"""Sides of a quarter of a circle."""

_CORNERS: Final = 8
"""Of a sign that are looked at to see what it hides."""


def heading(plan: SewingPlan) -> Heading:
    """What every sheet says about the map."""
    pressing = plan.pressing
    nest = f"{pressing.nested} of {len(pressing.meetings)} meetings nest"
    return Heading(
        block=plan.block.name,
        what="Block map, seen from the right side",
        size=f"Finished {block_size(plan.block)}",
        allowance="No seam allowance on this map",
        corners=nest if pressing.meetings else "",
    )


def block_map_drawings(plan: SewingPlan) -> tuple[Drawing, ...]:
    """The map, and what its fills and signs mean.

    The key has a drawing of its own where it may share the map's sheet; below a map that
    goes over several sheets it rather takes none of its own.
    """
    own = _Map(plan)
    placing = own.placed()
    found = own.drawing(placing.put)
    if max(found.box.width, found.box.height) <= _ONE_SHEET:
        return found, _key(plan, placing, _COLUMNS)
    key = _key(plan, placing, _COLUMNS_BELOW)
    dx, dy = found.box.x - key.box.x, found.box.bottom + _ABOVE_KEY - key.box.y
    marks = (*found.marks, *(moved(mark, dx, dy) for mark in key.marks))
    return (drawn(found.id, found.title, found.description, marks),)


# --- lines -----------------------------------------------------------------------------------


def outside(seams: Seams) -> list[Outline]:
    """The outline of the block, and of what is not part of it inside."""
    return rings(
        seams.segment(side)
        for sides in seams.sides
        for side in sides
        if seams.edges[side.edge].left is None
    )


def rings(segments: Iterable[paths.Segment]) -> list[Outline]:
    """Segments put together where one ends and another starts."""
    starting: dict[Point, list[paths.Segment]] = {}
    for segment in segments:
        starting.setdefault(segment.start, []).append(segment)
    found: list[Outline] = []
    while starting:
        first = next(iter(starting))
        at, own = first, []
        while at in starting:
            onward = starting[at]
            own.append(onward.pop())
            if not onward:
                del starting[at]
            at = own[-1].end
            if at == first:
                break
        found.append(straightened(tuple(own)))
    return found


def arrow(at: Point, way: Vector, half: float, press: Press) -> list[Mark]:
    """An arrow across a seam toward the side that it is pressed to; two heads for an open one."""
    head = min(_HEAD, half * 0.8)
    tail, tip = plus(at, way, -half), plus(at, way, half)
    marks: list[Mark] = []
    foot = tail
    if press == "open":
        marks.append(_arrow_head(tail, (-way[0], -way[1]), head))
        foot = plus(tail, way, head * 0.8)
    marks.append(line("press", foot, plus(tip, way, -head * 0.8)))
    marks.append(_arrow_head(tip, way, head))
    return marks


def _arrow_head(tip: Point, way: Vector, size: float) -> Stroke:
    base, across = plus(tip, way, -size), (-way[1], way[0])
    corners = [tip, plus(base, across, size * 0.42), plus(base, across, -size * 0.42)]
    return Stroke("press", paths.polygon(corners), closed=True, filled=True, weight=0.2)


def circle(at: Point, radius: float) -> Outline:
    left, right = (at[0] - radius, at[1]), (at[0] + radius, at[1])
    return (
        *paths.arc(left, radius, radius, 0, False, True, right),
        *paths.arc(right, radius, radius, 0, False, True, left),
    )


def meeting_mark(at: Point, nests: bool, radius: float = _MEETING) -> list[Mark]:
    """A filled dot where seams nest, an open one where they do not."""
    colour = None if nests else "#ffffff"
    return [Stroke("meeting", circle(at, radius), closed=True, filled=True, colour=colour)]


def _number(said: str, at: Point, letters: float) -> list[Mark]:
    """A step's number in its circle."""
    baseline = (at[0], at[1] + fonts.cap_height(letters, True) / 2)
    return [
        Stroke("leader", circle(at, _radius(said, letters)), closed=True),
        Text(said, baseline, letters, "middle", bold=True),
    ]


def _radius(said: str, letters: float) -> float:
    wide, high = fonts.text_width(said, letters, True), fonts.cap_height(letters, True)
    return math.hypot(wide, high) / 2 + 0.022


def pressed_way(
    seams: Seams, order: Order, spans: Spans, join: int, edge: int, t: float, press: Press
) -> tuple[Point, Vector]:
    """A point on an edge of a seam, and the direction square to it toward the pressed side."""
    e = seams.edges[edge]
    at, along = paths.point_at(e.segment, t), paths.tangent(e.segment, t)
    right = (-along[1], along[0])
    first_is_right = spans.holds(order.joins[join].first, e.right)
    if (press != "second") == first_is_right:
        return at, right
    return at, (-right[0], -right[1])


# --- placing ---------------------------------------------------------------------------------

_Bounds: TypeAlias = tuple[float, float, float, float]
"""Least x and y, and greatest."""


class _Taken:
    """What is already there, found by its place."""

    _CELL: Final = 0.6

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[tuple[_Bounds, BaseGeometry]]] = {}

    def copy(self) -> _Taken:
        own = _Taken()
        own._cells = {cell: [*shapes] for cell, shapes in self._cells.items()}
        return own

    def add(self, shape: BaseGeometry) -> None:
        bounds = shape.bounds
        for cell in self._around(bounds):
            self._cells.setdefault(cell, []).append((bounds, shape))

    def near(self, shape: BaseGeometry, room: float = 0.0) -> list[BaseGeometry]:
        """What may come closer to a shape than ``room``: by their bounds."""
        left, top, right, bottom = shape.bounds
        bounds = left - room, top - room, right + room, bottom + room
        left, top, right, bottom = bounds
        found = {
            id(other): other
            for cell in self._around(bounds)
            for own, other in self._cells.get(cell, ())
            if own[0] <= right and own[2] >= left and own[1] <= bottom and own[3] >= top
        }
        return list(found.values())

    def free(self, shape: BaseGeometry, room: float = 0.0) -> bool:
        """Whether nothing is in a shape, nor within ``room`` of it."""
        others = self.near(shape, room)
        if not others:
            return True
        whole = shape.buffer(room) if room else shape
        return not any(whole.intersects(other) for other in others)

    def _around(self, bounds: _Bounds) -> Iterator[tuple[int, int]]:
        left, top, right, bottom = (math.floor(c / self._CELL) for c in bounds)
        for x in range(left, right + 1):
            for y in range(top, bottom + 1):
                yield x, y


@dataclass(frozen=True, slots=True)
class _Put:
    """Marks that are placed, and what they and their leaders take up."""

    marks: tuple[Mark, ...]
    shapes: tuple[BaseGeometry, ...]
    leaders: tuple[BaseGeometry, ...] = ()


class _Ground:
    """What is placed so far.

    Attributes:
        taken: all of it.
        signs: the same without leaders, which a leader may cross if it must.
        full: slots beyond the block where a label of a size has no room; that stays so.
    """

    def __init__(self) -> None:
        self.put: list[_Put] = []
        self.taken, self.signs = _Taken(), _Taken()
        self.full: set[tuple[float, float, Point]] = set()
        self._hulls: list[NDArray[np.float64]] = []

    def copy(self) -> _Ground:
        own = _Ground()
        own.put, own.full, own._hulls = [*self.put], {*self.full}, [*self._hulls]
        own.taken, own.signs = self.taken.copy(), self.signs.copy()
        return own

    def keep(self, one: _Put) -> None:
        self.put.append(one)
        for shape in one.shapes:
            self.taken.add(shape)
            self.signs.add(shape)
            points = shapely.get_coordinates(shape.convex_hull)[:-1]
            few = points[np.linspace(0, len(points), _CORNERS, endpoint=False).astype(int)]
            self._hulls.append(few)
        for leader in one.leaders:
            self.taken.add(leader)

    def seen_from(self, anchor: Point, around: Box, ends: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which of some points beyond the block may be reached from an anchor inside it.

        A sign on the block stands in the way of all that lies behind it, between its outermost
        corners as seen from the anchor.  Of a round one some corners are looked at, so that it
        covers a little less than it does; signs that touch the leader's tip count as none.
        """
        reached = np.ones(len(ends), dtype=np.bool_)
        if not self._hulls:
            return reached
        corners = np.array(self._hulls)
        low, high = (around.x, around.y), (around.right, around.bottom)
        away = corners - np.array(anchor)
        within = ((corners >= low) & (corners <= high)).all(axis=(1, 2))
        middles = away.mean(axis=1)
        widest = np.hypot(*(away - middles[:, None]).transpose(2, 0, 1)).max(axis=1)
        apart = np.hypot(middles[:, 0], middles[:, 1]) - widest > _TIP
        away, middles = away[within & apart], middles[within & apart]
        if not len(away):
            return reached
        toward = np.arctan2(middles[:, 1], middles[:, 0])
        aside = np.arctan2(
            middles[:, :1] * away[..., 1] - middles[:, 1:] * away[..., 0],
            middles[:, :1] * away[..., 0] + middles[:, 1:] * away[..., 1],
        )
        starts, stops = toward + aside.min(axis=1) + 1e-9, toward + aside.max(axis=1) - 1e-9
        # Once round in both senses, so that none is cut in two; then merged.
        starts = np.concatenate([starts - math.tau, starts, starts + math.tau])
        stops = np.concatenate([stops - math.tau, stops, stops + math.tau])
        order = np.argsort(starts)
        starts, furthest = starts[order], np.maximum.accumulate(stops[order])
        ways = np.arctan2(ends[:, 1] - anchor[1], ends[:, 0] - anchor[0])
        before = np.searchsorted(starts, ways) - 1
        return np.asarray((before < 0) | (furthest[before] < ways))


@dataclass(frozen=True, slots=True)
class _Run:
    """A part of a seam without a pivot, by its edges; step ``step`` counts from 0."""

    step: int
    edges: tuple[int, ...]


def _runs(plan: SewingPlan, step: int) -> Iterator[_Run]:
    seam = plan.order.joins[step].seam
    own: list[int] = []
    for side in seam.sides:
        if own and plan.seams.start(side) in seam.pivots:
            yield _Run(step, tuple(own))
            own = []
        own.append(side.edge)
    yield _Run(step, tuple(own))


_Sign: TypeAlias = tuple[bool, int]
"""A part of a seam (true) or a piece, by its number."""


@dataclass(frozen=True, slots=True)
class _Shaft:
    """What of an arrow keeps clear: half its length, half its width, and the room beside it."""

    half: float
    width: float
    room: float
    cap: Literal["flat", "round"]


@dataclass(frozen=True, slots=True)
class _Placing:
    """All that is placed on a map, and how much found no room.

    Attributes:
        names: of pieces, left out.
        steps: whose number is left out somewhere.
    """

    put: tuple[_Put, ...]
    names: int
    steps: int


class _Map:
    """Places everything on one block."""

    def __init__(self, plan: SewingPlan) -> None:
        self.plan = plan
        self.spans = Spans(plan.order)
        self.looks = looks(plan.block)
        self.shapes = [polygon_of(p.outline) for p in plan.block.pieces]
        self.edges = [
            LineString([*paths.flatten(e.segment), e.segment.end]) for e in plan.seams.edges
        ]
        self.tree = STRtree(self.edges)
        left, top, right, bottom = extent(plan.block.pieces)
        self.around = Box(left, top, right - left, bottom - top)
        self.lengths = [edge.length for edge in self.edges]
        self.runs = [run for k in range(len(plan.order.joins)) for run in _runs(plan, k)]
        # What lies clear of the lines is the same in every round.
        self._known_stations: dict[int, list[tuple[Point, Vector]]] = {}
        self._known_shafts: dict[
            tuple[int, int, _Shaft], list[tuple[Point, Vector, BaseGeometry]]
        ] = {}
        self._known_discs: dict[
            tuple[int, Point, Vector, float, float], list[tuple[Point, BaseGeometry]]
        ] = {}
        self._known_labels: dict[
            tuple[int, frozenset[int]], tuple[Sequence[BaseGeometry], _Put | None]
        ] = {}

    def drawing(self, put: Sequence[_Put]) -> Drawing:
        seams, block = self.plan.seams, self.plan.block
        clear = _Taken()
        for one in put:
            for shape in (*one.shapes, *one.leaders):
                clear.add(shape.buffer(_NEAR))
        marks: list[Mark] = []
        for piece, shape in zip(block.pieces, self.shapes, strict=True):
            look = self.looks[piece.fabric]
            marks += filled(look, piece.outline, clear.near(shape))
        for join in self.plan.order.joins:
            chain = straightened(tuple(seams.segment(s) for s in join.seam.sides))
            closed = join.seam.ends is None
            marks.append(Stroke("sewing-line", chain, closed, solid=True))
        for ring in outside(seams):
            marks.append(Stroke("sewing-line", ring, closed=True, solid=True, weight=EDGE))
        marks += [mark for one in put for mark in one.marks]
        count = len(block.pieces)
        return drawn(
            "block-map",
            "Block map",
            f"{block.name} at its finished size, {count} piece{'s' * (count != 1)}, without "
            "seam allowance, with step numbers on the seams and arrows toward the pressed side.",
            marks,
        )

    # --- rounds of placing ---

    def placed(self) -> _Placing:
        """All marks.  What finds no room in one round stands outside from the next one on.

        What stands outside is placed before all else and in the order in which it failed, so
        a round goes on from the last one's ground.  Once there are as many outside as help, the
        rest is left out.
        """
        outer: set[_Sign] = set()
        lost: set[_Sign] = set()
        ground = _Ground()
        for one in self._meetings():
            ground.keep(one)
        failed: list[_Sign] = []
        for _ in range(_MOST_ROUNDS):
            chosen = self._nearest(failed, _MOST_OUTSIDE - len(outer))
            outer.update(chosen)
            lost.update(set(failed).difference(chosen))
            lost.update([sign for sign in chosen if not self._place_outside(sign, ground)])
            failed_before, placed, failed = failed, ground.copy(), []
            count = len(self.shapes)
            crowded = count > _VERY_MANY or (count > _MANY and bool(failed_before))
            full = crowded or len(outer) >= _MOST_OUTSIDE
            for sign in self._signs():
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
        return _Placing(
            tuple(placed.put),
            sum(not is_step for is_step, _ in lost),
            len({self.runs[number].step for is_step, number in lost if is_step}),
        )

    def _signs(self) -> Iterator[_Sign]:
        """All that is to be placed: parts of seams, then pieces."""
        yield from ((True, run) for run in self._by_room())
        yield from ((False, piece) for piece in range(len(self.shapes)))

    def _nearest(self, signs: list[_Sign], most: int) -> list[_Sign]:
        """Those closest to the outside of the block, at most so many, in the given order."""
        crowded = len(self.shapes) > _MANY
        if len(signs) <= most and not crowded:
            return signs
        box = self.around

        def depth(sign: _Sign) -> float:
            x, y = self._middle(sign)
            return round(min(x - box.x, box.right - x, y - box.y, box.bottom - y), 6)

        close = [sign for sign in signs if not crowded or depth(sign) <= _SHORT]
        chosen = set(sorted(close, key=depth)[:most])
        return [sign for sign in signs if sign in chosen]

    def _middle(self, sign: _Sign) -> Point:
        is_step, number = sign
        if not is_step:
            return self._inside(number)
        _, stations = next(self._stations(self.runs[number], 0.0))
        return stations[0][0]

    def _place_inside(self, sign: _Sign, taken: _Taken) -> _Put | None:
        is_step, number = sign
        if is_step:
            return self._seam_mark(self.runs[number], taken)
        return self._piece_label(number, taken)

    def _place_outside(self, sign: _Sign, ground: _Ground) -> bool:
        """Whether there was room for what is said; the arrow of a seam stands in any case."""
        is_step, number = sign
        found = self._seam_arrow(self.runs[number], ground.taken) if is_step else None
        if found is not None:
            ground.keep(found[0])
        anchor = found[1] if found is not None else self._inside(number)
        label = self._beyond(is_step, self._said(is_step, number), anchor, ground)
        if label is not None:
            ground.keep(label)
        return label is not None

    def _by_room(self) -> list[int]:
        """The parts of seams, those with the shortest edges first."""
        longest = [max(self.lengths[e] for e in run.edges) for run in self.runs]
        return sorted(range(len(self.runs)), key=lambda k: (round(longest[k], 3), k))

    def _said(self, is_step: bool, number: int) -> str:
        return str(self.runs[number].step + 1) if is_step else self._id(number)

    def _meetings(self) -> Iterator[_Put]:
        points = self.plan.seams.points
        for meeting in self.plan.pressing.meetings:
            at = points[meeting.at]
            mark = meeting_mark(at, meeting.nests)
            yield _Put(tuple(mark), (shapely.Point(at).buffer(_MEETING + _NEAR),))

    # --- seams ---

    def _seam_mark(self, run: _Run, taken: _Taken) -> _Put | None:
        """A seam's arrow with its number beside it."""
        said = str(run.step + 1)
        for half, letters in _MARK_SIZES:
            radius = _radius(said, letters)
            for edge, at, way, shaft in self._shafts(
                run, 2 * radius, _Shaft(half, 0.03, 0.01, "flat")
            ):
                if not taken.free(shaft) or not taken.free(shaft, 2 * _NEAR):
                    continue
                for centre, disc in self._discs(edge, at, way, half, radius):
                    if not taken.free(disc) or not taken.free(disc, 2 * _NEAR):
                        continue
                    if not taken.free(LineString([at, centre])):
                        continue
                    marks = [
                        *arrow(at, way, half, self.plan.pressing.directions[run.step]),
                        *_number(said, centre, letters),
                    ]
                    return _Put(tuple(marks), (shaft, disc))
        return None

    def _discs(
        self, edge: int, at: Point, way: Vector, half: float, radius: float
    ) -> list[tuple[Point, BaseGeometry]]:
        """Circles for the number beside an arrow that keep off all lines, the best first."""
        key = (edge, at, way, half, radius)
        if key not in self._known_discs:
            across, tail = (-way[1], way[0]), plus(at, way, -half)
            centres = [
                plus(tail, way, -radius - 0.012),
                plus(plus(at, across, radius + 0.045), way, -radius - 0.035),
                plus(plus(at, across, -radius - 0.045), way, -radius - 0.035),
                plus(plus(at, across, radius + 0.045), way, radius + 0.035),
                plus(plus(at, across, -radius - 0.045), way, radius + 0.035),
            ]
            discs = shapely.buffer(shapely.points(centres), radius, quad_segs=_ROUND)
            ties = shapely.linestrings([(at, centre) for centre in centres])
            clear = self._off_lines(discs, None, _NEAR) & self._off_lines(ties, edge, 0.01)
            self._known_discs[key] = [
                (centre, disc)
                for centre, disc, good in zip(centres, discs, clear, strict=True)
                if good
            ]
        return self._known_discs[key]

    def _seam_arrow(self, run: _Run, taken: _Taken) -> tuple[_Put, Point]:
        """A seam's arrow alone, however small, and where its leader ends."""
        found = self._clear_arrow(run, taken)
        if found is not None:
            return found
        press = self.plan.pressing.directions[run.step]
        half = _ARROWS[-1]
        *_, (_, last) = self._stations(run, 0.0)
        at, way = last[-1]
        shaft = LineString([plus(at, way, -half), plus(at, way, half)]).buffer(0.01)
        return _Put(tuple(arrow(at, way, half, press)), (shaft,)), at

    def _clear_arrow(self, run: _Run, taken: _Taken) -> tuple[_Put, Point] | None:
        press = self.plan.pressing.directions[run.step]
        for half in _ARROWS:
            for _, at, way, shaft in self._shafts(run, 0.0, _Shaft(half, 0.02, 0.005, "round")):
                if taken.free(shaft):
                    return _Put(tuple(arrow(at, way, half, press)), (shaft,)), at
        return None

    def _bare_arrow(self, sign: _Sign, taken: _Taken) -> _Put | None:
        """The arrow of a seam whose number is left out, if there is room for that."""
        is_step, number = sign
        found = self._clear_arrow(self.runs[number], taken) if is_step else None
        return None if found is None else found[0]

    def _shafts(
        self, run: _Run, least: float, kind: _Shaft
    ) -> Iterator[tuple[int, Point, Vector, BaseGeometry]]:
        """Shafts of arrows across a seam that keep off all lines but their own edge."""
        for edge, stations in self._stations(run, least):
            key = (run.step, edge, kind)
            if key not in self._known_shafts:
                ends = [
                    (plus(at, way, -kind.half), plus(at, way, kind.half)) for at, way in stations
                ]
                shafts = shapely.buffer(
                    shapely.linestrings(ends), kind.width, quad_segs=_ROUND, cap_style=kind.cap
                )
                clear = self._off_lines(shafts, edge, kind.room)
                self._known_shafts[key] = [
                    (at, way, shaft)
                    for (at, way), shaft, good in zip(stations, shafts, clear, strict=True)
                    if good
                ]
            for at, way, shaft in self._known_shafts[key]:
                yield edge, at, way, shaft

    def _stations(
        self, run: _Run, least: float
    ) -> Iterator[tuple[int, list[tuple[Point, Vector]]]]:
        """Places along a seam by edge, long ones first, with the way toward the pressed side."""
        plan = self.plan
        press = plan.pressing.directions[run.step]
        edges = sorted(run.edges, key=lambda e: -self.lengths[e])
        for n, edge in enumerate(edges[:_MOST_EDGES]):
            if n and self.lengths[edge] < least:
                break
            if edge not in self._known_stations:
                self._known_stations[edge] = [
                    pressed_way(plan.seams, plan.order, self.spans, run.step, edge, t, press)
                    for t in _ALONG
                ]
            yield edge, self._known_stations[edge]

    def _off_lines(
        self, shapes: NDArray[np.object_], own: int | None, room: float
    ) -> NDArray[np.bool_]:
        """Which shapes keep off all lines but one."""
        clear = np.ones(len(shapes), dtype=np.bool_)
        which, lines = self.tree.query(shapes, predicate="dwithin", distance=room)
        clear[which[lines != (-1 if own is None else own)]] = False
        return clear

    # --- pieces ---

    def _id(self, piece: int) -> str:
        return fonts.shortened(self.plan.block.pieces[piece].id, 1.0, _LONGEST_ID * 0.55)

    def _piece_label(self, piece: int, taken: _Taken) -> _Put | None:
        """A piece's id; among the same things as in an earlier round it lies as it did there."""
        others = taken.near(self.shapes[piece], 2 * CLEAR)
        key = (piece, frozenset(map(id, others)))
        if key not in self._known_labels:
            self._known_labels[key] = others, self._label_among(piece, others)
        return self._known_labels[key][1]

    def _label_among(self, piece: int, others: Sequence[BaseGeometry]) -> _Put | None:
        shape = self.shapes[piece]
        said = self._id(piece)
        inner = shape.buffer(-CLEAR, join_style="mitre")
        slants = turns(shape)
        tried: tuple[tuple[float, tuple[float, ...]], ...] = (
            (2 * CLEAR, SIZES[:4]),
            (CLEAR / 2, SIZES),
        )
        if len(self.shapes) > _VERY_MANY:
            tried = ((CLEAR / 2, SIZES[2:]),)
        for gap, sizes in tried:
            left: BaseGeometry = inner
            close = [self._grown(o, gap) for o in others if o.dwithin(inner, gap)]
            if close:
                left = left.difference(shapely.union_all(close))
            parts = sorted(polygons(left), key=lambda p: -p.area)[:4]
            least = text_block([(said, sizes[-1], False)])
            rooms = [Room(part) for part in parts]
            known = {
                (n, turn): False
                for n, room in enumerate(rooms)
                if room.too_thin(least)
                for turn in slants
            }
            for letters in sizes:
                block = text_block([(said, letters, False)])
                for n, room in enumerate(rooms):
                    if parts[n].area < block.width * block.height:
                        break
                    for turn in slants:
                        if (n, turn) not in known:
                            known[n, turn] = room.may_hold(least, turn)
                        if not known[n, turn]:
                            continue
                        for at in room.places(block, turn):
                            shapes = (rectangle_of(block, at, turn),)
                            return _Put(tuple(block.placed(at, turn)), shapes)
        return None

    def _grown(self, sign: BaseGeometry, gap: float) -> BaseGeometry:
        """What a label keeps off; in a block of many pieces with few corners, which is faster."""
        if len(self.shapes) <= _MANY:
            return sign.buffer(gap)
        return sign.simplify(_COARSE).buffer(gap + _COARSE, quad_segs=2)

    def _inside(self, piece: int) -> Point:
        inner = self.shapes[piece].representative_point()
        return (inner.x, inner.y)

    # --- outside ---

    def _beyond(self, is_step: bool, said: str, anchor: Point, ground: _Ground) -> _Put | None:
        """A label outside the block, with a leader to what it is for.

        The leader crosses another one only if there is no other way, and never a label.
        """
        letters = 0.09
        taken, signs = ground.taken, ground.signs
        if is_step:
            wide = high = 2 * _radius(said, letters)
        else:
            block = text_block([(said, letters, False)])
            wide, high = block.width, block.height
        crossing: tuple[Point, BaseGeometry, BaseGeometry] | None = None
        tip = shapely.Point(anchor).buffer(_TIP)
        rows = [list(self._slots(wide, high, row)) for row in range(_MOST_ROWS)]
        ends = np.array([at for row_slots in rows for at in row_slots])
        seen = iter(ground.seen_from(anchor, self.around, ends).tolist())
        for row, row_slots in enumerate(rows):
            open_slots = [at for at in row_slots if next(seen)]
            if row >= _ROWS_TO_TRY and crossing is not None:
                break
            for at in sorted(open_slots, key=lambda p: distance(p, anchor)):
                if (wide, high, at) in ground.full:
                    continue
                box = shapely.box(
                    at[0] - wide / 2, at[1] - high / 2, at[0] + wide / 2, at[1] + high / 2
                )
                if not taken.free(box, 0.03):
                    ground.full.add((wide, high, at))
                    continue
                leader = LineString([at, anchor]).difference(box.buffer(0.015))
                beyond_tip = leader.difference(tip)
                if not signs.free(beyond_tip):
                    continue
                if taken.free(beyond_tip):
                    return self._labelled(said, is_step, letters, at, box, leader)
                if crossing is None:
                    crossing = at, box, leader
        return None if crossing is None else self._labelled(said, is_step, letters, *crossing)

    def _slots(self, wide: float, high: float, row: int) -> Iterator[Point]:
        """Places for the middle of a label round the block, ``row`` rows away from it."""
        away = _OUTSIDE + row * 0.24
        box = self.around
        step = 0.16
        for k in range(int(box.width / step) + 1):
            x = box.x + k * step
            yield x, box.y - away - high / 2
            yield x, box.bottom + away + high / 2
        for k in range(int(box.height / step) + 1):
            y = box.y + k * step
            yield box.x - away - wide / 2, y
            yield box.right + away + wide / 2, y

    def _labelled(
        self,
        said: str,
        is_step: bool,
        letters: float,
        at: Point,
        box: BaseGeometry,
        leader: BaseGeometry,
    ) -> _Put:
        marks: list[Mark] = []
        leaders: list[BaseGeometry] = []
        if isinstance(leader, LineString) and not leader.is_empty:
            (x0, y0), (x1, y1) = leader.coords[0], leader.coords[-1]
            marks.append(line("leader", (x0, y0), (x1, y1)))
            leaders.append(leader.buffer(0.012))
        if is_step:
            marks += _number(said, at, letters)
        else:
            marks += text_block([(said, letters, False)]).placed(at, 0.0)
        return _Put(tuple(marks), (box,), tuple(leaders))


# --- the key ---------------------------------------------------------------------------------

_SWATCH: Final = (0.5, 0.3)
_COLUMN: Final = 2.5
_COLUMNS: Final = 3
_COLUMNS_BELOW: Final = 1
"""Of a key below a map of several sheets: a narrow one lies whole on a sheet at the left."""

_ABOVE_KEY: Final = 0.4
"""Inches below a map of several sheets, so that their overlap may lie between it and its key."""

_LETTERS: Final = 0.115
_ROW: Final = _SWATCH[1] + 0.09
_LINE: Final = 0.16


def _key(plan: SewingPlan, placing: _Placing, columns: int) -> Drawing:
    """What the fills and the signs of the map mean, and how much is left out of it."""
    counts: dict[str | None, int] = {}
    for piece in plan.block.pieces:
        counts[piece.fabric] = counts.get(piece.fabric, 0) + 1
    entries: list[Callable[[float, float], list[Mark]]] = []
    for fabric, look in looks(plan.block).items():
        count = counts[fabric]
        said = f"{look.name}: {count} piece{'s' * (count != 1)}"
        entries.append(lambda x, y, look=look, said=said: swatch(look, said, x, y))  # type: ignore[misc]
    if plan.order.joins:
        entries.append(lambda x, y: _sign_step(x, y, "first", "step 3, pressed toward the arrow"))
    if "open" in plan.pressing.directions:
        entries.append(lambda x, y: _sign_step(x, y, "open", "step 3, pressed open"))
    nests = {meeting.nests for meeting in plan.pressing.meetings}
    for kind, said in ((True, "seams nest here"), (False, "seams do not nest here")):
        if kind in nests:
            entries.append(lambda x, y, kind=kind, said=said: _sign_meeting(x, y, kind, said))  # type: ignore[misc]
    marks: list[Mark] = []
    for n, entry in enumerate(entries):
        row, column = divmod(n, columns)
        marks += entry(column * _COLUMN, row * _ROW)
    down = math.ceil(len(entries) / columns) * _ROW + _LETTERS
    said = _left_out(placing)
    for n, words in enumerate(fonts.wrapped(said, _LETTERS, columns * _COLUMN - 0.1)):
        marks.append(Text(words, (0.0, down + n * _LINE), _LETTERS))
    return drawn("key", "Key to the map", "The fabrics and signs of the block map.", marks)


def _left_out(placing: _Placing) -> str:
    counts = [(placing.names, "piece name"), (placing.steps, "step number")]
    told = [f"{count:,} {what}{'s' * (count != 1)}" for count, what in counts if count]
    if not told:
        return ""
    return f"No room for {' and '.join(told)}: a larger finished size shows more."


def swatch(look: Look, said: str, x: float, y: float) -> list[Mark]:
    """A sample of a fabric's fill with words beside it."""
    corners = [(x, y), (x + _SWATCH[0], y), (x + _SWATCH[0], y + _SWATCH[1]), (x, y + _SWATCH[1])]
    outline = paths.polygon(corners)
    return [
        *filled(look, outline),
        Stroke("sewing-line", outline, closed=True, solid=True),
        _beside(said, x, y),
    ]


def _beside(said: str, x: float, y: float) -> Text:
    room = _COLUMN - _SWATCH[0] - 0.2
    baseline = y + _SWATCH[1] / 2 + fonts.cap_height(_LETTERS) / 2
    return Text(fonts.shortened(said, _LETTERS, room), (x + _SWATCH[0] + 0.08, baseline), _LETTERS)


def _solid(start: Point, end: Point) -> Stroke:
    return replace(line("sewing-line", start, end), solid=True)


def _sign_step(x: float, y: float, press: Press, said: str) -> list[Mark]:
    middle = y + _SWATCH[1] / 2
    radius = _radius("3", 0.1)
    return [
        _solid((x + 0.3, y), (x + 0.3, y + _SWATCH[1])),
        *arrow((x + 0.3, middle), (1.0, 0.0), 0.13, press),
        *_number("3", (x + 0.16 - radius, middle), 0.1),
        _beside(said, x, y),
    ]


def _sign_meeting(x: float, y: float, nests: bool, said: str) -> list[Mark]:
    at = (x + _SWATCH[0] / 2, y + _SWATCH[1] / 2)
    return [
        _solid((at[0] - 0.15, at[1]), (at[0] + 0.15, at[1])),
        _solid((at[0], y), (at[0], y + _SWATCH[1])),
        *meeting_mark(at, nests),
        _beside(said, x, y),
    ]
