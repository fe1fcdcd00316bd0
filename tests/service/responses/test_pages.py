"""How answers describe sheets."""

from __future__ import annotations

import pytest

from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import numbered
from piecewright.render.sheets.papers import Printer
from piecewright.service.responses.pages import Page, SheetCount, Sheets
from tests.render.specimens import HEADING, paper, plain


def test_page_is_described_in_the_unit_asked_for() -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    item = page.items[0]
    assert Page.to_json(page, "mm") == {
        "number": 1,
        "row": 1,
        "column": 1,
        "of": None,
        "sheet": {"width": 215.9, "height": 279.4, "margin": 6.35},
        "printer": {"across": 25.4, "down": 25.4},
        "window": {"x": 6.35, "y": 6.35, "width": 203.2, "height": 238.76, "turn": 0.0},
        "items": [
            {
                "drawing": "A",
                "x": round(item.x * 25.4, 6),
                "y": round(item.y * 25.4, 6),
                "turn": 0.0,
                "row": 1,
                "column": 1,
                "window": None,
            },
        ],
    }


def test_part_is_described_by_its_window_on_the_drawing() -> None:
    (page,) = lay_out([plain("A", 14, 3)], paper("letter", "portrait"), HEADING)
    answer = Page.to_json(page, "in")
    items = answer["items"]
    assert [(item["drawing"], item["row"], item["column"]) for item in items] == [
        ("A", 1, 1),
        ("A", 1, 2),
    ]
    assert {item["window"]["height"] for item in items} == {3}
    assert sum(item["window"]["width"] for item in items) == pytest.approx(14.25)
    assert answer["of"] is None
    (alone, _) = lay_out([plain("A", 14, 10)], paper("letter", "portrait"), HEADING)
    page_alone = Page.to_json(alone, "in")
    assert (page_alone["of"], page_alone["row"], page_alone["column"]) == ("A", 1, 1)
    assert page_alone["window"] == page_alone["items"][0]["window"]


def test_sheets_are_counted_with_what_is_proven() -> None:
    # The second sheet is needed: two circles of 6 in have no room on one.
    drawings = [plain("A", 7, 7), plain("B", 7, 7)]
    pages = lay_out(drawings, paper("letter"), HEADING)
    assert Sheets.to_json(SheetCount.of(pages)) == {"count": 2, "least": 2, "proven": True}
    both = numbered([*pages, *lay_out(drawings[:1], paper("letter"), HEADING)])
    assert Sheets.to_json(SheetCount.of(both)) == {"count": 3, "least": 3, "proven": True}


@pytest.mark.parametrize(
    "printer", [Printer(0.98, 1.01), Printer(1.1, 0.9), Printer(0.9, 0.9), Printer(1.003, 1.0)]
)
def test_page_says_what_it_is_corrected_for(printer: Printer) -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("a4", printer=printer), HEADING)
    assert Page.to_json(page, "mm")["printer"] == {
        "across": pytest.approx(printer.across * 25.4, abs=1e-6),
        "down": pytest.approx(printer.down * 25.4, abs=1e-6),
    }
