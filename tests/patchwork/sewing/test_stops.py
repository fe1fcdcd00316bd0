"""Stops at match points, against what Shapely makes of the finished outlines."""

from __future__ import annotations

import math

import pytest
import shapely
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.cutting.templates import template_set
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.patchwork.sewing.steps import sewing_steps
from piecewright.patchwork.sewing.wording import Words

CATALOGUE = [entry.id for entry in catalogue.entries()]

NEAR = 0.01
"""Inches; more than a block's points are moved by, less than any two of the catalogue are apart."""

BEND = 12.0
"""Degrees; a curve's chords turn by less from one to the next, and pivots of the catalogue by
more."""


def close(p: Point, others: list[Point]) -> bool:
    return any(math.dist(p, q) <= NEAR for q in others)


def common_line(shapes: dict[str, Polygon], units: tuple[tuple[str, ...], ...]) -> LineString:
    """The line that the outlines of two units have in common."""
    one, other = (
        shapely.union_all([shapes[i].buffer(1e-7, join_style="mitre") for i in unit])
        for unit in units
    )
    # The edges of a unit that lie within a hair of the other unit, without the hairs.
    parts = shapely.intersection(shapely.boundary(one), other.buffer(1e-4))
    merged = shapely.line_merge(parts).simplify(1e-3)
    lines = [g for g in getattr(merged, "geoms", [merged]) if g.length > 10 * NEAR]
    (line,) = lines
    assert isinstance(line, LineString)
    return line


def turns(line: LineString) -> list[Point]:
    """The points inside a line at which it bends."""
    found = []
    for a, p, b in zip(line.coords, line.coords[1:], line.coords[2:], strict=False):
        before = math.atan2(p[1] - a[1], p[0] - a[0])
        after = math.atan2(b[1] - p[1], b[0] - p[0])
        if abs(math.degrees(math.remainder(after - before, math.tau))) > BEND:
            found.append((p[0], p[1]))
    return found


def stops_by_shapely(plan: SewingPlan) -> list[list[Point]]:
    """For each step the ends of its line at which the line of a later step bends."""
    shapes = {p.id: Polygon(paths.ring(p.outline)) for p in plan.block.pieces}
    lines = [common_line(shapes, step.units) for step in plan.sewing.steps]
    bends = [turns(line) for line in lines]
    return [
        [
            (x, y)
            for x, y in (line.coords[0], line.coords[-1])
            if any(close((x, y), later) for later in bends[k + 1 :])
        ]
        for k, line in enumerate(lines)
    ]


@pytest.mark.parametrize("name", CATALOGUE)
def test_seams_stop_where_a_later_seam_bends_and_nowhere_else(name: str) -> None:
    plan = sewing_plan(catalogue.load(name))
    expected = stops_by_shapely(plan) if any(s.pivots for s in plan.sewing.steps) else []
    for k, step in enumerate(plan.sewing.steps):
        ends = {"start": step.seam[0], "end": step.seam[-1]}
        found = [ends[stop.end] for stop in step.stops]
        wanted = expected[k] if expected else []
        assert len(found) == len(wanted)
        assert all(close(p, wanted) for p in found)


def test_first_seam_of_an_attic_window_stops_at_the_inner_corner_alone() -> None:
    beside, setting_in = sewing_plan(catalogue.load("attic-windows")).sewing.steps
    assert [beside.seam[0 if s.end == "start" else -1] for s in beside.stops] == [(2.0, 4.0)]
    # The set-in seam itself runs from outside to outside.
    assert setting_in.stops == ()


def test_straight_blocks_are_sewn_from_edge_to_edge() -> None:
    for name in ("nine-patch", "sawtooth-star", "log-cabin", "drunkards-path"):
        assert not any(s.stops for s in sewing_plan(catalogue.load(name)).sewing.steps)


def test_a_seam_passes_a_point_that_is_no_pivot_of_a_later_one() -> None:
    # Four squares: both short seams end where the long one goes straight on.
    frame = [[0, 0], [4, 0], [4, 4], [0, 4]]
    block = block_from_drawing({"frame": frame, "lines": [[[2, 0], [2, 4]], [[0, 2], [4, 2]]]})
    assert not any(s.stops for s in sewing_plan(block).sewing.steps)


