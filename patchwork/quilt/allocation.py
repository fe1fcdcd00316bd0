"""Allocation: who makes which blocks of a quilt.

Everybody makes as many blocks as the others, or one more; the first makers named have the one
more.  Makers get as few different variants as can be found: whole shares of one variant first,
then what is left over, two variants that make up a share exactly before any others, of
one design before others.  Blocks that a maker gets of one variant lie near each other: they follow
one another along a Hilbert curve (D. Hilbert, Mathematische Annalen 38, 1891).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import TypeAlias

Place: TypeAlias = tuple[int, int]
"""Row and column, from 0."""

VariantKey: TypeAlias = tuple[str, int]
"""A design's id and the number of the variant."""


def allocated(blocks: Mapping[VariantKey, Sequence[Place]], makers: int) -> dict[Place, int]:
    """The number of the maker of each block.

    Args:
        blocks: the places of each variant's blocks.
        makers: how many there are; no more than blocks.
    """
    total = sum(len(places) for places in blocks.values())
    small, more = divmod(total, makers)
    shares = [small + 1] * more + [small] * (makers - more)
    amounts = _amounts({key: len(places) for key, places in blocks.items()}, shares)
    along = hilbert_side(max(max(place) for places in blocks.values() for place in places) + 1)
    left = {
        key: sorted(places, key=lambda place: hilbert(along, *place))
        for key, places in blocks.items()
    }
    made: dict[Place, int] = {}
    # Makers of one variant go along its curve; the others then take what lies nearest to theirs.
    for maker in sorted(range(makers), key=lambda m: (len(amounts[m]), m)):
        own: list[Place] = []
        for key, count in sorted(amounts[maker].items(), key=lambda kc: (-kc[1], kc[0])):
            # The most of one variant first, along its curve; the rest as near to these as can be.
            if own:
                middle = [sum(place[axis] for place in own) / len(own) for axis in (0, 1)]
                near = sorted(left[key], key=lambda p, m=middle: _away(p, m))  # type: ignore[misc]
                taken = near[:count]
            else:
                taken = left[key][:count]
            gone = set(taken)
            left[key] = [place for place in left[key] if place not in gone]
            own += taken
        made.update(dict.fromkeys(own, maker))
    return made


def _away(place: Place, middle: Sequence[float]) -> tuple[float, Place]:
    return (place[0] - middle[0]) ** 2 + (place[1] - middle[1]) ** 2, place


def _amounts(counts: dict[VariantKey, int], shares: Sequence[int]) -> list[dict[VariantKey, int]]:
    """How many blocks of which variant each maker gets."""
    left = {key: count for key, count in sorted(counts.items()) if count}
    amounts: list[dict[VariantKey, int]] = [{} for _ in shares]
    waiting = {size: [m for m, s in enumerate(shares) if s == size] for size in set(shares)}
    large, small = max(waiting), min(waiting)

    def next_share(size: int) -> dict[VariantKey, int]:
        return amounts[waiting[size].pop(0)]

    # Variants that make up whole shares without a rest.
    for key in sorted(left, key=lambda k: (-left[k], k)):
        split = _exactly(left[key], large, len(waiting[large]), small, len(waiting[small]))
        if split is not None:
            for size, times in zip((large, small), split, strict=True):
                for _ in range(times):
                    next_share(size)[key] = size
            del left[key]
    # Whole shares of what there is most of.
    while any(waiting.values()):
        size = large if waiting[large] else small
        key = max(left, key=lambda k: left[k])
        if left[key] < size:
            break
        next_share(size)[key] = size
        left[key] -= size
        if not left[key]:
            del left[key]
    # Rests that make up a share exactly: two, or three.
    for several in (2, 3):
        # Triples grow with the cube: 60 rests make 34,000 of them.
        if len(left) > 60:
            break
        # Rests of one design first, as two variants of it differ in pressing only.
        groups = sorted(combinations(sorted(left), several), key=lambda ks: len({k for k, _ in ks}))
        for keys in groups:
            if all(key in left for key in keys):
                size = sum(left[key] for key in keys)
                if waiting.get(size):
                    own = next_share(size)
                    for key in keys:
                        own[key] = left.pop(key)
    # The rest, one variant after another, so that one is split only where a share is full.
    rest = [(key, left[key]) for key in sorted(left)]
    for size in (large, small) if large != small else (large,):
        for maker in waiting[size]:
            room = size
            while room:
                key, count = rest.pop(0)
                taken = min(room, count)
                amounts[maker][key] = taken
                room -= taken
                if taken < count:
                    rest.insert(0, (key, count - taken))
    return amounts


def _exactly(
    count: int, large: int, most_large: int, small: int, most_small: int
) -> tuple[int, int] | None:
    """How many large and small shares make up ``count``, the fewest large ones; None if none do."""
    if large == small:
        times, rest = divmod(count, large)
        return (times, 0) if not rest and times <= most_large else None
    for times in range(min(most_large, count // large) + 1):
        rest = count - times * large
        if small and rest % small == 0 and rest // small <= most_small:
            return times, rest // small
    return None


def hilbert_side(count: int) -> int:
    """The side of the smallest square of a Hilbert curve that holds ``count`` places abreast."""
    side = 1
    while side < count:
        side *= 2
    return side


def hilbert(side: int, row: int, column: int) -> int:
    """How far along a Hilbert curve through a square a place lies.

    Args:
        side: of the square, a power of two.

    >>> sorted(((r, c) for r in (0, 1) for c in (0, 1)), key=lambda p: hilbert(2, *p))
    [(0, 0), (1, 0), (1, 1), (0, 1)]
    """
    # From the largest quarters to the smallest: the curve passes them in the order top left,
    # bottom left, bottom right, top right, and runs through each as a copy of itself, mirrored
    # where that is needed to go on where the one before ended.
    along = 0
    x, y = column, row
    half = side // 2
    while half:
        right, down = int(x & half > 0), int(y & half > 0)
        along += half * half * ((3 * right) ^ down)
        if not down:
            if right:
                x, y = side - 1 - x, side - 1 - y
            x, y = y, x
        half //= 2
    return along
