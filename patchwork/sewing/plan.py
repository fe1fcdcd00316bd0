"""The whole plan for sewing a block: order, steps, pressing, and how far off it may come out.

Steps are counted from 1, in an order in which they can be sewn; step ``k`` is join ``k - 1``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order, order_from
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.error_budget import CUTTING, SEWING, ErrorBudget, error_budget
from piecewright.patchwork.sewing.order import work_out_order
from piecewright.patchwork.sewing.order_measures import OrderMeasures, measured
from piecewright.patchwork.sewing.pressing import PressingPlan, pressing_plan
from piecewright.patchwork.sewing.steps import SewingSteps, sewing_steps


@dataclass(frozen=True, slots=True)
class Kept:
    """A direction that is given: step ``step``, counted from 1, is pressed so."""

    step: int
    press: Press


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What a maker may wish of a plan.

    Attributes:
        open_above: seams with more layers than this are pressed open; None for never.
        cutting, sewing: the deviations of the error budget, inches.
        seconds: how far the best pressing plan is searched for, as
            ``optimise.bucket_elimination.Effort`` counts them.
    """

    kept: tuple[Kept, ...] = ()
    open_above: int | None = None
    cutting: float = CUTTING
    sewing: float = SEWING
    seconds: float = 2.0


@dataclass(frozen=True, slots=True)
class SewingPlan:
    """Everything about the sewing of one block at its finished size.

    Attributes:
        given: whether the order of sewing was given with the block.
        fewest_pivots: whether no order can have fewer pivots; only known of a worked-out order.
        optimal: whether no order is better by all that counts; only known of a worked-out order.
        measures: what the order comes to.
    """

    block: Block
    allowance: Allowance
    seams: Seams
    order: Order
    given: bool
    fewest_pivots: bool
    optimal: bool
    measures: OrderMeasures
    pressing: PressingPlan
    sewing: SewingSteps
    budget: ErrorBudget


def sewing_plan(
    block: Block, allowance: Allowance | None = None, options: PlanOptions | None = None
) -> SewingPlan:
    """The plan for a block at finished size.

    Raises:
        BlockError: the joins given are not legal, none can be worked out, or a direction is
            given for a step that there is not.
    """
    allowance, options = allowance or Allowance(), options or PlanOptions()
    seams = planar_map([p.outline for p in block.pieces])
    ids = [p.id for p in block.pieces]
    if block.joins is not None:
        # Nothing is proven of an order that a maker has given, and nobody asked.
        order = order_from(seams, ids, block.joins)
        proven = (False, False)
    else:
        worked_out = work_out_order(seams, ids, block.built)
        order = worked_out.order
        proven = (worked_out.fewest_pivots, worked_out.optimal)
    pressing = pressing_plan(
        block,
        seams,
        order,
        given=_directions(options.kept, len(order.joins)),
        open_above=options.open_above,
        seconds=options.seconds,
    )
    return SewingPlan(
        block,
        allowance,
        seams,
        order,
        block.joins is not None,
        *proven,
        measured(seams, order),
        pressing,
        sewing_steps(block, seams, order, pressing.directions, allowance),
        error_budget(seams, order, options.cutting, options.sewing),
    )


def _directions(kept: Sequence[Kept], joins: int) -> list[Press | None]:
    """The directions that are given, by join."""
    found: list[Press | None] = [None] * joins
    faults = []
    for i, one in enumerate(kept):
        pointer = f"/pressing/keep/{i}/step"
        if not 1 <= one.step <= joins:
            message = f"there is no step {one.step}; the block is sewn in {joins}"
            faults.append(Fault(pointer, "unknown-step", message))
        elif found[one.step - 1] is not None:
            message = f"a direction is given twice for step {one.step}"
            faults.append(Fault(pointer, "duplicate", message))
        else:
            found[one.step - 1] = one.press
    if faults:
        raise BlockError(faults)
    return found
