"""A set of pieces as a bitset: a whole number whose bit ``i`` is 1 if piece ``i`` is in the set.

Sets of some thousand pieces are then united, intersected and compared in one step each, and
serve as keys of dictionaries.  The pieces of a unit are held so.

>>> one = piece_set([0, 3])
>>> bin(one), one & piece_set([3, 4]) == piece_set([3]), one.bit_count()
('0b1001', True, 2)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeAlias

PieceSet: TypeAlias = int


def pieces_of(pieces: PieceSet) -> Iterator[int]:
    """The numbers of the pieces in a set, smallest first.

    >>> list(pieces_of(0b1001))
    [0, 3]
    """
    # Text of the digits, lowest first: ``find`` then skips long gaps at the speed of C, where
    # taking off the lowest bit again and again would copy the whole number each time.
    digits = bin(pieces)[:1:-1]
    at = digits.find("1")
    while at >= 0:
        yield at
        at = digits.find("1", at + 1)


def piece_set(pieces: Iterable[int]) -> PieceSet:
    """The set of some pieces, given by their numbers."""
    found = 0
    for i in pieces:
        found |= 1 << i
    return found
