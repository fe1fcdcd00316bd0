"""The cards of a sewing plan: steps in order, nothing over a line, at the scale stated."""

from __future__ import annotations

import math
import re

import pytest

from piecewright.patchwork.block.model import finished
from piecewright.patchwork.sewing.plan import sewing_plan
from piecewright.patchwork.sewing.wording import CAUTION
from piecewright.render.drawing.marks import Drawing, Stroke, Text
from piecewright.render.printables.sewing_plan import HEIGHT, WIDTH, heading, sewing_plan_drawings
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sewn import NAMES, cards_of, plan_of, spoiled, stripes


def text_of(drawing: Drawing) -> str:
    return " ".join(m.text for m in drawing.marks if isinstance(m, Text))


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_written_over_a_line(name: str) -> None:
    for card in cards_of(name):
        assert spoiled(card) == [], card.id
        assert card.box.width == pytest.approx(WIDTH, abs=0.01)
        assert card.box.height == pytest.approx(HEIGHT, abs=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_every_step_is_on_a_card_after_those_that_it_needs(name: str) -> None:
    plan = plan_of(name)
    seen: list[int] = []
    for card in cards_of(name):
        found = re.match(r"Steps? ([\d, and]+)(more)?", card.title)
        if found and "(" not in card.title:
            if found.group(2):  # all of them are named below
                found = re.search(r"Steps ([\d, and]+)\.", text_of(card))
                assert found is not None
            numbers = [int(n) for n in re.findall(r"\d+", found.group(1))]
            for number in numbers:
                join = plan.order.joins[number - 1]
                for made in (join.first, join.second):
                    if made >= plan.order.pieces:
                        assert made - plan.order.pieces + 1 in seen
            seen += numbers
    assert sorted(seen) == list(range(1, len(plan.order.joins) + 1))


def test_the_first_cards_have_the_caution_and_what_suffers_first() -> None:
    cards = cards_of("sawtooth-star")
    assert CAUTION in text_of(cards[0])
    message = " ".join(text_of(card) for card in cards if card.id.startswith("overview"))
    assert "Where accuracy matters most" in message
    assert all(f" {n}. Step " in message for n in (1, 2, 3))
    assert "Seams nest at 4 of 4 seam intersections: no plan nests more." in message


def test_like_steps_share_a_card_that_says_how_many() -> None:
    cards = cards_of("sawtooth-star", 12.0)
    assert "Steps 1, 5, 7 and 11: make 4" in [card.title for card in cards]
    geese = next(c for c in cards if c.title.startswith("Steps 2,"))
    assert "Trim to 6 1/2 × 3 1/2 in." in text_of(geese)
    assert "Press toward Harbour navy, as the arrow shows." in text_of(geese)


def test_log_cabins_are_squared_up_after_each_round() -> None:
    message = [text_of(card) for card in cards_of("log-cabin", 9.0)]
    rounds = [s for s in message if "is done: square up from the centre" in s]
    assert len(rounds) == 4
    assert "to 3 1/2 × 3 1/2 in." in rounds[0]
    assert "to 9 1/2 × 9 1/2 in." in rounds[-1]


def test_set_in_seams_name_their_pivots_and_mark_them_on_both_units() -> None:
    card = next(c for c in cards_of("hexagon-rosette") if c.title == "Step 2")
    assert "at the pivot (diamond) stop with the needle down" in text_of(card)
    signs = [m for m in card.marks if isinstance(m, Stroke) and m.kind == "meeting"]
    assert sum(m.closed for m in signs) == 2
    # A bar on both units where the seam stops, as a later one pivots there.
    assert "Stop at the match point (bar)" in text_of(card)
    assert sum(not m.closed for m in signs) == 2


@pytest.mark.parametrize("name", ["nine-patch", "drunkards-path", "pineapple", "orange-peel"])
def test_a_step_is_drawn_at_the_scale_that_it_states(name: str) -> None:
    plan = plan_of(name)
    for card in cards_of(name):
        stated = re.search(r"drawn at (full size|1/(\d+) size)", text_of(card))
        found = re.match(r"Steps? (\d+)", card.title)
        if not stated or not found:
            continue
        scale = 1.0 / int(stated.group(2) or 1)
        step = plan.sewing.steps[int(found.group(1)) - 1]
        seams = [m for m in card.marks if isinstance(m, Stroke) and m.weight == 2.2]
        assert len(seams) == 2, "the seam on both units"
        start, end = step.seam[0], step.seam[-1]
        for mark in seams:
            drawn_long = math.dist(mark.segments[0].start, mark.segments[-1].end)
            assert drawn_long == pytest.approx(scale * math.dist(start, end), abs=1e-6)


@pytest.mark.parametrize(("width", "height"), [(8.5, 11.0), (8.27, 11.69), (11.0, 17.0)])
def test_cards_stand_in_their_order_upright(width: float, height: float) -> None:
    plan = plan_of("pineapple")
    cards = sewing_plan_drawings(plan)
    pages = lay_out(cards, SheetSettings(width, height), heading(plan))
    placed = [item for page in pages for item in page.items]
    assert [item.drawing.id for item in placed] == [card.id for card in cards]
    assert {item.turn for item in placed} == {0.0}
    for page in pages:
        rows = [(round(item.y, 3), round(item.x, 3)) for item in page.items]
        assert rows == sorted(rows), "left to right, then down"


def test_a_single_piece_has_nothing_to_sew() -> None:
    plan = sewing_plan(stripes(1))
    (card,) = sewing_plan_drawings(plan)
    assert "nothing to sew" in text_of(card)


def test_a_long_row_of_pieces_at_a_great_size_has_cards_too() -> None:
    plan = sewing_plan(finished(stripes(60), width=360.0))
    cards = sewing_plan_drawings(plan)
    for card in cards:
        assert card.box.width == pytest.approx(WIDTH, abs=0.01)
