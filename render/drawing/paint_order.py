"""The order in which marks are painted: by kind, labels over lines and lines over fills.

That is the painter's algorithm with the line kinds for depths.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from piecewright.render.drawing.linekinds import LINE_KINDS, LineKind
from piecewright.render.drawing.marks import Mark, Stroke


@dataclass(frozen=True, slots=True)
class PenLayer:
    """Marks that one pen draws.

    Attributes:
        solid: without the pen's dashes.
    """

    kind: LineKind
    solid: bool
    marks: tuple[Mark, ...]


def in_paint_order(marks: Sequence[Mark]) -> Iterator[PenLayer]:
    """The marks in the order in which they are painted; those of a layer keep their order."""
    found: dict[tuple[LineKind, bool], list[Mark]] = defaultdict(list)
    for mark in marks:
        found[mark.kind, isinstance(mark, Stroke) and mark.solid].append(mark)
    # Of one kind with and without dashes apart: a layer is drawn with one setting of the pen.
    for kind in LINE_KINDS:
        for solid in (False, True):
            if alike := found.get((kind, solid)):
                yield PenLayer(kind, solid, tuple(alike))
