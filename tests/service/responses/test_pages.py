"""How answers describe sheets."""

from __future__ import annotations

import pytest

from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.papers import Printer
from piecewright.service.responses.pages import Page
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
        "window": {"x": 6.35, "y": 6.35, "width": 203.2, "height": 238.76},
        "items": [
            {
                "drawing": "A",
                "x": round(item.x * 25.4, 6),
                "y": round(item.y * 25.4, 6),
                "turn": 0.0,
            },
        ],
    }


def test_tile_is_described_by_its_window_on_the_drawing() -> None:
    pages = lay_out([plain("A", 14, 3)], paper("letter", "portrait"), HEADING)
    answer = [Page.to_json(page, "in") for page in pages]
    assert [(page["of"], page["row"], page["column"]) for page in answer] == [
        ("A", 1, 1),
        ("A", 1, 2),
    ]


@pytest.mark.parametrize(
    "printer", [Printer(0.98, 1.01), Printer(1.1, 0.9), Printer(0.9, 0.9), Printer(1.003, 1.0)]
)
def test_page_says_what_it_is_corrected_for(printer: Printer) -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("a4", printer=printer), HEADING)
    assert Page.to_json(page, "mm")["printer"] == {
        "across": pytest.approx(printer.across * 25.4, abs=1e-6),
        "down": pytest.approx(printer.down * 25.4, abs=1e-6),
    }
