"""The sewing plan as cards: for each step a small drawing and what to do, several to a sheet.

All cards are of one size, so that sheets show them in the order of sewing. A step is drawn
small, its two units side by side, right sides up, as they lie in the block, pulled apart along the
seam; the drawing's scale is stated. Steps that are alike share a card.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.joins import Spans
from piecewright.patchwork.block.seams import straightened
from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import (
    Point,
    Vector,
    between,
    distance,
    minus,
    normalised,
)
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.patchwork.sewing.steps import Step
from piecewright.patchwork.sewing.wording import CAUTION, Words, all_steps, listed, steps_title
from piecewright.render.drawing import fonts
from piecewright.render.drawing.fabric_fills import FabricFill, fabric_fills, filled, piece_part
from piecewright.render.drawing.labels import (
    CLEAR,
    LEAST_SIZE,
    largest_room,
    places,
    rectangle_of,
    text_block,
    turns,
)
from piecewright.render.drawing.marks import (
    Box,
    Drawing,
    Mark,
    Stroke,
    Text,
    drawn,
    mapped,
    rectangle,
)
from piecewright.render.printables.block_map.outlines import joined_rings
from piecewright.render.printables.block_map.signs import (
    arrow,
    meeting_mark,
    seam_from_stop,
    stop_bar,
)
from piecewright.render.sheets.furniture import Heading

WIDTH: Final = 3.72
HEIGHT: Final = 2.95
"""Inches; a card: two of them side by side and three rows on Letter or A4. Lower ones would have to
go on on a second card for the last words of many a step, and show what is sewn too small."""

_PAD: Final = 0.1
"""Inches between a card's border and what is on it."""

_TITLE: Final = 0.135
_BODY: Final = 0.1
_SMALL: Final = LEAST_SIZE
"""Inches to the em: 10, 7 and 6 points."""

_LEADING: Final = 1.27
"""From a line to the next, in sizes of its letters."""

_GAP: Final = 0.3
"""Inches on the paper between two units."""

_DOT: Final = 0.035
_PIVOT: Final = 0.055
_BAR: Final = 0.065
"""Inches from the middle of a sign to its edge."""

_LEAST_FIGURE: Final = 0.85
"""Inches; where text leaves less height for the figure, its end goes on the next card."""

_SEAM: Final = 2.2
"""Points; the weight of the two edges that are sewn to each other."""

# Scales that a maker can reckon with; at the last one the largest block, of 400 in, is 2 in wide.
_SCALES: Final = (*range(1, 13), 14, 16, 18, 20, 24, 28, 32, 40, 50, 64, 80, 100, 128, 160, 200)
_MOST_DRAWN: Final = 150
"""Pieces of a unit; of a larger one the outline alone is drawn."""

_MOST_NAMED: Final = 16
"""Pieces of a unit; in a larger one, drawn that small, names would hide what is to be seen."""

_LEAST_PATTERN: Final = 0.015
"""Square inches on the paper; smaller pieces have no pattern."""

_PARAGRAPH: Final = 0.035
"""Inches below a paragraph."""

_TOP: Final = _PAD + _TITLE * _LEADING + 0.04
_ROOM: Final = HEIGHT - _TOP - _PAD
"""Where a card begins below its title, and how much of it there is."""


def heading(plan: SewingPlan) -> Heading:
    """What every sheet says about the plan."""
    return Heading(
        block=plan.block.name,
        what="Sewing plan, units seen from the right side",
        size=f"Finished {block_size(plan.block)}",
        allowance=allowance_words(plan.allowance, plan.block.unit),
        corners="Steps drawn small",
    )


def sewing_plan_drawings(plan: SewingPlan) -> tuple[Drawing, ...]:
    """The cards, in the order of sewing, after those about the whole plan."""
    return tuple(_cards(plan))


@dataclass(frozen=True, slots=True)
class _Paragraph:
    text: str
    bold: bool = False
    letters: float = _BODY


