"""The key of a block map: what its fills and signs mean, and how much is left out of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Final

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing import fonts
from piecewright.render.drawing.fabric_fills import FabricFill, fabric_fills, filled
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, Text, drawn, line
from piecewright.render.printables.block_map.signs import (
    arrow,
    meeting_mark,
    number_radius,
    step_number,
    stop_bar,
)

_SWATCH: Final = (0.5, 0.3)
"""Inches; width and height of a sample of a fabric: large enough for its pattern to be known by."""

SWATCH_COLUMN: Final = 2.5
"""Inches from a swatch to the next one beside it: its words are cut off before that."""

COLUMNS: Final = 3
COLUMNS_BELOW: Final = 1
"""Of a key below a map of several sheets: a narrow one lies whole on a sheet at the left."""

_LETTERS: Final = 0.115
"""Inches to the em."""

SWATCH_ROW: Final = _SWATCH[1] + 0.09
"""Inches from a swatch to the next one below it."""

_LINE: Final = 0.16
"""Inches from a line of text to the next."""


def key_drawing(plan: SewingPlan, names: int, steps: int, columns: int) -> Drawing:
    """The key, in ``columns`` columns.

    Args:
        names, steps: how many names of pieces and numbers of steps are left out of the map.
    """
    counts: dict[str | None, int] = {}
    for piece in plan.block.pieces:
        counts[piece.fabric] = counts.get(piece.fabric, 0) + 1
    # Only signs that the map has are explained. Each entry is drawn once its place is known.
    entries: list[Callable[[float, float], list[Mark]]] = []
    for fabric, fill in fabric_fills(plan.block).items():
        count = counts[fabric]
        message = f"{fill.name}: {count} piece{'s' * (count != 1)}"
        entries.append(partial(swatch, fill, message))
    if plan.order.joins:
        message = "step 3, pressed toward the arrow"
        entries.append(partial(_sign_step, press="first", message=message))
    if "open" in plan.pressing.directions:
        entries.append(partial(_sign_step, press="open", message="step 3, pressed open"))
    nests = {meeting.nests for meeting in plan.pressing.meetings}
    for kind, message in ((True, "seams nest here"), (False, "seams do not nest here")):
        if kind in nests:
            entries.append(partial(_sign_meeting, nests=kind, message=message))
    if any(step.stops for step in plan.sewing.steps):
        entries.append(_sign_match_stop)
    marks: list[Mark] = []
    for n, entry in enumerate(entries):
        row, column = divmod(n, columns)
        marks += entry(column * SWATCH_COLUMN, row * SWATCH_ROW)
    down = math.ceil(len(entries) / columns) * SWATCH_ROW + _LETTERS
    message = _left_out(names, steps)
    for n, words in enumerate(fonts.wrapped(message, _LETTERS, columns * SWATCH_COLUMN - 0.1)):
        marks.append(Text(words, (0.0, down + n * _LINE), _LETTERS))
    description = "What fabrics and marks of the block map mean."
    return drawn("key", "Key to the map", description, marks, to_scale=False)


def _left_out(names: int, steps: int) -> str:
    counts = [(names, "piece name"), (steps, "step number")]
    counts_in_words = [f"{count:,} {what}{'s' * (count != 1)}" for count, what in counts if count]
    if not counts_in_words:
        return ""
    return f"No room for {' and '.join(counts_in_words)}: a larger finished size shows more."


def swatch(fill: FabricFill, message: str, x: float, y: float) -> list[Mark]:
    """A sample of a fabric's fill with words beside it."""
    corners = [(x, y), (x + _SWATCH[0], y), (x + _SWATCH[0], y + _SWATCH[1]), (x, y + _SWATCH[1])]
    outline = paths.polygon(corners)
    return [
        *filled(fill, outline),
        Stroke("sewing-line", outline, closed=True, solid=True),
        _beside(message, x, y),
    ]


def _beside(message: str, x: float, y: float) -> Text:
    room = SWATCH_COLUMN - _SWATCH[0] - 0.2
    baseline = y + _SWATCH[1] / 2 + fonts.cap_height(_LETTERS) / 2
    return Text(
        fonts.shortened(message, _LETTERS, room), (x + _SWATCH[0] + 0.08, baseline), _LETTERS
    )


def _solid(start: Point, end: Point) -> Stroke:
    return replace(line("sewing-line", start, end), solid=True)


def _sign_step(x: float, y: float, press: Press, message: str) -> list[Mark]:
    middle = y + _SWATCH[1] / 2
    radius = number_radius("3", 0.1)
    return [
        _solid((x + 0.3, y), (x + 0.3, y + _SWATCH[1])),
        *arrow((x + 0.3, middle), (1.0, 0.0), 0.13, press),
        *step_number("3", (x + 0.16 - radius, middle), 0.1),
        _beside(message, x, y),
    ]


def _sign_meeting(x: float, y: float, nests: bool, message: str) -> list[Mark]:
    at = (x + _SWATCH[0] / 2, y + _SWATCH[1] / 2)
    return [
        _solid((at[0] - 0.15, at[1]), (at[0] + 0.15, at[1])),
        _solid((at[0], y), (at[0], y + _SWATCH[1])),
        *meeting_mark(at, nests),
        _beside(message, x, y),
    ]


def _sign_match_stop(x: float, y: float) -> list[Mark]:
    at = (x + _SWATCH[0] / 2, y + _SWATCH[1] / 2)
    return [
        _solid((at[0] - 0.15, at[1]), (at[0] + 0.15, at[1])),
        *stop_bar(at, (1.0, 0.0)),
        _beside("stop at the match point", x, y),
    ]
