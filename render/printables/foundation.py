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
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.block.wording import allowance_words, block_size, counted
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.foundation.plan import (
    Foundation,
    FoundationSection,
    Patch,
    SeamEdge,
    SeamMark,
    SectionJoin,
)
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.polygons import lines, polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point, distance, minus, normalised, outward, plus
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import (
    CLEAR,
    SIZES,
    TextBlock,
    largest_room,
    places,
    rectangle_of,
    text_block,
    turns,
)
from piecewright.render.drawing.linekinds import PENS, LineKind
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
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings

LEAST_WEIGHT: Final = 0.2
MOST_WEIGHT: Final = 2.0
"""Points; how thin and how thick sewing lines may be asked for."""

_NUMBER: Final = 1.3
"""A patch's number is this much larger than the name of its fabric."""

_NUMBER_SIZES: Final = (*SIZES, 0.07, 0.06)
"""Inches; the sizes of numbers that stand alone. The least is 4.3 points."""

_NAME_LENGTHS: Final = (16.0, 9.0, 5.0)
"""Ems; how far the name of a fabric is shortened for want of room."""

_LEAST_STRIP: Final = 0.12
"""Inches; in an allowance that is narrower there are no words."""

_IN_ALLOWANCE: Final = 0.42
"""Of the allowance: the size of the letters in it."""

_LARGEST_IN_ALLOWANCE: Final = 0.12

MAP: Final = "(map)"
"""The id of the drawing of the map."""

_MOST_STEPS: Final = 40
"""Joins that are listed below the map."""

_MOST_IN_UNIT: Final = 6
"""Sections by which a unit is named."""

_MAP_SIZE: Final = 2.0
"""Inches; its longer side."""

_CLEAR_ON_MAP: Final = 0.02
"""Inches between an id on the map and the lines, which are thin there."""


@dataclass(frozen=True, slots=True)
class PrintStyle:
    """How sections are printed.

    Attributes:
        mirrored: as mirror images of the face, to sew on; else as seen from the face, for tracing
            on a light box from behind.
        line_weight: width of the sewing lines, points; that of the table of pens if None. The
            cutting lines keep in proportion.
    """

    mirrored: bool = True
    line_weight: float | None = None

    def weight(self, kind: LineKind) -> float | None:
        if self.line_weight is None:
            return None
        return self.line_weight * PENS[kind].weight / PENS["sewing-line"].weight


DEFAULT_STYLE: Final = PrintStyle()


def heading(found: Foundation, style: PrintStyle = DEFAULT_STYLE) -> Heading:
    """What every sheet says about the whole set."""
    block, allowance = found.block, found.allowance
    side = "mirror images: sew on this side" if style.mirrored else "as seen from the face"
    return Heading(
        block=block.name,
        what=f"Foundation sections, {side}",
        size=f"Finished {block_size(block)}",
        allowance=allowance_words(allowance, block.unit),
        corners=f"{found.corners.capitalize()} corners",
    )


def foundation_drawings(
    found: Foundation, style: PrintStyle = DEFAULT_STYLE
) -> tuple[Drawing, ...]:
    """A drawing for each section, and a map of them if there are several."""
    drawings = [_section_drawing(found, section, style) for section in found.sections]
    if len(drawings) > 1:
        drawings.append(_map(found, style))
    return tuple(drawings)


def foundation_pages(
    drawings: Sequence[Drawing], settings: SheetSettings, head: Heading, most: int = MOST_SHEETS
) -> tuple[Page, ...]:
    """The drawings of sections on sheets; their map is left out where it would take one more.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    # The map is a help, not a part: it may fill a gap, but costs no sheet.
    sections = [drawing for drawing in drawings if drawing.id != MAP]
    alone = lay_out(sections, settings, head, most)
    if len(sections) == len(drawings):
        return alone
    try:
        pages = lay_out(drawings, settings, head, len(alone))
    except BlockError:
        return alone
    return pages if len(pages) <= len(alone) else alone


# --- from the face to the print -----------------------------------------------------------------


def _to_print(section: FoundationSection, style: PrintStyle) -> PointMap:
    """From the face of the block to the print; the section's corner goes to the origin."""
    ring = paths.ring(section.cut)
    left, right = min(p[0] for p in ring), max(p[0] for p in ring)
    top = min(p[1] for p in ring)
    if style.mirrored:
        return lambda p: (right - p[0], p[1] - top)
    return lambda p: (p[0] - left, p[1] - top)


