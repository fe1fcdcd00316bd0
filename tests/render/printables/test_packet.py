"""The cover and the packet: nothing clipped or overprinted, and contents that tell the truth."""

from __future__ import annotations

import itertools
import re

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import extent
from piecewright.patchwork.faults import BlockError
from piecewright.render.drawing.marks import Box, Drawing, Stroke, Text, mark_box
from piecewright.render.printables.cover import SAFETY, Contents, Cover, Picture, cover_drawings
from piecewright.render.printables.packet import Chapter, bound, cover_chapter
from piecewright.render.printables.text_column import column
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import PAPERS
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.specimens import HEADING, quarter_circle

STAR = catalogue.load("sawtooth-star")
LONG = "A block of the harbour guild with a name that nobody would fit on one line of a cover"


def cover_of(*names: str, cautions: int = 0) -> Cover:
    pictures = tuple(Picture(catalogue.load(name), f"{name} for Ada") for name in names)
    message = "piece 'a1' is narrower than twice its seam allowance; trim the seams after sewing"
    return Cover(
        LONG, ("Finished 12 × 12 in", "Seam allowance 1/4 in"), pictures, (message,) * cautions
    )


def contents(parts: int) -> list[Contents]:
    return [Contents(f"Part {n} of the packet", 2 + 3 * n, 1 + n % 3) for n in range(parts)]


def texts(drawing: Drawing) -> list[tuple[Text, Box]]:
    found = [(m, mark_box(m)) for m in drawing.marks if isinstance(m, Text)]
    return [(text, box) for text, box in found if box is not None]


def chapter(title: str, sheets: int) -> Chapter:
    """A part of as many sheets, each full."""
    drawings = [quarter_circle(f"{title}-{n}", 6) for n in range(sheets)]
    pages = [p for d in drawings for p in lay_out([d], SheetSettings(), HEADING)]
    assert len(pages) == sheets
    return Chapter(title, tuple(pages))


@pytest.mark.parametrize("paper", ["letter", "a4", "a5", "legal", "tabloid"])
@pytest.mark.parametrize(
    "names", [("sawtooth-star",), ("pineapple", "flying-geese", "spools", "kaleidoscope")]
)
def test_nothing_on_a_cover_overlaps_or_leaves_its_column(
    names: tuple[str, ...], paper: str
) -> None:
    size = PAPERS[paper]
    room = column(SheetSettings(size.width, size.height))
    drawings = cover_drawings(cover_of(*names, cautions=9), contents(6), room.width, room.height)
    for drawing in drawings:
        assert drawing.box.right <= room.width + 0.02
        assert drawing.box.bottom <= room.height + 0.02
        for (_, one), (_, other) in itertools.combinations(texts(drawing), 2):
            assert not one.grown(-0.002).meets(other.grown(-0.002))


def test_a_cover_says_what_to_mind_about_blades_irons_and_needles() -> None:
    message = " ".join(
        text.text for d in cover_drawings(cover_of("spools"), [], 7.4, 8.0) for text, _ in texts(d)
    )
    for word in ("Rotary cutter", "iron is hot", "needles", "test squares"):
        assert word in message
    assert len(SAFETY) == 3


def test_the_block_is_drawn_in_proportion() -> None:
    geese = catalogue.load("flying-geese")
    left, top, right, bottom = extent(geese.pieces)
    (drawing,) = cover_drawings(cover_of("flying-geese"), [], 7.4, 8.0)
    outlines = [m for m in drawing.marks if isinstance(m, Stroke) and m.kind == "tint" and m.closed]
    boxes = [box for m in outlines[: len(geese.pieces)] if (box := mark_box(m))]
    wide = max(b.right for b in boxes) - min(b.x for b in boxes)
    high = max(b.bottom for b in boxes) - min(b.y for b in boxes)
    assert wide / high == pytest.approx((right - left) / (bottom - top), rel=1e-6)


def test_many_cautions_are_counted_rather_than_left_out_unsaid() -> None:
    drawings = cover_drawings(cover_of("spools", cautions=30), [], 7.4, 8.0)
    message = " ".join(text.text for d in drawings for text, _ in texts(d))
    assert "18 further cautions" in message


def numbers_told(pages: tuple[Page, ...]) -> dict[str, int]:
    """The first page of each part, as the contents on a cover say."""
    told: dict[str, int] = {}
    for page in pages:
        words = [m for p in page.items for m in p.drawing.marks if isinstance(m, Text)]
        for title, place in itertools.pairwise(words):
            if found := re.fullmatch(r"pages? (\d+)(?: to \d+)?", place.text):
                told[title.text] = int(found[1])
    return told


@pytest.mark.parametrize("paper", ["letter", "a5"])
def test_contents_name_the_page_on_which_a_part_begins(paper: str) -> None:
    size = PAPERS[paper]
    settings = SheetSettings(size.width, size.height)
    parts = [chapter("Block map", 2), chapter("Templates", 3), chapter("Foundation", 1)]
    front = cover_chapter(cover_of("spools", cautions=12), Heading("b", "Packet"), parts, settings)
    made = bound([front, *parts])
    assert numbers_told(made[0].pages) == {one.title: one.pages[0].number for one in made[1:]}
    numbers = [page.number for one in made for page in one.pages]
    assert numbers == list(range(1, len(numbers) + 1))
    assert {page.count for one in made for page in one.pages} == {len(numbers)}


def test_too_many_sheets_together_are_refused() -> None:
    parts = [chapter("Block map", 2), chapter("Templates", 3)]
    assert len(bound(parts, most=5)) == 2
    with pytest.raises(BlockError) as refused:
        bound(parts, most=4)
    assert [(f.pointer, f.code) for f in refused.value.faults] == [("/sheet", "too-many-sheets")]


@pytest.mark.parametrize("paper", ["letter", "a4", "a5"])
def test_a_usual_cover_is_one_sheet(paper: str) -> None:
    size = PAPERS[paper]
    room = column(SheetSettings(size.width, size.height))
    cover = Cover("Spools", ("Finished 6 × 6 in",), (Picture(catalogue.load("spools")),))
    assert len(cover_drawings(cover, contents(5), room.width, room.height)) == 1
