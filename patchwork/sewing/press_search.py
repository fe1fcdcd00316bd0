"""The search for the best directions in which to press the seams of a block.

What a plan is worth depends on whether some directions come out equal or opposite: a meeting nests
if certain directions do, and a pair of alike seams is pressed alike if its two do.  So directions
are *tied* to each other, in a disjoint-set forest with parities (``patchwork.optimise.parity``),
wherever it is plain that an optimal plan has them so:

1. Where all meetings that share seams can nest at once, as they nearly always can, their seams are
   tied.
2. Where, then, all seams of a class of alike ones can be pressed alike without a meeting lost, they
   are tied too.  Classes that share ties stand or fall together.
3. Where they cannot, ties that count for the classes in proportion to each other (2 for one and
   4 for another, say, and 1 and 2) are tied: with ``s`` seams of a class more one way
   than the other, the pairs that are alike grow as the square of ``s``, so that it never pays to
   turn one of two such ties against the other.

Mostly a tie is then a variable by itself, and what is left of the measures adds up over its
seams: bulk, seams pressed away from larger units, seams pressed toward darker fabrics.  Ties that
still depend on each other are a cost function network (``patchwork.optimise.bucket_elimination``).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, TypeAlias

from piecewright.patchwork.optimise.bucket_elimination import (
    I_BOUND,
    CostFunction,
    Effort,
    assignment,
    minimise,
)
from piecewright.patchwork.optimise.parity import FIXED, Constraint, Parities
from piecewright.patchwork.sewing.alike_seams import AlikeSeams
from piecewright.patchwork.sewing.bulk import Bulk
from piecewright.patchwork.sewing.crossings import Crossing, Press, thickest, ways_to_nest

_I_BOUND_OF_MEETINGS: Final = 18
"""Variables that a message may depend on while meetings alone count.

More than are usual: without pairs few messages are wide, and those that are decide whether the
number of nested meetings is proven.  A table of 2**18 numbers takes 2 MB."""

_MOST_IN_NETWORK: Final = 40
"""Ties of alike seams that are searched through together.

Nearly each pair of them counts, so a table over all of them decides: a search is exact
within milliseconds up to some 18 of them, and mostly within a second up to here."""

_LARGEST: Final = 2**62
"""Costs stay below, so that their sums fit into the 64 bits of a table's numbers."""

_MOST_CLIMBS: Final = 4
"""Steps in which values are bettered to begin a search with; mostly the second changes nothing."""

_MOST_LAYERED: Final = 60
"""Ties that nothing else decides, of which the layers are looked at: cheap up to here."""

Gain: TypeAlias = tuple[int, int, int]
"""By how much a tie is better one way: less bulk, more seams pressed away, more toward the dark."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What counts besides meetings.

    Attributes:
        alike: classes of alike seams.
        bulks: of each join, toward its first and toward its second unit.
        away, dark: of each join the side that it should be pressed to; None where either will do.
    """

    alike: Sequence[AlikeSeams]
    bulks: Sequence[Bulk]
    away: Sequence[Press | None]
    dark: Sequence[Press | None]

    def gain(self, join: int) -> Gain:
        """By how much a join is better pressed toward its first unit than toward its second."""
        first, second = self.bulks[join]
        return second - first, _prefers(self.away[join]), _prefers(self.dark[join])


def _prefers(press: Press | None) -> int:
    return 0 if press is None else 1 if press == "first" else -1


@dataclass(frozen=True, slots=True)
class BestDirections:
    """The best directions that were found.

    Attributes:
        bound: no directions nest more meetings.
        proven: whether no directions are better, by all that counts.
    """

    directions: tuple[Press, ...]
    bound: int
    proven: bool


def best_directions(
    found: Sequence[Crossing],
    kept: Sequence[Press | None],
    wishes: Wishes,
    effort: Effort,
) -> BestDirections:
    """The best directions that keep some.

    Args:
        found: every point inside a seam at which earlier seams arrive.
        kept: directions to be kept, one for each join, None where it is free.
    """
    return _Pressing(found, kept, wishes, effort).solved()


