"""Items whose packet is the same but for the name share a master."""

from __future__ import annotations

from typing import Any

import pytest

from piecewright.service.batches.parse import read_batch
from piecewright.service.batches.print_jobs import Item, group_items, packet_request
from piecewright.service.settings import Settings
from tests.service.batches.asking import DEFAULTS


def numbers(items: list[dict[str, Any]], defaults: dict[str, Any] | None = None) -> list[Any]:
    given = {"defaults": DEFAULTS if defaults is None else defaults, "items": items}
    asked = read_batch(given, Settings())
    return [job.numbers for job in group_items(asked.items, asked.defaults)]


def test_names_alone_make_no_new_master() -> None:
    assert numbers([{"for": "Ada"}, {"for": "Bente"}, {}]) == [(1, 2, 3)]


def test_the_same_changes_in_another_order_make_one_job() -> None:
    first = {"unit": "cm", "sheet": {"paper": "a4", "margin": 1}}
    second = {"sheet": {"margin": 1, "paper": "a4"}, "unit": "cm"}
    assert numbers([first, {"unit": "cm"}, second]) == [(1, 3), (2,)]


@pytest.mark.parametrize(
    "change",
    [
        {"parts": ["templates"]},
        {"block": {"name": "Quay Square"}},
        {"corners": None},
        {"block": {}},
    ],
)
def test_a_change_to_what_is_so_already_is_none(change: dict[str, Any]) -> None:
    assert numbers([{"for": "Ada"}, {"for": "Bente", **change}]) == [(1, 2)]


def test_what_differs_deep_inside_is_told_apart() -> None:
    other = {"block": {"pieces": [{"id": "a", "outline": [[0, 0], [3, 0], [3, 4]]}]}}
    assert numbers([{}, other, {}]) == [(1, 3), (2,)]


def test_a_null_inside_a_list_is_a_value() -> None:
    plain = {"block": {"pieces": [{"id": "a", "fabric": None}]}}
    assert numbers([plain, {"block": {"pieces": [{"id": "a"}]}}]) == [(1,), (2,)]


def test_text_and_numbers_are_told_apart() -> None:
    assert numbers([{"finish": {"width": 4}}, {"finish": {"width": "4"}}]) == [(1,), (2,)]


def test_a_whole_request_is_told_apart_from_changes() -> None:
    items = [Item("Ada", {"block": "pinwheel"}, whole=True), Item("Bente", {"block": "pinwheel"})]
    same, other = group_items(items, {}), group_items(items, {"unit": "cm"})
    assert [job.numbers for job in same] == [(1, 2)]
    assert [job.numbers for job in other] == [(1,), (2,)]
    assert packet_request({"block": "pinwheel", "for": "x"}, True, {"unit": "cm"}) == {
        "block": "pinwheel"
    }


def test_packets_that_are_nested_very_deep_are_told_apart() -> None:
    def chain(last: str) -> Any:
        joins: Any = last
        for number in range(1500):
            joins = [joins, str(number)]
        return {"block": {"joins": joins}}

    assert numbers([chain("a"), chain("b"), chain("a")]) == [(1, 3), (2,)]


def test_the_name_of_the_defaults_is_everybodys_who_has_none() -> None:
    given = {
        "defaults": {**DEFAULTS, "for": "The guild"},
        "items": [{}, {"for": "Ada"}, {"for": None}],
    }
    assert [item.name for item in read_batch(given, Settings()).items] == ["The guild", "Ada", ""]
    assert numbers(given["items"], given["defaults"]) == [(1, 2, 3)]  # type: ignore[arg-type]
