"""Where earlier seams arrive at a seam, which of these meetings nest, and how thick the cloth gets.

A seam is pressed toward its first or its second unit, or open.  Where earlier seams arrive
at a point inside a seam (not at its two ends), the allowance of each lies to one of the two
sides along the seam: onward, as the seam is travelled, or back.  Which one follows from the
map of the block alone.  An earlier seam arrives at the point along an *arm*, an edge between
two pieces of one unit.  Turning about the point on that unit's side, one of the two pieces lies
nearer to the onward part of the seam than the arm does; the allowance lies onward if the arm's
seam was pressed toward the unit that this piece is of.  So it does not matter at what angle the
arm arrives.  One seam may arrive along two arms, from both sides of a corner that was set in.

A point at which arms arrive from both units is a meeting; it nests if all that arrive from the
first unit lie to one side and all that arrive from the second to the other.  A seam pressed open
lies to both sides, so no meeting nests at which it arrives.

Layers are counted at every point inside a seam at which an arm arrives, a meeting or not, in
the thickest of the four places round it (onward or back, in the first or the second unit), once
the seam is sewn and pressed.  Beside the point each unit is one layer, and two more for each
arm whose allowance lies there, one more for each arm pressed open; call that ``a`` in the first
unit and ``b`` in the second.  A seam pressed toward the first unit folds both allowances over
it: ``2 a + b`` layers there, and ``b`` in the second.  A seam pressed open folds each over its
own: ``2 a`` and ``2 b``.  A nested four-patch has 7 layers at its middle.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from piecewright.patchwork.block.joins import Order, Spans
from piecewright.patchwork.block.seams import Seams, Side

Press: TypeAlias = Literal["first", "second", "open"]


@dataclass(frozen=True, slots=True)
class Arm:
    """An earlier seam as it arrives at a point of a later one.

    Attributes:
        join: the join with whose seam it is pressed.
        from_first: whether it arrives from the side of the later seam's first unit.
        onward: whether its allowance lies onward along the later seam when it is pressed
            toward its own first unit.
        edge: the number of the edge along which it arrives.
    """

    join: int
    from_first: bool
    onward: bool
    edge: int


@dataclass(frozen=True, slots=True)
class Crossing:
    """A point inside a seam at which earlier seams arrive.

    Attributes:
        at: point number.
        step: the join that sews the seam.
        along: the join with whose seam it is pressed; another one only where a partial seam is
            finished.
    """

    at: int
    step: int
    along: int
    arms: tuple[Arm, ...]

    @property
    def meeting(self) -> bool:
        """Whether arms arrive from both units."""
        return len({arm.from_first for arm in self.arms}) == 2


def crossings(seams: Seams, order: Order) -> tuple[Crossing, ...]:
    """Every point inside a seam at which earlier seams arrive, in the order of sewing."""
    at: list[list[int]] = [[] for _ in seams.points]  # the inner edges at each point
    for e, edge in enumerate(seams.edges):
        if edge.left is not None:
            at[edge.start].append(e)
            at[edge.end].append(e)
    spans = Spans(order)
    found = []
    for k, join in enumerate(order.joins):
        # A seam that closes on itself has no ends: all its points lie inside it.
        inner = join.seam.sides if join.seam.ends is None else join.seam.sides[1:]
        if join.finishes is not None:
            inner = (*inner, *join.finishes.stretch)
        for side in inner:
            point, along = seams.start(side), order.pressed_with[side.edge]
            assert along is not None, "a seam is pressed"
            if join.finishes is not None and side == join.finishes.stretch[0]:
                arms = tuple(_arms_at_open_end(seams, order, side, at[point]))
            else:
                arms = tuple(_arms(seams, order, spans, k, side, at[point]))
            if arms:
                found.append(Crossing(point, k, along, arms))
    return tuple(found)


def _arms(
    seams: Seams, order: Order, spans: Spans, k: int, side: Side, edges: Iterable[int]
) -> Iterator[Arm]:
    """The arms that arrive where a side that join ``k`` sews starts."""
    right, _ = seams.beside(side)
    point = seams.start(side)
    one, other = order.joins[k].first, order.joins[k].second
    first = one if spans.holds(one, order.on_first[side.edge]) else other
    for e in edges:
        edge, j = seams.edges[e], order.sewn_by[e]
        if j is None or j >= k:
            continue  # the outside of the block, the seam itself, or sewn later
        for unit in (one, other):
            if spans.holds(unit, edge.left) and spans.holds(unit, edge.right):
                yield _arm(seams, order, e, point, unit == first, spans.holds(unit, right))


def _arms_at_open_end(
    seams: Seams, order: Order, onward: Side, edges: Iterable[int]
) -> Iterator[Arm]:
    """The arms that arrive where a partial seam stood open, that of the join which finishes it too.

    Args:
        onward: the first side of the stretch.
    """
    point, along = seams.start(onward), order.pressed_with[onward.edge]
    back = next(e for e in edges if e != onward.edge and order.pressed_with[e] == along)
    # Clockwise from onward to back, the pieces lie to the right of the line.
    right = set(seams.parted(point, onward.edge, back)[0])
    for e in edges:
        if e not in (onward.edge, back):
            in_right = seams.edges[e].right in right
            from_first = in_right == (order.on_first[onward.edge] in right)
            yield _arm(seams, order, e, point, from_first, in_right)


def _arm(seams: Seams, order: Order, e: int, point: int, from_first: bool, from_right: bool) -> Arm:
    """The arm along an edge that arrives at a point of a seam, from either side."""
    edge, join = seams.edges[e], order.pressed_with[e]
    assert join is not None, "an arm is sewn"
    # Clockwise about the point, this piece comes before the arm. Clockwise runs from onward to
    # back on the right of the seam.
    before = edge.left if edge.start == point else edge.right
    return Arm(join, from_first, (before == order.on_first[e]) == from_right, e)


def lies_onward(arm: Arm, press: Press) -> bool:
    """Whether an arm's allowance lies onward along the later seam; not to be asked of open ones."""
    return arm.onward == (press == "first")


