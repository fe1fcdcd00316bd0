"""Groups of a block's pieces as the pieces of a coarser block: sections of a foundation, or blocks
that a block is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from piecewright.patchwork.block.joins import seam_bends
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.paths import Line, Outline, Segment


def outlines_of(seams: Seams, units: Sequence[Sequence[int]]) -> list[Outline]:
    """The finished outline of each group of pieces.

    They have a point wherever groups meet, so that neighbours share their edges.

    Args:
        units: for each group the numbers of its pieces; together they are all of the block's.
    """
    group_of = {p: n for n, unit in enumerate(units) for p in unit}
    return [_outline_of(seams, unit, group_of) for unit in units]


def _outline_of(seams: Seams, unit: Sequence[int], group_of: Mapping[int, int]) -> Outline:
    """The finished outline of a group.

    Args:
        group_of: for each piece of the block the number of its group.
    """
    own = group_of[unit[0]]
    # The half-edges at the group's outside, by the point at which they begin, each with the
    # point at which it ends; then they are walked from one to the next.
    leaving: dict[int, tuple[int, Segment]] = {}
    for piece in unit:
        for side in seams.sides[piece]:
            edge = seams.edges[side.edge]
            other = edge.across(piece)
            if other is None or group_of[other] != own:
                end = edge.end if side.forward else edge.start
                leaving[seams.start(side)] = end, seams.segment(side)
    first = point = min(leaving)
    walked: list[tuple[int, Segment]] = []
    while True:
        end, segment = leaving[point]
        walked.append((point, segment))
        point = end
        if point == first:
            break
    # Points in the middle of a straight side go, but for those at which groups meet.
    corners = [
        k
        for k, (point, segment) in enumerate(walked)
        if _groups_meet(seams, point, group_of) or not _straight_on(walked[k - 1][1], segment)
    ]
    outline: list[Segment] = []
    for k, following in zip(corners, [*corners[1:], corners[0] + len(walked)], strict=True):
        segment = walked[k][1]
        if following > k + 1:
            end_of_run = walked[(following - 1) % len(walked)][1].end
            segment = Line(segment.start, end_of_run)
        outline.append(segment)
    return tuple(outline)


def _groups_meet(seams: Seams, point: int, group_of: Mapping[int, int]) -> bool:
    """Whether three groups meet at a point, or two and the outside."""
    runs = seams.around[point]
    groups = {group_of[c.piece] for run in runs for c in run}
    return len(groups) + any(not seams.closes(run) for run in runs) > 2


def _straight_on(before: Segment, after: Segment) -> bool:
    """Whether two edges are one straight side."""
    return isinstance(before, Line) and isinstance(after, Line) and not seam_bends(before, after)
