"""The map of a foundation's sections: where each belongs, and the order of joining in words."""

from __future__ import annotations

from typing import Final

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.foundation.plan import Foundation, SectionJoin
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import SIZES, largest_room, places, text_block
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, Text, drawn, mapped
from piecewright.render.printables.foundation.print_style import PrintStyle
from piecewright.render.printables.foundation.sections import unit_by_sections

MAP: Final = "(map)"
"""The id of the drawing of the map."""

_MOST_STEPS: Final = 40
"""Joins that are listed below the map."""

_MAP_SIZE: Final = 2.0
_SMALL_MAP: Final = 1.3
"""Inches; its longer side, and that of the one for sheets that have less room."""

_CLEAR_ON_MAP: Final = 0.02
"""Inches between an id on the map and the lines, which are thin there."""


_LETTERS: Final = 0.1
"""Inches to the em; of what is said above and below it."""


def section_maps(found: Foundation, style: PrintStyle) -> tuple[Drawing, Drawing]:
    """The map with the order of joining, and a small one without, for want of room.

    They lie as the sections are printed: so a foundation is found on the map as it lies.
    """
    return _map(found, style, _MAP_SIZE, True), _map(found, style, _SMALL_MAP, False)


def _map(found: Foundation, style: PrintStyle, longest: float, joins: bool) -> Drawing:
    left, top, right, bottom = extent(found.block.pieces)
    scale = longest / max(right - left, bottom - top)
    side = "mirrored as the print is" if style.mirrored else "as seen from the face"
    marks: list[Mark] = []
    y = _written([f"Map of the sections, {side}"], 0.0, marks)

    def at(p: Point) -> Point:
        x = right - p[0] if style.mirrored else p[0] - left
        return (x * scale, y + (p[1] - top) * scale)

    # Each section's id in the largest letters that have room; a very small one goes without.
    for section in found.sections:
        outline = mapped(section.outline, at)
        marks.append(Stroke("map", outline, closed=True))
        room = largest_room(polygon_of(outline), _CLEAR_ON_MAP)
        blocks = (text_block([(section.id, size, True)]) for size in SIZES)
        placed = (
            block.placed(spot, turn)
            for block in blocks
            for turn in (0.0, -90.0)
            for spot in places(room, block, turn)
        )
        marks += next(placed, [])
    if joins:
        _written(_order_of_joining(found), y + (bottom - top) * scale + 0.06, marks)
    title = "Map of the sections"
    return drawn(MAP, title, f"{title} of {found.block.name}, {side}.", marks, to_scale=False)


def _order_of_joining(found: Foundation) -> list[str]:
    if not found.steps:
        return []
    message = ["Order of joining"]
    message += [
        f"{k}. {unit_by_sections(step.first)} to {unit_by_sections(step.second)}{_in_parts(step)}"
        for k, step in enumerate(found.steps[:_MOST_STEPS], 1)
    ]
    if len(found.steps) > _MOST_STEPS:
        message.append(f"… to join {len(found.steps)}, as the seams say")
    return message


def _in_parts(step: SectionJoin) -> str:
    """What is sewn of a partial seam, and what of another one after the seam itself."""
    words = ""
    if step.finished_by is not None:
        later = step.finished_by + 1
        words += f": to the middle of the seam, from the end that join {later} does not reach"
    if step.finishes is not None:
        words += f"; then finish the seam of join {step.finishes + 1}"
    return words


def _written(message: list[str], top: float, marks: list[Mark]) -> float:
    """Put lines of text below ``top`` to the marks, the first in bold; how far down they go."""
    y = top
    for n, words in enumerate(message):
        for part in fonts.wrapped(words, _LETTERS, _MAP_SIZE + 0.5, bold=n == 0):
            y += 1.3 * _LETTERS
            marks.append(Text(part, (0.0, y - 0.3 * _LETTERS), _LETTERS, bold=n == 0))
    return y + 0.06
