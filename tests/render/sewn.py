"""Blocks and their sewing plans that several tests of ``render`` share."""

from __future__ import annotations

from functools import cache

from shapely import STRtree
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, Fabric, Piece, finished
from piecewright.patchwork.geometry.paths import polygon
from piecewright.patchwork.sewing.plan import PlanOptions, SewingPlan, sewing_plan
from piecewright.render.drawing.marks import Drawing, Stroke, Text, path_points, text_corners
from piecewright.render.printables.block_map.picture import block_map_drawings
from piecewright.render.printables.sewing_plan import sewing_plan_drawings

NAMES = [entry.id for entry in catalogue.entries()]


@cache
def plan_of(name: str, width: float | None = None, open_above: int | None = None) -> SewingPlan:
    """The plan of a catalogue block, as drawn or at another width."""
    block = catalogue.load(name)
    if width is not None:
        block = finished(block, width=width)
    return sewing_plan(block, Allowance(), PlanOptions(open_above=open_above))


@cache
def map_of(name: str, width: float | None = None) -> tuple[Drawing, ...]:
    """The block map of a catalogue block."""
    return block_map_drawings(plan_of(name, width))


@cache
def cards_of(name: str, width: float | None = None) -> tuple[Drawing, ...]:
    """The cards of a catalogue block's sewing plan."""
    return sewing_plan_drawings(plan_of(name, width))


def stripes(count: int, colours: bool = True) -> Block:
    """Strips of 1 in by 3 in side by side, each of a fabric of its own, all equally grey."""
    pieces = tuple(
        Piece(
            f"s{k}",
            polygon([(k, 0.0), (k + 1.0, 0.0), (k + 1.0, 3.0), (k, 3.0)]),
            f"f{k}" if colours else None,
        )
        for k in range(count)
    )
    cloths = (
        tuple(Fabric(f"f{k}", f"Cloth {k}", "#808080") for k in range(count)) if colours else ()
    )
    return Block("Stripes", "in", pieces, cloths)


def spoiled(drawing: Drawing) -> list[str]:
    """The texts that lie over a line, a pattern's included, or over another text."""
    lines = [m for m in drawing.marks if isinstance(m, Stroke) and m.kind != "tint" and m.segments]
    tree = STRtree([LineString(path_points(m)).buffer(m.half) for m in lines])
    written = [m for m in drawing.marks if isinstance(m, Text) and text_corners(m)]
    areas = [Polygon(text_corners(m)) for m in written]
    wrong = [
        m.text
        for m, area in zip(written, areas, strict=True)
        if len(tree.query(area, predicate="intersects"))
    ]
    pairs = STRtree(areas).query(areas, predicate="intersects").T
    return wrong + [written[i].text for i, j in pairs.tolist() if i < j]
