"""Rounds of strips about a centre, as in a log cabin, and how to square up after each.

Units that grow by single strips or triangles round a centre are squared up after each round
(common practice), measured from the centre, so that what is off in one round is not carried into
the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order, Spans
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.vectors import (
    Point,
    Vector,
    cross,
    dot,
    minus,
    normalised,
)
from piecewright.patchwork.sewing.rectangles import Rectangle, Size, side_allowances, unfinished

FEWEST_STRIPS = 4
"""A unit that has grown round its centre by fewer than this is not called a log cabin.

A round about a square centre has four."""


@dataclass(frozen=True, slots=True)
class Round:
    """A round of strips about a centre, and how to square up after it.

    Attributes:
        number: from 1.
        centre: the ids of the pieces in the middle.
        joins: those that sew its strips; the unit is squared up after the last.
        unfinished: the size to square up to; None where the unit is no rectangle.
        from_centre: from the middle of the centre to the raw edge on the left, above, on the right
            and below, along the unit's own sides.
    """

    number: int
    centre: tuple[str, ...]
    joins: tuple[int, ...]
    unfinished: Size | None
    from_centre: tuple[float, float, float, float] | None


def rounds_of(
    block: Block,
    seams: Seams,
    order: Order,
    rectangles: Sequence[Rectangle | None],
    allowance: Allowance,
) -> Iterator[Round]:
    """The rounds of every unit that grows by single pieces, with straight seams, round a centre."""
    spans = Spans(order)
    for chain in _chains(order):
        first = order.joins[chain[0]]
        # The chain begins with a unit and a piece that is added to it, or with two pieces, of
        # which either may be the centre.
        centres = [u for u in (first.first, first.second) if u < order.pieces]
        if len(centres) == 1:
            centres = [first.first + first.second - centres[0]]
        around = {c: _boundary(seams, spans.pieces(c)) for c in centres}
        grown = [_grown(seams, order, around[c], chain, c) for c in centres]
        rounds, centre = min(
            zip(grown, centres, strict=True), key=lambda g: _rank(order, around[g[1]], g[0])
        )
        if sum(map(len, rounds)) < FEWEST_STRIPS:
            continue
        # A square with snowballed corners between two other squares is no cabin.
        if _is_row(seams, order, rectangles, centre, rounds[0]):
            continue
        squared = [rectangles[order.pieces + joins[-1]] is not None for joins in rounds]
        # Two triangles beside a third, a flying goose, are no round.
        gooselike = any(len(own) == 2 and not ok for own, ok in zip(rounds, squared, strict=True))
        if gooselike or not any(squared):
            continue
        ids = tuple(block.pieces[i].id for i in spans.pieces(centre))
        corners = [
            p for i in spans.pieces(centre) for s in seams.sides[i] for p in _ends(seams, s.edge)
        ]
        for number, joins in enumerate(rounds, 1):
            rectangle = rectangles[order.pieces + joins[-1]]
            if rectangle is None:
                yield Round(number, ids, joins, None, None)
                continue
            # From the middle of the centre's bounding box, along the unit's own sides.
            xs = [dot(p, rectangle.along) for p in corners]
            ys = [dot(p, rectangle.across) for p in corners]
            x, y = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
            left, top, right, bottom = side_allowances(seams, rectangle, allowance)
            yield Round(
                number,
                ids,
                joins,
                unfinished(seams, rectangle, allowance),
                (
                    x - rectangle.left + left,
                    y - rectangle.top + top,
                    rectangle.right - x + right,
                    rectangle.bottom - y + bottom,
                ),
            )


def centres_of_two(seams: Seams, order: Order) -> dict[int, int]:
    """For joins of two pieces the one round which the pieces after it are sewn, where one is.

    These pieces are sewn one at a time, with whatever seams.  Both may have them on all sides in
    the end; then it is the one round which they are sewn first.
    """
    found: dict[int, int] = {}
    for chain in _chains(order, straight=False):
        first = order.joins[chain[0]]
        if max(first.first, first.second) >= order.pieces or len(chain) == 1:
            continue
        ranks = []
        for piece in (first.first, first.second):
            around = _boundary(seams, [piece])
            rounds = _grown(seams, order, around, chain, piece)
            if not _goes_round(seams, order, around, rounds):
                rounds = []
            ranks.append(_rank(order, around, rounds))
        if ranks[0] != ranks[1]:
            found[chain[0]] = first.first if ranks[0] < ranks[1] else first.second
    return found


def _goes_round(
    seams: Seams, order: Order, around: Iterable[int], rounds: Sequence[tuple[int, ...]]
) -> bool:
    """Whether strips lie round a piece, and are not just the two next to it in a slanted row.

    Of two the later one then lies along the earlier one, too.

    Args:
        around: the edges round the piece.
    """
    sewn = {order.sewn_by[e] for e in around}
    along = [k for own in rounds[:1] for k in own if k in sewn]
    if len(along) != 2:
        return len(along) > 2
    edges = [seams.edges[side.edge] for side in order.joins[along[1]].sewn]
    return len({piece for edge in edges for piece in (edge.right, edge.left)}) > 2


def _boundary(seams: Seams, pieces: Iterable[int]) -> set[int]:
    """The edges round some pieces."""
    edges: set[int] = set()
    for piece in pieces:
        edges ^= {s.edge for s in seams.sides[piece]}
    return edges


def _is_row(
    seams: Seams,
    order: Order,
    rectangles: Sequence[Rectangle | None],
    centre: int,
    joins: Sequence[int],
) -> bool:
    """Whether what a round adds once it is a rectangle lies on opposite sides of that alone."""
    if rectangles[centre] is None:
        made = [rectangles[order.pieces + k] is not None for k in joins]
        joins = joins[made.index(True) + 1 :] if True in made else ()
    ways = [
        normalised(minus(*_ends(seams, side.edge))) for k in joins for side in order.joins[k].sewn
    ]
    return bool(joins) and _parallel(ways)


def _parallel(ways: Sequence[Vector]) -> bool:
    """Whether directions are the same, or opposite, within a degree or so (its sine is 0.017)."""
    return all(abs(cross(ways[0], v)) < 0.02 for v in ways)


def _ends(seams: Seams, edge: int) -> tuple[Point, Point]:
    return seams.edges[edge].segment.start, seams.edges[edge].segment.end


def _chains(order: Order, straight: bool = True) -> Iterator[list[int]]:
    """Joins that each add one piece to what the one before made, with a straight seam or any."""

    def adds(k: int) -> bool:
        join = order.joins[k]
        single = min(join.first, join.second) < order.pieces
        return single and (join.seam.kind == "straight" or not straight)

    for k, join in enumerate(order.joins):
        made = max(join.first, join.second)
        # A chain starts where the larger unit was not itself made by adding one piece.
        if not adds(k) or (made >= order.pieces and adds(made - order.pieces)):
            continue
        chain = [k]
        while (parent := order.parents[order.pieces + chain[-1]]) is not None:
            if not adds(parent - order.pieces):
                break
            chain.append(parent - order.pieces)
        yield chain


def _rank(
    order: Order, around: Iterable[int], rounds: Sequence[tuple[int, ...]]
) -> tuple[int, int]:
    """Lower for that one of two pieces which is rather the centre of what grows from them.

    Each strip of the first round lies along the centre, and of two such pieces the
    centre is enclosed first; where strips come in mixed order, more lie along the centre.

    Args:
        around: the edges round the piece.
    """
    if not rounds:
        return 2, 0
    along = {order.sewn_by[e] for e in around}.intersection(rounds[0])
    return (0, rounds[0][-1]) if len(along) == len(rounds[0]) else (1, -len(along))


def _grown(
    seams: Seams, order: Order, around: Iterable[int], chain: Sequence[int], centre: int
) -> list[tuple[int, ...]]:
    """The complete rounds about a centre: each encloses all sides that ever get a strip.

    Strips on one pair of opposite sides alone make a row and not a round.

    Args:
        around: the edges round the centre.
    """
    rounds: list[tuple[int, ...]] = []
    left = list(chain)
    boundary = set(around)
    while left:
        # The round ends with the last strip of those that are sewn to what is there now.
        inside = set(left)
        sewn = {e: order.sewn_by[e] for e in sorted(boundary) if order.sewn_by[e] in inside}
        ways = [normalised(minus(*_ends(seams, e))) for e in sewn]
        # A row: strips on parallel sides alone.
        if _parallel(ways):
            break
        last = max(k for k in sewn.values() if k is not None)
        rounds.append(tuple(k for k in left if k <= last))
        left = [k for k in left if k > last]
        strips = (u for k in rounds[-1] for u in (order.joins[k].first, order.joins[k].second))
        boundary ^= _boundary(seams, (u for u in strips if u < order.pieces and u != centre))
    return rounds