def _cards(plan: SewingPlan) -> Iterator[Drawing]:
    words = Words(plan)
    overview = [_Paragraph(CAUTION, True), *map(_Paragraph, words.overview())]
    for number, joins in enumerate(plan.sewing.batches, 1):
        if len(joins) > 1:
            steps = listed(str(k + 1) for k in joins)
            overview.append(_Paragraph(f"Set {number}: steps {steps}."))
    parts = [("Before you sew", overview)]
    if left_open := words.not_nested():
        parts.append(("Seams that do not nest", [_Paragraph(message) for message in left_open]))
    if plan.order.joins:
        parts.append(
            ("Where accuracy matters most", [_Paragraph(message) for message in words.budget()])
        )
    # All that is said of the whole plan goes on one card if it can, without the first title, which
    # the card has.
    together = [p for title, own in parts for p in (_Paragraph(title, True), *own)][1:]
    if len(list(_flowed(together, _ROOM, _ROOM))) == 1:
        parts = [(parts[0][0], together)]
    for n, (title, own) in enumerate(parts):
        yield from _text_cards(f"overview-{n + 1}" if n else "overview", title, own)
    figures = _Figures(plan)
    # Set by set: the steps of one level do not wait for each other, and can be chain pieced.
    groups = sorted(words.groups.values(), key=lambda g: (g[0].level, g[0].join))
    for group in groups:
        yield from _step_cards(words, figures, group)


# --- cards -----------------------------------------------------------------------------------


def _text_cards(id: str, title: str, paragraphs: Sequence[_Paragraph]) -> Iterator[Drawing]:
    """Text on as many cards as it needs."""
    for number, lines in enumerate(_flowed(paragraphs, _ROOM, _ROOM), 1):
        more = f" ({number})" if number > 1 else ""
        yield _card(id + f"-{number}" * (number > 1), title + more, "", [], lines, _TOP)


def _step_cards(words: Words, figures: _Figures, group: Sequence[Step]) -> Iterator[Drawing]:
    step = group[0]
    message = words.step(step)
    paragraphs = [
        _Paragraph(message[0]),
        _Paragraph(words.likewise(step)),
        _Paragraph(all_steps(group)),
        *(_Paragraph(s, s.startswith(("Press", "Trim", "Round"))) for s in message[1:]),
        *map(_Paragraph, words.other_tips(step)),
        *map(_Paragraph, words.fed_otherwise(step)),
    ]
    # The text goes below the figure, which gets what is left, and a least height in any case.
    parts = list(_flowed([p for p in paragraphs if p.text], _ROOM - _LEAST_FIGURE, _ROOM))
    text = sum(size * _LEADING + after for _, size, _, after in parts[0])
    figure = Box(_PAD, _TOP, WIDTH - 2 * _PAD, _ROOM - text - 0.04)
    marks, scale = figures.figure(step, figure)
    title = steps_title(group)
    id = f"step-{step.join + 1}"
    note = f"set {step.level}, drawn at {scale}"
    yield _card(id, title, note, marks, parts[0], figure.bottom + 0.04)
    for number, lines in enumerate(parts[1:], 2):
        yield _card(f"{id}-{number}", f"{title} ({number})", "", [], lines, _TOP)


_Line = tuple[str, float, bool, float]
"""Words, size, weight, and room after the line."""


def _flowed(paragraphs: Sequence[_Paragraph], first: float, rest: float) -> Iterator[list[_Line]]:
    """Lines of text, as many to a card as there is height for."""
    room, used = first, 0.0
    own: list[_Line] = []
    for paragraph in paragraphs:
        wrapped = fonts.wrapped(paragraph.text, paragraph.letters, WIDTH - 2 * _PAD, paragraph.bold)
        tall = paragraph.letters * _LEADING
        for n, words in enumerate(wrapped):
            after = _PARAGRAPH if n == len(wrapped) - 1 else 0.0
            # A paragraph goes over to the next card whole, if that has room for it.
            whole = n == 0 and len(wrapped) * tall <= rest
            if own and used + tall * (len(wrapped) if whole else 1) > room:
                yield own
                room, used, own = rest, 0.0, []
            own.append((words, paragraph.letters, paragraph.bold, after))
            used += tall + after
    if own:
        yield own


