"""How the blocks of a quilt are pressed, so that the most seams nest between them.

Steps of a block that nested meetings inside it tie to each other are pressed the other way
together or not at all (``quilt.edges``).  Each such tie of each block is a variable, ``True`` where
it is pressed the other way than in the plan of its design; a meeting between blocks nests when
certain of these are equal or opposite, which makes it a parity constraint
(``patchwork.optimise.parity``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.optimise.parity import (
    FIXED,
    Constraint,
    most_satisfied,
    satisfiable,
    values_of,
)
from piecewright.patchwork.quilt.allocation import Place
from piecewright.patchwork.quilt.assembly import Joining, pressed
from piecewright.patchwork.quilt.edges import Design, EndingSeam
from piecewright.patchwork.quilt.layout import Cell, GroupQuilt, place_name
from piecewright.patchwork.quilt.variants import Instance, as_planned, made_alike

PHASES: tuple[Callable[[int, int], int], ...] = (
    lambda r, c: 0,
    lambda r, c: (r + c) % 2,
    lambda r, c: r % 2,
    lambda r, c: c % 2,
    lambda r, c: 2 * (r % 2) + c % 2,
)
"""Ways in which like blocks may follow each other in a quilt, by row and column."""


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
class QuiltPressing:
    """How all blocks of a quilt are pressed.

    Attributes:
        flipped: for each place the ties of its design that are pressed the other way.
        meetings: on the seams between blocks.
        bound: no way to press the blocks that keeps the most meetings inside them nests more
            of these.
        fewest_variants: whether it is proven that with these nested no fewer variants are
            possible.
    """

    flipped: dict[Place, frozenset[int]]
    meetings: tuple[QuiltMeeting, ...]
    bound: int
    fewest_variants: bool


def quilt_pressing(
    quilt: GroupQuilt,
    designs: Mapping[str, Design],
    widths: Sequence[float],
    heights: Sequence[float],
    joinings: Sequence[Joining],
    seconds: float,
) -> QuiltPressing:
    """The pressing with the most nested meetings, then the fewest variants.

    Of such as are found, one with the most steps pressed as the plans of their blocks have it.

    Args:
        widths, heights: of the quilt's columns and rows, finished, inches.
        joinings: of the quilt (``assembly.joinings``).
        seconds: how far to search where not every meeting can nest, as
            ``patchwork.optimise.bucket_elimination.Effort`` counts them.
    """
    return _Pressing(quilt, designs, widths, heights, joinings).solved(seconds)


@dataclass(frozen=True, slots=True)
class _Arriving:
    """A seam that arrives at a point between blocks.

    Attributes:
        place: of the block that it is in or, a seam between blocks, next to.
        literal: the variable on which its direction depends, and whether it lies ahead if that
            is ``False``; None if it is pressed open.
        within: whether it is a seam of the block.
    """

    place: Place
    literal: tuple[int, bool] | None
    within: bool


@dataclass(frozen=True, slots=True)
class _MeetingPoint:
    """A point on a seam between blocks, with all seams that arrive at it."""

    at: Point
    joining: int
    arriving: tuple[_Arriving, ...]

    @property
    def constraint(self) -> Constraint | None:
        """What must hold for it to nest: that all lie ahead, or none; None if it cannot."""
        literals = [a.literal for a in self.arriving if a.literal is not None]
        if len(literals) < len(self.arriving):
            return None
        return tuple(dict.fromkeys(literals))


class _Pressing:
    """The variables and the meeting points of a quilt.

    Attributes:
        first_variable: for each place the variable of its block's first tie; the others follow.
        count: of all variables.
        joining_at: the number of the join that sews the seam after a place (row, column), by kind.
    """

    def __init__(
        self,
        quilt: GroupQuilt,
        designs: Mapping[str, Design],
        widths: Sequence[float],
        heights: Sequence[float],
        joinings: Sequence[Joining],
    ) -> None:
        self.quilt, self.designs = quilt, designs
        self.lefts = [sum(widths[:c]) for c in range(len(widths) + 1)]
        self.tops = [sum(heights[:r]) for r in range(len(heights) + 1)]
        self.first_variable: dict[Place, int] = {}
        self.count = FIXED + 1
        for r, row in enumerate(quilt.cells):
            for c, cell in enumerate(row):
                self.first_variable[r, c] = self.count
                self.count += len(designs[cell.design].ties)
        self.joining_at = {
            (j.kind, j.first.bottom, j.first.right if j.kind == "blocks" else 0): j.number
            for j in joinings
        }
        self.points = [*self._between_blocks(), *self._between_rows()]

    # --- where seams meet ---

    def _arriving(self, r: int, c: int, seam: EndingSeam) -> _Arriving:
        design = self.designs[self.quilt.cells[r][c].design]
        press = design.plan.pressing.directions[seam.join]
        if press == "open":
            return _Arriving((r, c), None, True)
        # A step that no tie holds is pressed as in the plan of the design, in every block.
        tie = design.tie_of[seam.join]
        variable = FIXED if tie is None else self.first_variable[r, c] + tie
        return _Arriving((r, c), (variable, seam.ahead == (press == "first")), True)

    def _on(self, r: int, c: int, side: int) -> Iterator[tuple[float, list[_Arriving]]]:
        """What arrives at a side of a block, by its place to the right or down on the quilt."""
        cell = self.quilt.cells[r][c]
        design = self.designs[cell.design]
        width, height = design.size(cell.turn)
        for arrival in design.arrivals(side, cell.turn):
            # Sides are measured clockwise: the lower and the left one run backward on the quilt.
            along = arrival.along
            at = (
                self.lefts[c] + along,
                self.tops[r] + along,
                self.lefts[c] + width - along,
                self.tops[r] + height - along,
            )[side]
            yield at, [self._arriving(r, c, seam) for seam in arrival.seams]

    def _between_blocks(self) -> Iterator[_MeetingPoint]:
        for r in range(self.quilt.rows):
            for c in range(self.quilt.columns - 1):
                joining = self.joining_at["blocks", r, c]
                ends = (self.tops[r], self.tops[r + 1])
                for y, arriving in _together(self._on(r, c, 1), self._on(r, c + 1, 3), ends):
                    yield _MeetingPoint((self.lefts[c + 1], y), joining, arriving)

    def _between_rows(self) -> Iterator[_MeetingPoint]:
        across = range(self.quilt.columns)
        ends = (self.lefts[0], self.lefts[-1])
        for r in range(self.quilt.rows - 1):
            above = [one for c in across for one in self._on(r, c, 2)]
            below = [one for c in across for one in self._on(r + 1, c, 0)]
            # At the corners of blocks the seams between the blocks of both rows arrive, which are
            # pressed one way for good; they are seams of both blocks beside them.
            for c in across[1:]:
                # Ahead is to the left for the row above, and to the right for the one below.
                upper = (FIXED, pressed(r) == "left")
                lower = (FIXED, pressed(r + 1) == "right")
                for row, found, literal in ((r, above, upper), (r + 1, below, lower)):
                    sewn = [_Arriving((row, n), literal, False) for n in (c - 1, c)]
                    found.append((self.lefts[c], sewn))
            for x, arriving in _together(above, below, ends):
                yield _MeetingPoint((x, self.tops[r + 1]), self.joining_at["rows", r, 0], arriving)

    # --- the best plan ---

    def solved(self, seconds: float) -> QuiltPressing:
        """The best pressing of all blocks."""
        asked = [c for point in self.points if (c := point.constraint) is not None]
        best = most_satisfied(self.count, asked, list(self._classings()), seconds)
        places = list(self.first_variable)
        cells = [self.quilt.cells[r][c] for r, c in places]
        instances = [
            Instance(cell.design, self._variables(place, cell))
            for place, cell in zip(places, cells, strict=True)
        ]
        # What the meetings leave open makes blocks alike, in the patterns that quilts repeat; and
        # what is open then lets blocks be pressed as is best for them.
        orders = [sorted(range(len(places)), key=lambda i: phase(*places[i])) for phase in PHASES]
        fewest = made_alike(instances, best.parities, orders)
        steps = [[len(tie) for tie in self.designs[cell.design].ties] for cell in cells]
        roots = as_planned(instances, steps, best.parities)
        values = values_of(best.parities, self.count, roots)
        # A block whose own meetings cannot all nest may have other best plans than those here.
        settled = all(
            meeting.nests or meeting.alone
            for id in {cell.design for cell in cells}
            for meeting in self.designs[id].plan.pressing.meetings
        )
        # Where meetings had to be given up, others given up instead might need fewer variants.
        all_met = len(best.constraints) == sum(map(satisfiable, asked))
        return QuiltPressing(
            {
                place: frozenset(k for k, v in enumerate(i.variables) if values[v])
                for place, i in zip(places, instances, strict=True)
            },
            tuple(self._meeting(point, values) for point in self.points),
            best.bound if settled else len(asked),
            fewest and settled and all_met,
        )

    def _classings(self) -> Iterator[list[int]]:
        """Variables in classes, blocks of a class being alike: all, every other one, and so on."""
        for phase in PHASES:
            numbers: dict[tuple[Cell, int, int], int] = {}
            classes = [FIXED]
            for r, c in self.first_variable:
                cell = self.quilt.cells[r][c]
                for k in range(len(self.designs[cell.design].ties)):
                    key = (cell, phase(r, c), k)
                    classes.append(numbers.setdefault(key, len(numbers) + 1))
            yield classes

    def _variables(self, place: Place, cell: Cell) -> tuple[int, ...]:
        first = self.first_variable[place]
        return tuple(range(first, first + len(self.designs[cell.design].ties)))

    def _meeting(self, point: _MeetingPoint, values: Sequence[bool]) -> QuiltMeeting:
        constraint = point.constraint
        nests = (
            constraint is not None and len({values[v] != negated for v, negated in constraint}) == 1
        )
        blocks = tuple(sorted({a.place for a in point.arriving}))
        reason = None if nests else self._reason(point, constraint)
        return QuiltMeeting(point.at, point.joining, blocks, nests, reason)

    def _reason(self, point: _MeetingPoint, constraint: Constraint | None) -> str:
        if constraint is None:
            names = _names(a.place for a in point.arriving if a.literal is None)
            return f"a seam of {names} is pressed open: its allowance lies to both sides here"
        if not satisfiable(constraint):
            names = _names(a.place for a in point.arriving if a.within)
            return (
                f"the seams that end here in {names} are pressed as the seam intersections inside "
                "the blocks need it, as you gave it, or as the seam between the blocks lies"
            )
        names = _names(a.place for a in point.arriving)
        return (
            f"the seams of {names} meet others elsewhere too: pressed so that they nest here, at "
            "least one other seam intersection would not"
        )


def _names(places: Iterable[Place]) -> str:
    return ", ".join(place_name(*place) for place in sorted(set(places)))


def _together(
    one: Iterable[tuple[float, list[_Arriving]]],
    other: Iterable[tuple[float, list[_Arriving]]],
    ends: tuple[float, float],
) -> Iterator[tuple[float, tuple[_Arriving, ...]]]:
    """Places along a seam, not its ends, at which something arrives from both sides."""
    # In one row along the seam; what lies within the tolerance of the first of a group is at
    # its point.  None at the end closes the last group.
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
