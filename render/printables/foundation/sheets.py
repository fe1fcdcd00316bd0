"""Foundations on sheets: each as often as it is asked for, with its key beside it.

Keys and the map of the sections cost no sheet: they go where sheets have room. Where the sheet of a
foundation has none for its key, a patch takes the view in it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.cutting.rotary import Ruler, ruler
from piecewright.patchwork.foundation.like_sections import LikeSections, like_sections
from piecewright.patchwork.foundation.plan import Foundation
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.render.drawing.footprints import footprint
from piecewright.render.drawing.marks import Box, Drawing, mapped, mark_box
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.printables.foundation.keys import (
    key_drawings,
    note_drawing,
    note_inside,
    view_inside,
)
from piecewright.render.printables.foundation.print_style import DEFAULT_STYLE, PrintStyle
from piecewright.render.printables.foundation.section_map import section_maps
from piecewright.render.printables.foundation.sections import section_drawing, to_print
from piecewright.render.sheets.furniture import GAP, Heading
from piecewright.render.sheets.named import Windows, lay_out_named, windows_of
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.placed import PlacedDrawing
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings

_STEP: Final = 0.1
"""Inches from a place that is tried for a key to the next."""


@dataclass(frozen=True, slots=True)
class FoundationSet:
    """The foundations of a block, and how they are to be printed.

    Attributes:
        rule: that the sizes of fabric are rounded up to.
        blocks: how many are made.
    """

    found: Foundation
    style: PrintStyle
    rule: Ruler
    blocks: int
    kinds: tuple[LikeSections, ...]

    def copies(self, like: LikeSections) -> int:
        """How many times a foundation is printed."""
        return self.style.printed(like.make * self.blocks)


def foundation_set(
    found: Foundation,
    style: PrintStyle = DEFAULT_STYLE,
    rule: Ruler | None = None,
    blocks: int = 1,
) -> FoundationSet:
    """The foundations of a block, each once for all sections that are alike.

    Args:
        rule: that sizes of fabric are rounded up to; the usual one of the block's unit if None.
        blocks: how many are made.
    """
    rule = rule or ruler(found.block.unit)
    return FoundationSet(found, style, rule, blocks, like_sections(found))


def heading(found: Foundation, style: PrintStyle = DEFAULT_STYLE) -> Heading:
    """What every sheet says about the whole set."""
    block, allowance = found.block, found.allowance
    side = "mirror images: sew on this side" if style.mirrored else "as seen from the face"
    return Heading(
        block=block.name,
        what=f"Foundation sections, {side}",
        size=f"Finished {block_size(block)}",
        allowance=allowance_words(allowance, block.unit),
        corners=f"{found.corners.capitalize()} corners",
    )


def foundation_drawings(asked: FoundationSet) -> tuple[Drawing, ...]:
    """Each foundation with its key, and a map of the sections if there are several."""
    drawings = []
    for like in asked.kinds:
        drawings.append(section_drawing(asked.found, like, asked.style, asked.rule))
        drawings.append(key_drawings(asked.found, like, asked.rule, asked.blocks)[0])
    return (*drawings, *_maps(asked)[:1])


def _maps(asked: FoundationSet) -> tuple[Drawing, ...]:
    several = len(asked.found.sections) > 1
    return section_maps(asked.found, asked.style) if several else ()


def foundation_pages(
    asked: FoundationSet, settings: SheetSettings, most: int = MOST_SHEETS
) -> tuple[Page, ...]:
    """The foundations on sheets, with keys and map where there is room.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    head = heading(asked.found, asked.style)
    pages = lay_out_named(partial(_copied, asked), settings, head, most)
    return numbered(_with_keys_and_map(asked, pages, windows_of(pages)))


def _copied(asked: FoundationSet, windows: Windows) -> list[Drawing]:
    """The foundations as often as they are printed; copies have a number in their id.

    One that goes over several sheets has its view in a patch, as its sheets have no room beside it.
    """
    every = []
    for like in asked.kinds:
        own = windows.get(like.first.id, ())
        drawing = section_drawing(asked.found, like, asked.style, asked.rule, own)
        if own:
            drawing = _with_view(asked, like, drawing, own) or drawing
        copies = asked.copies(like)
        for n in range(copies):
            title = f"{drawing.title}, copy {n + 1} of {copies}" if copies > 1 else drawing.title
            id = f"{drawing.id} ({n + 1})" if n else drawing.id
            every.append(replace(drawing, id=id, title=title))
    return every


def _patches(asked: FoundationSet, like: LikeSections) -> list[Polygon]:
    """The shapes of a foundation's patches, as they are printed."""
    at = to_print(like.first, asked.style)
    pieces = {piece.id: piece for piece in asked.found.block.pieces}
    return [polygon_of(mapped(pieces[p].outline, at)) for p in like.first.order]


def _with_view(
    asked: FoundationSet, like: LikeSections, drawing: Drawing, windows: Sequence[Polygon] = ()
) -> Drawing | None:
    patches = _patches(asked, like)
    return view_inside(asked.found, like, drawing, patches, asked.blocks, windows)


