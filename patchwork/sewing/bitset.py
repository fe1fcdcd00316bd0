"""A unit as a set of pieces, held as the bits of a whole number: piece 0 is bit 0.

Sets of some thousand pieces are then joined, parted and compared in one step, and found again in a
dictionary.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeAlias

PieceSet: TypeAlias = int


def pieces_of(unit: PieceSet) -> Iterator[int]:
    """The numbers of a unit's pieces, smallest first."""
    digits = bin(unit)[:1:-1]
    at = digits.find("1")
    while at >= 0:
        yield at
        at = digits.find("1", at + 1)


def unit_of(pieces: Iterable[int]) -> PieceSet:
    """The unit of some pieces."""
    unit = 0
    for i in pieces:
        unit |= 1 << i
    return unit