def nests(crossing: Crossing, directions: Sequence[Press]) -> bool:
    """Whether all that arrive from one unit lie to one side, and the others to the other."""
    return nest(crossing.arms, [directions[arm.join] for arm in crossing.arms])


def nest(arms: Sequence[Arm], pressed: Sequence[Press]) -> bool:
    """Whether arms nest whose seams are pressed so."""
    if "open" in pressed:
        return False
    # True for an arm of the first unit whose allowance lies onward, or one of the second whose
    # lies back: all alike, the two units lie to opposite sides.
    ways = {
        lies_onward(arm, press) == arm.from_first for arm, press in zip(arms, pressed, strict=True)
    }
    return len(ways) == 1


def ways_to_nest(meeting: Crossing, kept: Sequence[Press | None]) -> list[dict[int, Press]]:
    """How the seams that arrive may be pressed so that the meeting nests, two ways at most.

    Args:
        kept: the direction that each join must have, None where it is free.
    """
    ways = []
    for first_onward in (True, False):
        needed: dict[int, Press] = {}
        for arm in meeting.arms:
            press: Press = "first" if arm.onward == (arm.from_first == first_onward) else "second"
            if needed.setdefault(arm.join, press) != press or kept[arm.join] not in (None, press):
                break
        else:
            ways.append(needed)
    return ways


def layers_at(crossing: Crossing, directions: Sequence[Press]) -> int:
    """Layers of cloth in the thickest place round the point, its seam sewn and pressed."""
    pressed = [directions[arm.join] for arm in crossing.arms]
    return thickest(crossing.arms, pressed, directions[crossing.along])


def thickest(arms: Sequence[Arm], pressed: Sequence[Press], seam: Press) -> int:
    """The layers in the thickest of the four places, counted as the module says."""
    most = 0
    for onward in (True, False):
        first, second = layers_beside(arms, pressed, onward)
        if seam == "open":
            most = max(most, 2 * first, 2 * second)
        elif seam == "first":
            most = max(most, 2 * first + second)
        else:
            most = max(most, first + 2 * second)
    return most


def layers_beside(arms: Sequence[Arm], pressed: Sequence[Press], onward: bool) -> tuple[int, int]:
    """The layers of the first and of the second unit beside the point, onward of it or back.

    As they lie under the presser foot, before the seam is pressed.
    """
    first, second = 1, 1
    for arm, press in zip(arms, pressed, strict=True):
        more = 1 if press == "open" else 2 if lies_onward(arm, press) == onward else 0
        if arm.from_first:
            first += more
        else:
            second += more
    return first, second
