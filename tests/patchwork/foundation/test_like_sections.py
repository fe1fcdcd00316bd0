"""Sections that are sewn on copies of one foundation, checked by turning them with Shapely."""

from __future__ import annotations

from collections import Counter

import pytest
from shapely import affinity
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, Section, finished
from piecewright.patchwork.foundation.like_sections import like_sections
from piecewright.patchwork.foundation.plan import Foundation, foundation
from piecewright.patchwork.geometry import paths
from tests.patchwork.foundation.test_plan import STRAIGHT


def planned(block: Block) -> Foundation:
    return foundation(block, Allowance())


def polygon(outline: paths.Outline) -> Polygon:
    return Polygon(paths.ring(outline))


@pytest.mark.parametrize("name", STRAIGHT)
def test_like_sections_lie_on_each_other_patch_on_patch(name: str) -> None:
    found = planned(finished(catalogue.load(name), width=9.0))
    pieces = {piece.id: piece for piece in found.block.pieces}
    kinds = like_sections(found)
    assert sorted(id for kind in kinds for id in kind.ids) == sorted(s.id for s in found.sections)
    for kind in kinds:
        for member in kind.members:
            # Turned about the middle, and not flipped.
            for one, onto in [
                (member.section.cut, kind.first.cut),
                *(
                    (pieces[p].outline, pieces[q].outline)
                    for p, q in zip(member.section.order, kind.first.order, strict=True)
                ),
            ]:
                turned = affinity.rotate(polygon(one), member.laid.turned, origin=(0, 0))
                laid = affinity.translate(turned, *member.laid.moved)
                assert laid.symmetric_difference(polygon(onto)).area < 0.02
            for p, q in zip(member.section.order, kind.first.order, strict=True):
                assert pieces[p].fabric == pieces[q].fabric


def test_halves_of_a_pinwheel_and_sides_of_a_star_are_alike() -> None:
    """Both look the same after a half turn (common practice)."""
    for name, sizes in (
        ("pinwheel", [2]),
        ("sawtooth-star", [1, 1, 2]),
        ("storm-at-sea", [1, 1, 2]),
    ):
        kinds = like_sections(planned(catalogue.load(name)))
        assert sorted(kind.make for kind in kinds) == sizes


def test_orders_that_an_author_gave_are_kept_and_set_sections_apart() -> None:
    star = planned(catalogue.load("sawtooth-star"))
    orders = {section.id: section.order for section in star.sections}
    one, four, five = 0, 3, 4
    changed = list(orders["D"])
    changed[four], changed[five] = changed[five], changed[four]
    given = tuple(
        Section(id, tuple(changed) if id == "D" else order) for id, order in orders.items()
    )
    block = star.block
    again = planned(Block(block.name, block.unit, block.pieces, block.fabrics, None, given))
    assert [s.order for s in again.sections] == [s.order for s in given]
    assert Counter(kind.make for kind in like_sections(again)) == {1: 4}
    assert orders["D"][one] == again.sections[3].order[one]
