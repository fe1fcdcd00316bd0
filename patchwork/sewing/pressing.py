"""Which way each seam is pressed, so that the most seams nest where they meet.

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

The plan has the most nested meetings; of such plans the most seams pressed toward the darker
fabric; of such the fewest layers, summed over the points.  It is found as the cheapest assignment
of a cost function network (``patchwork.optimise.bucket_elimination``), with a variable for each
join that is free: ``True`` presses it toward its first unit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from piecewright.patchwork.block.joins import Order, Spans
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams, Side
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.optimise.bucket_elimination import (
    CostFunction,
    Effort,
    assignment,
    minimise,
)

Press: TypeAlias = Literal["first", "second", "open"]

EVEN = 0.002
"""Relative luminance; two sides that differ by less are equally dark to the eye.

About half a step of 255 in a mid grey, where one step is 0.0036, and a few steps near black."""


@dataclass(frozen=True, slots=True)
class Arm:
    """An earlier seam as it arrives at a point of a later one.

    Attributes:
        join: the join that sewed it.
        from_first: whether it arrives from the first unit of the later seam.
        onward: whether its allowance lies onward along the later seam when it is pressed
            toward its own first unit.
    """

    join: int
    from_first: bool
    onward: bool


@dataclass(frozen=True, slots=True)
class Crossing:
    """A point inside a seam at which earlier seams arrive.

    Attributes:
        at: point number.
        step: the join that sews the seam.
    """

    at: int
    step: int
    arms: tuple[Arm, ...]

    @property
    def meeting(self) -> bool:
        """Whether arms arrive from both units."""
        return len({arm.from_first for arm in self.arms}) == 2


@dataclass(frozen=True, slots=True)
class Meeting:
    """A point inside a seam at which earlier seams arrive from both units.

    Attributes:
        at: point number.
        step: the join that is sewn there.
        arrive: the joins that arrive from its first and from its second unit.
        reason: why it does not nest, for a maker; steps are counted from 1.
        alone: whether it would not nest in any plan that keeps what was given and is
            pressed open, even if no other meeting mattered.
        layers: in the thickest place round the point.
    """

    at: int
    step: int
    arrive: tuple[tuple[int, ...], tuple[int, ...]]
    nests: bool
    reason: str | None
    alone: bool
    layers: int


@dataclass(frozen=True, slots=True)
class PressingPlan:
    """Which way every seam is pressed.

    Attributes:
        directions: of each join.
        nested: how many meetings nest.
        bound: no plan nests more.
        optimal: whether ``nested`` is proven to be the most possible.
        darker: how many seams are pressed toward the darker fabric.
        layers: in the thickest place, summed over all points inside seams at which earlier
            seams arrive.
        settled: whether it is proven that no plan with as many nested meetings has more seams
            pressed toward the darker fabric, nor with as many of these fewer layers.
    """

    directions: tuple[Press, ...]
    meetings: tuple[Meeting, ...]
    nested: int
    bound: int
    optimal: bool
    darker: int
    layers: int
    settled: bool


def pressing_plan(
    block: Block,
    seams: Seams,
    order: Order,
    *,
    given: Sequence[Press | None] | None = None,
    open_above: int | None = None,
    seconds: float = 2.0,
) -> PressingPlan:
    """The best pressing plan for a block that is sewn in this order.

    Args:
        given: directions to be kept, one for each join, None where it is free.
        open_above: seams at which more layers than this would lie on one another are pressed
            open, unless their direction is given.  A best plan is made first; the seams that
            are too thick in it are opened, and so on until none is left.  A seam may still be
            thicker than that when it is pressed open.
        seconds: how far to search, as ``Effort`` counts them; what is found by then comes with
            a bound.
    """
    effort = Effort(seconds)  # for all rounds together
    kept: list[Press | None] = list(given) if given is not None else [None] * len(order.joins)
    if len(kept) != len(order.joins):
        raise ValueError(f"{len(kept)} directions were given for {len(order.joins)} joins")
    found = crossings(seams, order)
    dark = darker_sides(block, seams, order)
    # Each round opens one seam more at least, so it comes to an end.
    while True:
        plan = _best(found, kept, dark, effort)
        if open_above is None:
            return plan
        thick = {
            c.step
            for c in found
            if kept[c.step] is None and layers_at(c, plan.directions) > open_above
        }
        if not thick:
            return plan
        for k in thick:
            kept[k] = "open"


# --- where seams arrive ----------------------------------------------------------------------


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
        for side in inner:
            point = seams.start(side)
            arms = tuple(_arms(seams, order, spans, k, side, at[point]))
            if arms:
                found.append(Crossing(point, k, arms))
    return tuple(found)


def _arms(
    seams: Seams, order: Order, spans: Spans, k: int, side: Side, edges: Iterable[int]
) -> Iterator[Arm]:
    """The arms that arrive where a side of the seam of join ``k`` starts."""
    sewn = seams.edges[side.edge]
    right = sewn.right if side.forward else sewn.left
    point = seams.start(side)
    for e in edges:
        edge, j = seams.edges[e], order.sewn_by[e]
        if j is None or j >= k:
            continue  # the outside of the block, the seam itself, or sewn later
        for unit in (order.joins[k].first, order.joins[k].second):
            if spans.holds(unit, edge.left) and spans.holds(unit, edge.right):
                # Clockwise about the point, this piece comes before the arm. Clockwise runs from
                # onward to back in the unit to the right of the seam.
                before = edge.left if edge.start == point else edge.right
                onward = spans.holds(order.joins[j].first, before) == spans.holds(unit, right)
                yield Arm(j, unit == order.joins[k].first, onward)


# --- what a plan is worth --------------------------------------------------------------------


def nests(crossing: Crossing, directions: Sequence[Press]) -> bool:
    """Whether all that arrive from one unit lie to one side, and the others to the other."""
    return _nests(crossing.arms, [directions[arm.join] for arm in crossing.arms])


def _nests(arms: Sequence[Arm], pressed: Sequence[Press]) -> bool:
    if "open" in pressed:
        return False
    # True for an arm of the first unit whose allowance lies onward, or one of the second whose
    # lies back: all alike, the two units lie to opposite sides.
    ways = {
        (arm.onward == (press == "first")) == arm.from_first
        for arm, press in zip(arms, pressed, strict=True)
    }
    return len(ways) == 1


def layers_at(crossing: Crossing, directions: Sequence[Press]) -> int:
    """Layers of cloth in the thickest place round the point, its seam sewn and pressed."""
    pressed = [directions[arm.join] for arm in crossing.arms]
    return _layers(crossing.arms, pressed, directions[crossing.step])


def _layers(arms: Sequence[Arm], pressed: Sequence[Press], seam: Press) -> int:
    """The layers in the thickest of the four places, counted as the module says."""
    most = 0
    for onward in (True, False):
        first, second = 1, 1
        for arm, press in zip(arms, pressed, strict=True):
            if press == "open":
                more = 1
            else:
                more = 2 if (arm.onward == (press == "first")) == onward else 0
            if arm.from_first:
                first += more
            else:
                second += more
        if seam == "open":
            most = max(most, 2 * first, 2 * second)
        elif seam == "first":
            most = max(most, 2 * first + second)
        else:
            most = max(most, first + 2 * second)
    return most


def luminance(colour: str) -> float:
    """The relative luminance of ``#rrggbb``, 0 for black and 1 for white.

    As WCAG 2.2 defines it: the linear parts of sRGB (IEC 61966-2-1), weighted.

    >>> round(luminance("#808080"), 3)
    0.216
    """
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def darker_sides(block: Block, seams: Seams, order: Order) -> list[Press | None]:
    """For each join the unit whose fabric is darker along the seam; None where neither is.

    A side is as dark as the fabrics of the pieces that lie along the seam on it, each
    counted by the length it has there; a piece without a fabric does not count.
    """
    colours = {f.id: luminance(f.colour) for f in block.fabrics}
    light = [colours.get(p.fabric) if p.fabric is not None else None for p in block.pieces]
    spans = Spans(order)
    found: list[Press | None] = []
    for join in order.joins:
        lengths, sums = [0.0, 0.0], [0.0, 0.0]
        for side in join.seam.sides:
            edge = seams.edges[side.edge]
            size = paths.run_length([edge.segment])
            for piece in (edge.right, edge.left):
                shade = light[piece] if piece is not None else None
                if shade is not None:
                    unit = 0 if spans.holds(join.first, piece) else 1
                    lengths[unit] += size
                    sums[unit] += size * shade
        if not all(lengths):
            found.append(None)
            continue
        lighter = sums[0] / lengths[0] - sums[1] / lengths[1]
        found.append(None if abs(lighter) < EVEN else "second" if lighter > 0 else "first")
    return found


# --- the best plan ---------------------------------------------------------------------------


_I_BOUND_OF_MEETINGS = 18
"""Variables that a message may depend on while layers are left out.

