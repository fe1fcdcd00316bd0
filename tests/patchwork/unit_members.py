"""The pieces of a unit by a walk through its joins, apart from the code under test."""

from __future__ import annotations

from piecewright.patchwork.block.joins import Order


def members(order: Order, unit: int) -> list[int]:
    """The pieces of a unit, first unit before second."""
    found: list[int] = []
    stack = [unit]
    while stack:
        unit = stack.pop()
        if unit < order.pieces:
            found.append(unit)
        else:
            join = order.joins[unit - order.pieces]
            stack += [join.second, join.first]
    return found
