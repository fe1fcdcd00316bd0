"""The edges of a block in a quilt: which seams end there, and so may nest with its neighbours'.

The sides of a block are numbered clockwise as they lie: 0 on top, 1 on the right, 2 below, 3 on the
left; places on a side are measured clockwise round the block, from where the side begins.
A seam that ends on a side lies *ahead* there, clockwise, or back.  On the common edge of two blocks
the one's ahead is the other's back, so a meeting on that edge nests when all seams that arrive,
from both blocks, lie ahead, or all lie back: those of one block then lie to one side along the edge
and those of the other block to the other.

Turning a block clockwise by a quarter makes its side 0 its side 1, and changes nothing else
of this.

The steps of a block fall into *ties*: steps that arrive at one nested meeting inside the block,
and those that are tied to these by a further one.  Pressing all steps of a tie the other way
keeps every meeting nested, as each looks the same with its two sides exchanged.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.patchwork.sewing.shades import darker_sides

SIDES = 4


@dataclass(frozen=True, slots=True)
class EndingSeam:
    """A seam that ends at the outside of its block.

    Attributes:
        join: the join that sews it.
        ahead: whether its allowance lies ahead when it is pressed toward its first unit.
    """

    join: int
    ahead: bool


@dataclass(frozen=True, slots=True)
class Arrival:
    """Seams that end at one point of a side, ``along`` inches from where the side begins."""

    along: float
    seams: tuple[EndingSeam, ...]


@dataclass(frozen=True, slots=True)
class Design:
    """A block as the quilt sees it.

    Attributes:
        width, height: finished, inches.
        corner: its top left corner in the block's own plane.
        sides: what arrives at each side, corners included.
        ties: steps that are pressed the other way together, of those that end on a side.
        tie_of: the number of each join's tie; None if it is always pressed as in the plan.
        dark: for each join the unit whose fabric is darker along it, None where neither is.
    """

    id: str
    plan: SewingPlan
    width: float
    height: float
    corner: Point
    sides: tuple[tuple[Arrival, ...], ...]
    ties: tuple[tuple[int, ...], ...]
    tie_of: tuple[int | None, ...]
    dark: tuple[Press | None, ...]

    def size(self, turn: int) -> tuple[float, float]:
        """Width and height as it lies."""
        return (self.height, self.width) if turn % 180 else (self.width, self.height)

    def arrivals(self, side: int, turn: int) -> tuple[Arrival, ...]:
        """What arrives at a side as the block lies."""
        return self.sides[(side - turn // 90) % SIDES]

    def directions(self, flipped: Collection[int]) -> tuple[Press, ...]:
        """How each step is pressed with these ties the other way than in the plan."""
        turned: dict[Press, Press] = {"first": "second", "second": "first", "open": "open"}
        return tuple(
            turned[press] if self.tie_of[j] in flipped and self.tie_of[j] is not None else press
            for j, press in enumerate(self.plan.pressing.directions)
        )


def is_rectangle(plan: SewingPlan) -> bool:
    """Whether the block is an upright rectangle, corners off by no more than the tolerance."""
    left, top, right, bottom = extent(plan.block.pieces)
    # Every outer edge lies along one of the four sides of the bounding box.
    for edge in plan.seams.edges:
        if edge.left is not None:
            continue
        ends = (edge.segment.start, edge.segment.end)
        if isinstance(edge.segment, Curve) or not any(
            all(abs(p[axis] - place) <= 2 * TOLERANCE for p in ends)
            for axis, place in ((0, left), (0, right), (1, top), (1, bottom))
        ):
            return False
    return True


def design_of(id: str, plan: SewingPlan, kept: Collection[int] = ()) -> Design:
    """A rectangular block as the quilt sees it.

    Args:
        kept: joins that are pressed in every block as in the plan.
    """
    left, top, right, bottom = extent(plan.block.pieces)
    sides = _sides(plan, (left, top, right, bottom))
    arriving = {seam.join for side in sides for arrival in side for seam in arrival.seams}
    ties = tuple(tie for tie in _ties(plan, kept) if arriving.intersection(tie))
    tie_of: list[int | None] = [None] * len(plan.order.joins)
    for number, tie in enumerate(ties):
        for join in tie:
            tie_of[join] = number
    dark = tuple(darker_sides(plan.block, plan.seams, plan.order))
    return Design(
        id, plan, right - left, bottom - top, (left, top), sides, ties, tuple(tie_of), dark
    )


def _sides(
    plan: SewingPlan, box: tuple[float, float, float, float]
) -> tuple[tuple[Arrival, ...], ...]:
    left, top, right, bottom = box
    seams, order = plan.seams, plan.order
    outer = {p for edge in seams.edges if edge.left is None for p in (edge.start, edge.end)}
    ending: dict[int, list[EndingSeam]] = {}
    for e, edge in enumerate(seams.edges):
        join = order.pressed_with[e]
        if join is None:
            continue
        for point in (edge.start, edge.end):
            if point not in outer:
                continue
            # Clockwise about the point, this piece comes before the seam; through the cloth,
            # clockwise begins ahead and ends back.
            before = edge.left if edge.start == point else edge.right
            ahead = before == order.on_first[e]
            ending.setdefault(point, []).append(EndingSeam(join, ahead))
    found: list[list[Arrival]] = [[], [], [], []]
    for number, own in ending.items():
        x, y = seams.points[number]
        for side, away, along in (
            (0, y - top, x - left),
            (1, right - x, y - top),
            (2, bottom - y, right - x),
            (3, x - left, bottom - y),
        ):
            if abs(away) <= 2 * TOLERANCE:
                found[side].append(Arrival(along, tuple(own)))
    return tuple(tuple(sorted(side, key=lambda a: a.along)) for side in found)


def _ties(plan: SewingPlan, kept: Collection[int]) -> list[tuple[int, ...]]:
    """The joins that nested meetings tie to each other, but for those that must stay."""
    pressed = plan.pressing.directions
    lead = list(range(len(pressed)))

    def root(j: int) -> int:
        """The root of a join's tree (disjoint sets, with path halving)."""
        while lead[j] != j:
            lead[j] = lead[lead[j]]
            j = lead[j]
        return j

    # The join with the lowest number leads, so that ties come out in the order of sewing.
    for meeting in plan.pressing.meetings:
        if meeting.nests:
            first, *others = (j for unit in meeting.arrive for j in unit)
            for j in others:
                a, b = sorted((root(first), root(j)))
                lead[b] = a
    stays = {root(j) for j in range(len(pressed)) if j in kept or pressed[j] == "open"}
    ties: dict[int, list[int]] = {}
    for j in range(len(pressed)):
        if root(j) not in stays:
            ties.setdefault(root(j), []).append(j)
    return [tuple(own) for _, own in sorted(ties.items())]
