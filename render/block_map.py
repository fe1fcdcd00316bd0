"""The block map: the finished block with its fabrics, piece ids, steps, and how seams are pressed.

Nothing that is written lies over a line.  Step numbers and arrows keep to their seams, piece ids to
their pieces; where there is no room for one it stands outside, with a leader.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from patchwork import paths
from patchwork.block import Block, extent
from patchwork.joins import Order
from patchwork.lengths import Unit, spoken
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
from render.labels import CLEAR, SIZES, places, rectangle_of, text_block, turns

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
_MOST_ROWS: Final = 24
"""Of labels round the block; one for which there is no room in any is left out."""

_OUTSIDE: Final = 0.09

_TIP: Final = 0.05
"""Inches at a leader's end in which it may run into the sign that it is for."""

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


def block_size(block: Block) -> str:
    left, top, right, bottom = extent(block.pieces)
    return size(right - left, bottom - top, block.unit)


def size(width: float, height: float, unit: Unit) -> str:
    """``3 × 3 in``: the unit once."""
    across, down = spoken(width, unit), spoken(height, unit)
    return f"{across.rsplit(' ', 1)[0]} × {down}"


def block_map_drawings(plan: SewingPlan) -> tuple[Drawing, ...]:
    """The map, and what its fills and signs mean.

    The key has a drawing of its own where it may share the map's sheet; below a map that
    goes over several sheets it rather takes none of its own.
    """
    found, key = _Map(plan).drawing(), _key(plan)
    if max(found.box.width, found.box.height) <= _ONE_SHEET:
        return found, key
    dx, dy = found.box.x - key.box.x, found.box.bottom + 0.15 - key.box.y
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


