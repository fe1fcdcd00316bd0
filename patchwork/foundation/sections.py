"""The fewest foundation sections of a block, and the orders to sew and to join them in.

Read backward, a section's order of sewing cuts off one piece at a time, each by a straight line
with that piece wholly on one side and the rest wholly on the other; and the straight joins
cut the block into sections.  What is claimed below was worked out for this module.

Whatever can be cut off may be cut off first.  If piece p can be cut off a section now and
piece q later, then q can still be cut off later when p is gone: either the two do not touch, and
q's seam is the same as before; or they touch, along a line that both cuts share, with all
the others on q's side of it as well as on p's, so that there are no others.  So a unit is a
section if cutting off pieces, any that can be, ends with one piece.

A straight cut through a unit divides every section that lies across it into two that can be
sewn, and leaves the joins between sections straight.  So a part of a unit never needs more
sections than the unit; and when it is known which sections there will be, any straight cut along
their borders may come first.

A section lies across a cut c only as a bridge: on one side of c a single piece of it touches
the rest, along the whole of that piece's side.  (Let the first piece sewn lie on the one
side.  Of the other side's pieces the first one sewn lies along c; a later one that touched c would
have its seam on c, and the first on its own side; and none of the one side's pieces that are
sewn later can touch the first, for the same reason.)  At both ends of the bridge seams must meet c
from both sides, or c end there: else the section would have a reflex corner inside the block, which
no straight joins leave.  So a cut with b possible bridges gives

    parts - b <= fewest sections of the unit <= parts,

where ``parts`` is the sum over the two parts; without a bridge it is known.

Two pieces are apart if no section holds both.  The smallest part of the block that holds both and
can be cut out of it straight lies in every section that does, so they are apart if that part is
no section itself.  Pieces that are all apart from each other need a section each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.foundation.straight_cuts import StraightCut, StraightCuts, Unpicking
from piecewright.patchwork.geometry.vectors import distance
from piecewright.patchwork.sewing.bitset import pieces_of

MOST_UNITS = 12_000
"""Units that are looked into; beyond that only the likeliest cut of each is followed.

