"""Foundation sections as drawings: the mirror image of the face, with what a maker sews by.

On foundation paper the cloth lies under the paper and the lines are sewn on its printed side, so
that the print is the block seen from behind. Only lines and places are mirrored; text reads as it
always does. No label lies over a line; where a patch has no room for its number the
number stands outside, with a leader.

A drawing's origin is the corner of the box round the section's cut outline, as printed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block.wording import counted, width_by_height
from piecewright.patchwork.cutting.rotary import Ruler
from piecewright.patchwork.foundation.like_sections import LikeSections
from piecewright.patchwork.foundation.plan import Foundation, FoundationSection, Patch, SeamMark
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.congruence import Isometry
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.polygons import lines, polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import (
    Point,
    between,
    distance,
    minus,
    normalised,
    outward,
    plus,
)
from piecewright.patchwork.lengths import Unit
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import (
    CLEAR,
    SIZES,
    TextBlock,
    inside,
    parts_on_sheets,
    rectangle_of,
    text_block,
)
from piecewright.render.drawing.linekinds import LineKind
from piecewright.render.drawing.marks import (
    Drawing,
    Mark,
    PointMap,
    Stroke,
    Text,
    drawn,
    line,
    mapped,
)
from piecewright.render.printables.foundation.print_style import PrintStyle

_NUMBER: Final = 1.3
"""A patch's number is this much larger than the name of its fabric."""

_NAME_LENGTHS: Final = (16.0, 9.0, 5.0)
"""Ems; how far the name of a fabric is shortened for want of room."""

_LEAST_STRIP: Final = 0.14
"""Inches; in an allowance that is narrower there are no words."""

_IN_ALLOWANCE: Final = 0.42
"""Of the allowance: the size of the letters in it."""

_LARGEST_IN_ALLOWANCE: Final = 0.12

_ON_SIDE: Final = 0.05
"""Inches; what stands on a side of a section is no further from it."""

_SAME_PLACE: Final = 0.02
"""Inches; marks of several sections that are nearer than this are one mark."""

_MOST_NUMBERED: Final = 2
"""Sections of one foundation whose marks have numbers."""

_MOST_IN_UNIT: Final = 6
"""Sections by which a unit is named."""

# --- from the face to the print -----------------------------------------------------------------


def to_print(section: FoundationSection, style: PrintStyle) -> PointMap:
    """From the face of the block to the print; the section's corner goes to the origin."""
    ring = paths.ring(section.cut)
    left, right = min(p[0] for p in ring), max(p[0] for p in ring)
    top = min(p[1] for p in ring)
    if style.mirrored:
        return lambda p: (right - p[0], p[1] - top)
    return lambda p: (p[0] - left, p[1] - top)


def section_drawing(
    found: Foundation,
    like: LikeSections,
    style: PrintStyle,
    rule: Ruler,
    windows: Sequence[Polygon] = (),
) -> Drawing:
    """The foundation of a section, and of those that are alike.

    Args:
        rule: that the sizes of fabric are rounded up to.
        windows: what of the drawing each sheet shows, where it goes over several.
    """
    section = like.first
    at = to_print(section, style)
    sewn, cut = style.weight("sewing-line"), style.weight("cutting-line")
    marks: list[Mark] = [
        Stroke("cutting-line", mapped(section.cut, at), closed=True, weight=cut),
        Stroke("sewing-line", mapped(section.outline, at), closed=True, weight=sewn),
    ]
    marks += [Stroke("sewing-line", mapped((seam,), at), weight=sewn) for seam in section.seams]
    marks += _in_allowance(found, like, at)
    marks += _patch_labels(found, section, at, rule, windows)
    side = "the mirror image of the face" if style.mirrored else "as seen from the face"
    title = title_of(like)
    description = (
        f"{title} of {found.block.name}, {side}: {counted(len(section.patches), 'piece')}, sewn in "
        "the order of their numbers. The dashed lines are sewn, the solid line is cut."
    )
    return drawn(section.id, title, description, marks)


def title_of(like: LikeSections) -> str:
    """``Section B``, or ``Sections A, D`` of those that are alike."""
    return f"Section{'s' * (like.make > 1)} {', '.join(like.ids)}"


