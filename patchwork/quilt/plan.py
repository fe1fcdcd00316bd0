"""The plan of a quilt that several people make: how blocks are pressed, who makes which, joining.

Blocks are set edge to edge and joined into rows, rows to each other.  At a point on a seam between
blocks at which seams arrive from both sides, the seams meet as they do inside a block, and nest
by the same rule: the allowances of all that arrive from one side lie to one side along the seam,
and those of all that arrive from the other to the other.  At the corners of blocks the seams
between the blocks of a row arrive too.  Those are pressed one way in each row, to the right and to
the left in turn (``patchwork.quilt.assembly``).

Blocks of one design may be pressed in several ways, its *variants*.  The plan has

1. in every block as many nested meetings as its own best plan: what a maker sews is never made
   worse for the sake of a neighbour;
2. of such plans, the most nested meetings on the seams between blocks;
3. of such, the fewest variants, counted over all designs;
4. of such as were found, the most steps pressed as the plans of their blocks have it.

What a maker needs of a variant is its ``directions``: a sewing plan of the design's block in which
all of them are kept is that variant.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.wording import letters
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry.vectors import TOLERANCE
from piecewright.patchwork.lengths import Unit, spoken
from piecewright.patchwork.quilt.allocation import Place, allocated
from piecewright.patchwork.quilt.assembly import Joining, joinings
from piecewright.patchwork.quilt.edges import Design, design_of, is_rectangle
from piecewright.patchwork.quilt.layout import GroupQuilt, Turn
from piecewright.patchwork.quilt.pressing import QuiltMeeting, quilt_pressing
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.plan import Kept, SewingPlan


@dataclass(frozen=True, slots=True)
class Variant:
    """A design with a direction for each of its steps.

    Attributes:
        id: such as ``nine-patch A``.
        design: the id of its design.
        directions: of each step, as in ``Step.press``.
        count: how many blocks of the quilt are made so.
    """

    id: str
    design: str
    directions: tuple[Press, ...]
    count: int

    @property
    def letter(self) -> str:
        """What tells it from the other variants of its design."""
        return self.id.rsplit(" ", 1)[1]

    @property
    def kept(self) -> tuple[Kept, ...]:
        """Its directions as a maker's sewing plan is asked to keep them."""
        return tuple(Kept(step, press) for step, press in enumerate(self.directions, 1))


@dataclass(frozen=True, slots=True)
class Placement:
    """A block in its place.

    Attributes:
        row, column: from 0.
        variant: the id of its variant.
        maker: None where nobody in particular makes it.
    """

    row: int
    column: int
    design: str
    turn: Turn
    variant: str
    maker: str | None


@dataclass(frozen=True, slots=True)
class Share:
    """What one maker makes: ids of variants, and how many of each."""

    maker: str
    variants: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class QuiltPlan:
    """Everything about a quilt that several people make.

    Attributes:
        widths, heights: of its columns and rows, finished, inches.
        edge: the allowance at the edge of its blocks.
        placements: row by row.
        variants: by design in the order of the quilt.
        shares: in the order in which the makers were named; none without makers.
        meetings: on the seams between blocks.
        inside_nested, inside_meetings: of all meetings inside blocks, how many nest, and how many
            there are.
        nested: how many nest inside and between blocks.
        bound: no plan that keeps the most inside nests more.
        optimal: whether ``nested`` is proven to be the most.
        fewest_variants: whether it is proven that with these meetings nested no fewer
            variants are possible.
        darker: seams inside blocks that are pressed toward the darker fabric.
        joinings: in the order of sewing.
    """

    quilt: GroupQuilt
    unit: Unit
    widths: tuple[float, ...]
    heights: tuple[float, ...]
    edge: float
    placements: tuple[Placement, ...]
    variants: tuple[Variant, ...]
    shares: tuple[Share, ...]
    meetings: tuple[QuiltMeeting, ...]
    inside_nested: int
    inside_meetings: int
    nested: int
    bound: int
    optimal: bool
    fewest_variants: bool
    darker: int
    joinings: tuple[Joining, ...]


def group_quilt(
    quilt: GroupQuilt,
    designs: Mapping[str, SewingPlan],
    makers: Sequence[str] | None = None,
    *,
    kept: Mapping[str, Sequence[Kept]] | None = None,
    seconds: float = 2.0,
) -> QuiltPlan:
    """The plan of a quilt.

    Args:
        designs: the plan of each design at finished size, by id; a step that is pressed open in
            it is pressed open in every block.
        makers: who makes the blocks; None shares nothing out.
        kept: for each design the directions that were given with it, kept in every block.
        seconds: how far to search where not every meeting can nest, as
            ``patchwork.optimise.bucket_elimination.Effort`` counts them.

    Raises:
        BlockError: with every fault of the quilt; their pointers begin with ``/quilt`` or
            ``/makers``.
    """
    _check(quilt, designs, makers)
    # Only designs that lie in the quilt, in the order in which they are met: the order of variants.
    used = dict.fromkeys(cell.design for row in quilt.cells for cell in row)
    given = kept or {}
    viewed = {
        id: design_of(id, designs[id], {one.step - 1 for one in given.get(id, ())}) for id in used
    }
    sizes = [[viewed[cell.design].size(cell.turn) for cell in row] for row in quilt.cells]
    widths = tuple(size[0] for size in sizes[0])
    heights = tuple(row[0][1] for row in sizes)
    _check_sizes(quilt, sizes, next(iter(designs.values())).block.unit)
    first = designs[quilt.cells[0][0].design]
    joins = joinings(heights, widths, first.allowance.edge)
    pressing = quilt_pressing(quilt, viewed, widths, heights, joins, seconds)
    variants, of = _variants(quilt, viewed, pressing.flipped)
    places: dict[tuple[str, int], list[Place]] = {}
    for place, number in of.items():
        places.setdefault((variants[number].design, number), []).append(place)
    maker_of = allocated(places, len(makers)) if makers else {}
    placements = tuple(
        Placement(
            r,
            c,
            cell.design,
            cell.turn,
            variants[of[r, c]].id,
            makers[maker_of[r, c]] if makers else None,
        )
        for r, row in enumerate(quilt.cells)
        for c, cell in enumerate(row)
    )
    # Counted over blocks, not over designs.
    plans = [viewed[cell.design].plan.pressing for row in quilt.cells for cell in row]
    inside = sum(plan.nested for plan in plans)
    nested = inside + sum(m.nests for m in pressing.meetings)
    bound = sum(plan.bound for plan in plans) + pressing.bound
    return QuiltPlan(
        quilt,
        first.block.unit,
        widths,
        heights,
        first.allowance.edge,
        placements,
        variants,
        _shares(placements, variants, makers or ()),
        pressing.meetings,
        inside,
        sum(len(plan.meetings) for plan in plans),
        nested,
        bound,
        nested == bound,
        pressing.fewest_variants,
        sum(
            v.count
            * sum(
                dark is not None and dark == press
                for dark, press in zip(viewed[v.design].dark, v.directions, strict=True)
            )
            for v in variants
        ),
        joins,
    )


