"""Where test squares, rulers, words and maps stand on a sheet, so that they cost no sheet.

As a rule they stand along the bottom. Where a drawing needs that room they go where there is some
left: beside the drawings, or inside one where nothing is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing.marks import Box, Mark, mark_box, moved, reaches, turned
from piecewright.render.sheets import furniture
from piecewright.render.sheets.free_room import FreeRoom
from piecewright.render.sheets.furniture import (
    FIVE_CENTIMETRES,
    FOOTER_HEIGHT,
    GAP,
    INCH,
    RULE,
    SCALE_STRIP,
    Heading,
    Paragraph,
    PartsMap,
)
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.placed import PlacedDrawing

CLEAR_OF_SCALE: Final = 0.02
"""Inches between a drawing and the ticks of a ruler or the 1 in square."""

_BY_TURNING: Final = 0.05
"""By no more than this does the box of a mark, turned, reach out of the box of its drawing."""

_WIDTHS: Final = (7.0, 5.0, 3.6, 2.6, 1.9, 1.4, 1.1)
"""Inches; the widths in which words are set to find a place for them."""

_LETTERS: Final = (1.0, 0.85, 0.7)
"""Sizes of letters that are tried, as shares of those along the bottom."""

_NAMES: Final = (3.0, 2.0, 1.4, 1.0, 0.7, 0.5)
"""Inches; widths of the place for a name."""


@dataclass(frozen=True, slots=True)
class Furnished:
    """What stands on a sheet beside its drawings.

    Attributes:
        marks: at their places on the sheet.
        name_place: where a name can be put on the print; nothing else is there.
        inch, five: whether there is a 1 in and a 5 cm test square.
    """

    marks: tuple[Mark, ...]
    name_place: Box
    inch: bool
    five: bool


def furnished(
    sheet: Sheet,
    heading: Heading,
    items: Sequence[PlacedDrawing],
    to_scale: bool,
    place: Sequence[str],
    maps: Sequence[PartsMap],
) -> Furnished:
    """The furniture of a sheet.

    Args:
        items: what lies on the sheet.
        to_scale: whether anything can be measured on it; else it has no test squares.
        place: which sheet it is, as phrases.
        maps: of the divided drawings of which parts lie on it.
    """
    area = sheet.printable
    zones = [Box(area.x, area.bottom - FOOTER_HEIGHT, area.width, FOOTER_HEIGHT)]
    if to_scale:
        zones.append(furniture.corner(sheet).grown(GAP - 1e-6))
    if any(_drawn_in(zone, items) for zone in zones):
        return _searched(sheet, heading, items, to_scale, place, maps)
    return _along_the_bottom(sheet, heading, items, to_scale, place, maps)


def has_squares(sheet: Sheet, items: Sequence[PlacedDrawing]) -> bool:
    """Whether both test squares find a place on a sheet, with the least words beside them."""
    if not _drawn_in(furniture.corner(sheet).grown(GAP - 1e-6), items):
        return True
    found = furnished(sheet, Heading("block", ""), items, True, ("page 1 of 1",), ())
    return found.five


def _drawn_in(zone: Box, items: Sequence[PlacedDrawing]) -> bool:
    """Whether anything is drawn in a zone."""
    for placed in items:
        # Boxes of thousands of marks take their time; most drawings do not come near.
        if placed.box.grown(_BY_TURNING).meets(zone) and any(
            reaches(mark, zone) for mark in (*placed.shown, *placed.joins)
        ):
            return True
    return False


# -- along the bottom


def _along_the_bottom(
    sheet: Sheet,
    heading: Heading,
    items: Sequence[PlacedDrawing],
    to_scale: bool,
    place: Sequence[str],
    maps: Sequence[PartsMap],
) -> Furnished:
    area, corner = sheet.printable, furniture.corner(sheet)
    top = area.bottom - FOOTER_HEIGHT
    beside = corner.right + furniture.CLEARANCE if to_scale else area.x
    marks: list[Mark] = []
    # The maps stand at the right end, the first of them furthest to the right.
    right = area.right
    high = FOOTER_HEIGHT - SCALE_STRIP - 0.05
    for one in maps:
        # The words keep two thirds of the room.
        width, height = one.size(sheet, 0.35 * (area.right - beside) / len(maps), high)
        # Off the place for a name, whose letters may be as high as that.
        bottom = area.bottom - SCALE_STRIP - 0.03
        inset = 0.01  # half a line, and some
        marks += one.marks(sheet, Box(right - inset - width, bottom - height, width, height))
        right -= inset + width + GAP
    strip = Box(beside, top, right - beside, FOOTER_HEIGHT - SCALE_STRIP)
    marks += furniture.set_in(furniture.footer(sheet, heading, place), strip, from_top=False)
    if to_scale:
        start = (corner.x, corner.bottom)
        across = furniture.scale_across(sheet)
        up = furniture.whole_inches(_room_for_scale(sheet, items))
        marks += [
            *furniture.squares(start),
            *furniture.ruler(start, (1, 0), across),
            *furniture.ruler(start, (0, -1), up),
            furniture.ruler_label(start, across),
        ]
    return Furnished(tuple(marks), furniture.name_place(sheet, to_scale), to_scale, to_scale)


def _room_for_scale(sheet: Sheet, items: Sequence[PlacedDrawing]) -> float:
    """How long the ruler up the left side can be before it meets ink."""
    strip = furniture.longest_scale(sheet)
    near = strip.grown(CLEAR_OF_SCALE)
    lowest = strip.y
    for placed in items:
        if not placed.box.grown(_BY_TURNING).meets(near):
            continue
        boxes = (mark_box(mark) for mark in (*placed.shown, *placed.joins))
        lowest = max([lowest, *(b.bottom for b in boxes if b is not None and b.meets(near))])
    return strip.bottom - lowest


# -- wherever there is room


def _searched(
    sheet: Sheet,
    heading: Heading,
    items: Sequence[PlacedDrawing],
    to_scale: bool,
    place: Sequence[str],
    maps: Sequence[PartsMap],
) -> Furnished:
    # The words come before the squares where there is no room for both: without them a sheet
    # cannot be told from another.
    choices = ((True, True), (True, False), (False, False)) if to_scale else ((False, False),)
    for inch, five in choices:
        search = _Search(sheet, FreeRoom(sheet.printable, items))
        if inch and not search.squares(five):
            continue
        measure = inch and not five
        if search.words(furniture.footer(sheet, heading, place, measure)) or (
            search.least_words(furniture.essential(heading, place))
        ):
            break
    for one in maps:
        search.map(one)
    name = search.name()
    if to_scale:
        search.rulers()
    return Furnished(tuple(search.marks), name, inch, five)


class _Search:
    """What has found its place on a sheet so far."""

    def __init__(self, sheet: Sheet, room: FreeRoom) -> None:
        self._sheet, self._room = sheet, room
        self.marks: list[Mark] = []

    def _take(self, width: float, height: float, near: Point, inside: bool = True) -> Box | None:
        """A place for a box, beside the drawings if there is one, else inside one of them."""
        found = self._room.place(width, height, near, inside=False)
        if found is None and inside:
            found = self._room.place(width, height, near, inside=True)
        if found is not None:
            self._room.take(found)
        return found

    def squares(self, five: bool) -> bool:
        """The test squares; False if there is no room for them."""
        side = FIVE_CENTIMETRES if five else INCH
        corner = furniture.corner(self._sheet)
        found = self._take(side, side, (corner.x, corner.bottom - side))
        if found is None:
            return False
        self.marks += furniture.squares((found.x, found.bottom), five)
        return True

    def words(self, paragraphs: Sequence[Paragraph]) -> bool:
        """Words in letters that are easily read, upright or from below; False without room."""
        area = self._sheet.printable
        for inside in (False, True):
            for scale in _LETTERS:
                for width in _WIDTHS:
                    if width > max(area.width, area.height):
                        continue
                    texts, wide, high = furniture.in_column(paragraphs, width, scale)
                    if self._set(texts, wide, high, inside):
                        return True
        return False

    def least_words(self, paragraphs: Sequence[Paragraph]) -> bool:
        for width in (*_WIDTHS, 0.8, 0.6):
            texts, wide, high = furniture.in_column(paragraphs, width, 1.0)
            if self._set(texts, wide, high, True):
                return True
        return False

    def _set(self, texts: Sequence[Mark], wide: float, high: float, inside: bool) -> bool:
        area = self._sheet.printable
        upright = (area.right - wide, area.bottom - high)
        found = self._room.place(wide, high, upright, inside)
        if found is not None:
            self.marks += [moved(text, found.x, found.y) for text in texts]
        else:
            from_below = (area.right - high, area.bottom - wide)
            found = self._room.place(high, wide, from_below, inside)
            if found is None:
                return False
            self.marks += [moved(turned(text, 270.0), found.x, found.bottom) for text in texts]
        self._room.take(found)
        return True

    def map(self, one: PartsMap) -> None:
        area = self._sheet.printable
        for share in (1.0, 0.7, 0.5):
            width, height = one.size(self._sheet, share, share)
            found = self._take(width, height, (area.right - width, area.bottom - height))
            if found is not None:
                self.marks += one.marks(self._sheet, found)
                return

    def name(self) -> Box:
        """The place for a name; the least of it is there in any case."""
        area, usual = self._sheet.printable, furniture.name_place(self._sheet)
        for width in _NAMES:
            near = (area.right - width, usual.y)
            found = self._take(width, usual.height, near)
            if found is not None:
                return found
        return usual

    def rulers(self) -> None:
        """A ruler across and one down, as long as there is room for."""
        area, corner = self._sheet.printable, furniture.corner(self._sheet)
        thick = RULE + furniture.INCH_TICK
        across = False
        for length in (4.0, 3.0, 2.0, 1.0):
            beside = RULE + furniture.LABEL_WIDTH
            found = self._take(length + beside, thick, (corner.x, area.bottom - thick))
            if found is not None:
                start = (found.x, found.bottom - RULE)
                self.marks += furniture.ruler(start, (1, 0), length)
                self.marks.append(furniture.ruler_label(start, length))
                across = True
                break
        for length in (4.0, 3.0, 2.0, 1.0):
            found = self._take(thick, length, (area.x, corner.bottom - length), inside=not across)
            if found is not None:
                self.marks += furniture.ruler((found.x + RULE, found.bottom), (0, -1), length)
                break
