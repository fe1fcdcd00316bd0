"""What is painted over what."""

from __future__ import annotations

from dataclasses import replace

from piecewright.render.drawing.marks import Dot, Mark, Text, line
from piecewright.render.drawing.paint_order import in_paint_order

SEAM = line("sewing-line", (0, 0), (1, 0))
CUT = line("cutting-line", (0, 1), (1, 1))


def test_labels_lie_over_lines_and_lines_over_fills() -> None:
    marks: list[Mark] = [Text("A", (0, 0), 0.1), CUT, line("tint", (0, 0), (1, 1)), SEAM]
    kinds = [layer.kind for layer in in_paint_order(marks)]
    assert kinds == ["tint", "sewing-line", "cutting-line", "label"]


def test_marks_of_a_kind_keep_their_order() -> None:
    dots: list[Mark] = [Dot("match-point", (n, 0)) for n in (3, 1, 2)]
    (layer,) = in_paint_order(dots)
    assert layer.marks == tuple(dots)


def test_lines_without_the_pens_dashes_are_a_layer_of_their_own() -> None:
    solid = replace(SEAM, solid=True)
    dashed, plain = in_paint_order([solid, SEAM])
    assert (dashed.solid, dashed.marks) == (False, (SEAM,))
    assert (plain.solid, plain.marks) == (True, (solid,))


def test_every_mark_is_painted_once() -> None:
    marks: list[Mark] = [SEAM, CUT, SEAM, Text("A", (0, 0), 0.1)]
    assert sorted(map(repr, marks)) == sorted(
        repr(m) for x in in_paint_order(marks) for m in x.marks
    )
