"""As few different ways of pressing a design, its variants, as the quilt's meetings allow.

Blocks of one design are alike to their makers if all their steps are pressed alike.  The parities
that nested meetings put between the blocks of a quilt leave some variables open; blocks are made
alike, one after the other, wherever these let them be.  Blocks of which no two can be alike show
how few variants there can be (a clique in the graph of blocks that cannot be alike, and the
variants are its colours); a small quilt that is not settled by it is searched through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.optimise.parity import FIXED, Parities

_MOST_SEARCHED = 30
"""Blocks of a quilt up to which all ways of making them alike are tried."""

_MOST_TRIALS = 20_000
"""How often the search may try to make two blocks alike; some tenths of a second."""


@dataclass(frozen=True, slots=True)
class Instance:
    """A block of the quilt: its design, and the variables of its ties in their order."""

    design: str
    variables: tuple[int, ...]


def made_alike(
    instances: Sequence[Instance], parities: Parities, orders: Sequence[Sequence[int]]
) -> bool:
    """Put the blocks into as few groups of like ones as can be; ``parities`` holds them then.

    Args:
        orders: those in which the blocks are gone through, each holding every block once.

    Returns:
        Whether it is proven that there can be no fewer groups.
    """
    least = _least(instances, parities)
    before = parities.mark()
    best: list[int] = []
    count = len(instances) + 1
    for order in orders:
        # Each order from the same state: blocks made alike in the one before are so no longer.
        groups, firsts = _one_after_another(instances, order, parities)
        parities.rollback(before)
        if len(firsts) < count:
            best, count = groups, len(firsts)
        if count == least:
            break
    fewest = count == least
    if not fewest and len(instances) <= _MOST_SEARCHED:
        search = _Search(instances, parities, best, count, least)
        search.from_block(0)
        best = search.best
        # Proven by the bound, or because the search came to its end.
        fewest = search.count == least or search.trials < _MOST_TRIALS
    first_of: dict[int, int] = {}
    for i, group in enumerate(best):
        _tie(instances[first_of.setdefault(group, i)], instances[i], parities)
    return fewest


def _tie(one: Instance, other: Instance, parities: Parities) -> bool:
    """Make two blocks alike, or leave everything as it is if that cannot be."""
    mark = parities.mark()
    for a, b in zip(one.variables, other.variables, strict=True):
        if not parities.union(a, b, False):
            parities.rollback(mark)
            return False
    return True


def _one_after_another(
    instances: Sequence[Instance], order: Sequence[int], parities: Parities
) -> tuple[list[int], list[int]]:
    """Each block like the earliest that it can be like; also the first block of each group."""
    groups = [0] * len(instances)
    firsts: list[int] = []
    of: dict[str, list[int]] = {}
    for i in order:
        known = of.setdefault(instances[i].design, [])
        for group in known:
            if _tie(instances[firsts[group]], instances[i], parities):
                groups[i] = group
                break
        else:
            known.append(len(firsts))
            groups[i] = len(firsts)
            firsts.append(i)
    return groups, firsts


def _least(instances: Sequence[Instance], parities: Parities) -> int:
    """How many blocks were found of which no two can be alike: a lower bound on the groups."""
    apart: dict[str, list[list[tuple[int, bool]]]] = {}
    for instance in instances:
        led = [parities.find(variable) for variable in instance.variables]
        others = apart.setdefault(instance.design, [])
        # Two blocks cannot be alike if a tie of theirs has one root and opposite parities.
        if all(
            any(a[0] == b[0] and a[1] != b[1] for a, b in zip(led, other, strict=True))
            for other in others
        ):
            others.append(led)
    return sum(len(others) for others in apart.values())


class _Search:
    """Depth first: each block joins a group of its design or begins one of its own."""

    def __init__(
        self,
        instances: Sequence[Instance],
        parities: Parities,
        best: list[int],
        count: int,
        least: int,
    ) -> None:
        self.instances, self.parities = instances, parities
        self.best, self.count, self.least = best, count, least
        self.trials = 0
        self._groups: list[int] = []
        self._firsts: list[int] = []

    def from_block(self, i: int) -> None:
        """Try every way of going on with block ``i``."""
        if len(self._firsts) >= self.count or self.count == self.least:
            return
        if i == len(self.instances):
            self.best, self.count = list(self._groups), len(self._firsts)
            return
        # To be like the first of a group is to be like all of it: equality is transitive.
        own = self.instances[i]
        for group, first in enumerate(self._firsts):
            if self.trials >= _MOST_TRIALS:
                return
            if self.instances[first].design != own.design:
                continue
            self.trials += 1
            mark = self.parities.mark()
            if _tie(self.instances[first], own, self.parities):
                self._groups.append(group)
                self.from_block(i + 1)
                self._groups.pop()
                self.parities.rollback(mark)
        self._groups.append(len(self._firsts))
        self._firsts.append(i)
        self.from_block(i + 1)
        self._firsts.pop()
        self._groups.pop()


def as_planned(
    instances: Sequence[Instance], steps: Sequence[Sequence[int]], parities: Parities
) -> dict[int, bool]:
    """What is still open, made so that the most steps are pressed as their designs' plans have it.

    Args:
        steps: for each block and tie how many steps it has.

    Returns:
        The value of each root but the fixed one; as in the plans where both weigh the same.
    """
    fixed, _ = parities.find(FIXED)
    gains: dict[int, int] = {}
    for instance, own in zip(instances, steps, strict=True):
        for variable, count in zip(instance.variables, own, strict=True):
            root, opposite = parities.find(variable)
            if root != fixed:
                gains[root] = gains.get(root, 0) + (-count if opposite else count)
    return {root: gain < 0 for root, gain in gains.items()}
