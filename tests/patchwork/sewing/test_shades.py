"""Lightness and luminance of colours.

CIE 1976 L*: ISO/CIE 11664-4; worked values of greys as Lindbloom's calculator prints them.
Luminance: WCAG 2.2, relative luminance, and the contrast ratios it publishes.
"""

from __future__ import annotations

import pytest

from piecewright.patchwork.block.read import block_from_drawing
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.shades import darker_sides, lightness, luminance


class TestLuminance:
    def test_black_and_white(self) -> None:
        assert luminance("#000000") == 0.0
        assert luminance("#ffffff") == pytest.approx(1.0)

    @pytest.mark.parametrize(
        ("colour", "contrast"),
        [("#767676", 4.54), ("#777777", 4.48), ("#0000ff", 8.59), ("#ff0000", 4.0)],
    )
    def test_contrast_with_white_is_as_wcag_checkers_print_it(
        self, colour: str, contrast: float
    ) -> None:
        assert 1.05 / (luminance(colour) + 0.05) == pytest.approx(contrast, abs=0.005)


class TestLightness:
    @pytest.mark.parametrize(
        ("colour", "expected"),
        [
            ("#000000", 0.0),
            ("#010101", 0.27),
            ("#777777", 50.03),
            ("#808080", 53.59),
            ("#ff0000", 53.24),
            ("#00ff00", 87.73),
            ("#0000ff", 32.30),
            ("#ffffff", 100.0),
        ],
    )
    def test_of_srgb_colours(self, colour: str, expected: float) -> None:
        assert lightness(colour) == pytest.approx(expected, abs=0.01)

    def test_sides_of_several_fabrics_count_by_length(self) -> None:
        # 3/4 of L* 90.7 and 1/4 of 9.3 beside 53.6: the grey is darker, though by luminance (0.62
        # and 0.22) it would be too; of 5/12 and 7/12 it is lighter by L* alone.
        for dark, first_is_darker in ((1, False), (7, True)):
            block = block_from_drawing(
                {
                    "frame": [[0, 0], [12, 0], [12, 6], [0, 6]],
                    "lines": [[[0, 3], [12, 3]], [[dark, 0], [dark, 3]]],
                    "fills": [
                        {"at": [0.5, 1], "fabric": "black"},
                        {"at": [11, 1], "fabric": "light"},
                        {"at": [6, 5], "fabric": "grey"},
                    ],
                    "fabrics": [
                        {"id": "black", "name": "Black", "colour": "#1a1a1a"},
                        {"id": "light", "name": "Light", "colour": "#e4e4e4"},
                        {"id": "grey", "name": "Grey", "colour": "#808080"},
                    ],
                }
            )
            seams = planar_map([p.outline for p in block.pieces])
            order = order_of(block, seams)
            (*_, side) = darker_sides(block, seams, order)
            last = order.joins[-1]
            upper_first = last.first != 2
            assert side == ("first" if first_is_darker == upper_first else "second")