class _Taken:
    """What is already there, found by its place."""

    _CELL: Final = 0.6

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[BaseGeometry]] = {}

    def copy(self) -> _Taken:
        own = _Taken()
        own._cells = {cell: [*shapes] for cell, shapes in self._cells.items()}
        return own

    def add(self, shape: BaseGeometry) -> None:
        for cell in self._around(shape):
            self._cells.setdefault(cell, []).append(shape)

    def near(self, shape: BaseGeometry) -> list[BaseGeometry]:
        found = {id(s): s for cell in self._around(shape) for s in self._cells.get(cell, ())}
        return list(found.values())

    def free(self, shape: BaseGeometry) -> bool:
        return not any(shape.intersects(other) for other in self.near(shape))

    def _around(self, shape: BaseGeometry) -> Iterator[tuple[int, int]]:
        left, top, right, bottom = (math.floor(c / self._CELL) for c in shape.bounds)
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

    def drawing(self) -> Drawing:
        seams, block = self.plan.seams, self.plan.block
        put = self._placed()
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

    def _placed(self) -> list[_Put]:
        """All marks.  What finds no room in one round stands outside from the next one on.

        What stands outside is placed before all else and in the order in which it failed, so
        a round goes on from the last one's ground.
        """
        outer: set[tuple[bool, int]] = set()
        ground = _Ground()
        for one in self._meetings():
            ground.keep(one)
        failed: list[tuple[bool, int]] = []
        placed = ground
        for _ in range(_MOST_ROUNDS):
            for is_step, number in failed:
                self._place_outside(is_step, number, ground)
            outer.update(failed)
            placed, failed = ground.copy(), []
            for run in self._by_room():
                if (True, run) in outer:
                    continue
                seam = self._seam_mark(self.runs[run], placed.taken)
                if seam is None:
                    failed.append((True, run))
                else:
                    placed.keep(seam)
            for piece in range(len(self.shapes)):
                if (False, piece) in outer:
                    continue
                label_in = self._piece_label(piece, placed.taken)
                if label_in is None:
                    failed.append((False, piece))
                else:
                    placed.keep(label_in)
            if not failed:
                break
        return placed.put

    def _place_outside(self, is_step: bool, number: int, ground: _Ground) -> None:
        found = self._seam_arrow(self.runs[number], ground.taken) if is_step else None
        if found is not None:
            ground.keep(found[0])
        anchor = found[1] if found is not None else self._inside(number)
        label = self._beyond(is_step, self._said(is_step, number), anchor, ground)
        if label is not None:
            ground.keep(label)

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
            for edge, at, way in self._stations(run, 2 * radius):
                tail, tip = plus(at, way, -half), plus(at, way, half)
                shaft = LineString([tail, tip]).buffer(0.03, cap_style="flat")
                if not self._clear(shaft, edge, taken) or not taken.free(shaft.buffer(2 * _NEAR)):
                    continue
                across = (-way[1], way[0])
                for centre in (
                    plus(tail, way, -radius - 0.012),
                    plus(plus(at, across, radius + 0.045), way, -radius - 0.035),
                    plus(plus(at, across, -radius - 0.045), way, -radius - 0.035),
                    plus(plus(at, across, radius + 0.045), way, radius + 0.035),
                    plus(plus(at, across, -radius - 0.045), way, radius + 0.035),
                ):
                    disc = shapely.Point(centre).buffer(radius)
                    if not taken.free(disc.buffer(2 * _NEAR)):
                        continue
                    if not self._clear(disc, None, taken, _NEAR):
                        continue
                    if not self._clear(LineString([at, centre]), edge, taken):
                        continue
                    marks = [
                        *arrow(at, way, half, self.plan.pressing.directions[run.step]),
                        *_number(said, centre, letters),
                    ]
                    return _Put(tuple(marks), (shaft, disc))
        return None

    def _seam_arrow(self, run: _Run, taken: _Taken) -> tuple[_Put, Point]:
        """A seam's arrow alone, however small, and where its leader ends."""
        press = self.plan.pressing.directions[run.step]
        last: tuple[Point, Vector, float] | None = None
        for half in _ARROWS:
            for edge, at, way in self._stations(run, 0.0):
                shaft = LineString([plus(at, way, -half), plus(at, way, half)]).buffer(0.02)
                last = (at, way, half)
                if self._clear(shaft, edge, taken, 0.005):
                    return _Put(tuple(arrow(at, way, half, press)), (shaft,)), at
        assert last is not None
        at, way, half = last
        shaft = LineString([plus(at, way, -half), plus(at, way, half)]).buffer(0.01)
        return _Put(tuple(arrow(at, way, half, press)), (shaft,)), at

    def _stations(self, run: _Run, least: float) -> Iterator[tuple[int, Point, Vector]]:
        """Places along a seam, those on long edges first, with the way toward the pressed side."""
        plan = self.plan
        press = plan.pressing.directions[run.step]
        edges = sorted(run.edges, key=lambda e: -self.lengths[e])
        for n, edge in enumerate(edges[:_MOST_EDGES]):
            if n and self.lengths[edge] < least:
                break
            for t in _ALONG:
                at, way = pressed_way(plan.seams, plan.order, self.spans, run.step, edge, t, press)
                yield edge, at, way

    def _clear(
        self, shape: BaseGeometry, own: int | None, taken: _Taken, room: float = 0.01
    ) -> bool:
        """Whether a shape keeps off all lines but one, and off all that is there."""
        hits = self.tree.query(shape, predicate="dwithin", distance=room).tolist()
        return all(n == own for n in hits) and taken.free(shape)

    # --- pieces ---

    def _id(self, piece: int) -> str:
        return fonts.shortened(self.plan.block.pieces[piece].id, 1.0, _LONGEST_ID * 0.55)

    def _piece_label(self, piece: int, taken: _Taken) -> _Put | None:
        shape = self.shapes[piece]
        said = self._id(piece)
        inner = shape.buffer(-CLEAR, join_style="mitre")
        others = taken.near(shape)
        for gap, sizes in ((2 * CLEAR, SIZES[:4]), (CLEAR / 2, SIZES)):
            room: BaseGeometry = inner
            close = [o.buffer(gap) for o in others if o.dwithin(inner, gap)]
            if close:
                room = room.difference(shapely.union_all(close))
            parts = sorted(polygons(room), key=lambda p: -p.area)[:4]
            for letters in sizes:
                block = text_block([(said, letters, False)])
                for part in parts:
                    if part.area < block.width * block.height:
                        break
                    for turn in turns(shape):
                        for at in places(part, block, turn):
                            shapes = (rectangle_of(block, at, turn),)
                            return _Put(tuple(block.placed(at, turn)), shapes)
        return None

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
                if not taken.free(box.buffer(0.03)):
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
_LETTERS: Final = 0.115


def _key(plan: SewingPlan) -> Drawing:
    """What the fills and the signs of the map mean."""
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
        row, column = divmod(n, _COLUMNS)
        marks += entry(column * _COLUMN, row * (_SWATCH[1] + 0.09))
    return drawn("key", "Key to the map", "The fabrics and signs of the block map.", marks)


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
