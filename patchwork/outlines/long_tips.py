"""Tips so long that they may stick out of a unit away from their own corner.

That takes a tip that reaches an edge which does not end at its corner, or the far end of one that
does: where the edges round the corner are straight, have one allowance, and reach further
than the tip, and all others lie further off, the tip lies among the strips and the cloth
round its corner, and ``patchwork.outlines.matching`` has cut what does not.  And it takes a unit in
which the corner has a neighbour: in others the tip is the unit's own one.  Most of the tips that
are left lie within one allowance of the cloth of the first such unit, and so of all later ones.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from piecewright.patchwork.block.seams import Corner
from piecewright.patchwork.geometry.vectors import Point, between, plus
from piecewright.patchwork.outlines.mitres import AGREED, Tip, TipKey
from piecewright.patchwork.outlines.proximity import Ground

CLOSE: Final = 5e-5
"""Inches by which a tip may stick out of a unit unseen: more than a curve's points are off."""


Probe: TypeAlias = tuple[Point, Sequence[int]]
"""A point of a tip's edge on the block, and the pieces within one allowance of it."""


@dataclass(frozen=True, slots=True)
class LongTip:
    """A tip that reaches further than the strips and the cloth round its corner.

    Attributes:
        point: the point its corner lies at.
        unit: the first unit in which the corner has a neighbour.
        probes: points of its edge.
    """

    point: int
    corner: Corner
    tip: Tip
    unit: int
    probes: Sequence[Probe] = ()


def long_tips(ground: Ground, tips: Mapping[TipKey, Tip], reach: Sequence[float]) -> list[LongTip]:
    """The tips of a block that do not lie within one allowance of their first unit's cloth.

    Args:
        reach: of the longest tip at each point, inches.
    """
    long = list(_reaching(ground, tips, reach))
    if not long:
        return []
    points = [_edge_points(one.tip, ground.seams.points[one.point]) for one in long]
    owner = np.repeat(np.arange(len(long)), [len(own) for own in points])
    found, pieces = ground.near([p for own in points for p in own], ground.least + CLOSE)
    units = np.array([one.unit for one in long])[owner[found]]
    beyond = np.full(len(owner), True)
    beyond[found[ground.have(units, pieces)]] = False
    left = np.unique(owner[beyond])
    of_them = np.isin(owner[found], left)
    near = _gathered(len(owner), found[of_them], pieces[of_them])
    starts = np.searchsorted(owner, left).tolist()
    return [
        replace(
            long[i],
            probes=list(zip(points[i], near[start : start + len(points[i])], strict=True)),
        )
        for i, start in zip(left.tolist(), starts, strict=True)
    ]


def probes_of(ground: Ground, tip: Tip, place: Point) -> list[Probe]:
    """The probes of a tip whose corner lies at ``place``."""
    points = _edge_points(tip, place)
    near = _gathered(len(points), *ground.near(points, ground.least + CLOSE))
    return list(zip(points, near, strict=True))


def _gathered(count: int, found: NDArray[np.int64], pieces: NDArray[np.int64]) -> list[list[int]]:
    """For each of so many points the pieces with which it makes a pair."""
    near: list[list[int]] = [[] for _ in range(count)]
    for k, piece in zip(found.tolist(), pieces.tolist(), strict=True):
        near[k].append(piece)
    return near


def _edge_points(tip: Tip, place: Point) -> list[Point]:
    """The corners of a tip's rim, and the middles of its straight parts."""
    rim, (first, last) = tip.rim(), tip.ends
    middles = (between(p, q, 0.5) for p, q in itertools.pairwise((first, *rim, last)))
    return [plus(place, x) for x in (*rim, *middles)]


def _reaching(
    ground: Ground, tips: Mapping[TipKey, Tip], reach: Sequence[float]
) -> Iterator[LongTip]:
    """The tips that reach an edge that may matter to them."""
    sewn_by = ground.order.sewn_by
    for point, room in _rooms(ground, reach):
        for corner in (c for run in ground.seams.around[point] for c in run):
            tip = tips[corner.piece, corner.side]
            if tip.pointed and tip.reach > max(room, ground.least + AGREED):
                joins = [sewn_by[e] for e in (corner.arriving, corner.leaving)]
                sewn = [join for join in joins if join is not None]
                if sewn:
                    yield LongTip(point, corner, tip, ground.order.pieces + min(sewn))


def _rooms(ground: Ground, reach: Sequence[float]) -> Iterator[tuple[int, float]]:
    """Points with a tip longer than the way to the first edge that may matter to it."""
    longest = np.array(reach)
    asked = np.flatnonzero(longest > ground.least + AGREED)
    if not len(asked):
        return
    room = np.full(len(longest), math.inf)
    if ground.least != ground.most:
        room[[p for p in asked.tolist() if len(_widths_at(ground, p)) > 1]] = 0.0
    # Beside a curve the strips and the cloth end at the point itself.
    straight = np.where(ground.curved, 0.0, shapely.length(ground.lines))
    np.minimum.at(room, ground.ends, straight[:, None])
    dots = np.asarray(shapely.points(np.array(ground.seams.points)[asked]))
    found, near = ground.tree.query(dots, predicate="dwithin", distance=longest[asked])
    others = (ground.ends[near] != asked[found][:, None]).all(axis=1)
    found, near = found[others], near[others]
    gaps = shapely.distance(dots[found], ground.lines[near])
    np.minimum.at(room, asked[found], gaps)
    for point in asked[longest[asked] > room[asked]].tolist():
        yield point, float(room[point])


def _widths_at(ground: Ground, point: int) -> set[float]:
    corners = (c for run in ground.seams.around[point] for c in run)
    return {ground.widths[e] for c in corners for e in (c.arriving, c.leaving)}