# --- what may be wrong -----------------------------------------------------------------------


def _check(
    quilt: GroupQuilt, designs: Mapping[str, SewingPlan], makers: Sequence[str] | None
) -> None:
    faults = []
    first: dict[str, Place] = {}
    for r, row in enumerate(quilt.cells):
        for c, cell in enumerate(row):
            if cell.design not in designs:
                message = f"there is no design {cell.design!r}; give it with the quilt"
                faults.append(Fault(f"/quilt/blocks/{r}/{c}", "unknown-block", message))
            else:
                first.setdefault(cell.design, (r, c))
    # Each design is looked at once, at the first place where it lies.
    edge: float | None = None
    for id, (r, c) in first.items():
        pointer, plan = f"/quilt/blocks/{r}/{c}", designs[id]
        if not is_rectangle(plan):
            message = (
                f"{id!r} is no upright rectangle, so it cannot be set edge to edge with others; "
                "put a background round it or take another block"
            )
            faults.append(Fault(pointer, "not-a-rectangle", message))
        edge = plan.allowance.edge if edge is None else edge
        if abs(plan.allowance.edge - edge) > 1e-9:
            message = (
                f"the edge of {id!r} has another seam allowance than that of the quilt's first "
                "block; give all blocks of a quilt the same"
            )
            faults.append(Fault(pointer, "quilt-allowance", message))
    blocks = quilt.rows * quilt.columns
    if makers is not None and not 1 <= len(makers) <= blocks:
        message = (
            f"{len(makers)} makers cannot share {blocks} blocks so that each has one; "
            f"name between 1 and {blocks}"
        )
        faults.append(Fault("/makers", "makers", message))
    if faults:
        raise BlockError(faults)


def _check_sizes(
    quilt: GroupQuilt, sizes: Sequence[Sequence[tuple[float, float]]], unit: Unit
) -> None:
    """All blocks of a row are equally high, and all of a column equally wide."""
    faults = []
    for r, row in enumerate(sizes):
        for c, (width, height) in enumerate(row):
            wrong = []
            if abs(height - row[0][1]) > TOLERANCE:
                wrong.append(
                    f"is {spoken(height, unit)} high as it lies, and the first block of row "
                    f"{letters(r)} is {spoken(row[0][1], unit)} high"
                )
            if abs(width - sizes[0][c][0]) > TOLERANCE:
                wrong.append(
                    f"is {spoken(width, unit)} wide as it lies, and the first block of column "
                    f"{c + 1} is {spoken(sizes[0][c][0], unit)} wide"
                )
            if wrong:
                message = (
                    f"{quilt.cells[r][c].design!r} {'; it '.join(wrong)}: turn it, take another "
                    "block, or give all blocks one finished size"
                )
                faults.append(Fault(f"/quilt/blocks/{r}/{c}", "block-size", message))
    if faults:
        raise BlockError(faults)


# --- variants and shares ---------------------------------------------------------------------


def _variants(
    quilt: GroupQuilt, designs: Mapping[str, Design], flips: Mapping[Place, frozenset[int]]
) -> tuple[tuple[Variant, ...], dict[Place, int]]:
    """The variants, and the number of that of each place."""
    places: dict[str, dict[frozenset[int], list[Place]]] = {id: {} for id in designs}
    for place, flipped in flips.items():
        design = quilt.cells[place[0]][place[1]].design
        places[design].setdefault(flipped, []).append(place)
    variants: list[Variant] = []
    of: dict[Place, int] = {}
    for id, own in places.items():
        for n, (flipped, here) in enumerate(own.items()):
            of.update(dict.fromkeys(here, len(variants)))
            directions = designs[id].directions(flipped)
            variants.append(Variant(f"{id} {letters(n)}", id, directions, len(here)))
    return tuple(variants), of


def _shares(
    placements: Sequence[Placement], variants: Sequence[Variant], makers: Sequence[str]
) -> tuple[Share, ...]:
    counts: dict[str, dict[str, int]] = {maker: {} for maker in makers}
    for placement in placements:
        if placement.maker is not None:
            own = counts[placement.maker]
            own[placement.variant] = own.get(placement.variant, 0) + 1
    return tuple(
        Share(maker, tuple((v.id, own[v.id]) for v in variants if v.id in own))
        for maker, own in counts.items()
    )
