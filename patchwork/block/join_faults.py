"""What is wrong with a join that is not legal, for its maker."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.block.wording import unit_name
from piecewright.patchwork.faults import Fault


def illegal_join(
    seams: Seams,
    ids: Sequence[str],
    pairs: Sequence[tuple[int, int]],
    k: int,
    pointer: str,
    shared: Collection[int],
) -> Fault:
    """The fault of a join that is not legal.

    Args:
        pairs: all joins, as pairs of units (numbered as in ``block.joins``); this is number ``k``.
        shared: the edges that its two units have in common.
    """
    first, second = (_named(ids, pairs, unit) for unit in pairs[k])
    if not shared:
        message = f"{first} and {second} share no edge, so they cannot be sewn to each other here"
        piece = next(_members(len(ids), pairs, pairs[k][1]))
        at = seams.points[seams.start(seams.sides[piece][0])]
    else:
        message = (
            f"{first} and {second} meet along several separate lines; "
            "join the pieces between them first, so that one seam is left"
        )
        at = seams.points[seams.edges[min(shared)].start]
    return Fault(pointer, "illegal-join", message, at)


def _members(count: int, pairs: Sequence[tuple[int, int]], unit: int) -> Iterator[int]:
    """The pieces of a unit of an order that may not be legal, first unit before second."""
    stack = [unit]
    while stack:
        unit = stack.pop()
        if unit < count:
            yield unit
        else:
            stack += reversed(pairs[unit - count])


def _named(ids: Sequence[str], pairs: Sequence[tuple[int, int]], unit: int) -> str:
    """A unit as a fault names it."""
    return unit_name([ids[i] for i in _members(len(ids), pairs, unit)], 4)
