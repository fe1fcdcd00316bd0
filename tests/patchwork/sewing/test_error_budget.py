"""The error budget against a Monte Carlo of the same model: cloth is cut, sewn and trimmed in
numbers here, strip by strip, with nothing of the module's own but the block.

Deviations are drawn from normal distributions of which 19 in 20 lie within what is given
(1.96 standard deviations); the worst is found by moving each deviation as far as it may go.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from numpy.typing import NDArray

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.sewing.crossings import crossings
from piecewright.patchwork.sewing.error_budget import Compared, Deviation, ErrorBudget, error_budget
from piecewright.patchwork.sewing.order import order_of
from tests.patchwork import partitions

Many = NDArray[np.float64]

SAMPLES = 40_000
QUANTILE = 1.959964
"""Standard deviations within which 19 of 20 normal values lie."""

ALLOWANCE = 0.25
CUT, SEW = 1 / 32, 1 / 24


def budget(block: Block, cutting: float = CUT, sewing: float = SEW) -> ErrorBudget:
    seams, order = sewn(block)
    return error_budget(seams, order, cutting, sewing)


def sewn(block: Block) -> tuple[Seams, Order]:
    seams = planar_map([p.outline for p in block.pieces])
    return seams, order_of(block, seams)


def rectangle(name: str, x0: float, y0: float, x1: float, y1: float) -> dict[str, Any]:
    return {"id": name, "outline": [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]}


# --- a maker, in numbers ---------------------------------------------------------------------


class Chance:
    """Deviations by name: drawn at random, or one of them moved and all others none."""

    def __init__(self, moved: str | None = None, seed: int = 0) -> None:
        self.random = np.random.default_rng(seed)
        self.drawn: dict[str, Many] = {}
        self.moved, self.exact = moved, moved is not None

    def __call__(self, name: str, most: float) -> Many:
        if name not in self.drawn:
            if self.exact:
                self.drawn[name] = np.array([most if name == self.moved else 0.0])
            else:
                self.drawn[name] = self.random.normal(0, most / QUANTILE, SAMPLES)
        return self.drawn[name]


@dataclass
class Row:
    """Cloth sewn side by side: where its raw ends and its seams are."""

    left: Many
    right: Many
    seams: dict[str, Many] = field(default_factory=dict)

    @classmethod
    def cut(cls, chance: Chance, name: str, width: float) -> Row:
        left = -chance(f"{name} left", CUT)
        return cls(left, width + 2 * ALLOWANCE + chance(f"{name} right", CUT))

    def sew(self, chance: Chance, other: Row, seam: str) -> Row:
        taken = ALLOWANCE + chance(seam, SEW)
        at = self.right - taken
        moved = at - taken - other.left
        seams = {**self.seams, seam: at, **{n: x + moved for n, x in other.seams.items()}}
        return Row(self.left, other.right + moved, seams)

    def trim(self, chance: Chance, name: str, width: float) -> Row:
        middle, half = (self.left + self.right) / 2, (width + 2 * ALLOWANCE) / 2
        return Row(
            middle - half - chance(f"trim {name} left", CUT),
            middle + half + chance(f"trim {name} right", CUT),
            self.seams,
        )

    def eased(self, seam: str, at: float, width: float) -> Many:
        """How far a seam is off once the row is eased to its width."""
        long = self.right - self.left - width - 2 * ALLOWANCE
        return self.seams[seam] - self.left - ALLOWANCE - at - at / width * long


def simulated(off: Callable[[Chance], Many]) -> Deviation:
    chance = Chance()
    likely = float(np.std(off(chance))) * QUANTILE
    worst = sum(abs(float(off(Chance(name))[0])) for name in chance.drawn)
    return Deviation(worst, likely)


def assert_as_simulated(found: Deviation, off: Callable[[Chance], Many]) -> None:
    made = simulated(off)
    assert found.worst == pytest.approx(made.worst, abs=1e-9)
    assert found.likely == pytest.approx(made.likely, rel=0.02)


# --- strips ----------------------------------------------------------------------------------


def strips(widths: list[float]) -> Block:
    pieces: list[dict[str, Any]] = []
    joins: Any = None
    x = 0.0
    for i, width in enumerate(widths):
        pieces.append(rectangle(f"s{i}", x, 0, x + width, 5))
        joins = f"s{i}" if joins is None else [joins, f"s{i}"]
        x += width
    return block_from_pieces({"pieces": pieces, "joins": joins})


@pytest.mark.parametrize("count", [2, 5])
def test_strips_are_as_far_off_as_in_a_simulation(count: int) -> None:
    widths = [1.0, 1.5, 2.0, 0.75, 1.25][:count]

    def too_wide(chance: Chance, trim: bool) -> Many:
        row = Row.cut(chance, "0", widths[0])
        for i in range(1, count):
            row = row.sew(chance, Row.cut(chance, str(i), widths[i]), f"seam {i}")
            if trim:
                row = row.trim(chance, str(i), sum(widths[: i + 1]))
        return row.right - row.left

    last = budget(strips(widths)).units[-1]
    exact = sum(widths) + 2 * ALLOWANCE
    assert last.rectangle
    assert last.width is not None
    assert_as_simulated(last.width.untrimmed, lambda c: too_wide(c, False) - exact)
    assert_as_simulated(last.width.trimmed, lambda c: too_wide(c, True) - exact)


def test_strips_are_measured_where_they_are_off_the_most() -> None:
    # Along the strips nothing but the two cuts of each strip counts.
    last = budget(strips([1.0, 1.0, 1.0])).units[-1]
    assert last.height is not None
    assert last.height.untrimmed == Deviation(
        pytest.approx(2 * CUT),  # type: ignore[arg-type]
        pytest.approx(math.sqrt(2) * CUT),  # type: ignore[arg-type]
    )


# --- nine patch ------------------------------------------------------------------------------

WIDTHS = (2.0, 3.0, 2.5)


def nine_patch() -> Block:
    edges = [0.0, 2.0, 5.0, 7.5]
    pieces = [
        rectangle(f"{r}{c}", edges[c], 3.0 * r, edges[c + 1], 3.0 * r + 3)
        for r in range(3)
        for c in range(3)
    ]
    rows = [[[f"{r}0", f"{r}1"], f"{r}2"] for r in range(3)]
    return block_from_pieces({"pieces": pieces, "joins": [[rows[0], rows[1]], rows[2]]})


def row_of_nine(chance: Chance, r: int, trim: bool) -> Row:
    row = Row.cut(chance, f"{r}0", WIDTHS[0])
    for c in (1, 2):
        row = row.sew(chance, Row.cut(chance, f"{r}{c}", WIDTHS[c]), f"{r} seam {c}")
        if trim:
            row = row.trim(chance, f"{r} {c}", sum(WIDTHS[: c + 1]))
    return row


@pytest.mark.parametrize("trim", [False, True])
@pytest.mark.parametrize("row", [1, 2])
@pytest.mark.parametrize("column", [1, 2])
def test_seams_of_a_nine_patch_miss_each_other_as_in_a_simulation(
    row: int, column: int, trim: bool
) -> None:
    at = sum(WIDTHS[:column])

    def mismatch(chance: Chance) -> Many:
        upper, lower = (row_of_nine(chance, r, trim) for r in (row - 1, row))
        if row == 2 and trim:  # the two rows above were trimmed once more when they were one
            upper = upper.trim(chance, "upper two", sum(WIDTHS))
        one, other = (
            r.eased(f"{n} seam {column}", at, sum(WIDTHS))
            for r, n in ((upper, row - 1), (lower, row))
        )
        return one - other

    block = nine_patch()
    seams, _ = sewn(block)
    found = {seams.points[p.at]: p.mismatch for p in budget(block).points}
    assert len(found) == 4
    here = found[at, 3.0 * row]
    assert_as_simulated(here.trimmed if trim else here.untrimmed, mismatch)


def test_middle_of_a_four_patch_is_off_by_half_of_what_its_squares_differ() -> None:
    # Each of four widths is off by two cuts; half their differences meet in the middle. What the
    # seams take away they take from both sides alike.
    pieces = [rectangle(f"{x}{y}", x, y, x + 3, y + 3) for x in (0, 3) for y in (0, 3)]
    joins = [["00", "30"], ["03", "33"]]
    (point,) = budget(block_from_pieces({"pieces": pieces, "joins": joins})).points
    assert point.mismatch.untrimmed.worst == pytest.approx(8 * CUT / 2)
    assert point.mismatch.untrimmed.likely == pytest.approx(math.sqrt(8) * CUT / 2)


# --- log cabin -------------------------------------------------------------------------------


def log_cabin(rounds: int) -> Block:
    """A 2 in centre and strips of 1 in, clockwise from the right."""
    pieces = [rectangle("c", 0, 0, 2, 2)]
    joins: Any = "c"
    x0, y0, x1, y1 = 0.0, 0.0, 2.0, 2.0
    for n in range(rounds):
        for side, box in {
            "e": (x1, y0, x1 + 1, y1),
            "s": (x0, y1, x1 + 1, y1 + 1),
            "w": (x0 - 1, y0, x0, y1 + 1),
            "n": (x0 - 1, y0 - 1, x1 + 1, y0),
        }.items():
            pieces.append(rectangle(f"{side}{n}", *box))
            joins = [joins, f"{side}{n}"]
        x0, y0, x1, y1 = x0 - 1, y0 - 1, x1 + 1, y1 + 1
    return block_from_pieces({"pieces": pieces, "joins": joins})


@pytest.mark.parametrize("rounds", [1, 2, 3])
def test_log_cabin_grows_off_as_in_a_simulation_unless_it_is_trimmed(rounds: int) -> None:
    def too_wide(chance: Chance, trim: bool) -> Many:
        row = Row.cut(chance, "c", 2)
        for n in range(rounds):
            row = row.sew(chance, Row.cut(chance, f"e{n}", 1), f"seam e{n}")
            row = row.trim(chance, f"e{n}", 3 + 2 * n) if trim else row
            row = row.trim(chance, f"s{n}", 3 + 2 * n) if trim else row
            row = Row.cut(chance, f"w{n}", 1).sew(chance, row, f"seam w{n}")
            row = row.trim(chance, f"w{n}", 4 + 2 * n) if trim else row
            row = row.trim(chance, f"n{n}", 4 + 2 * n) if trim else row
        return row.right - row.left - (2 + 2 * rounds) - 2 * ALLOWANCE

    found = budget(log_cabin(rounds)).units[-1].width
    assert found is not None
    assert_as_simulated(found.untrimmed, lambda c: too_wide(c, False))
    assert_as_simulated(found.trimmed, lambda c: too_wide(c, True))
    assert found.trimmed.likely < found.untrimmed.likely


# --- seams aslant ----------------------------------------------------------------------------

Vector = tuple[Many | float, Many | float]


def crossing(p: Vector, u: Vector, q: Vector, v: Vector) -> Vector:
    """Where the lines through ``p`` along ``u`` and through ``q`` along ``v`` cross."""
    t = ((q[0] - p[0]) * v[1] - (q[1] - p[1]) * v[0]) / (u[0] * v[1] - u[1] * v[0])
    return (p[0] + t * u[0], p[1] + t * u[1])


def half(chance: Chance, name: str, foot: float, lean: float) -> tuple[Many | float, Many | float]:
    """A rectangle of 6 by 2 in, cut aslant from ``(foot, 0)`` to ``(foot + lean, 2)``, sewn again.

    It is sewn to the other half along its side at y = 0, with the seam ``last``. Given
    are where the slanted seam meets that seam, from the raw left end, and how long it is.
    """
    size = math.hypot(lean, 2)
    n = (2 / size, -lean / size)  # square to the slanted edge, toward the right piece
    own, other = chance(f"{name} left aslant", CUT), chance(f"{name} right aslant", CUT)
    width = chance(f"{name} seam", SEW)
    # The left piece lies still. Its raw slanted edge is one allowance and its deviation out.
    out = own - width
    line = (foot + n[0] * out, n[1] * out)
    # The right piece is moved square to the seam until its own sewing line lies on that.
    moved = (own - width + other - width) * n[0]
    level = -(chance(f"{name} raw", CUT) - chance("last", SEW))  # up is less y
    at = crossing(line, (lean, 2.0), (0.0, level), (1.0, 0.0))[0]
    left = -ALLOWANCE - chance(f"{name} left end", CUT)
    right = 6 + ALLOWANCE + chance(f"{name} right end", CUT) + moved
    return at - left - ALLOWANCE, right - left - 2 * ALLOWANCE


@pytest.mark.parametrize(("above", "below"), [(1.0, -1.0), (1.5, 1.5), (-2.0, 0.5), (0.0, 2.0)])
def test_seams_aslant_miss_each_other_as_in_a_simulation(above: float, below: float) -> None:
    foot = 2.5
    block = block_from_pieces(
        {
            "pieces": [
                {"id": "a", "outline": [[0, -2], [foot + above, -2], [foot, 0], [0, 0]]},
                {"id": "b", "outline": [[foot + above, -2], [6, -2], [6, 0], [foot, 0]]},
                {"id": "c", "outline": [[0, 0], [foot, 0], [foot + below, 2], [0, 2]]},
                {"id": "d", "outline": [[foot, 0], [6, 0], [6, 2], [foot + below, 2]]},
            ],
            "joins": [["a", "b"], ["c", "d"]],
        }
    )

    def mismatch(chance: Chance) -> Many:
        off = []
        for name, lean in (("above", above), ("below", below)):
            at, long = half(chance, name, foot, lean)
            off.append(at - foot - foot / 6 * (long - 6))
        return np.asarray(off[0] - off[1])

    (point,) = budget(block).points
    made = simulated(mismatch)
    assert point.mismatch.untrimmed.worst == pytest.approx(made.worst, rel=1e-6)
    assert point.mismatch.untrimmed.likely == pytest.approx(made.likely, rel=0.02)


def test_half_square_triangle_is_off_by_its_bias_seam_over_root_two() -> None:
    # A half-square triangle is cut 7/8 in larger than it finishes: 1/4 in of allowance takes
    # away root two times as much, besides the two at the outside (common practice).
    found = budget(catalogue.load("half-square-triangle")).units[0].width
    assert found is not None
    aslant = math.sqrt(0.5)
    assert found.untrimmed.worst == pytest.approx(2 * CUT + aslant * (2 * CUT + 2 * SEW))
    assert found.untrimmed.likely == pytest.approx(
        math.sqrt(2 * CUT**2 + aslant**2 * (2 * CUT**2 + 4 * SEW**2))
    )


# --- whole blocks ----------------------------------------------------------------------------

CATALOGUE = [entry.id for entry in catalogue.entries()]


def all_compared(found: ErrorBudget) -> list[Compared]:
    sizes = [size for u in found.units for size in (u.width, u.height) if size is not None]
    return sizes + [p.mismatch for p in found.points]


@pytest.mark.parametrize("name", CATALOGUE)
def test_likely_is_less_than_worst_and_trimmed_units_are_off_by_two_cuts(name: str) -> None:
    found = budget(catalogue.load(name))
    for size in all_compared(found):
        assert 0 < size.untrimmed.likely < size.untrimmed.worst
        assert 0 < size.trimmed.likely < size.trimmed.worst
    for unit in found.units:
        if unit.rectangle:
            for own in (unit.width, unit.height):
                assert own is not None
                assert own.trimmed.worst == pytest.approx(2 * CUT)
                assert own.trimmed.likely == pytest.approx(math.sqrt(2) * CUT)


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_meeting_is_measured_and_the_first_to_suffer_are_the_farthest_off(name: str) -> None:
    block = catalogue.load(name)
    seams, order = sewn(block)
    found = budget(block)
    meetings = {(c.step, c.at) for c in crossings(seams, order) if c.meeting}
    assert {(p.join, p.at) for p in found.points} == meetings
    likely = sorted((p.mismatch.untrimmed.likely for p in found.points), reverse=True)
    assert len(found.first_to_suffer) == min(3, len(meetings))
    assert [p.mismatch.untrimmed.likely for p in found.first_to_suffer] == pytest.approx(likely[:3])
    trimmed = sorted((p.mismatch.trimmed.likely for p in found.points), reverse=True)
    assert [p.mismatch.trimmed.likely for p in found.first_to_suffer_trimmed] == pytest.approx(
        trimmed[:3]
    )


@given(partitions.blocks())
@settings(max_examples=40, deadline=None)
def test_random_block_has_a_budget_that_grows_with_the_deviations(block: Block) -> None:
    one, two = budget(block, 0.01, 0.02), budget(block, 0.02, 0.04)
    for a, b in zip(all_compared(one), all_compared(two), strict=True):
        for x, y in ((a.untrimmed, b.untrimmed), (a.trimmed, b.trimmed)):
            assert math.isfinite(y.worst)
            assert (y.worst, y.likely) == pytest.approx((2 * x.worst, 2 * x.likely))


def test_perfect_cutting_and_sewing_leaves_nothing_off() -> None:
    found = budget(catalogue.load("sawtooth-star"), 0.0, 0.0)
    assert all(size.untrimmed == Deviation(0.0, 0.0) for size in all_compared(found))