def size_of(patch: Patch, rule: Ruler, unit: Unit) -> str:
    """The rectangle of fabric to cut for a patch."""
    return width_by_height(rule.up(patch.width), rule.up(patch.height), unit)


# --- what stands in the allowance -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Seam:
    """A stretch of a section's outline that is sewn to other sections.

    Attributes:
        line: clockwise, as the outline runs.
        marks: those on it; ``numbers`` says for each what stands beside it, if anything.
        words: what it is joined to, the longest first.
    """

    line: Line
    marks: tuple[SeamMark, ...]
    numbers: tuple[str, ...]
    words: tuple[str, ...]


def _seams(found: Foundation, like: LikeSections) -> Iterator[_Seam]:
    """The seams of a foundation; one that serves several sections has the seams of all."""
    if like.make == 1:
        section = like.first
        for edge in section.edges:
            marks = tuple(m for m in section.marks if _lies_on(edge.line, m))
            numbers = tuple(str(m.number) for m in marks)
            yield _Seam(edge.line, marks, numbers, _joined_to(found, section, edge.step))
        return
    for side in like.first.outline:
        line = Line(side.start, side.end)
        own: list[tuple[SeamMark, str]] = []
        steps: dict[str, list[int]] = {}
        for member in like.members:
            id = member.section.id
            for mark in map(partial(_laid_mark, member.laid), member.section.marks):
                if _lies_on(line, mark):
                    own.append((mark, id))
            for edge in member.section.edges:
                middle = member.laid.point(between(edge.line.start, edge.line.end, 0.5))
                if paths.nearest(line, middle)[1] < _ON_SIDE:
                    steps[id] = sorted({*steps.get(id, ()), edge.step + 1})
        if steps:
            marks, numbers = _merged(own, like)
            yield _Seam(line, marks, numbers, _joined_to_by(steps))


def _laid_mark(laid: Isometry, mark: SeamMark) -> SeamMark:
    """A mark where a turned section has it."""
    x, y = laid.point(mark.at)
    tip = laid.point(plus(mark.at, mark.out, 1.0))
    return replace(mark, at=(x, y), out=minus(tip, (x, y)))


def _merged(
    own: Sequence[tuple[SeamMark, str]], like: LikeSections
) -> tuple[tuple[SeamMark, ...], tuple[str, ...]]:
    """The marks of all sections of a foundation, each place once, and whose number is which."""
    places: list[tuple[SeamMark, list[str]]] = []
    for mark, id in own:
        name = f"{id}:{mark.number}"
        for other, names in places:
            if distance(other.at, mark.at) < _SAME_PLACE:
                names.append(name)
                break
        else:
            places.append((mark, [name]))
    # The numbers of many sections would have no room: their marks pair up in their order.
    many = like.make > _MOST_NUMBERED
    return (
        tuple(mark for mark, _ in places),
        tuple("" if many else " ".join(names) for _, names in places),
    )


def _joined_to_by(steps: Mapping[str, Sequence[int]]) -> tuple[str, ...]:
    """In which joins a side is sewn, section by section."""
    said = [
        f"{id}: join{'s' * (len(own) > 1)} {', '.join(map(str, own))}" for id, own in steps.items()
    ]
    short = [f"{id}: {', '.join(map(str, own))}" for id, own in steps.items()]
    return (" · ".join(said), " · ".join(short))


def _in_allowance(found: Foundation, like: LikeSections, at: PointMap) -> Iterator[Mark]:
    """Pairing marks with their numbers, and in grey what each seam is joined to."""
    for seam in _seams(found, like):
        for mark in (m for m in seam.marks if m.away > 0):
            yield line("notch", at(mark.at), at(plus(mark.at, mark.out, mark.away)))
        away = seam.marks[0].away if seam.marks else found.allowance.seam
        if away >= _LEAST_STRIP:
            yield from _words(seam, away, at)


def _lies_on(edge: Line, mark: SeamMark) -> bool:
    """Whether a mark stands on an edge; two edges back to back differ by the side it is on."""
    t, gap = paths.nearest(edge, mark.at)
    along = normalised(minus(edge.end, edge.start))
    same_way = distance(outward(along), mark.out) < 0.1
    return gap < _ON_SIDE and 0 < t < 1 and same_way