The count bounds the time, and unlike a clock gives the same answer on every machine.
"""

MOST_PAIRS = 4_000
"""Pairs of pieces of which it is found out whether they are apart; bounds the time as above."""

LARGEST = 250
"""Pieces; a larger unit that is no section is cut as evenly as can be, and nothing is proven."""


class NotStraight(ValueError):
    """A unit of several pieces through which there is no straight cut.

    Attributes:
        unit: its pieces, as bits.
    """

    def __init__(self, unit: int) -> None:
        super().__init__("no straight cut goes through this unit")
        self.unit = unit


@dataclass(frozen=True, slots=True)
class Sections:
    """The sections of a block.

    Attributes:
        units: the pieces of each, as bits.
        fewest: no division into fewer sections exists; that is proven.
    """

    units: tuple[int, ...]
    fewest: bool


def fewest_sections(
    cuts: StraightCuts, most_units: int = MOST_UNITS, unit: int | None = None
) -> Sections:
    """A division into the fewest sections, of the block or of a unit of it.

    A branch and bound search over the straight cuts of units, with what is known of each unit kept
    (see the top of this module for the bounds).

    Raises:
        NotStraight: the block cannot be sewn with straight seams alone.
    """
    return _Search(cuts, most_units).sections(cuts.whole if unit is None else unit)


def sewing_order(cuts: StraightCuts, unit: int) -> list[int] | None:
    """An order in which a section can be sewn, from near its middle; None if there is none.

    What is cut off first is what lies furthest from the middle. Of the first two pieces that one
    leads that the next piece is sewn to.
    """
    pieces = list(pieces_of(unit))
    middle = cuts.middle(pieces)
    away = {p: round(distance(cuts.middle([p]), middle), 4) for p in pieces}
    left = Unpicking(cuts, unit)
    backward: list[int] = []
    while len(backward) < len(pieces) - 1:
        last = max(left.ends, key=lambda p: (away[p], p), default=None)
        if last is None:
            return None
        backward.append(last)
        left.take_off(last)
    # The first two pieces are sewn to each other either way round. The one that the next piece is
    # sewn to leads: the middle of a log cabin, and not its first log.
    order = [*pieces_of(left.unit), *reversed(backward)]
    beside = [cuts.beside(p) for p in order[:2]]
    for p in order[2:]:
        touched = [bool(other >> p & 1) for other in beside]
        if touched[0] != touched[1]:
            return order if touched[0] else [order[1], order[0], *order[2:]]
    return order


@dataclass(slots=True)
class _Known:
    """Bounds on how many sections a unit needs, and the cut that leads to ``most``."""

    least: int
    most: int
    cut: StraightCut | None


class _Search:
    """The search for the fewest sections; all it knows of a unit is kept by the unit's bits."""

    def __init__(self, cuts: StraightCuts, most_units: int) -> None:
        self.cuts = cuts
        self._known: dict[int, _Known] = {}
        self._through: dict[int, list[StraightCut]] = {}
        self._parts: dict[int, list[int]] = {}
        self._section: dict[int, bool] = {}
        self._left = most_units  # units that may still be looked into
        self._apart: dict[tuple[int, int], bool] = {}
        self._all_apart: list[int] = []  # sets of pieces, as bits

    def sections(self, whole: int) -> Sections:
        """The sections of a unit, cut by cut.

        Raises:
            NotStraight: a unit that is no section has no straight cut.
        """
        units: list[int] = []
        fewest = True
        is_block = whole == self.cuts.whole
        if is_block and self.cuts.count <= LARGEST and not self._is_section(whole):
            self._find_all_apart()
        stack = [whole]
        while stack:
            unit = stack.pop()
            if self._is_section(unit):
                units.append(unit)
                continue
            cut: StraightCut | None
            if unit.bit_count() > LARGEST:
                cut = min(self._cuts(unit), key=_evenness, default=None)
                fewest = False
            else:
                found = self._bounds(unit)
                cut, fewest = found.cut, fewest and found.least == found.most
            if cut is None:
                raise NotStraight(unit)
            stack += [cut.second, cut.first]
        # Where the search gave up, pieces that are apart may prove it all the same.
        return Sections(tuple(units), fewest or len(units) <= self._least(whole))

    def _find_all_apart(self) -> None:
        """Sets of pieces that are all apart from each other, each as large as it easily gets.

        Largest cliques are hard to find; greedy ones from three orders are often large enough:
        pieces with many neighbours first, and along the two diagonals of the block.
        """
        pieces = range(self.cuts.count)
        neighbours = [self.cuts.beside(p).bit_count() for p in pieces]
        middles = [self.cuts.middle([p]) for p in pieces]
        orders = (
            sorted(pieces, key=lambda p: (-neighbours[p], p)),
            sorted(pieces, key=lambda p: (middles[p][0] + middles[p][1], p)),
            sorted(pieces, key=lambda p: (middles[p][0] - middles[p][1], p)),
        )
        for order in orders:
            chosen: list[int] = []
            for piece in order:
                if len(self._apart) > MOST_PAIRS:
                    break
                if all(self._are_apart(*sorted((piece, other))) for other in chosen):
                    chosen.append(piece)
            self._all_apart.append(sum(1 << p for p in chosen))

    def _are_apart(self, one: int, other: int) -> bool:
        known = self._apart.get((one, other))
        if known is None:
            # Down to the smallest part that holds both, or to a section that does.
            both = 1 << one | 1 << other
            part: int | None = self.cuts.whole
            while part is not None and not self._is_section(part):
                part = next((side for side in self._sides(part) if side & both == both), None)
            known = self._apart[one, other] = part is None
        return known

    def _sides(self, unit: int) -> list[int]:
        """The parts that a cut can leave of a unit, the smallest first."""
        known = self._parts.get(unit)
        if known is None:
            parts = (part for cut in self._cuts(unit) for part in (cut.first, cut.second))
            known = self._parts[unit] = sorted(parts, key=int.bit_count)
        return known

    def _least(self, unit: int) -> int:
        """A number of sections that a unit surely needs."""
        return max(((unit & apart).bit_count() for apart in self._all_apart), default=1)

    def _cuts(self, unit: int) -> list[StraightCut]:
        """All straight cuts through a unit."""
        known = self._through.get(unit)
        if known is None:
            known = self._through[unit] = self.cuts.through(unit)
        return known

    def _is_section(self, unit: int) -> bool:
        known = self._section.get(unit)
        if known is not None:
            return known
        if not unit & (unit - 1):
            return True
        # Whatever can be cut off may be cut off first (see the top of this module), so the units
        # on the way down all share the answer, and a known one ends the way.
        passed = []
        left = Unpicking(self.cuts, unit)
        while (known := self._section.get(left.unit)) is None:
            passed.append(left.unit)
            self._left -= 1
            if not left.ends:
                known = False
                break
            left.take_off(min(left.ends, key=left.ends.__getitem__))
            if not left.unit & (left.unit - 1):
                known = True
                break
        self._section.update(dict.fromkeys(passed, known))
        return known

    def _bounds(self, unit: int) -> _Known:
        """What is known of a unit, found out when first asked for."""
        known = self._known.get(unit)
        if known is None:
            known = self._known[unit] = self._found(unit)
        return known

    def _found(self, unit: int) -> _Known:
        """Bounds for a unit from those of its parts."""
        if self._is_section(unit):
            return _Known(1, 1, None)
        through = sorted(self._cuts(unit), key=_evenness)
        if not through:
            raise NotStraight(unit)
        # No section lies across a cut without a bridge: its two parts are problems of their own.
        closed = [cut for cut in through if not cut.bridges]
        if closed:
            one, other = self._bounds(closed[0].first), self._bounds(closed[0].second)
            return _Known(one.least + other.least, one.most + other.most, closed[0])
        if self._left <= 0:
            through = [self._likeliest(through)]
        best = _Known(max(2, self._least(unit)), unit.bit_count() + 1, None)
        least_of_all = best.most
        for cut in through:
            one, other = self._bounds(cut.first), self._bounds(cut.second)
            # Parts never need more than the whole, and each bridge saves one section at most.
            parts = one.least + other.least
            best.least = max(best.least, one.least, other.least, parts - cut.bridges)
            least_of_all = min(least_of_all, parts)
            if one.most + other.most < best.most:
                best.most, best.cut = one.most + other.most, cut
            if best.most <= best.least:
                return best
        if len(through) == len(self._cuts(unit)):
            best.least = max(best.least, least_of_all)  # one of these cuts comes first
        return best

    def _likeliest(self, through: Sequence[StraightCut]) -> StraightCut:
        """The cut that leaves the largest section on one side; else the most even one."""
        parts = ((part, cut) for cut in through for part in (cut.first, cut.second))
        largest_first = sorted(parts, key=lambda part: -part[0].bit_count())
        return next((cut for part, cut in largest_first if self._is_section(part)), through[0])


