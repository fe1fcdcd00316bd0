"""What plans of pressing come to, found with Shapely alone from a block's pieces and joins.

The rules are those of ``patchwork.sewing.pressing``; nothing here looks at its parts.  Lightness:
CIE 1976 L*, ISO/CIE 11664-4, of relative luminance as WCAG 2.2 defines it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import affine_transform
from shapely.geometry import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths

RADIUS: Final = 0.012
"""Inches; of a circle round a point, on which it is seen what arrives there."""

EVEN: Final = 0.1
"""Steps of L* by which two sides must differ at least for one to be the darker."""


Plans: TypeAlias = NDArray[np.bool_]
Counts: TypeAlias = NDArray[np.int64]


@dataclass(frozen=True)
class Arrival:
    """An earlier seam at a point of a later one; ``onward``: where its allowance lies when it is
    pressed toward its first unit."""

    join: int
    from_first: bool
    onward: bool


@dataclass(frozen=True)
class Place:
    """A point inside a seam: the step that sews it there, and the one with which it is pressed."""

    step: int
    along: int
    at: tuple[float, float]
    arrivals: tuple[Arrival, ...]

    @property
    def meeting(self) -> bool:
        return len({a.from_first for a in self.arrivals}) == 2


class PressReading:
    """A block's joins as polygons and lines, and what arrives at every point inside a seam."""

    def __init__(self, block: Block, seams: Seams, order: Order) -> None:
        self.pieces = [
            Polygon(
                [p for side in sides for p in _points(seams.edges[side.edge].segment, side.forward)]
            )
            for sides in seams.sides
        ]
        self.units = [*self.pieces]
        self.members = [frozenset([i]) for i in range(len(self.pieces))]
        self.lines: list[LineString] = []
        for join in order.joins:
            one, other = self.units[join.first], self.units[join.second]
            common = one.intersection(other)
            parts = [g for g in getattr(common, "geoms", [common]) if g.geom_type == "LineString"]
            line = shapely.line_merge(MultiLineString(parts)) if len(parts) > 1 else parts[0]
            whole = shapely.unary_union([one, other])
            assert isinstance(line, LineString)
            assert isinstance(whole, Polygon)
            self.lines.append(line)
            self.units.append(whole)
            self.members.append(self.members[join.first] | self.members[join.second])
        self.order = order
        self.block = block
        # On both sides of each seam, its first unit's first: the cloth, and the pieces along it.
        self.sewn = [*self.lines]
        self.cloth: list[list[BaseGeometry]] = [
            [self.units[u] for u in self._joined(k)] for k in range(len(self.lines))
        ]
        self.beside = [[self.members[u] for u in self._joined(k)] for k in range(len(self.lines))]
        self.open_from = [math.inf] * len(self.lines)
        for k, join in enumerate(order.joins):
            if join.partial is not None:
                finishing = order.joins[join.partial.finished_by].finishes
                assert finishing is not None
                at = (join.partial.start, join.partial.open, finishing.end)
                self._read_partial(k, join.partial.finished_by, *(seams.points[p] for p in at))
        self.corners = corners = sorted({s.start for p in block.pieces for s in p.outline})
        self.places = [
            place
            for k in range(len(order.joins))
            for corner in corners
            if (place := self._place(k, corner)) is not None
        ]

    def _read_partial(
        self,
        k: int,
        later: int,
        start: tuple[float, float],
        at: tuple[float, float],
        end: tuple[float, float],
    ) -> None:
        """A seam, from its start to its open end, goes on along a later one to the end of that."""
        own, line = self.lines[k], self.lines[later]
        middle, far = (line.project(shapely.Point(p)) for p in (at, end))
        stretch = substring(line, middle, far)
        rest = substring(line, *((middle, line.length) if far < middle else (0.0, middle)))
        assert isinstance(rest, LineString)
        self.lines[later] = rest
        coords = [*own.coords] if own.coords[0] == start else [*own.coords][::-1]
        self.open_from[k] = own.length
        whole = self.lines[k] = LineString([*coords, *stretch.coords[1:]])
        # Its two sides, through all of the cloth that there is when it is finished.
        (x, y), (u, v) = start, end
        cloth, first = self.units[len(self.pieces) + later], self.units[self.order.joins[k].first]
        across, down = (50 * (u - x), 50 * (v - y))
        sides = [
            Polygon([(x - across, y - down), (u + across, v + down),
                     (u + across - way * down, v + down + way * across),
                     (x - across - way * down, y - down + way * across)])
            for way in (1, -1)
        ]  # fmt: skip
        near = shapely.Point(own.interpolate(0.5, normalized=True)).buffer(0.01)
        sides.sort(key=lambda side: -side.intersection(near).intersection(first).area)
        self.cloth[k] = list(shapely.intersection([cloth, cloth], sides))
        along = [i for i in self.members[len(self.pieces) + later] if self._along(i, whole)]
        self.beside[k] = [
            frozenset(
                i for i in along
                if self.pieces[i].intersection(whole.buffer(0.01)).intersection(side).area > 5e-5
                and self.pieces[i].intersection(whole.buffer(0.01)).intersection(side).area
                > self.pieces[i].intersection(whole.buffer(0.01)).area / 2
            )
            for side in sides
        ]  # fmt: skip

    def _place(self, k: int, corner: tuple[float, float]) -> Place | None:
        line, point = self.lines[k], shapely.Point(corner)
        if line.distance(point) > 1e-7:
            return None
        if (
            not line.is_ring
            and min(math.dist(corner, p) for p in (line.coords[0], line.coords[-1])) < 1e-7
        ):
            return None
        arrivals = []
        circle = point.buffer(RADIUS, quad_segs=720).exterior
        along = sorted((line.project(shapely.Point(q)), q) for q in _crossing(line, circle))
        assert len(along) == 2
        ahead = along[1][1] if not line.is_ring else along[0][1]
        onward = _angle(corner, ahead)
        partial = self.order.joins[k].partial
        step = k
        if partial is not None and line.project(point) > self.open_from[k] - 1e-6:
            step = partial.finished_by
        made = self.members[len(self.pieces) + step]
        for side, cloth in enumerate(self.cloth[k]):
            turns = 1 if _holds(cloth, corner, onward + 0.4) else -1
            for j in range(step + (step != k)):
                if j == k or not self.members[len(self.pieces) + j] <= made:
                    continue
                if self.lines[j].distance(point) > 1e-7:
                    continue
                for q in _crossing(self.lines[j], circle):
                    if not cloth.buffer(1e-6).contains(shapely.Point(q)):
                        continue
                    arm = _angle(corner, q)
                    # The allowance lies on the side of the arm on which its first unit is.
                    aside = 0.4 if _holds(self.cloth[j][0], corner, arm + 0.4) else -0.4
                    assert _holds(self.cloth[j][1], corner, arm - aside)
                    nearer = (turns * (arm + aside - onward)) % 360 < (turns * (arm - onward)) % 360
                    arrivals.append(Arrival(j, side == 0, nearer))
        return Place(step, k, corner, tuple(arrivals)) if arrivals else None

    def nested_and_layers(self, toward_first: Plans) -> tuple[Counts, Counts]:
        """Nested meetings and layers of many plans: one plan a row, one join a column."""
        nested = np.zeros(len(toward_first), dtype=np.int64)
        layers = np.zeros(len(toward_first), dtype=np.int64)
        for place in self.places:
            onward = {a: toward_first[:, a.join] == a.onward for a in set(place.arrivals)}
            if place.meeting:
                fits = np.zeros(len(toward_first), dtype=bool)
                for side in (True, False):
                    fits |= np.all(
                        [onward[a] == (a.from_first == side) for a in place.arrivals], axis=0
                    )
                nested += fits
            thickest = np.zeros(len(toward_first), dtype=np.int64)
            for side in (True, False):
                cloth = [
                    1
                    + 2
                    * sum(
                        (onward[a] == side).astype(np.int64)
                        for a in place.arrivals
                        if a.from_first == unit
                    )
                    for unit in (True, False)
                ]
                pressed = np.where(toward_first[:, place.along], cloth[0], cloth[1])
                thickest = np.maximum(thickest, cloth[0] + cloth[1] + pressed)
            layers += thickest
        return nested, layers

    # --- what counts besides meetings ---

    def worth(self, toward_first: Plans) -> NDArray[np.int64]:
        """Nested meetings, alike pairs, bulk, away and darker of many plans: a column for each."""
        nested, _ = self.nested_and_layers(toward_first)
        alike = np.zeros_like(nested)
        for (i, j), same in self.pairs.items():
            fits = [(toward_first[:, i] == toward_first[:, j]) == s for s in same]
            alike += np.logical_or.reduce(fits)
        bulk = np.zeros_like(nested)
        for k, (first, second) in enumerate(self.bulks()):
            bulk += np.where(toward_first[:, k], first, second)
        wished = []
        for sides in (self.away(), self.toward_darker(self.block)):
            count = np.zeros_like(nested)
            for k, side in enumerate(sides):
                if side is not None:
                    count += toward_first[:, k] == side
            wished.append(count)
        return np.stack([nested, alike, bulk, *wished], axis=1)

    def best(self, plans: Plans) -> tuple[int, ...]:
        """What the best of some plans come to."""
        worth = self.worth(plans)
        signs = (-1, -1, 1, -1, -1)
        keys = [sign * worth[:, i] for i, sign in enumerate(signs)]
        return tuple(map(int, worth[np.lexsort(keys[::-1])[0]]))

    def bulks(self) -> list[tuple[int, int]]:
        """For each seam how many others come in on the side of its first and its second unit."""
        count = len(self.pieces)
        found = []
        for k, line in enumerate(self.lines):
            unit = self._enclosing(count + k)
            others = [
                j
                for j in range(len(self.lines))
                if j != k and self.members[count + j] <= self.members[unit]
            ]
            right: set[int] = set()
            left: set[int] = set()
            for corner in self.corners:
                if line.distance(shapely.Point(corner)) > 1e-7:
                    continue
                for j in others:
                    for side in self._sides(line, self.lines[j], corner):
                        (right if side > 0 else left).add(j)
            sides = (len(right), len(left))
            found.append(sides if self._first_is_right(k) else sides[::-1])
        return found

    def _enclosing(self, unit: int) -> int:
        """The smallest rectangle that a unit is or becomes part of, or else the whole block."""
        larger = [
            u
            for u in range(len(self.pieces), len(self.units))
            if self.members[unit] <= self.members[u] and not self._stands_open(u)
        ]
        for u in sorted(larger, key=lambda u: len(self.members[u])):
            shape = self.units[u]
            around = shapely.minimum_rotated_rectangle(shape).boundary
            # Corners of a rectangle may each be off by the tolerance of 0.004 in.
            if shapely.hausdorff_distance(around, shape.boundary) < 0.008:
                return u
        return len(self.units) - 1

    def _stands_open(self, unit: int) -> bool:
        """Whether a partial seam of a unit is finished only later."""
        own = self.members[unit]
        return any(
            self.members[len(self.pieces) + k] <= own
            and not self.members[len(self.pieces) + join.partial.finished_by] <= own
            for k, join in enumerate(self.order.joins)
            if join.partial is not None
        )

    def _sides(
        self, line: LineString, other: LineString, corner: tuple[float, float]
    ) -> Iterator[int]:
        """On which sides of a line the parts of another one next to a point of it lie."""
        point = shapely.Point(corner)
        if other.distance(point) > 1e-7:
            return
        circle = point.buffer(RADIUS, quad_segs=720).exterior
        along = [
            q
            for _, q in sorted((line.project(shapely.Point(q)), q) for q in _crossing(line, circle))
        ]
        ways = [_angle(corner, q) for q in along]
        if len(ways) == 1:
            at_start = math.dist(corner, line.coords[0]) < 1e-7
            back, on = (ways[0] + 180, ways[0]) if at_start else (ways[0], ways[0] + 180)
        else:
            back, on = ways if not line.is_ring or corner != line.coords[0] else ways[::-1]
        bends = abs((on - back) % 360 - 180) > 1.0
        for q in _crossing(other, circle):
            way = _angle(corner, q)
            if bends:
                yield 1 if (way - on) % 360 < (back - on) % 360 else -1
            elif abs(math.sin(math.radians(way - on))) > math.sin(math.radians(1.0)):
                yield 1 if math.sin(math.radians(way - on)) > 0 else -1

    def _first_is_right(self, k: int) -> bool:
        (x, y), (u, v) = self.lines[k].coords[:2]
        long = math.hypot(u - x, v - y)
        aside = min(1e-3, long / 4) / long
        probe = shapely.Point((x + u) / 2 - aside * (v - y), (y + v) / 2 + aside * (u - x))
        first, second = self.cloth[k]
        return bool(first.distance(probe) < second.distance(probe))

    def _joined(self, k: int) -> tuple[int, int]:
        return self.order.joins[k].first, self.order.joins[k].second

    @cached_property
    def pairs(self) -> dict[tuple[int, int], set[bool]]:
        """The pairs of alike seams: whether the one's first unit is carried onto the other's.

        Both where either may be.
        """
        beside = [
            [[i for i in sorted(side) if self._along(i, line)] for side in self.beside[k]]
            for k, line in enumerate(self.lines)
        ]
        found = {}
        for i, j in itertools.combinations(range(len(self.lines)), 2):
            for flipped in (False, True):
                same = {
                    own == target
                    for carry in _isometries(self.lines[i], self.lines[j], flipped)
                    for own, target in itertools.product(((0, 1), (1, 0)), repeat=2)
                    if all(
                        self._carried(beside[i][a], beside[j][b], carry)
                        for a, b in zip(own, target, strict=True)
                    )
                }
                if same:
                    found[i, j] = same
                    break
        return found

    def _along(self, piece: int, line: LineString) -> bool:
        return bool(self.pieces[piece].exterior.intersection(line).length > 1e-5)

    def _carried(self, own: list[int], onto: list[int], carry: list[float]) -> bool:
        """Whether pieces are carried onto other ones, each onto one."""
        if len(own) != len(onto):
            return False
        laid = [affine_transform(self.pieces[i], carry) for i in own]
        return all(sum(_lies_on(p, self.pieces[o]) for o in onto) == 1 for p in laid)

    def away(self) -> list[bool | None]:
        """For each join whether its first unit is the side away from the larger or inner one."""
        middle = shapely.unary_union(self.pieces).centroid
        found: list[bool | None] = []
        for k in range(len(self.lines)):
            one, other = self._joined(k)
            sizes = len(self.members[one]), len(self.members[other])
            if sizes[0] != sizes[1]:
                found.append(sizes[0] < sizes[1])
                continue
            inner = [
                unit
                for unit in (one, other)
                if sizes == (1, 1)
                and self.pieces[unit].contains(middle)
                and self.pieces[unit].exterior.distance(middle) > 0.004
            ]
            if sizes == (1, 1) and not inner:
                ranks = [self._inner(k, one), self._inner(k, other)]
                inner = [one, other][ranks.index(min(ranks)) :][:1] if ranks[0] != ranks[1] else []
            found.append(inner[0] == other if inner else None)
        return found

    def _inner(self, k: int, piece: int) -> tuple[int, int]:
        """Smaller for that of two pieces round which those after it are rather sewn."""
        chain, unit = [k], len(self.pieces) + k
        for n, join in enumerate(self.order.joins[k + 1 :], k + 1):
            if unit in (join.first, join.second):
                if min(join.first, join.second) >= len(self.pieces):
                    break
                chain.append(n)
                unit = len(self.pieces) + n
        along = [n for n in chain if self._along(piece, self.sewn[n])]
        ways = []
        for n in along:
            parts = self.pieces[piece].exterior.intersection(self.sewn[n])
            for part in getattr(parts, "geoms", [parts]):
                if part.length > 0:
                    ways += [_angle(p, q) for p, q in itertools.pairwise(part.coords)]
        if all(abs(math.sin(math.radians(way - ways[0]))) < 0.02 for way in ways):
            return 2, 0
        if len(along) < 3:
            last = sum(self._along(i, self.sewn[along[-1]]) for i in range(len(self.pieces)))
            if len(along) < 2 or last < 3:
                return 2, 0
        first_round = [n for n in chain if n <= along[-1]]
        return (0, along[-1]) if len(along) == len(first_round) else (1, -len(along))

    def toward_darker(self, block: Block) -> list[bool | None]:
        """For each join whether its first unit is the darker along the seam."""
        colours = {f.id: f.colour for f in block.fabrics}
        found: list[bool | None] = []
        for beside, line in zip(self.beside, self.lines, strict=True):
            lights = []
            for side in beside:
                weights, sums = 0.0, 0.0
                for i in side:
                    fabric = block.pieces[i].fabric
                    if fabric is not None:
                        size = shapely.intersection(self.pieces[i], line).length
                        weights += size
                        sums += size * _light(colours[fabric])
                lights.append(sums / weights if weights > 1e-9 else math.nan)
            apart = lights[0] - lights[1]
            found.append(None if math.isnan(apart) or abs(apart) < EVEN else apart < 0)
        return found