def _words(seam: _Seam, away: float, at: PointMap) -> Iterator[Mark]:
    """The numbers beside their marks, and the words in the longest stretch that is left."""
    size = max(SIZES[-1], min(_LARGEST_IN_ALLOWANCE, _IN_ALLOWANCE * away))
    start, end = seam.line.start, seam.line.end
    length = distance(start, end)
    along = normalised(minus(end, start))
    # ``taken`` has in turn where a free stretch of the edge begins and where it ends.
    stops = sorted(
        (distance(start, m.at), number) for m, number in zip(seam.marks, seam.numbers, strict=True)
    )
    taken = [0.0]
    for n, (stop, number) in enumerate(stops):
        wide = fonts.text_width(number, size, True)
        nearest = stops[n + 1][0] if n + 1 < len(stops) else length
        middle = stop + CLEAR / 2 + wide / 2
        # A number stands after its mark, if the next mark is far enough.
        if not number or middle + wide / 2 + CLEAR / 2 > nearest:
            taken += [stop, stop]
            continue  # the marks alone pair up in their order
        spot = plus(plus(start, along, middle), outward(along), away / 2)
        yield _upright(number, at(spot), at(start), at(end), size, "label", True)
        taken += [stop, middle + wide / 2]
    taken.append(length)
    gaps = list(zip(taken[::2], taken[1::2], strict=True))
    low, high = max(gaps, key=lambda gap: gap[1] - gap[0])
    for words in seam.words:
        if fonts.text_width(words, size) + 2 * CLEAR <= high - low:
            spot = plus(plus(start, along, (low + high) / 2), outward(along), away / 2)
            yield _upright(words, at(spot), at(start), at(end), size, "joining", False)
            return


def _joined_to(found: Foundation, section: FoundationSection, step: int) -> tuple[str, ...]:
    """What a seam is joined to: the unit, and more shortly the number of the join."""
    join = found.steps[step]
    others = join.second if section.id in join.first else join.first
    names, number = unit_by_sections(others), step + 1
    note = ""
    if join.finished_by is not None:
        note = ", half at first"
    elif join.finishes is not None:
        note = f", then finish {join.finishes + 1}"
    plain = (f"join {number}: to {names}", f"{number}: {names}", f"join {number}")
    return (*(f"{words}{note}" for words in plain), *plain[1:]) if note else plain


def unit_by_sections(sections: Sequence[str]) -> str:
    """A unit by its sections, the middle ones left out if there are many.

    >>> unit_by_sections("ABC"), unit_by_sections("ABCDEFGH")
    ('A+B+C', 'A+B+…+H')
    """
    if len(sections) > _MOST_IN_UNIT:
        sections = [*sections[:2], "…", sections[-1]]
    return "+".join(sections)


def _upright(
    text: str, spot: Point, start: Point, end: Point, size: float, kind: LineKind, bold: bool
) -> Text:
    """Text along a line that reads from the left, or from below; its middle at a point."""
    turn = math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))
    # With a tolerance, so that what is upright but for rounding reads from below too.
    if turn > 90.0 - 1e-6 or turn <= -90.0 - 1e-6:
        turn += 180.0 if turn < 0 else -180.0
    drop = fonts.cap_height(size, bold) / 2
    slope = math.radians(turn)
    foot = (spot[0] - math.sin(slope) * drop, spot[1] + math.cos(slope) * drop)
    return Text(text, foot, size, "middle", turn % 360.0, bold, kind)


# --- the labels of patches ------------------------------------------------------------------------


