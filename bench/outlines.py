"""Matched cut outlines, against Shapely's mitred buffers of the same pieces.

The reference is a loop over the pieces of ``polygon.buffer``: the plain offset of each, for which
GEOS needs no neighbours, no order of sewing and no corners that match.  Both run once before they
are measured, so the patterns of corners that ``patchwork.outlines.matching`` caches are known then,
as they are in a service that has drawn a block before.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.geometry import MultiPoint, Polygon, box

from bench.ratios import Ratio, compared, seconds
from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order, order_from
from piecewright.patchwork.block.model import Joins
from piecewright.patchwork.block.seams import Seams, knit, planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline
from piecewright.patchwork.geometry.polygons import polygon_of, polygons
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.outlines.cut_outlines import cut_outlines
from piecewright.patchwork.sewing.order import order_of, work_out_order

AIM: Final = 5.0
CURVED_AIM: Final = 8.0
CELLS_AIM: Final = 10.0
SIZES: Final = (10, 100, 1000)
CELL: Final = 1.5
"""Inches; the side of a square of the grids."""

_AGAINST: Final = "a loop of polygon.buffer"


@dataclass(frozen=True, slots=True)
class Specimen:
    """A block with its map, an order of sewing, and its pieces as Shapely has them."""

    name: str
    outlines: Sequence[Outline]
    seams: Seams
    order: Order
    shapes: Sequence[Polygon]


def rows() -> list[Ratio]:
    """Catalogue and grid blocks, the growth from 100 to 1,000 pieces, and the map by itself."""
    quarter = Allowance()
    drawn = catalogue_blocks()
    straight = [b for b in drawn if all(isinstance(s, Line) for o in b.outlines for s in o)]
    curved = [b for b in drawn if b not in straight]
    found = [
        _ratio("catalogue", drawn, quarter, AIM),
        _ratio("catalogue, straight seams", straight, quarter, AIM),
        _ratio("catalogue, curved seams", curved, quarter, CURVED_AIM),
    ]
    grids = {size: grid(size) for size in SIZES}
    for size in SIZES:
        found.append(_ratio(f"grid with triangles, {size:,} pieces", [grids[size]], quarter, AIM))
    found.append(_growth(grids[100], grids[1000], quarter))
    found.append(_ratio("40 Voronoi cells", [cells(40)], quarter, CELLS_AIM))
    found.append(_ratio("40 Voronoi cells, 1 in", [cells(40)], Allowance(1.0, 1.0), CELLS_AIM))
    for name, blocks in (("catalogue", drawn), ("grid, 1,000 pieces", [grids[1000]])):
        map_ = compared(
            lambda blocks=blocks: [planar_map(b.outlines) for b in blocks],  # type: ignore[misc]
            lambda blocks=blocks: _buffers(blocks, quarter),  # type: ignore[misc]
        )
        found.append(Ratio("map of seams", name, _AGAINST, map_))
    return found


def _ratio(
    work: str, blocks: Sequence[Specimen], allowance: Allowance, aim: float | None = None
) -> Ratio:
    times = compared(_matched(blocks, allowance), lambda: _buffers(blocks, allowance))
    return Ratio("matched outlines", f"{work}, {allowance.seam} in", _AGAINST, times, aim)


def _growth(small: Specimen, large: Specimen, allowance: Allowance) -> Ratio:
    """How much longer the large block takes, over what ``n log n`` makes of the small one."""
    ours = [_matched([one], allowance) for one in (small, large)]
    less, more = (min(seconds(work) for _ in range(5)) for work in ours)
    n, m = len(small.outlines), len(large.outlines)
    grown = more / less / (m * math.log(m) / (n * math.log(n)))
    return Ratio("matched outlines", f"growth from {n} to {m} pieces", "n log n", grown, 1.5)


def _matched(blocks: Sequence[Specimen], allowance: Allowance) -> Callable[[], object]:
    return lambda: [cut_outlines(b.seams, b.order, allowance, "matched") for b in blocks]


def _buffers(blocks: Sequence[Specimen], allowance: Allowance) -> list[shapely.Geometry]:
    return [
        shape.buffer(allowance.seam, join_style="mitre", mitre_limit=6)
        for block in blocks
        for shape in block.shapes
    ]


# --- blocks ----------------------------------------------------------------------------------


def catalogue_blocks() -> list[Specimen]:
    """All blocks of the catalogue, at the size at which they are drawn."""
    found = []
    for entry in catalogue.entries():
        block = catalogue.load(entry.id)
        outlines = [p.outline for p in block.pieces]
        seams = planar_map(outlines)
        found.append(_specimen(entry.id, outlines, seams, order_of(block, seams)))
    return found


def grid(pieces: int) -> Specimen:
    """Squares in rows, every other one cut into two triangles; exactly so many pieces.

    Row by row its units are sewn in halves, and the rows to each other in halves.
    """
    across = math.isqrt(pieces * 2 // 3)
    squares: list[list[Outline]] = []
    left = pieces
    while left:
        k = len(squares)
        x, y = (k % across) * CELL, (k // across) * CELL
        a, b, c, d = (x, y), (x + CELL, y), (x + CELL, y + CELL), (x, y + CELL)
        if (k % across + k // across) % 2 or left < 2:
            rings = [[a, b, c, d]]
        elif k % 3:
            rings = [[a, b, c], [a, c, d]]
        else:
            rings = [[a, b, d], [b, c, d]]
        squares.append([paths.polygon(ring) for ring in rings])
        left -= len(rings)
    outlines: list[Outline] = []
    units: list[Joins] = []
    for square in squares:
        names = [f"p{len(outlines) + k}" for k in range(len(square))]
        outlines += square
        units.append(names[0] if len(names) == 1 else (names[0], names[1]))
    lines = [_halved(units[k : k + across]) for k in range(0, len(units), across)]
    seams = planar_map(outlines)
    order = order_from(seams, [f"p{k}" for k in range(pieces)], _halved(lines))
    return _specimen(f"grid of {pieces}", outlines, seams, order)


def _halved(units: Sequence[Joins]) -> Joins:
    """Units in a row, joined half to half."""
    if len(units) == 1:
        return units[0]
    middle = len(units) // 2
    return (_halved(units[:middle]), _halved(units[middle:]))


def cells(count: int) -> Specimen:
    """A 6 in square in Voronoi cells, always the same ones."""
    rng = random.Random(1)
    square = box(0, 0, 6, 6)
    sites = MultiPoint([(rng.uniform(0, 6), rng.uniform(0, 6)) for _ in range(count)])
    diagram = shapely.voronoi_polygons(sites, extend_to=square)
    return of_shapes(f"{count} cells", [p for g in diagram.geoms for p in polygons(g & square)])


def of_shapes(name: str, shapes: Sequence[Polygon]) -> Specimen:
    """Shapes as a block, with an order of sewing worked out for it."""
    rings: list[list[Point]] = [[(x, y) for x, y in s.exterior.coords[:-1]] for s in shapes]
    outlines = knit([paths.clockwise(paths.polygon(r)) for r in rings])
    seams = planar_map(outlines)
    ids = [f"p{k}" for k in range(len(outlines))]
    return _specimen(name, outlines, seams, work_out_order(seams, ids).order)


def _specimen(name: str, outlines: Sequence[Outline], seams: Seams, order: Order) -> Specimen:
    return Specimen(name, outlines, seams, order, [polygon_of(o) for o in outlines])