def _variable(join: int) -> int:
    """``True`` presses the join toward its first unit; variable 0 is fixed to ``False``."""
    return join + 1


class _Pressing:
    """The directions of one block as variables, and the ties between them."""

    def __init__(
        self,
        found: Sequence[Crossing],
        kept: Sequence[Press | None],
        wishes: Wishes,
        effort: Effort,
    ) -> None:
        self.found, self.kept, self.wishes, self.effort = found, kept, wishes, effort
        self.ties = Parities(1 + len(kept))
        for j, press in enumerate(kept):
            if press is not None and press != "open":
                self.ties.union(_variable(j), FIXED, press == "first")
        self.bound = 0
        self.proven = True

    def solved(self) -> BestDirections:
        """The best directions."""
        meetings = list(self._meetings())
        left: list[Constraint] = []
        for group in self._sharing(meetings):
            together = [meetings[i] for i in group]
            if self._all_satisfied(together):
                self.bound += len(together)
            else:
                left += together
        constraints = [*left, *self._classes()]
        for group in self._sharing(constraints):
            self._settle(
                [constraints[i] for i in group if i < len(left)],
                [constraints[i] for i in group if i >= len(left)],
            )
        self._settle_by_themselves()
        self._settle_by_layers()
        directions = tuple(self._direction(j) for j in range(len(self.kept)))
        return BestDirections(directions, self.bound, self.proven)

    def _meetings(self) -> Iterator[Constraint]:
        """What must come out equal for each meeting to nest that can, if no other mattered."""
        for c in self.found:
            if not c.meeting or not ways_to_nest(c, self.kept):
                continue
            literals = ((_variable(a.join), a.onward != a.from_first) for a in c.arms)
            yield tuple(dict.fromkeys(literals))

    def _classes(self) -> Iterator[Constraint]:
        """What should come out equal, pair by pair, for alike seams to be pressed alike."""
        for one in self.wishes.alike:
            literals = [
                (_variable(j), not first)
                for j, first in zip(one.joins, one.first, strict=True)
                if self.kept[j] != "open"
            ]
            if len(literals) > 1 and not one.either:
                yield tuple(literals)

    # --- ties ---

    def _sharing(self, constraints: Sequence[Constraint]) -> Iterator[list[int]]:
        """The numbers of constraints in groups that have no free tie in common."""
        fixed, _ = self.ties.find(FIXED)
        groups = Parities(len(constraints))
        first: dict[int, int] = {}
        for i, constraint in enumerate(constraints):
            for variable, _ in constraint:
                root, _ = self.ties.find(variable)
                if root != fixed:
                    groups.union(i, first.setdefault(root, i), False)
        together: dict[int, list[int]] = {}
        for i in range(len(constraints)):
            together.setdefault(groups.find(i)[0], []).append(i)
        yield from together.values()

    def _all_satisfied(self, constraints: Iterable[Constraint]) -> bool:
        """Satisfy all of these, or leave everything as it is if that cannot be."""
        mark = self.ties.mark()
        if all(self.ties.satisfy(c) for c in constraints):
            return True
        self.ties.rollback(mark)
        return False

    def _free(self, constraints: Iterable[Constraint]) -> list[int]:
        """The roots of the free ties on which these depend, in the order in which they come."""
        read = (self._read(literal)[0] for c in constraints for literal in c)
        return [root for root in dict.fromkeys(read) if root is not None]

    def _read(self, literal: tuple[int, bool]) -> tuple[int | None, bool]:
        """A literal as the root of its tie and whether it is opposite to that.

        Of one that is settled None, and its value.
        """
        variable, negated = literal
        root, opposite = self.ties.find(variable)
        fixed, fixed_opposite = self.ties.find(FIXED)
        if root == fixed:
            return None, (opposite != fixed_opposite) != negated
        return root, opposite != negated

    def _fix(self, root: int, value: bool) -> None:
        self.ties.union(root, FIXED, value)

    def _direction(self, join: int) -> Press:
        if self.kept[join] == "open":
            return "open"
        root, value = self._read((_variable(join), False))
        assert root is None, "every tie is settled"
        return "first" if value else "second"

    # --- ties that depend on each other ---

    def _settle(self, meetings: Sequence[Constraint], classes: Sequence[Constraint]) -> None:
        """Settle the ties on which these depend, or make them one tie."""
        if not meetings and self._all_satisfied(classes):
            return
        most = self._network(meetings, ()).searched(self.effort, _I_BOUND_OF_MEETINGS, half=True)
        self.bound += len(meetings) - most.bound
        # Can as many meetings nest with all alike seams pressed alike?
        mark = self.ties.mark()
        if self._all_satisfied(classes):
            alike = self._network(meetings, ())
            best = alike.searched(self.effort, _I_BOUND_OF_MEETINGS, half=True)
            if best.cost == most.bound:
                self._settle_network(alike, best.values)
                return
            self.ties.rollback(mark)
        self._tie_proportional(classes, set(self._free(meetings)))
        start = self._climbed(meetings, classes, most.values)
        if len(self._free(classes)) <= _MOST_IN_NETWORK:
            self._settle_network(self._network(meetings, classes), start)
            return
        self.proven = False
        for root, value in start.items():
            self._fix(root, value)

    def _climbed(
        self, meetings: Sequence[Constraint], classes: Sequence[Constraint], start: dict[int, bool]
    ) -> dict[int, bool]:
        """Good values for the ties of some meetings and classes, in a few steps from others.

        The number of alike pairs grows as the square of how many more seams of each class go one
        way.  Such a function lies above each of its tangents, so values that are better by the
        tangent, in which every tie counts by itself, are better indeed.
        """
        values = start
        counts = self._counts(classes)
        before: dict[int, int] = {}
        for _ in range(_MOST_CLIMBS):
            sums: dict[int, int] = {}
            for root, own in counts.items():
                # What is settled goes its own way; what no meeting depends on has no value yet.
                way = 1 if root is None or values.get(root) else -1 if root in values else 0
                for c, n in own.items():
                    sums[c] = sums.get(c, 0) + way * n
            if sums == before:
                break
            before = sums
            # Where nothing goes one way yet, a class may as well go the way of its first tie.
            slope = {c: sums.get(c) or 1 for c in range(len(classes))}
            network = self._network(meetings, classes)
            network.pairs = {
                (root, None): more
                for root, own in counts.items()
                if root is not None and (more := sum(n * slope[c] for c, n in own.items()))
            }
            network.gains = self._gains()
            values = network.searched(self.effort, start=values, half=True).values
        return values

    def _tie_proportional(self, classes: Sequence[Constraint], but: Collection[int]) -> None:
        """Tie those free ties, but for some, that count for classes in proportion to each other."""
        same: dict[tuple[tuple[int, int], ...], tuple[int, bool]] = {}
        for root, own in self._counts(classes).items():
            if root is None or root in but or not own:
                continue
            by = math.gcd(*own.values())
            turned = next(iter(own.values())) < 0
            key = tuple((c, n // (-by if turned else by)) for c, n in own.items())
            known, known_turned = same.setdefault(key, (root, turned))
            self.ties.union(known, root, turned != known_turned)

    def _counts(self, classes: Sequence[Constraint]) -> dict[int | None, dict[int, int]]:
        """For each tie how many more seams of each class go its way than the other way.

        Those that are settled count for None.  Classes are left out for which it does not count.
        """
        found: dict[int | None, dict[int, int]] = {}
        for c, literals in enumerate(classes):
            for literal in literals:
                root, opposite = self._read(literal)
                own = found.setdefault(root, {})
                # What is settled is not opposite to anything: its value says which way it goes.
                own[c] = own.get(c, 0) + (1 if opposite == (root is None) else -1)
        return {root: {c: n for c, n in own.items() if n} for root, own in found.items()}

    def _network(self, meetings: Sequence[Constraint], classes: Sequence[Constraint]) -> _Network:
        return _Network(
            self._free([*meetings, *classes]),
            [[self._read(literal) for literal in c] for c in meetings],
            self._counts(classes),
        )

    def _settle_network(self, network: _Network, start: Mapping[int, bool]) -> None:
        """Settle the ties of a network as well as it can be, or at least as they are at first."""
        network.gains = self._gains()
        found = network.searched(self.effort, start=start)
        self.proven &= found.whole and found.cost == found.bound
        for root, value in found.values.items():
            self._fix(root, value)

    # --- ties by themselves ---

    def _gains(self) -> dict[int, Gain]:
        """By how much each free tie is better if its root is ``True``."""
        fixed, _ = self.ties.find(FIXED)
        found: dict[int, Gain] = {}
        for j, press in enumerate(self.kept):
            root, opposite = self.ties.find(_variable(j))
            if press is None and root != fixed:
                sign = -1 if opposite else 1
                bulk, away, dark = found.get(root, (0, 0, 0))
                more = self.wishes.gain(j)
                found[root] = (bulk + sign * more[0], away + sign * more[1], dark + sign * more[2])
        return found

    def _settle_by_themselves(self) -> None:
        for root, gain in self._gains().items():
            if gain != (0, 0, 0):
                self._fix(root, gain > (0, 0, 0))

    def _settle_by_layers(self) -> None:
        """Settle what nothing else decides: with few layers, where these are few ties."""
        left = list(self._gains())
        if left and len(left) <= _MOST_LAYERED:
            number = {root: i for i, root in enumerate(left)}
            costs = [f for c in self.found if (f := self._layers(c, number)) is not None]
            parts = minimise(len(left), costs, self.effort, i_bound=10)
            for root, value in zip(left, assignment(parts), strict=True):
                self._fix(root, value)
            return
        for root in left:
            self._fix(root, True)

    def _layers(self, crossing: Crossing, number: dict[int, int]) -> CostFunction | None:
        """The layers of a crossing as a cost, or None if they depend on nothing free."""
        joins = [*(arm.join for arm in crossing.arms), crossing.along]
        read = [
            None if self.kept[j] == "open" else self._read((_variable(j), False)) for j in joins
        ]
        scope = sorted({number[r[0]] for r in read if r is not None and r[0] is not None})
        if not scope:
            return None
        place = {variable: i for i, variable in enumerate(scope)}

        def of(values: Sequence[bool]) -> int:
            pressed: list[Press] = []
            for one in read:
                if one is None:
                    pressed.append("open")
                    continue
                root, opposite = one
                value = opposite if root is None else values[place[number[root]]] != opposite
                pressed.append("first" if value else "second")
            return thickest(crossing.arms, pressed[:-1], pressed[-1])

        return CostFunction(tuple(scope), of)


@dataclass(frozen=True, slots=True)
class _Found:
    """What a network's search found: the values of its ties, their cost and a bound on it.

    Attributes:
        whole: whether all that counts was weighed.
    """

    values: dict[int, bool]
    cost: int
    bound: int
    whole: bool


class _Network:
    """Ties that depend on each other, as a cost function network.

    Attributes:
        gains: by how much ties are better if they are ``True``, besides.

    Args:
        roots: of the ties.
        meetings: their literals, each as a tie and whether it is opposite to that, or None and
            its value.
        counts: for each tie, and None for what is settled, how many more seams of each class of
            alike ones go its way than the other.
    """

    def __init__(
        self,
        roots: Sequence[int],
        meetings: Sequence[Sequence[tuple[int | None, bool]]],
        counts: Mapping[int | None, Mapping[int, int]],
    ) -> None:
        self.roots = roots
        self.number = {root: i for i, root in enumerate(roots)}
        self.meetings = meetings
        self.gains: Mapping[int, Gain] = {}
        # By how many more pairs are alike if both go the same way than if they do not.
        self.pairs: dict[tuple[int | None, int | None], int] = {}
        for one, other in combinations([r for r in counts if counts[r]], 2):
            more = sum(n * counts[other].get(c, 0) for c, n in counts[one].items())
            if more:
                self.pairs[one, other] = more

    def searched(
        self,
        effort: Effort,
        i_bound: int = I_BOUND,
        start: Mapping[int, bool] | None = None,
        half: bool = False,
    ) -> _Found:
        """The best values that are found.

        Args:
            start: values of ties to better, ``False`` for those that it leaves out.
            half: whether to leave half of the effort to others.
        """
        gains = [self.gains.get(root, (0, 0, 0)) for root in self.roots]
        # Weights that rank one after the other: all that comes after costs less than one of each.
        # What comes last is left out of so many ties that the weights would be too large.
        above = (1 + sum(map(abs, self.pairs.values()))) * (1 + len(self.meetings))
        ranges = [1 + sum(abs(gain[level]) for gain in gains) for level in range(3)]
        levels = 3
        while levels and above * math.prod(ranges[:levels]) >= _LARGEST:
            levels -= 1
        of_gains = [math.prod(ranges[level + 1 : levels]) for level in range(levels)]
        of_pairs = math.prod(ranges[:levels])
        of_meetings = of_pairs * (1 + sum(map(abs, self.pairs.values())))
        costs = [
            *(self._meeting(literals, of_meetings) for literals in self.meetings),
            *(self._pair(one, other, of_pairs * more) for (one, other), more in self.pairs.items()),
            *(_gain(i, gain, of_gains) for i, gain in enumerate(gains) if gain != (0, 0, 0)),
        ]
        keep = effort.left // 2 if half else 0
        first = None if start is None else [start.get(root, False) for root in self.roots]
        parts = minimise(len(self.roots), costs, effort, keep=keep, i_bound=i_bound, start=first)
        values = dict(zip(self.roots, assignment(parts), strict=True))
        cost, bound = sum(p.cost for p in parts), sum(p.bound for p in parts)
        return _Found(values, cost, bound, levels == 3)

    def _meeting(self, literals: Sequence[tuple[int | None, bool]], weight: int) -> CostFunction:
        scope = sorted({self.number[root] for root, _ in literals if root is not None})
        place = {variable: i for i, variable in enumerate(scope)}
        read = [
            (None if root is None else place[self.number[root]], opposite)
            for root, opposite in literals
        ]

        def of(values: Sequence[bool]) -> int:
            ways = {opposite if i is None else values[i] != opposite for i, opposite in read}
            return weight if len(ways) > 1 else 0

        return CostFunction(tuple(scope), of)

    def _pair(self, one: int | None, other: int | None, more: int) -> CostFunction:
        scope = tuple(self.number[root] for root in (one, other) if root is not None)

        def of(values: Sequence[bool]) -> int:
            # What is settled counts as going its own way, as if it were ``True``.
            same = values[0] == (values[1] if len(values) > 1 else True)
            return abs(more) if same != (more > 0) else 0

        return CostFunction(scope, of)


def _gain(variable: int, gain: Gain, weights: Sequence[int]) -> CostFunction:
    """What it costs not to have a gain, at each of its levels that has a weight."""
    weighed = list(zip(weights, gain, strict=False))
    if_false = sum(w * max(g, 0) for w, g in weighed)
    if_true = sum(w * max(-g, 0) for w, g in weighed)
    return CostFunction((variable,), lambda values: if_true if values[0] else if_false)
