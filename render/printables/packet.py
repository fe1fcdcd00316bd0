"""A packet: a cover and the parts behind it, numbered through as one document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.printables.cover import Contents, Cover, cover_drawings
from piecewright.render.printables.text_column import column, column_pages
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings


@dataclass(frozen=True, slots=True)
class Chapter:
    """A part of a packet: its title, as bookmarks and contents have it, and its sheets."""

    title: str
    pages: tuple[Page, ...]


def bound(chapters: Sequence[Chapter], most: int = MOST_SHEETS) -> tuple[Chapter, ...]:
    """The chapters with their sheets counted through.

    Raises:
        BlockError: there are more than ``most`` sheets (``too-many-sheets``).
    """
    pages = numbered(page for chapter in chapters for page in chapter.pages)
    if len(pages) > most:
        message = (
            f"this packet needs {len(pages)} sheets, and {most} is the most; leave out parts, or "
            "take larger paper or a smaller finished size"
        )
        raise BlockError([Fault("/sheet", "too-many-sheets", message)])
    made = []
    start = 0
    for chapter in chapters:
        end = start + len(chapter.pages)
        made.append(Chapter(chapter.title, pages[start:end]))
        start = end
    return tuple(made)


def cover_chapter(
    cover: Cover, heading: Heading, chapters: Sequence[Chapter], settings: SheetSettings
) -> Chapter:
    """The cover for what lies behind it.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    room = column(settings)
    # The cover names pages that come after it, so that its own length has to be known: it is made
    # for one sheet first, then for as many as that took.
    own = 1
    while True:
        contents = []
        first = own + 1
        for chapter in chapters:
            contents.append(Contents(chapter.title, first, len(chapter.pages)))
            first += len(chapter.pages)
        drawings = cover_drawings(cover, contents, room.width, room.height)
        pages = column_pages(drawings, room, heading)
        # Page numbers of more digits never shorten a cover, so this comes to an end.
        if len(pages) <= own:
            return Chapter("Cover", tuple(pages))
        own = len(pages)