def _patch_labels(
    found: Foundation,
    section: FoundationSection,
    at: PointMap,
    rule: Ruler,
    windows: Sequence[Polygon],
) -> Iterator[Mark]:
    names = {fabric.id: fabric.name for fabric in found.block.fabrics}
    pieces = {piece.id: piece for piece in found.block.pieces}
    crowded: list[tuple[Patch, Polygon]] = []
    labels: list[Polygon] = []
    for patch in section.patches:
        shape = polygon_of(mapped(pieces[patch.piece].outline, at))
        cloth = names.get(patch.fabric or "", patch.fabric or "")
        blocks = list(
            _text_blocks(
                f"{section.id}{patch.number}", cloth, size_of(patch, rule, found.block.unit)
            )
        )
        # On each sheet that shows enough of the patch; else wherever there is room in it.
        parts = [inside(part, blocks) for part in parts_on_sheets(shape, windows)]
        spots = [spot for spot in parts if spot is not None]
        if not spots and (whole := inside(shape, blocks)) is not None:
            spots.append(whole)
        if not spots:
            crowded.append((patch, shape))
        for block, spot, turn in spots:
            labels.append(rectangle_of(block, spot, turn))
            yield from block.placed(spot, turn)
    if crowded:
        cut = polygon_of(mapped(section.cut, at))
        yield from _outside(section.id, crowded, cut, labels)


def _text_blocks(number: str, cloth: str, size: str) -> Iterator[TextBlock]:
    """A patch's label from the fullest to its number alone, each in letters as large as fit."""
    # Short names are equal when shortened: each is tried once.
    names = dict.fromkeys(fonts.shortened(cloth, 1.0, ems) for ems in _NAME_LENGTHS if cloth)
    for name in names:
        for letters in SIZES:
            first = (number, letters * _NUMBER, True)
            yield text_block([first, (name, letters, False), (size, letters, False)])
    for name in names:
        for letters in SIZES:
            yield text_block([(number, letters * _NUMBER, True), (name, letters, False)])
            yield text_block([(f"{number} {name}", letters, False)])
    for letters in SIZES:
        yield text_block([(number, letters * _NUMBER, True), (size, letters, False)])
        yield text_block([(number, letters, True)])


def _outside(
    letter: str, crowded: Sequence[tuple[Patch, Polygon]], cut: Polygon, labels: list[Polygon]
) -> Iterator[Mark]:
    """The numbers of patches without room, outside the section, each with a leader."""
    size = SIZES[-2]
    for patch, shape in crowded:
        block = text_block([(f"{letter}{patch.number}", size, True)])
        heart = shape.representative_point()
        # Built anew for each patch, as the label before it is in the way of this one.
        tree = STRtree(labels)
        best: tuple[int, float, Point, Point, Polygon] | None = None
        for spot, foot in _rays(cut, (heart.x, heart.y), block):
            label = rectangle_of(block, spot, 0.0).buffer(CLEAR / 2)
            leader = LineString([(heart.x, heart.y), foot])
            hit = len(tree.query(label, predicate="intersects"))
            hit += len(tree.query(leader, predicate="intersects"))
            # Least in the way, then the shortest leader; a place is taken in any case, as a patch
            # without a number could not be sewn in its turn.
            rank = (hit, leader.length, spot, foot, label)
            if best is None or rank[:2] < best[:2]:
                best = rank
        assert best is not None
        _, _, spot, foot, label = best
        labels.append(label)
        labels.append(LineString([(heart.x, heart.y), foot]).buffer(CLEAR / 4))
        yield line("leader", foot, (heart.x, heart.y))
        yield from block.placed(spot, 0.0)


def _rays(cut: Polygon, heart: Point, block: TextBlock) -> Iterator[tuple[Point, Point]]:
    """Places outside a section for a number: its middle, and the foot of its leader."""
    left, top, right, bottom = cut.bounds
    far = (right - left) + (bottom - top) + 1.0
    for degrees in range(0, 360, 15):
        u = (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
        ray = LineString([heart, plus(heart, u, far)])
        inside = lines(overlaid(shapely.intersection, ray, cut, on_block=False))
        # A section may bend: the ray leaves it for good at the furthest crossing.
        reach = max((distance(heart, (x, y)) for g in inside for x, y in g.coords), default=0.0)
        for more in (0.0, block.height, 2 * block.height):
            beyond = reach + 2 * CLEAR + more
            # How far the label reaches from its middle toward the section.
            half = abs(u[0]) * block.width / 2 + abs(u[1]) * block.height / 2
            spot = plus(heart, u, beyond + half)
            label = rectangle_of(block, spot, 0.0)
            if label.distance(cut) >= CLEAR:
                yield spot, plus(heart, u, beyond - CLEAR / 2)
                break