def _holds(cloth: BaseGeometry, corner: tuple[float, float], degrees: float) -> bool:
    """Whether cloth lies in a direction from a corner."""
    way = math.radians(degrees)
    probe = (corner[0] + RADIUS * math.cos(way), corner[1] + RADIUS * math.sin(way))
    return bool(cloth.contains(shapely.Point(probe)))


def _points(segment: paths.Segment, forward: bool) -> list[tuple[float, float]]:
    points = [*paths.flatten(segment, 1e-5), segment.end]
    return (points if forward else points[::-1])[:-1]


def _crossing(line: LineString, circle: LineString) -> list[tuple[float, float]]:
    return [(g.x, g.y) for g in shapely.get_parts(line.intersection(circle))]


def _angle(p: Sequence[float], q: Sequence[float]) -> float:
    return math.degrees(math.atan2(q[1] - p[1], q[0] - p[0]))


def _light(colour: str) -> float:
    value = int(colour[1:], 16)
    rgb = np.array([value >> 16, value >> 8 & 255, value & 255]) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    light = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * (math.cbrt(light) if light > 216 / 24389 else light * 841 / 108 + 4 / 29) - 16


def _lies_on(shape: Polygon, other: Polygon) -> bool:
    """Whether two shapes are one, but for 0.02 in; the boxes round them, quick to look at, too."""
    boxes = zip(shape.bounds, other.bounds, strict=True)
    if any(abs(p - q) >= 0.02 for p, q in boxes):
        return False
    return bool(shapely.hausdorff_distance(shape, other) < 0.02)


def _isometries(line: LineString, onto: LineString, flipped: bool) -> Iterator[list[float]]:
    """The turns or the flips that lay the ends of a line onto those of another one."""
    if line.is_ring or onto.is_ring:
        return
    z, w = complex(*line.coords[0]), complex(*line.coords[-1])
    for ends in (onto.coords[0], onto.coords[-1]), (onto.coords[-1], onto.coords[0]):
        p, q = (complex(*end) for end in ends)
        if abs(abs(w - z) - abs(q - p)) > 0.02:
            continue
        # x -> turn x + shift, of the conjugate if flipped.
        along = (w - z).conjugate() if flipped else w - z
        turn = (q - p) / along / abs((q - p) / along)
        shift = p - turn * (z.conjugate() if flipped else z)
        c, s, sign = turn.real, turn.imag, -1.0 if flipped else 1.0
        yield [c, -s * sign, s, c * sign, shift.real, shift.imag]
