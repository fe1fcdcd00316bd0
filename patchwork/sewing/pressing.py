"""Which way each seam is pressed, as a sewist would.

A seam is pressed toward its first or its second unit, or open.  A plan has, one after the other:

1. the most nested meetings (``sewing.crossings``);
2. the most pairs of alike seams that are pressed alike (``sewing.alike_seams``): so the seams of a
   fan and of a star's points all go one way round;
3. the least bulk (``sewing.bulk``), added up over the sides that the seams are pressed toward:
   away from points, and a log away from the middle;
4. the most seams pressed away from the larger or the inner of the two units (``sewing.away``);
5. the most seams pressed toward the darker fabric (``sewing.shades``).

A seam that is pressed open counts for none of the last three.  Where all of this leaves a choice,
the plan has few layers where seams meet.  ``sewing.press_search`` finds it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.optimise.bucket_elimination import Effort
from piecewright.patchwork.sewing.alike_seams import alike_seams
from piecewright.patchwork.sewing.away import sides_away
from piecewright.patchwork.sewing.bulk import seam_bulks
from piecewright.patchwork.sewing.crossings import (
    Crossing,
    Press,
    crossings,
    layers_at,
    nests,
    ways_to_nest,
)
from piecewright.patchwork.sewing.press_search import BestDirections, Wishes, best_directions
from piecewright.patchwork.sewing.shades import darker_sides


@dataclass(frozen=True, slots=True)
class Meeting:
    """A point inside a seam at which earlier seams arrive from both units.

    Attributes:
        at: point number.
        step: the join that is sewn there.
        arrive: the joins that arrive from its first and from its second unit; where a partial seam
            is finished, from the sides of the units of that one.
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
        alike: how many pairs of alike seams are pressed alike.
        pairs: how many pairs of alike seams there are.
        bulk: the seams that come in on the sides that the seams are pressed toward, added up.
        away: how many seams are pressed away from the larger or the inner unit.
        darker: how many seams are pressed toward the darker fabric.
        layers: in the thickest place, summed over all points inside seams at which earlier
            seams arrive.
        optimal: whether it is proven that no plan is better by all that counts before layers.
    """

    directions: tuple[Press, ...]
    meetings: tuple[Meeting, ...]
    nested: int
    bound: int
    alike: int
    pairs: int
    bulk: int
    away: int
    darker: int
    layers: int
    optimal: bool


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
    wishes = Wishes(
        alike_seams(seams, order),
        seam_bulks(seams, order),
        sides_away(seams, order),
        darker_sides(block, seams, order),
    )
    # Each round opens one seam more at least, so it comes to an end.
    while True:
        best = best_directions(found, kept, wishes, effort)
        thick = [
            c.along
            for c in found
            if open_above is not None
            and kept[c.along] is None
            and layers_at(c, best.directions) > open_above
        ]
        if not thick:
            return _plan(found, kept, wishes, best)
        for k in thick:
            kept[k] = "open"


def _plan(
    found: Sequence[Crossing], kept: Sequence[Press | None], wishes: Wishes, best: BestDirections
) -> PressingPlan:
    """What some directions come to."""
    directions = best.directions
    meetings = tuple(_meeting(c, directions, kept) for c in found if c.meeting)
    bulks = zip(wishes.bulks, directions, strict=True)
    return PressingPlan(
        directions,
        meetings,
        nested=sum(m.nests for m in meetings),
        bound=best.bound,
        alike=sum(one.pressed_alike(directions) for one in wishes.alike),
        pairs=sum(one.pairs for one in wishes.alike),
        bulk=sum(own[press == "second"] for own, press in bulks if press != "open"),
        away=_as_wished(wishes.away, directions),
        darker=_as_wished(wishes.dark, directions),
        layers=sum(layers_at(c, directions) for c in found),
        optimal=best.proven,
    )


def _as_wished(wished: Sequence[Press | None], directions: Sequence[Press]) -> int:
    return sum(w is not None and w == d for w, d in zip(wished, directions, strict=True))


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
        not ways_to_nest(crossing, kept),
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
        if not ways_to_nest(replace(meeting, arms=tuple(own)), free):
            return (
                f"the seam of step {j + 1} comes in here twice, from both sides of a set-in "
                "corner, so that its allowance lies both ways"
            )
    if not ways_to_nest(meeting, kept):
        fixed = [j for j in joins if kept[j] is not None]
        message = "is" if len(fixed) == 1 else "are"
        return f"{_steps(fixed)} {message} pressed the way you gave, so that nothing can nest here"
    return (
        f"{_steps(joins)} meet elsewhere too: pressed so that they nest here, at least one "
        "other seam intersection would not"
    )


def _steps(joins: Sequence[int]) -> str:
    numbers = [str(j + 1) for j in joins]
    if len(numbers) == 1:
        return f"the seam of step {numbers[0]}"
    return f"the seams of steps {', '.join(numbers[:-1])} and {numbers[-1]}"