def _section_drawing(found: Foundation, section: FoundationSection, style: PrintStyle) -> Drawing:
    at = _to_print(section, style)
    sewn, cut = style.weight("sewing-line"), style.weight("cutting-line")
    marks: list[Mark] = [
        Stroke("cutting-line", mapped(section.cut, at), closed=True, weight=cut),
        Stroke("sewing-line", mapped(section.outline, at), closed=True, weight=sewn),
    ]
    marks += [Stroke("sewing-line", mapped((seam,), at), weight=sewn) for seam in section.seams]
    marks += _in_allowance(found, section, at)
    marks += _patch_labels(found, section, at)
    side = "the mirror image of the face" if style.mirrored else "as seen from the face"
    title = f"Section {section.id}"
    description = (
        f"{title} of {found.block.name}, {side}: {counted(len(section.patches), 'piece')}, sewn in "
        "the order of their numbers. The dashed lines are sewn, the solid line is cut."
    )
    return drawn(section.id, title, description, marks)


# --- what stands in the allowance -----------------------------------------------------------------


def _in_allowance(found: Foundation, section: FoundationSection, at: PointMap) -> Iterator[Mark]:
    """Pairing marks with their numbers, and in grey what each seam is joined to."""
    for edge in section.edges:
        marks = [m for m in section.marks if _lies_on(edge.line, m)]
        for mark in (m for m in marks if m.away > 0):
            yield line("notch", at(mark.at), at(plus(mark.at, mark.out, mark.away)))
        if marks and marks[0].away >= _LEAST_STRIP:
            yield from _words(found, section, edge, marks, at)


def _lies_on(edge: Line, mark: SeamMark) -> bool:
    """Whether a mark stands on an edge; two edges back to back differ by the side it is on."""
    t, gap = paths.nearest(edge, mark.at)
    along = normalised(minus(edge.end, edge.start))
    same_way = distance(outward(along), mark.out) < 0.1
    return gap < 0.05 and 0 < t < 1 and same_way


def _words(
    found: Foundation,
    section: FoundationSection,
    edge: SeamEdge,
    marks: Sequence[SeamMark],
    at: PointMap,
) -> Iterator[Mark]:
    """The numbers beside their marks, and the words in the longest stretch that is left."""
    away = marks[0].away
    size = min(_LARGEST_IN_ALLOWANCE, _IN_ALLOWANCE * away)
    start, end = edge.line.start, edge.line.end
    length = distance(start, end)
    along = normalised(minus(end, start))
    # ``taken`` has in turn where a free stretch of the edge begins and where it ends.
    stops = sorted((distance(start, m.at), m.number) for m in marks)
    taken = [0.0]
    for n, (stop, number) in enumerate(stops):
        wide = fonts.text_width(str(number), size, True)
        nearest = stops[n + 1][0] if n + 1 < len(stops) else length
        middle = stop + CLEAR / 2 + wide / 2
        # A number stands after its mark, if the next mark is far enough.
        if middle + wide / 2 + CLEAR / 2 > nearest:
            taken += [stop, stop]
            continue  # the marks alone pair up in their order
        spot = plus(plus(start, along, middle), outward(along), away / 2)
        yield _upright(str(number), at(spot), at(start), at(end), size, "label", True)
        taken += [stop, middle + wide / 2]
    taken.append(length)
    gaps = list(zip(taken[::2], taken[1::2], strict=True))
    low, high = max(gaps, key=lambda gap: gap[1] - gap[0])
    for words in _joined_to(found, section, edge.step):
        if fonts.text_width(words, size) + 2 * CLEAR <= high - low:
            spot = plus(plus(start, along, (low + high) / 2), outward(along), away / 2)
            yield _upright(words, at(spot), at(start), at(end), size, "joining", False)
            return


def _joined_to(found: Foundation, section: FoundationSection, step: int) -> tuple[str, ...]:
    """What a seam is joined to: the unit, and more shortly the number of the join."""
    join = found.steps[step]
    others = join.second if section.id in join.first else join.first
    names, number = _unit_name(others), step + 1
    note = ""
    if join.finished_by is not None:
        note = ", half at first"
    elif join.finishes is not None:
        note = f", then finish {join.finishes + 1}"
    plain = (f"join {number}: to {names}", f"{number}: {names}", f"join {number}")
    return (*(f"{words}{note}" for words in plain), *plain[1:]) if note else plain


