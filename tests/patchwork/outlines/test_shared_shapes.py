"""One cut outline for each shape: like pieces are cut alike, by the best of all choices.

What is best is found by brute force over the cuts of each corner and the ways in which each piece
may lie.  All that brute force knows is measured with Shapely on the outlines that are matched piece
by piece: shapes by their sides and corners, and a cut by how far it lets both raw edges go on.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator, Sequence
from typing import Any, TypeAlias

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.geometry.paths import Line
from tests.patchwork import partitions
from tests.patchwork.outlines import raw_edges
from tests.patchwork.outlines.raw_edges import Cut
from tests.patchwork.outlines.test_cut_outlines import check_matched

STRAIGHT = [
    entry.id
    for entry in catalogue.entries()
    if all(isinstance(s, Line) for p in catalogue.load(entry.id).pieces for s in p.outline)
]

Ends: TypeAlias = tuple[float, float]
"""How far past a corner the raw edges of the side that arrives and of the one that leaves go on."""

MOST = 3000
"""Choices of templates that brute force looks at, and ways to lie for each of them."""


class TestProperties:
    @pytest.mark.parametrize("name", STRAIGHT)
    def test_hold_for_the_catalogue(self, name: str) -> None:
        check_matched(Cut(catalogue.load(name)))

    @settings(max_examples=15, deadline=None)
    @given(block=partitions.blocks())
    def test_hold_for_random_blocks(self, block: Block) -> None:
        check_matched(Cut(block))

    @pytest.mark.parametrize("seed", range(8))
    def test_hold_for_blocks_of_like_pieces(self, seed: int) -> None:
        check_matched(Cut(copied(seed, 1 + seed % 3)))

    @pytest.mark.parametrize("name", ["storm-at-sea", "snail-trail", "pineapple", "kaleidoscope"])
    def test_hold_with_a_wider_edge(self, name: str) -> None:
        # Like pieces of which one lies at the outside are no longer alike.
        wide = Cut(finished(catalogue.load(name), width=8), edge=0.5)
        assert max(raw_edges.unlike(wide), default=0.0) < 0.01


def copied(seed: int, cuts: int) -> Block:
    """A square cut up at random, beside it another copy, turned half round or mirrored."""
    rng = random.Random(seed)
    side = 3.0
    for attempt in itertools.count():
        base = partitions.through_cut(seed * 1000 + attempt, cuts, side)
        if base is None:
            continue
        # Left to right and top to bottom: as it is, or the other way round.
        right, down = rng.choice([(1, 1), (-1, 1), (-1, -1)])
        pieces = []
        for k, piece in enumerate(base.pieces):
            ring = [s.start for s in piece.outline]
            there = [
                [side + (x if right > 0 else side - x), y if down > 0 else side - y]
                for x, y in ring
            ]
            pieces.append({"id": f"a{k}", "outline": [[x, y] for x, y in ring]})
            pieces.append({"id": f"b{k}", "outline": there})
        joins = joins_at_random(pieces, rng)
        return block_from_pieces({"pieces": pieces, **({"joins": joins} if joins else {})})
    raise AssertionError


def joins_at_random(pieces: Sequence[dict[str, Any]], rng: random.Random) -> Any:
    """Pieces joined in any order in which two units always share one line.

    In such an order like pieces have unlike neighbours, so that they are not cut alike by
    themselves.
    """
    units: list[tuple[Any, BaseGeometry]] = [
        (p["id"], Polygon(p["outline"]).buffer(0)) for p in pieces
    ]
    while len(units) > 1:
        pairs = list(itertools.combinations(range(len(units)), 2))
        for i, j in rng.sample(pairs, len(pairs)):
            (one, shape), (other, beside) = units[i], units[j]
            line = shapely.line_merge(shape.intersection(beside))
            if line.geom_type == "LineString" and not line.is_ring and line.length > 0.01:
                joined = shapely.unary_union([shape, beside])
                units = [u for k, u in enumerate(units) if k not in (i, j)]
                units.append(([one, other], joined))
                break
        else:
            return None  # what is left touches along several lines: an order is worked out
    return units[0][0]


# --- brute force ------------------------------------------------------------------------------


class Brute:
    """A block as it is seen by its pieces' corners and the ends of its seams."""

    def __init__(self, block: Block) -> None:
        self.each = Cut(block, corners="matched-each")
        self.ends = raw_edges.raw_ends(self.each)
        self.rings = {n: raw_edges.ring_of(s) for n, s in self.each.finished.items()}
        self.own = {name: self.cuts(self.each, name) for name in self.rings}
        full = Cut(block, corners="full")
        self.whole = {name: self.cuts(full, name) for name in self.rings}
        # Shapes, by their first pieces, with the ways of all their pieces.
        self.shapes: dict[str, dict[str, list[tuple[bool, int]]]] = {}
        for name, shape in self.each.finished.items():
            for first, members in self.shapes.items():
                ways = raw_edges.ways(shape, self.each.finished[first])
                if ways:
                    members[name] = ways
                    break
            else:
                self.shapes[name] = {name: raw_edges.ways(shape, shape)}

    def cuts(self, cut: Cut, name: str) -> list[Ends]:
        """How far the raw edges go on at each corner of a piece."""
        ring = self.rings[name]
        found = []
        for k, at in enumerate(ring):
            before, after = ring[k - 1], ring[(k + 1) % len(ring)]
            ends = [raw_edges.end_along(cut, name, (toward, at)) for toward in (before, after)]
            found.append((ends[0], ends[1]))
        return found

    def options(self, first: str) -> list[list[Ends]]:
        """For each corner of a shape the cuts that its pieces may have there, and none."""
        ring = self.rings[first]
        angles = raw_edges.corners(ring)
        found: list[list[Ends]] = [[cut] for cut in self.whole[first]]
        for name, ways in self.shapes[first].items():
            for way, (k, cut) in itertools.product(ways, enumerate(self.own[name])):
                at = raw_edges.laid_on(k, way, len(ring))
                seen = cut[::-1] if way[0] else cut
                if angles[at] < raw_edges.RIGHT and not any(
                    math.dist(seen, other) < 1e-4 for other in found[at]
                ):
                    found[at].append(seen)
        return found

    def at_corner(self, name: str, at: tuple[float, float]) -> int | None:
        """The number of a piece's corner at a point; None where it runs straight on there."""
        near = [k for k, p in enumerate(self.rings[name]) if math.dist(p, at) < 1e-6]
        return near[0] if near else None

    def best(self) -> tuple[int, int] | None:
        """The most seam ends that can agree, and the fewest reversed pieces; None if too many."""
        firsts = list(self.shapes)
        options = [self.options(first) for first in firsts]
        count = math.prod(len(own) for of_shape in options for own in of_shape)
        if count > MOST:
            return None
        best = (-1, 0)
        for choice in itertools.product(*(itertools.product(*own) for own in options)):
            for laid in self._lays(dict(zip(firsts, choice, strict=True))):
                agree = self.agreeing({name: cuts for name, (cuts, _) in laid.items()})
                best = max(best, (agree, -sum(flip for _, flip in laid.values())))
        return best

    def _lays(
        self, templates: dict[str, Sequence[Ends]]
    ) -> Iterator[dict[str, tuple[tuple[Ends, ...], bool]]]:
        """All ways in which the pieces may lie: their corners' cuts, and whether reversed."""
        names, stances = [], []
        for first, template in templates.items():
            mirrored = any(flip for flip, _ in self.shapes[first][first])
            for name, ways in self.shapes[first].items():
                found: dict[tuple[Ends, ...], bool] = {}
                for way in ways:
                    cuts = []
                    for k in range(len(template)):
                        seen = template[raw_edges.laid_on(k, way, len(template))]
                        cuts.append(seen[::-1] if way[0] else seen)
                    found.setdefault(tuple(cuts), mirrored and way[0])
                names.append(name)
                stances.append(list(found.items()))
        assert math.prod(map(len, stances)) <= MOST
        for lay in itertools.product(*stances):
            yield dict(zip(names, lay, strict=True))

    def agreeing(self, cuts: dict[str, Sequence[Ends]]) -> int:
        """How many seam ends agree with these cuts."""
        agree = 0
        for (_, at), pair in self.ends.items():
            reach = []
            for name, along in pair:
                corner = self.at_corner(name, at)
                if corner is None:
                    reach.append(along)
                else:
                    # Which of the two sides at the corner the seam runs along.
                    arrives = self.arrives(name, corner, at, pair)
                    reach.append(cuts[name][corner][0 if arrives else 1])
            agree += abs(reach[0] - reach[1]) <= 0.002
        return agree

    def arrives(
        self,
        name: str,
        corner: int,
        at: tuple[float, float],
        pair: Sequence[tuple[str, float]],
    ) -> bool:
        """Whether the side along which a piece is sewn to the other one arrives at the corner."""
        ring = self.rings[name]
        (other,) = (n for n, _ in pair if n != name)
        ways = []
        for beside in (ring[corner - 1], ring[(corner + 1) % len(ring)]):
            size = math.dist(beside, at)
            x, y = (a + (b - a) * 0.01 / size for a, b in zip(at, beside, strict=True))
            ways.append(self.each.finished[other].distance(shapely.Point(x, y)))
        return ways[0] < ways[1]