More than are usual: without layers few messages are wide, and those that are decide whether the
number of nested meetings is proven.  A table of 2**18 numbers takes 2 MB."""


@dataclass(frozen=True, slots=True)
class _Tied:
    """A join that is pressed toward its first unit if a variable has the value ``when``."""

    variable: int
    when: bool

    def press(self, value: bool) -> Press:
        return "first" if value == self.when else "second"


def _best(
    found: Sequence[Crossing],
    kept: Sequence[Press | None],
    dark: Sequence[Press | None],
    effort: Effort,
) -> PressingPlan:
    """The best plan that keeps some directions.

    Meetings tie the directions of the seams that arrive at them to each other.  Where all
    meetings that are tied together can nest at once, as they nearly always can, one variable is
    left for all their seams; and darkness decides it unless it weighs the same.
    """
    possible = [c for c in found if c.meeting and _ways(c, kept)]
    pressed: list[Press | _Tied] = [
        press if press is not None else _Tied(j, True) for j, press in enumerate(kept)
    ]
    unsettled: list[Crossing] = []
    for joins, together in _tied_together(possible, kept):
        settled = _all_nested(joins, together, kept)
        if settled is None:
            unsettled += together
            continue
        # A seam that arrives and is kept leaves one way.  Without any, all of them may be turned
        # over together, which takes one variable.
        forced = any(len(_ways(c, kept)) == 1 for c in together)
        for j, press in settled.items():
            pressed[j] = press if forced else _Tied(joins[0], press == "first")
    against: dict[int, list[int]] = {}
    for j, way in enumerate(pressed):
        want = dark[j]
        if isinstance(way, _Tied) and want is not None:
            # How many of its seams lie toward the lighter fabric if it is False, and if True.
            both = against.setdefault(way.variable, [0, 0])
            both[int((want == "first") != way.when)] += 1
    open_to_darkness = set(against) - {
        way.variable for c in unsettled for a in c.arms if isinstance(way := pressed[a.join], _Tied)
    }
    # No meeting is at stake in these, and darkness outranks layers: nothing is left to search.
    for j, way in enumerate(pressed):
        if isinstance(way, _Tied) and way.variable in open_to_darkness:
            if_false, if_true = against[way.variable]
            if if_false != if_true:
                pressed[j] = way.press(if_true < if_false)
    # Weights that rank one after the other: a seam toward the lighter fabric costs more than the
    # layers of all points (3 + 4 for each arm at most), a meeting that does not nest more than
    # all such seams.
    dark_cost = 1 + sum(3 + 4 * len(c.arms) for c in found)
    meeting_cost = dark_cost * (1 + len(kept))
    costs = [_cost(c, pressed, meeting_cost, _open_meetings_of) for c in unsettled]
    for variable, (if_false, if_true) in against.items():
        costs.append(_dark_cost(variable, if_false * dark_cost, if_true * dark_cost))
    # Without layers far fewer variables depend on each other, so this proves the most.
    own, half = [c for c in costs if c.scope], effort.left // 2
    parts = minimise(len(kept), own, effort, keep=half, i_bound=_I_BOUND_OF_MEETINGS)
    values = assignment(parts)
    most = len(possible) - sum(part.bound // meeting_cost for part in parts)
    costs += [_cost(c, pressed, 1, _layers_of) for c in found]
    parts = minimise(len(kept), [c for c in costs if c.scope], effort, start=values)
    values = assignment(parts)
    directions: tuple[Press, ...] = tuple(
        way.press(values[way.variable]) if isinstance(way, _Tied) else way for way in pressed
    )
    meetings = tuple(_meeting(c, directions, kept) for c in found if c.meeting)
    nested = sum(m.nests for m in meetings)
    bound = min(most, len(possible) - sum(part.bound // meeting_cost for part in parts))
    return PressingPlan(
        directions,
        meetings,
        nested,
        bound,
        nested == bound,
        sum(d is not None and d == press for d, press in zip(dark, directions, strict=True)),
        sum(layers_at(c, directions) for c in found),
        all(part.cost == part.bound for part in parts),
    )


def _ways(meeting: Crossing, kept: Sequence[Press | None]) -> list[dict[int, Press]]:
    """How the seams that arrive may be pressed so that the meeting nests, two ways at most."""
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


def _tied_together(
    meetings: Sequence[Crossing], kept: Sequence[Press | None]
) -> Iterator[tuple[list[int], list[Crossing]]]:
    """The free joins that meetings tie to each other, with these meetings."""
    at: dict[int, list[int]] = {}
    for i, meeting in enumerate(meetings):
        for j in {arm.join for arm in meeting.arms if kept[arm.join] is None}:
            at.setdefault(j, []).append(i)
    # Connected components of the graph that has an edge for each meeting, between its joins.
    seen: set[int] = set()
    for start in at:
        if start in seen:
            continue
        seen.add(start)
        joins, inside, stack = [], set(), [start]
        while stack:
            joins.append(stack.pop())
            for i in at[joins[-1]]:
                inside.add(i)
                for arm in meetings[i].arms:
                    if arm.join in at and arm.join not in seen:
                        seen.add(arm.join)
                        stack.append(arm.join)
        yield joins, [meetings[i] for i in sorted(inside)]


def _all_nested(
    joins: Sequence[int], meetings: Sequence[Crossing], kept: Sequence[Press | None]
) -> dict[int, Press] | None:
    """Directions with which all of these meetings nest, or None if there are none.

    The meetings that have one way alone decide first; without any, the first join is pressed
    toward its first unit.
    """
    ways = [_ways(c, kept) for c in meetings]
    at: dict[int, list[int]] = {}
    for i, meeting in enumerate(meetings):
        for arm in meeting.arms:
            at.setdefault(arm.join, []).append(i)
    chosen: dict[int, Press] = {}
    stack = [i for i, own in enumerate(ways) if len(own) == 1]
    if not stack:
        chosen[joins[0]] = "first"
        stack = list(at[joins[0]])
    # A meeting has two ways at most, each the other turned over, so that one direction settles
    # it.  Each that comes off the stack has one already: nothing is chosen freely but the first
    # join, for which the other way would be as good, and nothing has to be taken back.
    done: set[int] = set()
    while stack:
        i = stack.pop()
        if i in done:
            continue
        done.add(i)
        fitting = [w for w in ways[i] if all(chosen.get(j, p) == p for j, p in w.items())]
        if not fitting:
            return None
        for j, press in fitting[0].items():
            if kept[j] is None and j not in chosen:
                chosen[j] = press
                stack += at[j]
    return chosen


def _cost(
    crossing: Crossing,
    pressed: Sequence[Press | _Tied],
    weight: int,
    measure: Callable[[Crossing, Sequence[Press], Press], int],
) -> CostFunction:
    """What a crossing costs, as a function of the variables that it depends on."""
    ways = [pressed[j] for j in (*(arm.join for arm in crossing.arms), crossing.step)]
    if measure is _open_meetings_of:
        ways[-1] = "open"  # the seam's own direction makes no difference to it
    scope = sorted({way.variable for way in ways if isinstance(way, _Tied)})
    place = {variable: i for i, variable in enumerate(scope)}

    def of(values: Sequence[bool]) -> int:
        presses = [
            way.press(values[place[way.variable]]) if isinstance(way, _Tied) else way
            for way in ways
        ]
        return weight * measure(crossing, presses[:-1], presses[-1])

    return CostFunction(tuple(scope), of)


def _layers_of(crossing: Crossing, pressed: Sequence[Press], seam: Press) -> int:
    return _layers(crossing.arms, pressed, seam)


def _open_meetings_of(crossing: Crossing, pressed: Sequence[Press], seam: Press) -> int:
    return int(not _nests(crossing.arms, pressed))


def _dark_cost(variable: int, if_false: int, if_true: int) -> CostFunction:
    return CostFunction((variable,), lambda values: if_true if values[0] else if_false)


# --- meetings as a maker reads of them -------------------------------------------------------


def _meeting(
    crossing: Crossing, directions: Sequence[Press], kept: Sequence[Press | None]
) -> Meeting:
    first, second = (
        tuple(sorted({arm.join for arm in crossing.arms if arm.from_first == side}))
        for side in (True, False)
    )
    nested = nests(crossing, directions)
    return Meeting(
        crossing.at,
        crossing.step,
        (first, second),
        nested,
        None if nested else _reason(crossing, kept),
        not _ways(crossing, kept),
        layers_at(crossing, directions),
    )


def _reason(meeting: Crossing, kept: Sequence[Press | None]) -> str:
    joins = sorted({arm.join for arm in meeting.arms})
    opened = [j for j in joins if kept[j] == "open"]
    if opened:
        message = "is pressed open: its" if len(opened) == 1 else "are pressed open: their"
        return f"{_steps(opened)} {message} allowance lies to both sides here"
    for j in joins:
        free: list[Press | None] = [None] * len(kept)
        own = [arm for arm in meeting.arms if arm.join == j]
        if not _ways(Crossing(meeting.at, meeting.step, tuple(own)), free):
            return (
                f"the seam of step {j + 1} arrives here twice, from both sides of a set-in corner, "
                "and its allowance lies to the one side on one arm and to the other on the other"
            )
    if not _ways(meeting, kept):
        fixed = [j for j in joins if kept[j] is not None]
        message = "lays its allowance" if len(fixed) == 1 else "lay their allowances"
        return f"the way that was given for {_steps(fixed)} {message} so that nothing can nest here"
    return (
        f"{_steps(joins)} meet elsewhere too: pressed so that they nest here, at least one "
        "other meeting would not"
    )


def _steps(joins: Sequence[int]) -> str:
    numbers = [str(j + 1) for j in joins]
    if len(numbers) == 1:
        return f"the seam of step {numbers[0]}"
    return f"the seams of steps {', '.join(numbers[:-1])} and {numbers[-1]}"
