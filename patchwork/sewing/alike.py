"""Steps of sewing that are alike but for their place: a maker sews one as often as there are."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.joins import Join, Order, Spans
from piecewright.patchwork.block.seams import Seams, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point, cross, distance, dot, minus, normalised
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.stops import SeamEnd, Stop

ALIKE = 0.01
"""Inches within which the corners of two steps must agree for them to be alike.

More than twice the ``TOLERANCE`` by which each of two corners may be off, and far less than what
a careful maker's cut is off (``error_budget.CUTTING``)."""


_OPEN = -1.0
"""Stands for an end of a seam that is left open; no length is negative."""


def first_alike(
    seams: Seams,
    order: Order,
    directions: Sequence[Press],
    levels: Sequence[int],
    stops: Sequence[Sequence[Stop]],
) -> list[int]:
    """For each join the first of its level that is sewn just like it.

    Both units must have the same pieces, turned but not flipped over, with the same seam
    between them, pressed toward the same one, stopped or left open at the same ends, and finishing
    as much of an earlier seam.  Fabrics may differ.
    """
    # Only steps of one level and with as many pieces on both sides are compared.
    spans = Spans(order)
    shapes = [_marks(seams, piece) for piece in range(order.pieces)]
    counts = [len(shape) for shape in shapes]
    kinds: list[tuple[int, ...]] = []
    for k, join in enumerate(order.joins):
        one, other = counts[join.first], counts[join.second]
        counts.append(one + other)
        kinds.append((levels[order.pieces + k], *sorted((one, other))))
    several = Counter(kinds)
    firsts: dict[tuple[int, ...], list[tuple[int, _Laid]]] = {}
    like = []
    for k, join in enumerate(order.joins):
        # One that is alone of its kind is like itself only: so are all that sew a long chain.
        if join.seam.ends is None or several[kinds[k]] == 1:
            like.append(k)
            continue
        # From which end of the seam a step is seen makes no difference to a maker.
        ends = frozenset(stop.end for stop in stops[k])
        laid = _Laid.of(seams, order, spans, k, directions[k], ends, shapes)
        turned = laid.turned()
        known = firsts.setdefault(kinds[k], [])
        for first, other_laid in known:
            if laid.agrees(other_laid) or turned.agrees(other_laid):
                like.append(first)
                break
        else:
            known.append((k, laid))
            like.append(k)
    return like


def _marks(seams: Seams, piece: int) -> list[Point]:
    """The corners and the middles of the sides of a piece, whatever its neighbours are."""
    outline = straightened(tuple(seams.segment(s) for s in seams.sides[piece]))
    return [p for s in outline for p in (s.start, paths.point_at(s, 0.5))]


@dataclass(frozen=True, slots=True)
class _Laid:
    """The marks of a step, laid so that its seam runs along +x from the origin.

    Attributes:
        right, left: the marks of the units on the two sides of the seam so laid.
        toward: the side that the seam is pressed toward, or open.
        ends: for the start and the end of the seam how much of an earlier seam is finished from
            there on, inches; ``_OPEN`` where it is itself left open.
        stopped: the ends at which it stops at the match point; it starts at the origin.
    """

    length: float
    right: tuple[Point, ...]
    left: tuple[Point, ...]
    toward: str
    ends: tuple[float, float]
    stopped: frozenset[SeamEnd]

    @classmethod
    def of(
        cls,
        seams: Seams,
        order: Order,
        spans: Spans,
        k: int,
        press: Press,
        stopped: frozenset[SeamEnd],
        shapes: Sequence[list[Point]],
    ) -> _Laid:
        join = order.joins[k]
        assert join.seam.ends is not None
        side = join.seam.sides[0]
        start, end = (seams.points[p] for p in join.seam.ends)
        beside, _ = seams.beside(side)
        first = spans.pieces(join.first)
        sides = [first, spans.pieces(join.second)]
        toward = {"first": "right", "second": "left", "open": "open"}[press]
        if not spans.holds(join.first, beside):
            sides.reverse()
            toward = {"right": "left", "left": "right", "open": "open"}[toward]
        along = normalised(minus(end, start))

        def laid(p: Point) -> Point:
            v = minus(p, start)
            return (dot(v, along), cross(along, v))

        right, left = (tuple(laid(p) for i in own for p in shapes[i]) for own in sides)
        return cls(distance(start, end), right, left, toward, _ends(seams, join), stopped)

    def turned(self) -> _Laid:
        """The same step, seen from the other end of its seam."""
        right, left = (
            tuple((self.length - x, -y) for x, y in marks) for marks in (self.left, self.right)
        )
        toward = {"right": "left", "left": "right", "open": "open"}[self.toward]
        other: dict[SeamEnd, SeamEnd] = {"start": "end", "end": "start"}
        stopped = frozenset(other[end] for end in self.stopped)
        return _Laid(self.length, right, left, toward, self.ends[::-1], stopped)

    def agrees(self, other: _Laid) -> bool:
        return (
            self.toward == other.toward
            and self.stopped == other.stopped
            and abs(self.length - other.length) <= ALIKE
            and all(abs(a - b) <= ALIKE for a, b in zip(self.ends, other.ends, strict=True))
            and _same_marks(self.right, other.right)
            and _same_marks(self.left, other.left)
        )


def _ends(seams: Seams, join: Join) -> tuple[float, float]:
    """What ``_Laid.ends`` says of a seam."""
    assert join.seam.ends is not None
    found = []
    for point in join.seam.ends:
        if join.partial is not None and join.partial.open == point:
            found.append(_OPEN)
        elif join.finishes is not None and seams.start(join.finishes.stretch[0]) == point:
            found.append(paths.run_length(seams.segment(s) for s in join.finishes.stretch))
        else:
            found.append(0.0)
    return found[0], found[1]


def _same_marks(marks: Sequence[Point], others: Sequence[Point]) -> bool:
    """Whether every mark has one of the others within reach, and there are as many."""
    if len(marks) != len(others):
        return False
    # Points in the cells of a grid, so that only those nearby are compared.
    cell = 2 * ALIKE
    near: dict[tuple[int, int], list[Point]] = {}
    for p in others:
        near.setdefault((math.floor(p[0] / cell), math.floor(p[1] / cell)), []).append(p)
    for p in marks:
        x, y = math.floor(p[0] / cell), math.floor(p[1] / cell)
        cells = ((x + i, y + j) for i in (0, -1, 1) for j in (0, -1, 1))
        if not any(distance(p, q) <= ALIKE for c in cells for q in near.get(c, ())):
            return False
    return True
