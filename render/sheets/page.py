"""A page: a sheet, the drawings or parts of drawings that lie on it, and what stands beside them.

A place on a sheet is inches from its top left corner, x right and y down.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from piecewright.render.drawing.marks import Box, Mark
from piecewright.render.sheets.furnishing import Furnished, furnished
from piecewright.render.sheets.furniture import Heading, PartsMap
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.placed import PlacedDrawing, Window


@dataclass(frozen=True)
class Page:
    """A sheet and what it shows.

    Attributes:
        area: what of the sheet there is for drawings, in the sheet's coordinates.
        number, count: this sheet and all sheets of the document, from 1.
        own: its number among the sheets that were laid out with it, from 1.
        least: how many of these are needed in any layout.
    """

    sheet: Sheet
    heading: Heading
    area: Box
    items: tuple[PlacedDrawing, ...]
    number: int = 1
    count: int = 1
    own: int = 1
    least: int = 1

    @property
    def parts(self) -> tuple[PlacedDrawing, ...]:
        """The parts of divided drawings on it."""
        return tuple(p for p in self.items if p.part and len(p.part.cells) > 1)

    @property
    def to_scale(self) -> bool:
        """Whether anything can be measured on it."""
        return not self.items or any(p.drawing.to_scale for p in self.items)

    @property
    def title(self) -> str:
        """What is on the sheet, in a line."""
        titles: dict[str, list[str]] = {}
        for placed in self.items:
            own = titles.setdefault(placed.drawing.title, [])
            if placed.part and placed.part.title:
                own.append(placed.part.title)
        return ", ".join(" · ".join([title, *parts]) for title, parts in titles.items())

    @property
    def _single(self) -> PlacedDrawing | None:
        """The part that has the sheet for itself; None where there is none."""
        return self.items[0] if len(self.items) == 1 and self.items[0].part else None

    @property
    def of(self) -> str | None:
        """The id of the drawing of which the sheet shows one part and nothing else."""
        return self._single.drawing.id if self._single else None

    @property
    def row(self) -> int:
        return self._single.row if self._single else 1

    @property
    def column(self) -> int:
        return self._single.column if self._single else 1

    @property
    def window(self) -> Window:
        """What the only part shows of its drawing; else the room for drawings on the sheet."""
        if self._single is not None and self._single.window is not None:
            return self._single.window
        return Window(self.area.x, self.area.y, self.area.width, self.area.height)

    @cached_property
    def furnished(self) -> Furnished:
        """Test squares, rulers, words, maps and the place for a name."""
        place = [f"page {self.number} of {self.count}"] if self.sheet.orientation else []
        places = []
        for placed in self.parts:
            part = placed.part
            assert part is not None
            place.append(f"{placed.drawing.title} {part.title}")
            pages = tuple(number + self.number - self.own for number in part.pages)
            places.append(PartsMap(placed.drawing.title, part.cells, pages, self.number))
        # Parts of one drawing share its map.
        maps = tuple(dict.fromkeys(places))
        # A canvas is no sheet of paper: it is not counted.
        return furnished(self.sheet, self.heading, self.items, self.to_scale, place, maps)

    @property
    def furniture(self) -> tuple[Mark, ...]:
        """All that stands on the sheet beside its drawings, at its place on the sheet."""
        return self.furnished.marks

    @property
    def name_place(self) -> Box:
        """Where a name can be put on the print; nothing else is there."""
        return self.furnished.name_place


def numbered(pages: Iterable[Page]) -> tuple[Page, ...]:
    """The pages counted through from 1, so that several sets can make one document."""
    pages = tuple(pages)
    return tuple(
        replace(page, number=number, count=len(pages)) for number, page in enumerate(pages, 1)
    )
