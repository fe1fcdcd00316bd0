"""Pages as JSON answers describe them."""

from __future__ import annotations

from piecewright.render.output.page_json import page_json
from piecewright.render.sheets.layout import lay_out
from tests.render.specimens import HEADING, paper, plain


def test_page_is_described_in_the_unit_asked_for() -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    item = page.items[0]
    assert page_json(page, "mm") == {
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
    told = [page_json(page, "in") for page in pages]
    assert [(page["of"], page["row"], page["column"]) for page in told] == [
        ("A", 1, 1),
        ("A", 1, 2),
    ]
