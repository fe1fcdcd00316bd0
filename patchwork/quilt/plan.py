"""The plan of a quilt that several people make: how blocks are pressed, who makes which, joining.

Blocks are set edge to edge and joined into rows, rows to each other.  At a point on a seam between
blocks at which seams arrive from both sides, the seams meet as they do inside a block, and nest
by the same rule (contract, section 6); at the corners of blocks the seams between the blocks of
a row arrive too.  Those are pressed one way in each row, to the right and to the left in turn
(``patchwork.quilt.assembly``).

Blocks of one design may be pressed in several ways, its *variants*.  The plan has

1. in every block as many nested meetings as its own best plan: what a maker sews is never made
   worse for the sake of a neighbour;
2. of such plans, the most nested meetings on the seams between blocks;
3. of such, the fewest variants, counted over all designs;
4. of such as were found, the most seams pressed toward the darker fabric.

What a maker needs of a variant is its ``directions``: a sewing plan of the design's block in which
all of them are kept is that variant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.wording import letters
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.lengths import Unit, spoken
from piecewright.patchwork.optimise.parity import FIXED, Wish, can_be_met, most_met, values_of
from piecewright.patchwork.quilt.allocation import Place, shared_out
from piecewright.patchwork.quilt.assembly import Joining, joinings, pressed
from piecewright.patchwork.quilt.edges import Design, EndingSeam, design_of, is_rectangle
from piecewright.patchwork.quilt.layout import Cell, GroupQuilt, Turn, place_name
from piecewright.patchwork.quilt.variants import Instance, leanings, made_alike
from piecewright.patchwork.sewing.plan import Kept, SewingPlan
from piecewright.patchwork.sewing.pressing import Press

PHASES: tuple[Callable[[int, int], int], ...] = (
    lambda r, c: 0,
    lambda r, c: (r + c) % 2,
    lambda r, c: r % 2,
    lambda r, c: c % 2,
    lambda r, c: 2 * (r % 2) + c % 2,
)
"""Ways in which like blocks may follow each other in a quilt, by row and column."""


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
class QuiltMeeting:
    """A point on a seam between blocks at which seams arrive from both sides.

    Attributes:
        at: in the quilt plane, finished.
        joining: the number of the join that sews it.
        blocks: the places of the blocks that have a seam there, row and column from 0; where
            four blocks meet, of all four.
        reason: why it does not nest, for a maker.
    """

    at: Point
    joining: int
    blocks: tuple[Place, ...]
    nests: bool
    reason: str | None


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
    used = dict.fromkeys(cell.design for row in quilt.cells for cell in row)
    given = kept or {}
    seen = {
        id: design_of(id, designs[id], {one.step - 1 for one in given.get(id, ())}) for id in used
    }
    sizes = [[seen[cell.design].size(cell.turn) for cell in row] for row in quilt.cells]
    widths = tuple(size[0] for size in sizes[0])
    heights = tuple(row[0][1] for row in sizes)
    _check_sizes(quilt, sizes, next(iter(designs.values())).block.unit)
    first = designs[quilt.cells[0][0].design]
    steps = joinings(heights, widths, first.allowance.edge)
    pressing = _Pressing(quilt, seen, widths, heights, steps)
    flips, fewest = pressing.solve(seconds)
    variants, of = _variants(quilt, seen, flips)
    places: dict[tuple[str, int], list[Place]] = {}
    for place, number in of.items():
        places.setdefault((variants[number].design, number), []).append(place)
    maker_of = shared_out(places, len(makers)) if makers else {}
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
    plans = [seen[cell.design].plan.pressing for row in quilt.cells for cell in row]
    inside = sum(plan.nested for plan in plans)
    nested = inside + sum(m.nests for m in pressing.told)
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
        pressing.told,
        inside,
        sum(len(plan.meetings) for plan in plans),
        nested,
        bound,
        nested == bound,
        fewest,
        sum(
            v.count
            * sum(
                dark is not None and dark == press
                for dark, press in zip(seen[v.design].dark, v.directions, strict=True)
            )
            for v in variants
        ),
        steps,
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
            message = []
            if abs(height - row[0][1]) > TOLERANCE:
                message.append(
                    f"is {spoken(height, unit)} high as it lies, and the first block of row "
                    f"{letters(r)} is {spoken(row[0][1], unit)} high"
                )
            if abs(width - sizes[0][c][0]) > TOLERANCE:
                message.append(
                    f"is {spoken(width, unit)} wide as it lies, and the first block of column "
                    f"{c + 1} is {spoken(sizes[0][c][0], unit)} wide"
                )
            if message:
                told = (
                    f"{quilt.cells[r][c].design!r} {'; it '.join(message)}: turn it, take another "
                    "block, or give all blocks one finished size"
                )
                faults.append(Fault(f"/quilt/blocks/{r}/{c}", "block-size", told))
    if faults:
        raise BlockError(faults)


# --- pressing over the whole quilt -----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Arriving:
    """A seam that arrives at a point between blocks.

    Attributes:
        wish: the choice on which its direction depends, and whether it lies ahead if that is
            ``False``; None if it is pressed open.
    """

    place: Place
    wish: tuple[int, bool] | None
    within: bool


@dataclass(frozen=True, slots=True)
class _Point:
    at: Point
    joining: int
    arriving: tuple[_Arriving, ...]

    @property
    def wish(self) -> Wish | None:
        """What must hold for it to nest; None if it cannot."""
        wishes = [a.wish for a in self.arriving if a.wish is not None]
        if len(wishes) < len(self.arriving):
            return None
        return tuple(dict.fromkeys(wishes))


class _Pressing:
    """Chooses for each block which of its ties are pressed the other way."""

    def __init__(
        self,
        quilt: GroupQuilt,
        designs: Mapping[str, Design],
        widths: Sequence[float],
        heights: Sequence[float],
        steps: Sequence[Joining],
    ) -> None:
        self.quilt, self.designs = quilt, designs
        self.lefts = [sum(widths[:c]) for c in range(len(widths) + 1)]
        self.tops = [sum(heights[:r]) for r in range(len(heights) + 1)]
        self.first_choice: dict[Place, int] = {}
        self.count = FIXED + 1
        for r, row in enumerate(quilt.cells):
            for c, cell in enumerate(row):
                self.first_choice[r, c] = self.count
                self.count += len(designs[cell.design].ties)
        self.sewn_by = {
            (s.kind, s.first.bottom, s.first.right if s.kind == "blocks" else 0): s.number
            for s in steps
        }
        self.points = [*self._between_blocks(), *self._between_rows()]
        self.told: tuple[QuiltMeeting, ...] = ()
        self.bound = 0

    # --- where seams meet ---

    def _arriving(self, r: int, c: int, seam: EndingSeam) -> _Arriving:
        design = self.designs[self.quilt.cells[r][c].design]
        press = design.plan.pressing.directions[seam.join]
        if press == "open":
            return _Arriving((r, c), None, True)
        tie = design.tie_of[seam.join]
        choice = FIXED if tie is None else self.first_choice[r, c] + tie
        return _Arriving((r, c), (choice, seam.ahead == (press == "first")), True)

    def _on(self, r: int, c: int, side: int) -> Iterator[tuple[float, list[_Arriving]]]:
        """What arrives at a side of a block, by its place to the right or down on the quilt."""
        cell = self.quilt.cells[r][c]
        design = self.designs[cell.design]
        width, height = design.size(cell.turn)
        for arrival in design.arrivals(side, cell.turn):
            along = arrival.along
            at = (
                self.lefts[c] + along,
                self.tops[r] + along,
                self.lefts[c] + width - along,
                self.tops[r] + height - along,
            )[side]
            yield at, [self._arriving(r, c, seam) for seam in arrival.seams]

    def _between_blocks(self) -> Iterator[_Point]:
        for r in range(self.quilt.rows):
            for c in range(self.quilt.columns - 1):
                joining = self.sewn_by["blocks", r, c]
                ends = (self.tops[r], self.tops[r + 1])
                for y, arriving in _together(self._on(r, c, 1), self._on(r, c + 1, 3), ends):
                    yield _Point((self.lefts[c + 1], y), joining, arriving)

    def _between_rows(self) -> Iterator[_Point]:
        across = range(self.quilt.columns)
        ends = (self.lefts[0], self.lefts[-1])
        for r in range(self.quilt.rows - 1):
            above = [one for c in across for one in self._on(r, c, 2)]
            below = [one for c in across for one in self._on(r + 1, c, 0)]
            for c in across[1:]:
                # Ahead is to the left for the row above, and to the right for the one below.
                upper = (FIXED, pressed(r) == "left")
                lower = (FIXED, pressed(r + 1) == "right")
                for places, found, wish in ((r, above, upper), (r + 1, below, lower)):
                    sewn = [_Arriving((places, n), wish, False) for n in (c - 1, c)]
                    found.append((self.lefts[c], sewn))
            for x, arriving in _together(above, below, ends):
                yield _Point((x, self.tops[r + 1]), self.sewn_by["rows", r, 0], arriving)

    # --- the best plan ---

    def solve(self, seconds: float) -> tuple[dict[Place, frozenset[int]], bool]:
        """The ties that are pressed the other way in each block; whether the variants are fewest.

        It fills in ``told`` and ``bound``.
        """
        asked = [(n, wish) for n, p in enumerate(self.points) if (wish := p.wish) is not None]
        met = most_met(self.count, [wish for _, wish in asked], list(self._likes()), seconds)
        places = list(self.first_choice)
        cells = [self.quilt.cells[r][c] for r, c in places]
        instances = [
            Instance(cell.design, self._choices(place, cell))
            for place, cell in zip(places, cells, strict=True)
        ]
        orders = [sorted(range(len(places)), key=lambda i: phase(*places[i])) for phase in PHASES]
        fewest = made_alike(instances, met.parities, orders)
        darker = [
            [self.designs[cell.design].darker(k) for k in range(len(i.choices))]
            for cell, i in zip(cells, instances, strict=True)
        ]
        leaders = leanings(instances, darker, met.parities)
        values = values_of(met.parities, self.count, leaders)
        self.told = tuple(self._meeting(point, values) for point in self.points)
        possible = sum(can_be_met(wish) for _, wish in asked)
        # A block whose own meetings cannot all nest may have other best plans than those here.
        settled = all(
            meeting.nests or meeting.alone
            for id in {cell.design for cell in cells}
            for meeting in self.designs[id].plan.pressing.meetings
        )
        self.bound = met.bound if settled else len(asked)
        flips = {
            place: frozenset(k for k, c in enumerate(i.choices) if values[c])
            for place, i in zip(places, instances, strict=True)
        }
        return flips, fewest and settled and len(met.wishes) == possible

    def _likes(self) -> Iterator[list[int]]:
        """Choices in classes, blocks of a class being alike: all, every other one, and so on."""
        for phase in PHASES:
            numbers: dict[tuple[Cell, int, int], int] = {}
            like = [FIXED]
            for r, c in self.first_choice:
                cell = self.quilt.cells[r][c]
                for k in range(len(self.designs[cell.design].ties)):
                    key = (cell, phase(r, c), k)
                    like.append(numbers.setdefault(key, len(numbers) + 1))
            yield like

    def _choices(self, place: Place, cell: Cell) -> tuple[int, ...]:
        first = self.first_choice[place]
        return tuple(range(first, first + len(self.designs[cell.design].ties)))

    def _meeting(self, point: _Point, values: Sequence[bool]) -> QuiltMeeting:
        wish = point.wish
        nests = wish is not None and len({values[c] != turned for c, turned in wish}) == 1
        blocks = tuple(sorted({a.place for a in point.arriving}))
        reason = None if nests else self._reason(point, wish)
        return QuiltMeeting(point.at, point.joining, blocks, nests, reason)

    def _reason(self, point: _Point, wish: Wish | None) -> str:
        if wish is None:
            names = _names(a.place for a in point.arriving if a.wish is None)
            return f"a seam of {names} is pressed open: its allowance lies to both sides here"
        if not can_be_met(wish):
            names = _names(a.place for a in point.arriving if a.within)
            return (
                f"the seams that end here in {names} are held by the meetings inside the blocks, "
                "by the way that was given for them, or by the seam between the blocks"
            )
        names = _names(a.place for a in point.arriving)
        return (
            f"the seams of {names} meet others elsewhere too: pressed so that they nest here, at "
            "least one other meeting would not"
        )


def _names(places: Iterable[Place]) -> str:
    return ", ".join(place_name(*place) for place in sorted(set(places)))


def _together(
    one: Iterable[tuple[float, list[_Arriving]]],
    other: Iterable[tuple[float, list[_Arriving]]],
    ends: tuple[float, float],
) -> Iterator[tuple[float, tuple[_Arriving, ...]]]:
    """Places along a seam, not its ends, at which something arrives from both sides."""
    found = sorted(
        ((at, side, arriving) for side, own in enumerate((one, other)) for at, arriving in own),
        key=lambda f: (f[0], f[1]),
    )
    group: list[tuple[float, int, list[_Arriving]]] = []
    for here in [*found, None]:
        if here is not None and (not group or here[0] - group[0][0] <= TOLERANCE):
            group.append(here)
            continue
        if group:
            at = group[0][0]
            inside = ends[0] + TOLERANCE < at < ends[1] - TOLERANCE
            if inside and len({side for _, side, _ in group}) == 2:
                yield at, tuple(a for _, _, arriving in group for a in arriving)
        group = [here] if here is not None else []


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
