"""Random blocks for the tests: a frame cut up by straight lines, as hypothesis strategies."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import TypeAlias

import shapely
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint, Polygon, box
from shapely.ops import split as cut_shape

from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.vectors import distance

Maker: TypeAlias = Callable[[int, int], Block | None]

SMALLEST = 0.05
"""Square inches; a cut that leaves less is not made."""

SHORTEST = 0.05
"""Inches; a block with a shorter edge is finer than anybody sews."""

SHARPEST = 4.0
"""Degrees; a block with a sharper point can hardly be cut."""


def through_cut(seed: int, cuts: int, size: float = 6.0) -> Block | None:
    """A square cut again and again by straight lines, each through one piece from side to side."""
    rng = random.Random(seed)
    shapes = [box(0, 0, size, size)]
    for _ in range(cuts * 3):
        if len(shapes) > cuts:
            break
        shapes.sort(key=lambda s: -s.area)
        shape = shapes.pop(rng.randrange(min(2, len(shapes))))
        rim = shape.exterior
        a, b = (rim.interpolate(rng.random(), normalized=True) for _ in range(2))
        if rng.random() < 0.4:
            corners = list(rim.coords)[:-1]
            a = shapely.Point(rng.choice(corners))
        direction = (b.x - a.x, b.y - a.y)
        if abs(direction[0]) + abs(direction[1]) < 0.3:
            shapes.append(shape)
            continue
        line = LineString(
            [
                (a.x - 9 * direction[0], a.y - 9 * direction[1]),
                (b.x + 9 * direction[0], b.y + 9 * direction[1]),
            ]
        )
        parts = polygons(cut_shape(shape, line))
        if len(parts) == 2 and min(p.area for p in parts) > SMALLEST:
            shapes += parts
        else:
            shapes.append(shape)
    return block_of(shapes)


def crossing_lines(seed: int, lines: int, size: float = 6.0) -> Block | None:
    """A square cut by lines from side to side that all cross each other."""
    rng = random.Random(seed)
    rim = box(0, 0, size, size).exterior
    strings: list[LineString] = [rim]
    for _ in range(lines):
        a, b = (rim.interpolate(rng.random(), normalized=True) for _ in range(2))
        strings.append(LineString([a, b]))
    return block_of(polygons(shapely.polygonize([shapely.unary_union(strings)])))


def cells(seed: int, count: int, size: float = 6.0) -> Block | None:
    """A square in Voronoi cells: three meet at nearly every point, so joins are set in."""
    rng = random.Random(seed)
    square = box(0, 0, size, size)
    sites = MultiPoint([(rng.uniform(0, size), rng.uniform(0, size)) for _ in range(count)])
    diagram = shapely.voronoi_polygons(sites, extend_to=square)
    return block_of([p for g in diagram.geoms for p in polygons(g.intersection(square))])


def block_of(shapes: list[Polygon]) -> Block | None:
    """The shapes as a block; None where they are too small or too thin to be one."""
    if len(shapes) < 2 or min(s.area for s in shapes) < SMALLEST:
        return None
    pieces = [
        {"id": f"p{i}", "outline": [list(p) for p in s.exterior.coords[:-1]]}
        for i, s in enumerate(shapes)
    ]
    try:
        block = block_from_pieces({"pieces": pieces})
    except BlockError:
        return None
    seams = planar_map([p.outline for p in block.pieces])
    corners = [c for runs in seams.around for run in runs for c in run]
    shortest = min(distance(s.start, s.end) for p in block.pieces for s in p.outline)
    if shortest < SHORTEST or min(c.inner_angle for c in corners) < SHARPEST:
        return None
    return block


def some(make: Maker, counts: st.SearchStrategy[int], most: int = 999) -> st.SearchStrategy[Block]:
    """Blocks that ``make`` makes of seeds and counts, of at most ``most`` pieces.

    Where a seed makes none the next ones are tried, and then smaller counts, so that hypothesis
    need not throw examples away.
    """

    def first(seed: int, count: int) -> Block:
        for smaller in range(count, 0, -1):
            for k in range(20):
                block = make(seed + k, smaller)
                if block is not None and len(block.pieces) <= most:
                    return block
        raise AssertionError("no block is made of these seeds")

    return st.builds(first, st.integers(0, 2**32), counts)


def straight_blocks(most: int = 15) -> st.SearchStrategy[Block]:
    """Blocks that were cut up by through-cuts, so that they sew with straight seams alone."""
    return some(through_cut, st.integers(1, most - 1), most)


def blocks() -> st.SearchStrategy[Block]:
    """Blocks of all three kinds, of 2 to about 16 pieces."""
    return st.one_of(
        some(through_cut, st.integers(1, 14)),
        some(crossing_lines, st.integers(1, 4)),
        some(cells, st.integers(2, 10)),
    )