def same_ends(one: Ends, other: Ends) -> bool:
    """Whether raw edges go on as far."""
    return math.dist(one, other) < 2e-3


def reversed_pieces(brute: Brute, cut: Cut) -> int:
    """How many pieces of shapes that are their own mirror images lie flipped, at the least."""
    total = 0
    for members in brute.shapes.values():
        first = next(iter(members))
        if not any(flip for flip, _ in members[first]):
            continue
        onto = brute.cuts(cut, first)
        reversed_ = 0
        for name, ways in members.items():
            own = brute.cuts(cut, name)
            fits = [
                flip
                for flip, shift in ways
                if all(
                    same_ends(
                        (ends[1], ends[0]) if flip else ends,
                        onto[raw_edges.laid_on(k, (flip, shift), len(own))],
                    )
                    for k, ends in enumerate(own)
                )
            ]
            assert fits, f"(vi) {name} is cut like {first}"
            reversed_ += min(fits)
        total += min(reversed_, len(members) - reversed_)
    return total


def check_best(block: Block) -> bool:
    """Whether brute force could be done; it finds nothing better than the choice that was made."""
    brute = Brute(block)
    best = brute.best()
    if best is None:
        return False
    made = Cut(block)
    agree = sum(gap <= 0.002 for gap in raw_edges.end_gaps(made).values())
    assert (agree, -reversed_pieces(brute, made)) == best
    return True


