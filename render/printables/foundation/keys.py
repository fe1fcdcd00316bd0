"""The key of a foundation: a small coloured view of the section from the face, and its fabrics.

With it a sheet is enough by itself: which section it is, how many are made of it, how it will look
from the right side, and the rectangle of fabric to cut for each patch.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.cutting.rotary import Ruler
from piecewright.patchwork.foundation.like_sections import LikeSections
from piecewright.patchwork.foundation.plan import Foundation
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.fabric_fills import fabric_fills, filled
from piecewright.render.drawing.labels import (
    CLEAR,
    LEAST_SIZE,
    SIZES,
    Room,
    TextBlock,
    in_room,
    inside,
    largest_room,
    parts_on_sheets,
    text_block,
)
from piecewright.render.drawing.marks import (
    Drawing,
    Mark,
    Stroke,
    Text,
    drawn,
    mapped,
    moved,
    text_corners,
)
from piecewright.render.drawing.shapes import mark_shape
from piecewright.render.printables.foundation.sections import size_of, title_of

_VIEWS: Final = (1.4, 1.1, 0.8)
"""Inches; the longer side of the view beside a section, and of those inside a patch."""

_LETTERS: Final = 0.1
_LEADING: Final = 1.3
_GAP: Final = 0.12
"""Inches between view and words."""

_WIDTHS: Final = (2.2, 3.2)
"""Inches; of the words of a key, below the view and beside it."""

_NUMBERS: Final = tuple(size for size in SIZES if size <= _LETTERS)
"""Inches to the em; of the numbers on a view."""

_LEAST_PATTERN: Final = 0.02
"""Square inches on the paper; smaller patches have no pattern."""


def key_drawings(
    found: Foundation, like: LikeSections, rule: Ruler, blocks: int
) -> tuple[Drawing, ...]:
    """The key of a foundation in several shapes, of which one is printed; all have one id.

    Args:
        rule: that the sizes of fabric are rounded up to.
        blocks: how many are made.
    """
    view, (wide, high) = _view(found, like, _VIEWS[0])
    head = _head(like, blocks)
    title = f"Key of {_in_a_sentence(like)}"
    description = f"{title}, as seen from the face, with the fabric to cut for each patch."
    drawings = []
    for width in _WIDTHS:
        lines = _lines(found, like, rule, head, width)
        if width == _WIDTHS[0]:
            marks = [*view, *(moved(mark, 0.0, high + _GAP) for mark in lines)]
        else:
            marks = [*view, *(moved(mark, wide + _GAP, 0.0) for mark in lines)]
        drawings.append(drawn(f"{like.first.id} (key)", title, description, marks, to_scale=False))
    return tuple(drawings)


def _in_a_sentence(like: LikeSections) -> str:
    """The title of sections, as it stands within a sentence."""
    title = title_of(like)
    return f"{title[:1].lower()}{title[1:]}"


def _head(like: LikeSections, blocks: int) -> list[str]:
    """Which sections it is, and how many are sewn."""
    head = [title_of(like)]
    if blocks > 1:
        head.append(f"Make {like.make} a block, {like.make * blocks:,} in all")
    elif like.make > 1:
        head.append(f"Make {like.make}")
    return head


def _lines(
    found: Foundation, like: LikeSections, rule: Ruler, head: Sequence[str], width: float
) -> list[Mark]:
    """The words of a key below y = 0."""
    unit = found.block.unit
    names = {fabric.id: fabric.name for fabric in found.block.fabrics}
    # Rectangles of one size and fabric are cut together.
    cuts: dict[tuple[str, str], list[str]] = {}
    for patch in like.first.patches:
        cloth = names.get(patch.fabric or "", patch.fabric or "")
        cuts.setdefault((cloth, size_of(patch, rule, unit)), []).append(str(patch.number))
    said = [(message, True) for message in head]
    said.append(("From the face. Fabric to cut for the patches:", False))
    for (cloth, size), numbers in sorted(cuts.items(), key=lambda cut: cut[0][0]):
        name = f"{fonts.shortened(cloth, 1.0, 16.0)} " if cloth else ""
        said.append((f"{len(numbers)} × {name}{size}: {', '.join(numbers)}", False))
    marks: list[Mark] = []
    y = 0.0
    for message, bold in said:
        for words in fonts.wrapped(message, _LETTERS, width, bold):
            y += _LETTERS * _LEADING
            marks.append(Text(words, (0.0, y - 0.3 * _LETTERS), _LETTERS, bold=bold))
    return marks


def _view(
    found: Foundation, like: LikeSections, longest: float
) -> tuple[list[Mark], tuple[float, float]]:
    """The section from the face, its top left corner at the origin; and its width and height."""
    section = like.first
    pieces = {piece.id: piece for piece in found.block.pieces}
    left, top, right, bottom = polygon_of(section.outline).bounds
    scale = longest / max(right - left, bottom - top)

    def at(p: Point) -> Point:
        return ((p[0] - left) * scale, (p[1] - top) * scale)

    fills = fabric_fills(found.block)
    marks: list[Mark] = []
    numbers: list[Mark] = []
    shapes: list[tuple[Polygon, str]] = []
    for patch in section.patches:
        shapes.append((polygon_of(mapped(pieces[patch.piece].outline, at)), str(patch.number)))
    for patch, (shape, number) in zip(section.patches, shapes, strict=True):
        blocks = [text_block([(number, size, True)]) for size in _NUMBERS]
        spot = inside(shape, blocks)
        own = [] if spot is None else spot[0].placed(*spot[1:])
        numbers += own
        clear = [Polygon(text_corners(m)).buffer(0.02) for m in own if isinstance(m, Text)]
        outline = mapped(pieces[patch.piece].outline, at)
        marks += filled(fills[patch.fabric], outline, clear, plain=shape.area < _LEAST_PATTERN)
    marks += [
        Stroke("map", mapped(pieces[patch.piece].outline, at), closed=True)
        for patch in section.patches
    ]
    return [*marks, *numbers], ((right - left) * scale, (bottom - top) * scale)


def note_drawing(like: LikeSections, blocks: int) -> Drawing:
    """Which sections it is, and how many are sewn, in a line: for a sheet that has no room else."""
    message = ": ".join(_head(like, blocks))
    title = f"Note on {_in_a_sentence(like)}"
    marks = text_block([(message, LEAST_SIZE, True)]).placed((0.0, 0.0), 0.0)
    return drawn(f"{like.first.id} (key)", title, f"{message}.", marks, to_scale=False)


def view_inside(
    found: Foundation,
    like: LikeSections,
    drawing: Drawing,
    patches: Sequence[Polygon],
    blocks: int,
    windows: Sequence[Polygon],
) -> Drawing | None:
    """A foundation with the view and how many are made in a patch, if one has room for them.

    Args:
        patches: the shapes of the patches, as they lie in the drawing.
        windows: what of the drawing each sheet shows, where it goes over several.
    """
    rooms = _rooms(drawing, patches, windows)
    head = text_block([(words, _LETTERS, True) for words in (*_head(like, blocks), "the face")])
    for longest in _VIEWS:
        view, (wide, high) = _view(found, like, longest)
        width, height = max(wide, head.width), high + _GAP / 2 + head.height
        for room in rooms:
            spot = next(Room(room).places(TextBlock((), width, height), 0.0), None)
            if spot is None:
                continue
            x, y = spot
            below = (x, y + (height - head.height) / 2)
            placed = [moved(mark, x - wide / 2, y - height / 2) for mark in view]
            return _with_marks(drawing, [*placed, *head.placed(below, 0.0)])
    return None


def note_inside(
    like: LikeSections, drawing: Drawing, patches: Sequence[Polygon], blocks: int
) -> Drawing:
    """A foundation with how many are made in a patch, where one has room for the words."""
    head = _head(like, blocks)
    choices = [
        text_block([(words, letters, True) for words in lines])
        for letters in (_LETTERS, LEAST_SIZE)
        for lines in (head, [": ".join(head)])
    ]
    for room in _rooms(drawing, patches, ()):
        found = in_room(room, choices)
        if found is not None:
            return _with_marks(drawing, found[0].placed(*found[1:]))
    return drawing


def _rooms(
    drawing: Drawing, patches: Sequence[Polygon], windows: Sequence[Polygon]
) -> list[Polygon]:
    """Where patches are clear of what is drawn in them, the largest first."""
    drawn_there: list[BaseGeometry] = [
        Polygon(text_corners(m)) for m in drawing.marks if isinstance(m, Text)
    ]
    drawn_there += [mark_shape(m) for m in drawing.marks if m.kind == "leader"]
    taken = overlaid(
        shapely.union_all,
        [shape.buffer(CLEAR, join_style="mitre") for shape in drawn_there],
        on_block=False,
    )
    rooms = [
        largest_room(overlaid(shapely.difference, part, taken, on_block=False))
        for patch in patches
        for part in parts_on_sheets(patch, windows)
    ]
    return sorted(rooms, key=lambda room: -room.area)


def _with_marks(drawing: Drawing, marks: Sequence[Mark]) -> Drawing:
    return drawn(drawing.id, drawing.title, drawing.description, (*drawing.marks, *marks))