def two_mitred_corners() -> Block:
    """Two attic windows; to the right of them a strip that is sewn from edge to edge."""

    def window(name: str, x: float) -> list[dict[str, object]]:
        at = {
            "pane": [[x + 2, 0], [x + 6, 0], [x + 6, 4], [x + 2, 4]],
            "side": [[x, 0], [x + 2, 0], [x + 2, 4], [x, 6]],
            "sill": [[x, 6], [x + 2, 4], [x + 6, 4], [x + 6, 6]],
        }
        return [{"id": f"{name}-{part}", "outline": ring} for part, ring in at.items()]

    joins = [
        [[["a-side", "a-sill"], "a-pane"], [["b-side", "b-sill"], "b-pane"]],
        "strip",
    ]
    strip = {"id": "strip", "outline": [[12, 0], [14, 0], [14, 6], [12, 6]]}
    pieces = [*window("a", 0), *window("b", 6), strip]
    return block_from_pieces({"pieces": pieces, "joins": joins})


def test_mitres_that_stop_alike_share_a_card() -> None:
    plan = sewing_plan(two_mitred_corners())
    words = Words(plan)
    mitres = [s for s in plan.sewing.steps if s.stops]
    assert len(mitres) == 2
    assert len({s.like for s in mitres}) == 1
    assert "later seam pivots there" in words.stops(mitres[0])


def half_squares(corner: list[list[list[int]]]) -> Block:
    """Two half-square units, the first with an L of one piece or two round its corner."""

    def unit(name: str, x: float) -> list[dict[str, object]]:
        upper = [[x, 0], [x + 2, 0], [x + 2, 2]]
        lower = [[x, 0], [x + 2, 2], [x, 2]]
        return [{"id": f"{name}1", "outline": upper}, {"id": f"{name}2", "outline": lower}]

    around = [{"id": f"l{n}", "outline": ring} for n, ring in enumerate(corner)]
    below = {"id": "below", "outline": [[4, 2], [6, 2], [6, 4], [4, 4]]}
    first: object = ["a1", "a2"]
    for piece in around:
        first = [first, piece["id"]]
    joins = [first, [["b1", "b2"], "below"]]
    pieces = [*unit("a", 0), *unit("b", 4), *around, below]
    return block_from_pieces({"pieces": pieces, "joins": joins})


def test_steps_that_differ_by_a_stop_alone_are_two_kinds() -> None:
    def kinds(block: Block) -> set[int]:
        seams = planar_map([p.outline for p in block.pieces])
        order = order_of(block, seams)
        found = sewing_steps(block, seams, order, ["first"] * len(order.joins)).steps
        return {s.like for s in found if set(s.units) in ({("a1",), ("a2",)}, {("b1",), ("b2",)})}

    whole = [[2, 0], [4, 0], [4, 4], [0, 4], [0, 2], [2, 2]]
    beside, under = [[2, 0], [4, 0], [4, 2], [2, 2]], [[0, 2], [4, 2], [4, 4], [0, 4]]
    assert len(kinds(half_squares([beside, under]))) == 1
    assert len(kinds(half_squares([whole]))) == 2


def test_card_says_where_to_stop_and_why() -> None:
    plan = sewing_plan(catalogue.load("attic-windows"), Allowance(0.25))
    said = Words(plan).step(plan.sewing.steps[0])
    assert (
        "Stop at the match point (bar), 1/4 in before the raw edge, and backstitch: step 2 pivots "
        "there." in said
    )
    star = sewing_plan(catalogue.load("eight-point-star"))
    both = next(s for s in star.sewing.steps if len(s.stops) == 2)
    assert Words(star).stops(both).startswith("Start and stop at the match points (bars), 1/4 in")


def test_templates_ring_the_dots_at_which_seams_stop() -> None:
    found = template_set(catalogue.load("attic-windows"), Allowance())
    rings = {piece.id: piece.stop_points for piece in found.pieces}
    # The sill is set in last: no seam along it stops.
    assert {id: len(points) for id, points in rings.items()} == {"window": 1, "side": 1, "sill": 0}
    for piece in found.pieces:
        assert set(piece.stop_points) <= set(piece.match_points)
    for template in found.templates:
        assert all(close(p, list(template.match_points)) for p in template.stop_points)
    # Side and sill share a template, which has the ring that one of them needs.
    assert [len(t.stop_points) for t in found.templates] == [1, 1]