def _evenness(cut: StraightCut) -> tuple[int, bool]:
    """Even cuts come first, level ones before the others."""
    return max(cut.first.bit_count(), cut.second.bit_count()), not cut.level


def joined(cuts: StraightCuts, most_units: int = MOST_UNITS) -> list[tuple[int, int]]:
    """The joins of a whole block with the fewest levels, as pairs of units in order of sewing.

    Units are numbered as in ``patchwork.block.joins``. Beyond ``most_units`` units, and of units of
    more than ``LARGEST`` pieces, only the most even cut is followed.

    Raises:
        NotStraight: it cannot be sewn with straight seams alone.
    """
    levels = _Levels(cuts, most_units)
    # A stack of our own: joins may nest deeper than calls.
    pairs: list[tuple[int, int]] = []
    made: list[int] = []
    # Each entry is a unit to be cut in two, or the mark to join the last two made.
    stack: list[int | None] = [cuts.whole]
    while stack:
        unit = stack.pop()
        if unit is None:
            second, first = made.pop(), made.pop()
            made.append(cuts.count + len(pairs))
            pairs.append((first, second))
        elif not unit & (unit - 1):
            made.append(unit.bit_length() - 1)
        else:
            cut = levels.best(unit)
            # The part with the first piece comes first, whichever side of the line it is on.
            first, second = sorted((cut.first, cut.second), key=lambda part: part & -part)
            stack += [None, second, first]
    return pairs


class _Levels:
    """How many levels of joins units need: the height of the tree of their joins.

    A branch and bound search: a unit is asked whether it needs no more than so many levels, and
    what is found out either way is kept.
    """

    def __init__(self, cuts: StraightCuts, most_units: int) -> None:
        self.cuts = cuts
        self._known: dict[int, tuple[int, StraightCut]] = {}
        self._more_than: dict[int, int] = {}
        self._through: dict[int, list[StraightCut]] = {}
        self._left = most_units

    def best(self, unit: int) -> StraightCut:
        """The cut of a unit of several pieces that leads to the fewest levels."""
        if unit.bit_count() > LARGEST:
            return self._cuts(unit)[0]
        self._levels(unit, self.cuts.count)
        return self._known[unit][1]

    def _cuts(self, unit: int) -> list[StraightCut]:
        """The cuts of a unit, the most even first; that one alone once too many were asked for."""
        known = self._through.get(unit)
        if known is None:
            known = sorted(self.cuts.through(unit), key=_evenness)
            if not known:
                raise NotStraight(unit)
            self._left -= 1
            if self._left < 0:
                del known[1:]
            self._through[unit] = known
        return known

    def _levels(self, unit: int, most: int) -> int:
        """The fewest levels of a unit; some number above ``most`` if it needs more than that."""
        # Each level doubles the pieces of a unit at most.
        least = (unit.bit_count() - 1).bit_length()
        if not least or least > most:
            return least
        if unit in self._known:
            return self._known[unit][0]
        if most <= self._more_than.get(unit, 0):
            return most + 1
        fewest, chosen = most + 1, None
        # Only what is better than the best cut so far is of use, which bounds the parts.
        for cut in self._cuts(unit):
            below = fewest - 2
            deepest = max(self._levels(part, below) for part in (cut.first, cut.second))
            if deepest <= below:
                fewest, chosen = deepest + 1, cut
            if fewest == least:
                break
        if chosen is not None:
            self._known[unit] = fewest, chosen
        else:
            self._more_than[unit] = most
        return fewest
