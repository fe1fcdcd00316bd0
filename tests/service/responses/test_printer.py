"""A printer that prints a little too small or too large, and paper from a roll."""

from __future__ import annotations

import io

import pdfplumber
import pytest
from flask.testing import FlaskClient

PDF = "application/pdf"


def pages_of(client: FlaskClient, **more: object) -> list[tuple[float, float, float, float]]:
    """Paper and test square, each across and down, of every sheet, in points."""
    request = {"block": "sawtooth-star", "finish": {"width": 12}, **more}
    answer = client.post("/v1/templates", json=request, headers={"Accept": PDF})
    assert answer.status_code == 200, answer.json
    found = []
    with pdfplumber.open(io.BytesIO(answer.data)) as document:
        for page in document.pages:
            squares = [r for r in page.rects if 60 < r["width"] < 84 and 60 < r["height"] < 84]
            (square,) = squares
            found.append((page.width, page.height, square["width"], square["height"]))
    return found


@pytest.mark.parametrize(
    ("printer", "across", "down"),
    [
        ({"across": 0.96, "down": 1.02}, 0.96, 1.02),
        ({"across": "24 mm", "down": "26 mm"}, 24 / 25.4, 26 / 25.4),
        ({"across": 1, "down": 1}, 1.0, 1.0),
        ({"across": 1.05, "down": 1.1}, 1.05, 1.1),
        ({"across": "4.5 cm", "down": "5.5 cm"}, 0.9, 1.1),
        ({"across": "4.9 cm", "down": "5.1 cm"}, 0.98, 1.02),  # the 5 cm square was measured
    ],
)
def test_next_print_comes_out_true(
    client: FlaskClient, printer: dict[str, object], across: float, down: float
) -> None:
    for width, height, wide, high in pages_of(client, printer=printer):
        assert (width, height) == pytest.approx((612, 792), abs=0.01)
        # What the printer makes of the corrected square:
        assert wide * across == pytest.approx(72.0, abs=0.01)
        assert high * down == pytest.approx(72.0, abs=0.01)


def test_sheets_from_a_roll_are_as_wide_as_the_roll(client: FlaskClient) -> None:
    pages = pages_of(client, sheet={"roll": "24 in"})
    assert len(pages) == 1
    assert pages[0][0] == pytest.approx(24 * 72, abs=0.01)