def _in_parts(step: SectionJoin) -> str:
    """What is sewn of a partial seam, and what of another one after the seam itself."""
    words = ""
    if step.finished_by is not None:
        later = step.finished_by + 1
        words += f": to the middle of the seam, from the end that join {later} does not reach"
    if step.finishes is not None:
        words += f"; then finish the seam of join {step.finishes + 1}"
    return words


def _unit_name(sections: Sequence[str]) -> str:
    """A unit by its sections, the middle ones left out if there are many.

    >>> _unit_name("ABC"), _unit_name("ABCDEFGH")
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


def _patch_labels(found: Foundation, section: FoundationSection, at: PointMap) -> Iterator[Mark]:
    names = {fabric.id: fabric.name for fabric in found.block.fabrics}
    pieces = {piece.id: piece for piece in found.block.pieces}
    crowded: list[tuple[Patch, Polygon]] = []
    labels: list[Polygon] = []
    for patch in section.patches:
        shape = polygon_of(mapped(pieces[patch.piece].outline, at))
        found_place = _inside(section.id, patch, shape, names)
        if found_place is None:
            crowded.append((patch, shape))
            continue
        block, spot, turn = found_place
        labels.append(rectangle_of(block, spot, turn))
        yield from block.placed(spot, turn)
    if crowded:
        cut = polygon_of(mapped(section.cut, at))
        yield from _outside(section.id, crowded, cut, labels)


def _inside(
    letter: str, patch: Patch, shape: Polygon, names: Mapping[str, str]
) -> tuple[TextBlock, Point, float] | None:
    """The label of a patch inside it: number and fabric if there is room, else the number."""
    room = largest_room(shape)
    for block in _text_blocks(letter, patch, names):
        for turn in turns(shape):
            for spot in places(room, block, turn):
                return block, spot, turn
    return None


def _text_blocks(letter: str, patch: Patch, names: Mapping[str, str]) -> Iterator[TextBlock]:
    number = f"{letter}{patch.number}"
    cloth = names.get(patch.fabric or "", patch.fabric or "")
    message = [fonts.shortened(cloth, 1.0, ems) for ems in _NAME_LENGTHS] if cloth else []
    # Short names are equal when shortened: each is tried once.
    for name in dict.fromkeys(message):
        for size in SIZES:
            yield text_block([(number, size * _NUMBER, True), (name, size, False)])
            yield text_block([(f"{number} {name}", size, False)])
    for size in _NUMBER_SIZES:
        yield text_block([(number, size, True)])


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


# --- the map --------------------------------------------------------------------------------------


def _map(found: Foundation, style: PrintStyle) -> Drawing:
    """The block made small: where each section belongs, and the order of joining in words."""
    left, top, right, bottom = extent(found.block.pieces)
    scale = _MAP_SIZE / max(right - left, bottom - top)

    def at(p: Point) -> Point:
        x = right - p[0] if style.mirrored else p[0] - left
        return (x * scale, (p[1] - top) * scale)

    marks: list[Mark] = []
    # Each section's id in the largest letters that have room; a very small one goes without.
    for section in found.sections:
        outline = mapped(section.outline, at)
        marks.append(Stroke("map", outline, closed=True))
        shape = polygon_of(outline)
        room = largest_room(shape, _CLEAR_ON_MAP)
        blocks = (text_block([(section.id, size, True)]) for size in (0.17, *_NUMBER_SIZES))
        placed = (
            block.placed(spot, turn)
            for block in blocks
            for turn in (0.0, -90.0)
            for spot in places(room, block, turn)
        )
        marks += next(placed, [])
    message = ["Order of joining"]
    message += [
        f"{k}. {_unit_name(step.first)} to {_unit_name(step.second)}{_in_parts(step)}"
        for k, step in enumerate(found.steps[:_MOST_STEPS], 1)
    ]
    if len(found.steps) > _MOST_STEPS:
        message.append(f"… to join {len(found.steps)}, as the seams say")
    y = (bottom - top) * scale + 0.2
    size = 0.1
    for n, words in enumerate(message):
        for part in fonts.wrapped(words, size, _MAP_SIZE + 0.5, bold=n == 0):
            marks.append(Text(part, (0.0, y), size, bold=n == 0))
            y += 1.3 * size
    side = "as printed" if style.mirrored else "as seen from the face"
    title = "Map of the sections"
    return drawn(MAP, title, f"{title} of {found.block.name}, {side}.", marks, to_scale=False)