def _card(
    id: str, title: str, note: str, figure: Sequence[Mark], lines: Sequence[_Line], y: float
) -> Drawing:
    """A card with its border, title, figure and text; the text begins at ``y``."""
    marks: list[Mark] = [rectangle("map", Box(0.0, 0.0, WIDTH, HEIGHT))]
    baseline = _PAD + fonts.ascent(_TITLE, True) * 0.9
    room = WIDTH - 2 * _PAD
    if note:
        marks.append(Text(note, (WIDTH - _PAD, baseline), _SMALL, "end"))
        room -= fonts.text_width(note, _SMALL) + 0.12
    # A title shrinks beside its note before it loses its end.
    letters = _TITLE
    while letters > _SMALL and fonts.text_width(title, letters, True) > room:
        letters -= 0.005
    marks.append(
        Text(fonts.shortened(title, letters, room, True), (_PAD, baseline), letters, bold=True)
    )
    marks += figure
    for words, size, bold, after in lines:
        marks.append(Text(words, (_PAD, y + fonts.ascent(size, bold) * 0.95), size, bold=bold))
        y += size * _LEADING + after
    return drawn(id, title, " ".join(words for words, *_ in lines), marks, to_scale=False)


# --- figures ---------------------------------------------------------------------------------


class _Figures:
    """Draws steps."""

    def __init__(self, plan: SewingPlan) -> None:
        self.plan = plan
        self.spans = Spans(plan.order)
        self.fills = fabric_fills(plan.block)
        self.shapes = [polygon_of(p.outline) for p in plan.block.pieces]
        self.arrivals: dict[int, list[tuple[int, bool]]] = {}
        for meeting in plan.pressing.meetings:
            self.arrivals.setdefault(meeting.step, []).append((meeting.at, meeting.nests))

    def figure(self, step: Step, room: Box) -> tuple[list[Mark], str]:
        """A step drawn in a room, and at which scale."""
        join = self.plan.order.joins[step.join]
        units = [self.spans.pieces(u) for u in (join.first, join.second)]
        wholes = [overlaid(shapely.union_all, [self.shapes[i] for i in own]) for own in units]
        way = self._apart(step)
        # The largest plain scale at which both units lie in the room. How far they are apart is the
        # same on the paper at every scale, so that the box has to be found for each.
        for under in _SCALES:
            scale = 1.0 / under
            shift = self._shift(wholes, way, scale, step.pivots)
            box = _box(wholes, way, shift, scale)
            if box.width <= room.width - 0.04 and box.height <= room.height - 0.04:
                break
        else:
            # No plain scale is small enough: then whichever fits, with some room for the gap.
            scale = min((room.width - 0.4) / box.width, (room.height - 0.4) / box.height) / under
            shift = self._shift(wholes, way, scale, step.pivots)
            box = _box(wholes, way, shift, scale)
        dx = room.x + room.width / 2 - box.x - box.width / 2
        dy = room.y + room.height / 2 - box.y - box.height / 2
        places_ = [(dx + sign * shift * way[0], dy + sign * shift * way[1]) for sign in (-1.0, 1.0)]
        marks: list[Mark] = []
        both = (join.first, join.second)
        for unit, own, at in zip(both, units, places_, strict=True):
            marks += self._unit(own, scale, at)
            marks += self._seam(step, unit, scale, at)
        marks += self._press(step, scale, places_)
        return marks, "full size" if scale == 1 else f"1/{round(1 / scale)} size"

    def _apart(self, step: Step) -> Vector:
        """The direction in which the second unit is pulled away from the first."""
        join = self.plan.order.joins[step.join]
        seams = self.plan.seams
        if join.seam.ends is None:
            return (1.0, 0.0)
        # Square to the way from one end of the seam to the other, however it bends between.
        start, end = (seams.points[p] for p in join.seam.ends)
        along = normalised(minus(end, start))
        right = (-along[1], along[0])
        side = join.seam.sides[0]
        beside, _ = seams.beside(side)
        second_is_right = self.spans.holds(join.second, beside)
        return right if second_is_right else (-right[0], -right[1])

    def _shift(
        self, wholes: Sequence[BaseGeometry], way: Vector, scale: float, pivots: Sequence[Point]
    ) -> float:
        """How far each unit is moved, inches on the paper; enough that they do not overlap."""
        # Units with pivots or round seams interlock, so that a gap between them may take more.
        shift = _GAP / 2 * (1.3 if pivots else 1.0)
        while shift < 20.0:
            moved_ = [
                affinity.translate(w, sign * way[0] * shift / scale, sign * way[1] * shift / scale)
                for w, sign in zip(wholes, (-1.0, 1.0), strict=True)
            ]
            if moved_[0].distance(moved_[1]) * scale > 0.04:
                return shift
            shift *= 1.3
        return shift

    def _unit(self, pieces: Sequence[int], scale: float, at: Point) -> Iterator[Mark]:
        block = self.plan.block
        if len(pieces) > _MOST_DRAWN:
            for ring in self._around(pieces):
                outline = _laid(ring, scale, at)
                yield Stroke("sewing-line", outline, closed=True, solid=True)
            return
        for i in pieces:
            outline = _laid(straightened(block.pieces[i].outline), scale, at)
            yield from self._piece(i, outline, named=len(pieces) <= _MOST_NAMED)

    def _piece(self, piece: int, outline: Outline, named: bool) -> Iterator[Mark]:
        own = self.plan.block.pieces[piece]
        fill: FabricFill = self.fills[own.fabric]
        shape = polygon_of(outline)
        label = list(self._label(piece, shape)) if named else []
        clear = [c for _, c in label]
        plain = shape.area < _LEAST_PATTERN
        yield from filled(fill, outline, clear, plain, piece_part(own, fill.name))
        yield Stroke("sewing-line", outline, closed=True, solid=True)
        for marks, _ in label:
            yield from marks

    def _label(self, piece: int, shape: BaseGeometry) -> Iterator[tuple[list[Mark], BaseGeometry]]:
        """A piece's id, where there is room for it."""
        # The seam is drawn heavier than other lines, and match points stand out from it.
        room = largest_room(shape, CLEAR + 0.02)
        if room.is_empty:
            return
        message = self.plan.block.pieces[piece].id
        for turn in turns(room):
            for letters in (0.1, 0.09, _SMALL):
                block = text_block([(message, letters, False)])
                for at in places(room, block, turn):
                    yield block.placed(at, turn), rectangle_of(block, at, turn).buffer(0.015)
                    return

    def _around(self, pieces: Sequence[int]) -> list[Outline]:
        """The outline of a unit."""
        seams, inside = self.plan.seams, set(pieces)
        return joined_rings(
            seams.segment(side)
            for i in pieces
            for side in seams.sides[i]
            if not {seams.edges[side.edge].left, seams.edges[side.edge].right} <= inside
        )

    def _finished(self, step: Step, unit: int, scale: float, at: Point) -> Iterator[Mark]:
        """What is sewn on one of the units after the seam itself, dashed, from its bar on."""
        join = self.plan.order.joins[step.join]
        if join.finishes is None or step.finishes is None:
            return
        bar, *_, end = step.finishes.seam
        along = normalised(minus(end, bar))
        start = self.plan.seams.points[self.plan.seams.start(join.finishes.stretch[0])]
        begun = self.plan.order.joins[join.finishes.join]
        # The one unit has the seam that was begun; on the other only the stretch is to be seen.
        if self.spans.holds(unit, self.spans.pieces(begun.first)[0]):
            start = bar
            yield from stop_bar(_at(bar, scale, at), along)
        chain = (Line(start, end),)
        yield Stroke("sewing-line", _laid(chain, scale, at), weight=_SEAM)

    def _seam(self, step: Step, unit: int, scale: float, at: Point) -> Iterator[Mark]:
        """The seam on one of the units, with what must be matched, and where to stop or pivot."""
        join = self.plan.order.joins[step.join]
        points = self.plan.seams.points
        chain = straightened(tuple(self.plan.seams.segment(s) for s in join.seam.sides))
        closed = join.seam.ends is None
        partial = step.partial
        if partial is not None:
            chain = (Line(partial.start, partial.stop),)
        yield Stroke("sewing-line", _laid(chain, scale, at), closed, weight=_SEAM, solid=True)
        if partial is not None:
            along = normalised(minus(partial.stop, partial.start))
            yield from stop_bar(_at(partial.stop, scale, at), along)
        yield from self._finished(step, unit, scale, at)
        # At a pivot the diamond stands for both.
        for point, nests in self.arrivals.get(step.join, ()):
            if point not in join.seam.pivots:
                yield from meeting_mark(_at(points[point], scale, at), nests, _DOT)
        for stop in step.stops:
            end, along = seam_from_stop(self.plan.seams, join.seam, stop)
            yield from stop_bar(_at(end, scale, at), along, _BAR)
        for pivot in step.pivots:
            x, y = _at(pivot, scale, at)
            corners = [(x - _PIVOT, y), (x, y - _PIVOT), (x + _PIVOT, y), (x, y + _PIVOT)]
            diamond = paths.polygon(corners)
            yield Stroke("meeting", diamond, closed=True, filled=True, colour="#ffffff")

    def _press(self, step: Step, scale: float, at: Sequence[Point]) -> Iterator[Mark]:
        """The arrow between the units, toward the one that the seam is pressed to."""
        join = self.plan.order.joins[step.join]
        edges = self.plan.seams.edges
        # At the middle of the longest edge there is the most room for the arrow.
        side = max(join.seam.sides, key=lambda s: paths.run_length([edges[s.edge].segment]))
        middle = paths.point_at(edges[side.edge].segment, 0.5)
        if step.partial is not None:
            middle = between(step.partial.start, step.partial.stop, 0.5)
        ends = [_at(middle, scale, one) for one in at]
        if step.press == "first":
            ends.reverse()
        apart = distance(*ends)
        centre = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
        half = min(0.14, apart / 2 - 0.03)
        yield from arrow(centre, normalised(minus(ends[1], ends[0])), half, step.press)


def _box(wholes: Sequence[BaseGeometry], way: Vector, shift: float, scale: float) -> Box:
    """Both units as they are pulled apart, inches on the paper."""
    boxes = []
    for whole, sign in zip(wholes, (-1.0, 1.0), strict=True):
        left, top, right, bottom = (c * scale for c in whole.bounds)
        dx, dy = sign * way[0] * shift, sign * way[1] * shift
        boxes.append((left + dx, top + dy, right + dx, bottom + dy))
    left, top = min(b[0] for b in boxes), min(b[1] for b in boxes)
    right, bottom = max(b[2] for b in boxes), max(b[3] for b in boxes)
    return Box.of_bounds(left, top, right, bottom)


def _at(p: Point, scale: float, at: Point) -> Point:
    return (p[0] * scale + at[0], p[1] * scale + at[1])


def _laid(outline: Outline, scale: float, at: Point) -> Outline:
    """An outline drawn small, at its place on the paper."""

    def laid(p: Point) -> Point:
        return _at(p, scale, at)

    return mapped(outline, laid)