class TestBest:
    @pytest.mark.parametrize(
        "name", ["triangle-in-a-square", "hourglass", "tumbling-blocks", "half-square-triangle"]
    )
    def test_of_the_catalogue(self, name: str) -> None:
        assert check_best(catalogue.load(name))

    @settings(max_examples=15, deadline=None)
    @given(seed=st.integers(0, 10**6), cuts=st.integers(1, 2))
    def test_of_a_block_of_like_pieces(self, seed: int, cuts: int) -> None:
        assume(check_best(copied(seed, cuts)))

    @pytest.mark.parametrize("goose", [1.5, 2.0])
    def test_of_geese(self, goose: float) -> None:
        # Two geese one above the other, with the sky at both sides of each.
        lines: list[list[list[float]]] = [[[0, 2], [4, 2]]]
        for y in (0.0, 2.0):
            lines += [[[0, y + 2], [2 * goose, y]], [[2 * goose, y], [4, y + 2]]]
        frame = [[0, 0], [4, 0], [4, 4], [0, 4]]
        assert check_best(block_from_drawing({"frame": frame, "lines": lines}))


def test_ears_are_trimmed_where_that_is_all_the_same_to_the_seams() -> None:
    # With points left on, both seam ends of two half-square triangles agree as well.
    cut = Cut(catalogue.load("half-square-triangle"))
    assert max(raw_edges.ears(cut).values()) < 1e-4


def test_squares_of_a_star_are_whole_and_share_one_template() -> None:
    cut = Cut(catalogue.load("ohio-star"))
    assert max(raw_edges.lost_corners(cut).values()) < 1e-9
