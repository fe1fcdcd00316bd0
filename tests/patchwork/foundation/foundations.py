"""The rules of foundation sections, by exhaustion and with Shapely alone.

An order p1 … pk of a section is sewable when for each i > 1 the boundary that pi shares with
p1 … pi-1 together is one straight line, with p1 … pi-1 wholly on one side of it and pi wholly on
the other.  Sections are joined by straight joins only.

Nothing here knows how sections are found: every order and every way to join is tried.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from functools import cache

import shapely
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import split as cut_shape

from piecewright.patchwork.block.model import Block, Fabric, Joins, Piece
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import polygons
from tests.patchwork.partitions import SMALLEST, block_of

OFF = 0.004
"""Inches within which a point lies on a line."""

_SEAM = 1e-6
"""Inches; a common boundary that is shorter is none."""


class Exhaustive:
    """All that can be sewn of a small block of straight pieces."""

    def __init__(self, block: Block) -> None:
        self.ids = [p.id for p in block.pieces]
        self.shapes = [Polygon(paths.ring(p.outline)) for p in block.pieces]
        self.is_sewable = cache(self._is_sewable)
        self.fewest = cache(self._fewest)

    def seam(self, one: frozenset[int], other: frozenset[int]) -> LineString | None:
        """The common boundary of two sets of pieces if it is one straight line."""
        parts = [
            part
            for a, b in itertools.product(one, other)
            for part in shapely.get_parts(self.shapes[a].intersection(self.shapes[b])).tolist()
            if part.length > _SEAM
        ]
        if not parts:
            return None
        merged = shapely.line_merge(shapely.union_all(parts, grid_size=1e-7))
        if not isinstance(merged, LineString):
            return None
        chord = LineString([merged.coords[0], merged.coords[-1]])
        if chord.length < _SEAM or shapely.hausdorff_distance(merged, chord) > OFF:
            return None
        return chord

    def may_follow(self, earlier: frozenset[int], piece: int) -> bool:
        """Whether a piece may be sewn to earlier ones as a step of a section."""
        chord = self.seam(earlier, frozenset([piece]))
        if chord is None:
            return False
        (x0, y0), (x1, y1) = chord.coords
        sides = []
        for numbers in (earlier, [piece]):
            points = shapely.get_coordinates([self.shapes[n] for n in numbers])
            off = ((x1 - x0) * (points[:, 1] - y0) - (y1 - y0) * (points[:, 0] - x0)) / chord.length
            sides.append((off.min() >= -OFF, off.max() <= OFF))
        return sides in ([(True, False), (False, True)], [(False, True), (True, False)])

    def order_is_sewable(self, order: tuple[str, ...]) -> bool:
        numbers = [self.ids.index(name) for name in order]
        return all(
            self.may_follow(frozenset(numbers[:k]), numbers[k]) for k in range(1, len(numbers))
        )

    def _is_sewable(self, unit: frozenset[int]) -> bool:
        """Whether a set of pieces has an order in which it can be sewn."""
        return len(unit) == 1 or any(
            self.may_follow(unit - {last}, last) and self.is_sewable(unit - {last}) for last in unit
        )

    def _fewest(self, unit: frozenset[int]) -> int | None:
        """The fewest sections of a set of pieces; None if it cannot be joined straight."""
        if self.is_sewable(unit):
            return 1
        first, *others = sorted(unit)
        best: int | None = None
        for count in range(len(others)):
            for more in itertools.combinations(others, count):
                one = frozenset([first, *more])
                if self.seam(one, unit - one) is None:
                    continue
                needs = self.fewest(one), self.fewest(unit - one)
                if needs[0] is not None and needs[1] is not None:
                    best = min(best or 99, needs[0] + needs[1])
        return best

    def joins_are_straight(self, joins: Joins, sections: dict[str, tuple[str, ...]]) -> bool:
        """Whether sections are joined in straight seams alone."""

        def pieces(node: Joins) -> frozenset[int]:
            if isinstance(node, str):
                return frozenset(self.ids.index(name) for name in sections[node])
            return pieces(node[0]) | pieces(node[1])

        def straight(node: Joins) -> bool:
            if isinstance(node, str):
                return True
            seam = self.seam(pieces(node[0]), pieces(node[1]))
            return seam is not None and straight(node[0]) and straight(node[1])

        return straight(joins)


FRAMES = (
    [(0, 0), (6, 0), (6, 3), (3, 3), (3, 6), (0, 6)],
    [(0, 0), (6, 0), (6, 6), (4, 6), (4, 3), (2, 3), (2, 6), (0, 6)],
    [
        (2, 0),
        (4, 0),
        (4, 2),
        (6, 2),
        (6, 4),
        (4, 4),
        (4, 6),
        (2, 6),
        (2, 4),
        (0, 4),
        (0, 2),
        (2, 2),
    ],
    [(0, 0), (6, 0), (6, 6), (3, 2), (0, 6)],
    [(0, 2), (2, 0), (4, 2), (6, 0), (6, 6), (3, 4), (0, 6)],
)
"""Outsides of blocks that are not convex."""


def notched(seed: int) -> Block | None:
    """A frame with reflex corners, cut again and again from side to side, often at its corners."""
    rng = random.Random(seed)
    shapes = [Polygon(rng.choice(FRAMES))]
    cuts = rng.randint(2, 6)
    for _ in range(cuts * 5):
        if len(shapes) > cuts:
            break
        shapes.sort(key=lambda s: -s.area)
        shape = shapes.pop(rng.randrange(min(2, len(shapes))))
        corners = [Point(p) for p in shape.exterior.coords[:-1]]
        if rng.random() < 0.7:
            a, b = rng.choice(corners), rng.choice(corners)
        else:
            a, b = (shape.exterior.interpolate(rng.random(), normalized=True) for _ in range(2))
        x, y = b.x - a.x, b.y - a.y
        line = LineString([(a.x - 9 * x, a.y - 9 * y), (b.x + 9 * x, b.y + 9 * y)])
        parts = polygons(cut_shape(shape, line)) if abs(x) + abs(y) > 0.3 else []
        whole = len(parts) == 2 and min(p.area for p in parts) > SMALLEST
        shapes += parts if whole else [shape]
    return block_of(shapes)


def bowed(seed: int) -> Block | None:
    """A square cut by one or two flat arcs and some straight lines.

    The arcs are drawn as chords that turn by less than a degree: a seam along one has no pivot,
    and is therefore straight, but no line for a section's step.
    """
    rng = random.Random(seed)
    shapes = [box(0, 0, 6, 6)]
    for _ in range(rng.randint(1, 2)):
        middle, radius, bow = rng.uniform(1, 5), rng.uniform(14, 40), rng.choice((1, -1))
        arc = LineString(
            (x, middle + bow * (radius - math.sqrt(radius**2 - (x - 3) ** 2)))
            for x in (k / 5 for k in range(-2, 33))
        )
        shapes = [part for shape in shapes for part in polygons(cut_shape(shape, arc))]
    for _ in range(rng.randint(0, 3)):
        shapes.sort(key=lambda s: s.area)
        largest = shapes.pop()
        x, y = largest.centroid.x, largest.centroid.y
        across, down = rng.choice(((9, 0), (0, 9), (rng.uniform(-9, 9), 9)))
        line = LineString([(x - across, y - down), (x + across, y + down)])
        shapes += polygons(cut_shape(largest, line))
    return block_of(shapes)


def strips(widths: Sequence[float], height: float = 6.0) -> Block:
    """Upright strips in a row, from the left."""
    ends = [0.0, *itertools.accumulate(widths)]
    outlines = (
        paths.polygon([(x, 0.0), (to, 0.0), (to, height), (x, height)])
        for x, to in itertools.pairwise(ends)
    )
    pieces = tuple(Piece(f"s{k}", outline, "cloth") for k, outline in enumerate(outlines, 1))
    return Block("strips", "in", pieces, (Fabric("cloth", "Sailcloth", "#d8c69a"),))