# --- keys where there is room ---------------------------------------------------------------------


def _with_keys_and_map(
    asked: FoundationSet, pages: Sequence[Page], tiled: Collection[str]
) -> list[Page]:
    """The pages with keys and a map; where there is not room for all, the map comes first.

    A section's patches have their names, but nothing else says where the section belongs.
    """
    keys = [key_drawings(asked.found, like, asked.rule, asked.blocks) for like in asked.kinds]
    keyed = _with_keys(asked, pages, tiled, keys)
    maps = _maps(asked)
    for drawing in maps:
        done = _placed_anywhere(keyed, (drawing,))
        if done is not None:
            return done
    for drawing in reversed(maps):
        done = _placed_anywhere(pages, (drawing,))
        if done is not None:
            return _with_keys(asked, done, tiled, keys)
    return keyed


def _with_keys(
    asked: FoundationSet,
    pages: Sequence[Page],
    tiled: Collection[str],
    keys_of_kinds: Sequence[Sequence[Drawing]],
) -> list[Page]:
    """The pages with a key beside each foundation, once on a page; else with its view inside.

    Args:
        keys_of_kinds: for each kind of section its key, in several shapes.
    """
    done = list(pages)
    for like, keys in zip(asked.kinds, keys_of_kinds, strict=True):
        everywhere = like.first.id not in tiled
        for n, page in enumerate(done):
            own = [p for p in page.items if _is_copy(p.drawing, like) and p.part is None]
            if own:
                keyed = _placed(page, keys, own[0].box)
                everywhere = everywhere and keyed is not None
                done[n] = keyed or _keyed_inside(asked, like, page, own)
        if not everywhere:
            # The sizes of fabric too may be missing where the patches are small.
            done = _placed_anywhere(done, keys) or done
    return done


def _is_copy(drawing: Drawing, like: LikeSections) -> bool:
    return drawing.id == like.first.id or drawing.id.startswith(f"{like.first.id} (")


def _keyed_inside(
    asked: FoundationSet, like: LikeSections, page: Page, own: Sequence[PlacedDrawing]
) -> Page:
    """A page that has no room for a key: the view is in a patch, or a note beside or in it."""
    drawing = own[0].drawing
    viewed = _with_view(asked, like, drawing)
    if viewed is None:
        noted = _placed(page, (note_drawing(like, asked.blocks),), own[0].box)
        if noted is not None:
            return noted
        viewed = note_inside(like, drawing, _patches(asked, like), asked.blocks)
    items = tuple(
        replace(p, drawing=replace(viewed, id=p.drawing.id, title=p.drawing.title))
        if p in own
        else p
        for p in page.items
    )
    return replace(page, items=items)


def _placed_anywhere(pages: Sequence[Page], shapes: Sequence[Drawing]) -> list[Page] | None:
    """The pages with a drawing, in one of its shapes, on the first that has room for it."""
    for n, page in enumerate(pages):
        placed = _placed(page, shapes, page.area)
        if placed is not None:
            return [*pages[:n], placed, *pages[n + 1 :]]
    return None


def _placed(page: Page, shapes: Sequence[Drawing], beside: Box) -> Page | None:
    """The page with a drawing, in one of its shapes, as near to something as there is room."""
    taken = shapely.union_all([*_covered(page)]).buffer(GAP)
    shapely.prepare(taken)
    near = box_polygon(beside)
    best: tuple[float, float, float, Drawing] | None = None
    for drawing in shapes:
        width, height = drawing.box.width, drawing.box.height
        area = page.area
        xs = np.arange(area.x, area.right - width + 1e-9, _STEP)
        ys = np.arange(area.y, area.bottom - height + 1e-9, _STEP)
        if not len(xs) or not len(ys):
            continue
        x, y = (grid.ravel() for grid in np.meshgrid(xs, ys))
        spots = shapely.box(x, y, x + width, y + height)
        free = ~shapely.intersects(taken, spots)
        if not free.any():
            continue
        apart = np.round(shapely.distance(near, spots[free]), 6)
        first = np.lexsort((x[free], y[free], apart))[0]
        spot = float(apart[first]), float(x[free][first]), float(y[free][first]), drawing
        if best is None or spot[0] < best[0]:
            best = spot
    if best is None:
        return None
    _, left, top, drawing = best
    if not page.items:
        # The sheet is there for its test squares, which sheets that are not to scale go without.
        drawing = replace(drawing, to_scale=True)
    placed = PlacedDrawing(drawing, left - drawing.box.x, top - drawing.box.y)
    return replace(page, items=(*page.items, placed))


def _covered(page: Page) -> Iterable[BaseGeometry]:
    """What of a page something stands on."""
    for placed in page.items:
        if placed.clip is not None:
            yield Polygon(placed.clip)
        else:
            shape = affinity.rotate(footprint(placed.drawing), placed.turn, origin=(0, 0))
            yield affinity.translate(shape, placed.x, placed.y)
    for mark in page.furniture:
        box = mark_box(mark)
        if box is not None:
            yield box_polygon(box)
    yield box_polygon(page.name_place)
