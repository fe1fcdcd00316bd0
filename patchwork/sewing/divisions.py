"""How a unit may be divided along a cut: sewn plainly, or so that an earlier seam is finished.

A cut may finish an earlier seam (``cut_graph.Opening``) instead of bending at a point, if that seam
ends there, straight, and stands open at no other end.  This is a *demand* on the half in which the
seam lies: the cut that ends at the point when the half is divided must be such a seam.  When
the half is divided along another cut first, the demand goes on to the half that has the seam.
So a unit is known by its figure, and one with demands by itself and these.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.sewing.bitset import PieceSet
from piecewright.patchwork.sewing.cut_graph import Cut, CutGraph, HalfEdge, Opening
from piecewright.patchwork.sewing.figures import Figures
from piecewright.patchwork.sewing.order_sharing import Figure, Way

Demands: TypeAlias = frozenset[HalfEdge]
"""Seams of a unit that have to be straight and to stand open at an end on its outside: for each the
half-edge that leaves that end along it."""

NO_DEMANDS: Demands = frozenset()


@dataclass(frozen=True, slots=True)
class Division:
    """A cut, as it divides a unit.

    Attributes:
        opening: how it finishes an earlier seam, if it does.
        demands: those on either half.
        needless: its needless bends that are not saved.
    """

    cut: Cut
    opening: Opening | None
    halves: tuple[PieceSet, PieceSet]
    demands: tuple[Demands, Demands]
    needless: int


class Divisions:
    """The ways in which units of a block may be divided."""

    def __init__(self, graph: CutGraph, figures: Figures) -> None:
        self.graph, self.figures = graph, figures
        self._demanded: dict[tuple[PieceSet, Demands], Figure] = {}
        self._pictures: dict[Figure, tuple[int, int]] = {}

    def figure_of(self, unit: PieceSet, demands: Demands) -> Figure:
        """The number of a unit's figure; one of its own where there are demands."""
        if not demands:
            return self.figures.of(unit)
        known = self._demanded.get((unit, demands))
        if known is None:
            known = self._demanded[unit, demands] = self.figures.set_apart(unit)
            segments = [self.graph.segment(h) for h in sorted(demands)]
            # Not halfway, so that it can be told at which end the seam stands open.
            points = [paths.point_at(s, 0.25) for s in segments]
            self._pictures[known] = self.figures.picture(unit, points)
        return known

    def along(
        self, bends: int, cut: Cut, halves: tuple[PieceSet, PieceSet], demands: Demands
    ) -> Iterator[Division]:
        """The ways to sew along a cut that meet demands: plainly, or finishing an earlier seam."""
        graph = self.graph
        openings = graph.openings(cut) if bends else ()
        for opening in (None, *openings):
            if demands and not self._meets(cut, opening, demands):
                continue
            wanted = demands if opening is None else demands | {opening.earlier}
            one, other = (frozenset(h for h in wanted if graph.lies_in(half, h)) for half in halves)
            yield Division(cut, opening, halves, (one, other), bends - (opening is not None))

    def _meets(self, cut: Cut, opening: Opening | None, demands: Demands) -> bool:
        """Whether a cut that is a demanded seam is straight, and stands open at one end alone."""
        ends = [h for h in (cut[0], cut[-1] ^ 1) if h in demands]
        if len(ends) != 1:
            return not ends
        seam = cut if opening is None else opening.rest
        return ends[0] in (seam[0], seam[-1] ^ 1) and self.graph.is_straight(seam)

    def way(self, division: Division) -> Way:
        """A division as a way of dividing its unit's figure."""
        graph, cut = self.graph, division.cut
        numbered = sorted(
            (self.figure_of(half, demands), half)
            for half, demands in zip(division.halves, division.demands, strict=True)
        )
        seam = cut if division.opening is None else division.opening.rest
        set_in = sum(graph.thousandths[h >> 1] for h in seam) if graph.has_pivot(seam) else 0
        (x, y), (u, v) = (
            graph.seams.points[p] for p in (graph.origin[cut[0]], graph.target(cut[-1]))
        )
        down = round(abs(v - y), 6) > round(abs(u - x), 6)
        (one, half), (other, rest) = numbered
        return Way((half, rest), (one, other), set_in, int(self._has_meeting(division)), down)

    def _has_meeting(self, division: Division) -> bool:
        """Whether earlier seams arrive from both sides at a point inside what is sewn."""
        graph, opening = self.graph, division.opening
        points = {graph.origin[h] for h in division.cut[1:]}
        if opening is not None:
            at = graph.origin[opening.earlier]
            points.discard(at)
            # The seam of the cut arrives there at the one that it finishes; on the other side of
            # that, beside the stretch, are pieces of one half alone.
            sides = graph.seams.parted(at, opening.earlier >> 1, opening.stretch[-1] >> 1)
            holding = next(h for h in division.halves if graph.lies_in(h, opening.earlier))
            if any(len(own) > 1 and all(holding >> i & 1 for i in own) for own in sides):
                return True
        # Earlier seams arrive from a half where two or more of its pieces lie round a point: the
        # cut passes the point once, so they lie side by side.
        return any(
            all((graph.around[p] & half).bit_count() > 1 for half in division.halves)
            for p in points
        )

    def key(self, way: Way) -> tuple[object, ...]:
        """What two ways have in common between which there is nothing to choose."""
        figures = sorted(self._pictures.get(figure, (figure, -1)) for figure in way.figures)
        return *figures, way.set_in, way.meetings
