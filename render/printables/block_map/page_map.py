"""A block map made small enough for one sheet, with its key below it.

Signs and letters are as large as on the map at true size: only the block is drawn small.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing.marks import Drawing, drawn, mapped, moved
from piecewright.render.printables.block_map.key import COLUMNS, SWATCH_COLUMN
from piecewright.render.printables.block_map.picture import heading, map_and_key
from piecewright.render.sheets import furniture
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.papers import Orientation
from piecewright.render.sheets.sheet_settings import SheetSettings

_ABOVE_KEY: Final = 0.2
_TO_SPARE: Final = 0.15
"""Inches between the map and its key, and between what is drawn and the test squares."""

_FROM_ROLL: Final = 14.0
"""Inches of paper from a roll that a map may take."""

_MOST_TRIALS: Final = 5
"""Of a size; with each the labels round the map are known better."""

_LEAST: Final = 0.02
"""Of its true size; the largest block, of 400 in, is 8 in wide then."""


@dataclass(frozen=True, slots=True)
class PageMap:
    """A map for one sheet.

    Attributes:
        scale: its size in that of the block, at most 1.
        settings: of the sheet, with the way up that the map is made for.
        heading: what the sheet says about it.
    """

    drawing: Drawing
    scale: float
    settings: SheetSettings
    heading: Heading


def page_map(plan: SewingPlan, settings: SheetSettings) -> PageMap:
    """The map of a block as large as one sheet has room for, the larger of both ways up."""
    ways: list[Orientation] = (
        ["portrait", "landscape"] if settings.orientation == "auto" else [settings.orientation]
    )
    if settings.roll_width is not None:
        ways = ways[:1]
    found = [_fitted(plan, replace(settings, orientation=way)) for way in ways]
    return max(found, key=lambda one: one.scale)


def reduced(plan: SewingPlan, scale: float) -> SewingPlan:
    """The same plan for a picture of the block: its outlines and seams drawn small."""

    def at(p: Point) -> Point:
        return (p[0] * scale, p[1] * scale)

    pieces = tuple(replace(p, outline=mapped(p.outline, at)) for p in plan.block.pieces)
    edges = tuple(
        replace(
            edge,
            segment=mapped((edge.segment,), at)[0],
            back=None if edge.back is None else mapped((edge.back,), at)[0],
        )
        for edge in plan.seams.edges
    )
    points = tuple(map(at, plan.seams.points))
    return replace(
        plan,
        block=replace(plan.block, pieces=pieces),
        seams=replace(plan.seams, points=points, edges=edges),
    )


def _fitted(plan: SewingPlan, settings: SheetSettings) -> PageMap:
    width, height = _room(settings)
    columns = max(1, min(COLUMNS, int(width / SWATCH_COLUMN)))
    scale = 1.0
    drawing = _drawn(plan, scale, columns)
    for _ in range(_MOST_TRIALS):
        box = drawing.box
        if box.width <= width and box.height <= height:
            break
        # The key and the labels round the map keep their size, so that this is a first guess from
        # above; each further one starts from what they took.
        scale = max(_LEAST, 0.99 * _next(plan, scale, drawing, width, height))
        drawing = _drawn(plan, scale, columns)
    said = heading(plan)
    if scale < 1.0:
        said = replace(said, what="Block map, drawn small, seen from the right side")
    return PageMap(drawing, scale, settings, said)


def _next(plan: SewingPlan, scale: float, drawing: Drawing, width: float, height: float) -> float:
    """The scale at which a map would fit if all but the block kept its size."""
    xs, ys = zip(*plan.seams.points, strict=True)
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    beside, below = drawing.box.width - wide * scale, drawing.box.height - high * scale
    return float(min(scale, (width - beside) / wide, (height - below) / high))


def _room(settings: SheetSettings) -> tuple[float, float]:
    """Width and height of what a sheet has room for above its test squares."""
    if settings.roll_width is not None:
        return settings.roll_width - 2 * settings.margin, _FROM_ROLL
    assert settings.orientation != "auto"
    sheet = settings.sheet(settings.orientation)
    area = sheet.printable
    return area.width - 0.02, furniture.corner(sheet).y - area.y - _TO_SPARE


def _drawn(plan: SewingPlan, scale: float, columns: int) -> Drawing:
    """The map at a scale, and the key below it."""
    small = plan if scale == 1.0 else reduced(plan, scale)
    found, key = map_and_key(small, columns, "drawn small" if scale < 1.0 else "at true size")
    dx, dy = found.box.x - key.box.x, found.box.bottom + _ABOVE_KEY - key.box.y
    below = [moved(mark, dx, dy) for mark in key.marks]
    marks = [*found.marks, *below]
    return drawn(found.id, found.title, found.description, marks, to_scale=scale == 1.0)
