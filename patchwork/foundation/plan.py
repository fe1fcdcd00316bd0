"""Foundation piecing: sections that are sewn on paper, and how these are joined.

A section is sewn piece by piece, each by one straight line.  Its order p1 … pk is sewable when for
each i > 1 the boundary that pi shares with p1 … pi-1 together is one straight line, with
p1 … pi-1 wholly on one side of that line and pi wholly on the other.  Sections are joined to each
other by straight joins only, of which some may be partial (``block.joins``): no section lies across
the seam of a join that is sewn in two parts, or that finishes another.  They are the pieces of a
coarser block, and their cut outlines are found as those of any block are
(``patchwork.outlines.cut_outlines``).

All coordinates are those of the face of the block; the printed paper is its mirror image.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.coarse import outlines_of
from piecewright.patchwork.block.grain import grain_lines
from piecewright.patchwork.block.joins import (
    BrokenSeam,
    Order,
    Spans,
    nested,
    order_apart,
    order_from,
    renamed,
    seam_along,
)
from piecewright.patchwork.block.model import Block, BlockUnit, Joins, Section, innermost
from piecewright.patchwork.block.seams import Seams, planar_map, straightened
from piecewright.patchwork.block.wording import letters, unit_name
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.foundation.alike_units import alike_orders
from piecewright.patchwork.foundation.sections import (
    NotStraight,
    Sections,
    fewest_sections,
    joined,
    sewing_order,
)
from piecewright.patchwork.foundation.straight_cuts import StraightCuts
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline
from piecewright.patchwork.geometry.polygons import inner_point, ring_polygon
from piecewright.patchwork.geometry.vectors import Point, Vector, angle, between, minus, outward
from piecewright.patchwork.outlines.cut_outlines import Corners, cut_outlines
from piecewright.patchwork.sewing.bitset import pieces_of
from piecewright.patchwork.sewing.order import order_of, work_out_order

SPARE = 0.25
"""Inches of fabric to spare round a patch; as much as the allowance where that is wider."""

EASE = 0.125
"""Inches more on every side, as cloth is laid by eye under the paper."""

_SAME_SIZE = 1e-4
"""Inches within which rectangles are of one size: only rounding sets such apart."""

_ON_SEAM = 0.05
"""Inches; a point of the seam of two sections is surely no further from it.

Points may be off a straight seam by some tolerances (see ``straight_cuts.STRAIGHT``).
"""


@dataclass(frozen=True, slots=True)
class Patch:
    """A piece of a section and the rectangle of fabric to cut for it.

    Attributes:
        number: its place in the order of sewing, from 1.
        width, height: of the rectangle, inches; its sides lie along and across the patch's grain,
            and the width lies more across the block than down.
    """

    piece: str
    number: int
    fabric: str | None
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class SeamMark:
    """A mark on the seam of two sections, that both of them carry.

    Attributes:
        number: the same on both.
        out: the direction of length one from the seam to the raw edge.
        away: the allowance, inches.
    """

    number: int
    at: Point
    out: Vector
    away: float


@dataclass(frozen=True, slots=True)
class SeamEdge:
    """A part of a section's outline that is sewn to another section.

    Attributes:
        line: as the section's outline runs, clockwise.
        step: the number of the join (in ``Foundation.steps``, from 0) that sews it.
    """

    line: Line
    step: int


@dataclass(frozen=True, slots=True)
class FoundationSection:
    """A section in block coordinates, seen from the face.

    Attributes:
        order: piece ids in the order of sewing.
        outline: the finished outline, clockwise; ``cut`` the same with its allowance.
        patches: in the order of sewing.
        seams: the lines that are sewn, one for each piece from the second on.
        edges: where it is sewn to other sections; ``marks`` are on these.
    """

    id: str
    order: tuple[str, ...]
    outline: Outline
    cut: Outline
    patches: tuple[Patch, ...]
    seams: tuple[Line, ...]
    edges: tuple[SeamEdge, ...]
    marks: tuple[SeamMark, ...]


@dataclass(frozen=True, slots=True)
class SectionJoin:
    """Two units of sections that are joined.

    Attributes:
        first, second: section ids.
        seam: where, from one end to the other.
        finished_by: the join (from 0) with which the seam is finished, if it is sewn only to its
            middle at first.
        finishes: the join of which the seam is finished after this one, if one is.
    """

    first: tuple[str, ...]
    second: tuple[str, ...]
    seam: Outline
    finished_by: int | None
    finishes: int | None


@dataclass(frozen=True, slots=True)
class FabricNeed:
    """All rectangles of one fabric.

    Attributes:
        sizes: (width, height, how many), inches, the largest first; width is the longer side.
        area: square inches of all of them.
    """

    fabric: str | None
    sizes: tuple[tuple[float, float, int], ...]
    area: float


@dataclass(frozen=True, slots=True)
class Foundation:
    """A block as foundation sections, at its finished size.

    Attributes:
        joins: nested pairs of section ids; None where sections lie apart.
        steps: the joins in an order in which they can be sewn.
        optimal: there are no fewer sections than these; that is proven.
        fabrics: the patches summed by fabric.
    """

    block: Block
    allowance: Allowance
    corners: Corners
    sections: tuple[FoundationSection, ...]
    joins: Joins | None
    steps: tuple[SectionJoin, ...]
    optimal: bool
    fabrics: tuple[FabricNeed, ...]


def foundation(
    block: Block,
    allowance: Allowance,
    corners: Corners = "matched",
    pieces_pointer: str | None = "/block/pieces",
    sections_pointer: str = "/block/sections",
) -> Foundation:
    """The foundation sections of a block at finished size: those given, or else the fewest.

    Joins that the block gives are kept where every section is one of their units.

    Args:
        pieces_pointer, sections_pointer: where the request lists them; None if it lists no
            pieces, and faults of the block then point to ``/block``.

    Raises:
        BlockError: a given section cannot be sewn in its order, or the block (or its sections)
            cannot be joined with straight seams alone.
    """
    seams = planar_map([p.outline for p in block.pieces])
    cuts = StraightCuts(seams)
    # Which pieces make up each section, in their order of sewing.
    pairs: list[tuple[int, int]] | None = None
    given: Joins | None = None
    if block.built is not None:
        units, names, given = _of_blocks(block, seams)
        optimal = len(units) == 1 or len(units) == _fewest(cuts)
    elif block.sections is None:
        units, pairs, optimal = _worked_out(block, seams, cuts, pieces_pointer)
        names = [letters(n) for n in range(len(units))]
    else:
        units = _checked(block, block.sections, cuts, sections_pointer)
        names = [section.id for section in block.sections]
        # Each that lies apart is one section, and there is no way to have fewer.
        optimal = block.apart or len(units) == 1 or len(units) == _fewest(cuts)
    # The sections as the pieces of a coarser block, from here on as any other block is.
    rings = outlines_of(seams, units)
    if pairs is not None:
        units = alike_orders(block.pieces, units, [straightened(ring) for ring in rings])
    coarse = planar_map(rings)
    if given is None:
        given = _contracted_joins(block, units, names)
    if block.apart:
        order = order_apart(coarse, names, [Section(name, (name,)) for name in names])
    else:
        order = _order_of_sections(coarse, names, given, pairs, sections_pointer)
    # Each section is printed by itself, so that like ones need not be cut alike.
    each: Corners = "matched-each" if corners == "matched" else corners
    cut = cut_outlines(coarse, order, allowance, each)
    marks = _seam_marks(seams, coarse, units, allowance)
    spares = _spares(seams, units, allowance)
    grains = grain_lines(seams, block.pieces)
    sections = tuple(
        FoundationSection(
            name,
            tuple(block.pieces[p].id for p in unit),
            straightened(ring),
            outline,
            tuple(
                Patch(
                    block.pieces[p].id,
                    number,
                    block.pieces[p].fabric,
                    *_rectangle(cuts.rings[p], grains[p], spares[p]),
                )
                for number, p in enumerate(unit, 1)
            ),
            tuple(_sewn_lines(seams, unit)),
            tuple(_sewn_edges(coarse, order, n)),
            tuple(own),
        )
        for n, (name, unit, ring, outline, own) in enumerate(
            zip(names, units, rings, cut.outlines, marks, strict=True)
        )
    )
    spans = Spans(order)
    steps = tuple(
        SectionJoin(
            tuple(names[s] for s in spans.pieces(join.first)),
            tuple(names[s] for s in spans.pieces(join.second)),
            tuple(coarse.segment(side) for side in join.seam.sides),
            None if join.partial is None else join.partial.finished_by,
            None if join.finishes is None else join.finishes.join,
        )
        for join in order.joins
    )
    return Foundation(
        block,
        allowance,
        corners,
        sections,
        None if block.apart else nested(order, names),
        steps,
        optimal,
        _needs([patch for section in sections for patch in section.patches]),
    )


# --- sections that are worked out --------------------------------------------------------------


def _worked_out(
    block: Block, seams: Seams, cuts: StraightCuts, pieces_pointer: str | None
) -> tuple[list[list[int]], list[tuple[int, int]], bool]:
    """The pieces of each section in order of sewing, in the order of their letters.

    With them come the joins of the sections (see ``patchwork.foundation.sections.joined``), and
    whether there are no fewer.
    """
    try:
        found = _fewest_straight(block, seams, cuts)
        # Each has an order: that is what makes it a section.
        orders = [sewing_order(cuts, unit) for unit in found.units]
        units = [order for order in orders if order is not None]
        units.sort(key=lambda unit: _place_in_reading(cuts, unit))
        pairs = _straight_joins(planar_map(outlines_of(seams, units)))
    except NotStraight as stuck:
        raise BlockError(_not_straight(block, seams, stuck.unit, pieces_pointer)) from None
    # Letters follow the order in which the sections are joined.
    made: list[list[int]] = [[n] for n in range(len(units))]
    for first, second in pairs:
        made.append(made[first] + made[second])
    letter = {n: k for k, n in enumerate(made[-1])}
    lettered = [(letter.get(one, one), letter.get(other, other)) for one, other in pairs]
    return [units[n] for n in made[-1]], lettered, found.fewest


def _fewest_straight(block: Block, seams: Seams, cuts: StraightCuts) -> Sections:
    """The fewest sections; where they cannot be joined without partial seams, few.

    Then each is a part of a unit that is sewn without any, so that every partial seam, and every
    seam with which one is finished, lies between sections.

    Raises:
        NotStraight: not even with partial seams are all joins straight.
    """
    try:
        return fewest_sections(cuts)
    except NotStraight:
        order = work_out_order(seams, [p.id for p in block.pieces]).order
        if any(join.seam.kind != "straight" for join in order.joins):
            raise
    units = [1 << p for p in range(order.pieces)]
    whole = [True] * order.pieces
    for join in order.joins:
        one, other = join.first, join.second
        units.append(units[one] | units[other])
        in_one = join.partial is None and join.finishes is None
        whole.append(in_one and whole[one] and whole[other])
    found: list[int] = []
    for unit, above in enumerate(order.parents):
        if whole[unit] and (above is None or not whole[above]):
            found += fewest_sections(cuts, unit=units[unit]).units
    return Sections(tuple(found), False)


def _straight_joins(coarse: Seams) -> list[tuple[int, int]]:
    """The joins of sections, in order of sewing; partial ones only where all cannot be whole.

    Raises:
        NotStraight: they cannot be joined with straight seams alone.
    """
    try:
        return joined(StraightCuts(coarse))
    except NotStraight:
        order = work_out_order(coarse, [str(n) for n in range(len(coarse.sides))]).order
        if any(join.seam.kind != "straight" for join in order.joins):
            raise
    return [(join.first, join.second) for join in order.joins]


def _fewest(cuts: StraightCuts) -> int | None:
    """The proven least number of sections; None where it is not known."""
    try:
        found = fewest_sections(cuts)
    except NotStraight:
        return None
    return len(found.units) if found.fewest else None


def _place_in_reading(cuts: StraightCuts, unit: Sequence[int]) -> tuple[float, float]:
    """A key for top to bottom, then left to right, by the middle of a section."""
    x, y = cuts.middle(unit)
    return round(y, 2), round(x, 2)


def _not_straight(
    block: Block, seams: Seams, stuck: int, pieces_pointer: str | None
) -> list[Fault]:
    """Every seam that keeps a block from being sewn on foundations.

    Args:
        stuck: a unit of several pieces, as bits, through which no straight cut goes.
    """
    # Of all orders the best has as few bent and curved seams as can be: those are the ones to name.
    ids = [p.id for p in block.pieces]
    order = work_out_order(seams, ids).order
    spans = Spans(order)
    faults = []
    for join in order.joins:
        if join.seam.kind == "straight":
            continue
        first, second = (
            unit_name([ids[i] for i in spans.pieces(unit)]) for unit in (join.first, join.second)
        )
        middle = seams.edges[join.seam.sides[len(join.seam.sides) // 2].edge]
        at = paths.point_at(middle.segment, 0.5)
        if join.seam.pivots:
            at = seams.points[join.seam.pivots[0]]
        how = "is curved" if join.seam.kind == "curved" else "is set in: it bends here"
        message = (
            f"the seam between {first} and {second} {how}, and on a foundation only straight "
            "lines are sewn; use templates for this block, or redraw it with straight seams"
        )
        pointer = "/block" if pieces_pointer is None else f"{pieces_pointer}/{middle.right}"
        faults.append(Fault(pointer, f"{join.seam.kind}-seam", message, at))
    # Where all joins are straight, no seam is to blame, and the unit itself is named.
    if not faults:
        unit = [ids[i] for i in pieces_of(stuck)]
        at = seams.points[seams.start(seams.sides[next(pieces_of(stuck))][0])]
        message = (
            f"no straight line goes right through {unit_name(unit)}, so that no foundation "
            "sections can be joined to make it; use templates for this block"
        )
        faults.append(Fault("/block", "no-straight-seam", message, at))
    return faults


# --- sections of a block that is made of blocks -------------------------------------------------


def _of_blocks(block: Block, seams: Seams) -> tuple[list[list[int]], list[str], Joins]:
    """The sections of each of the blocks by itself: those that it brings along, or the fewest.

    Returns:
        The pieces of each section in order of sewing; their names, which are letters but for those
        that are brought along; and the joins of the sections, block by block.

    Raises:
        BlockError: with the faults of all blocks that cannot be sewn so.
    """
    assert block.built is not None
    blocks = {unit.name: unit for unit in innermost(block.built)}
    number = {piece.id: i for i, piece in enumerate(block.pieces)}
    # In the order in which the blocks are joined, so that letters follow it.
    order = nested(order_of(block, seams), [piece.id for piece in block.pieces])
    unit_of = {id: n for n, unit in enumerate(blocks.values()) for id in unit.pieces}
    tree = _contracted(order, unit_of, list(blocks))
    assert tree is not None, "every block is a unit of the order of sewing"
    known: dict[tuple[str, int], _OwnSections] = {}
    units: list[list[int]] = []
    names: list[str] = []
    faults: list[Fault] = []

    def of_block(name: str) -> Joins:
        unit = blocks[name]
        own = [number[id] for id in unit.pieces]
        # The same block, turned or flipped over, has the same sections.
        design = (name.rpartition(".")[0], unit.design)
        if design not in known:
            try:
                known[design] = _sections_of_block(block, unit, own)
            except BlockError as error:
                faults.extend(replace(fault, pointer=unit.pointer) for fault in error.faults)
                return name
        found = known[design]
        given = unit.sections and [section.id for section in unit.sections]
        named = given or [letters(len(units) + n) for n in range(len(found.sections))]
        units.extend([own[p] for p in section] for section in found.sections)
        names.extend(named)
        return _joined_pairs(named, found.pairs)

    joins = renamed(tree, of_block)
    if faults:
        raise BlockError(faults)
    return units, names, joins


@dataclass(frozen=True, slots=True)
class _OwnSections:
    """The sections of a block within a block.

    Attributes:
        sections: the places of their pieces among the block's, in order of sewing.
        pairs: how they are joined, each join being numbered on from the sections.
    """

    sections: list[list[int]]
    pairs: list[tuple[int, int]]


def _sections_of_block(block: Block, unit: BlockUnit, own: Sequence[int]) -> _OwnSections:
    """The sections of a unit of some pieces, by itself.

    Raises:
        BlockError: it cannot be sewn so.
    """
    part = replace(block, pieces=tuple(block.pieces[i] for i in own), built=None)
    seams = planar_map([piece.outline for piece in part.pieces])
    cuts = StraightCuts(seams)
    if unit.sections is None:
        sections, pairs, _ = _worked_out(part, seams, cuts, None)
        return _OwnSections(sections, pairs)
    sections = _checked(part, unit.sections, cuts, unit.pointer)
    names = [section.id for section in unit.sections]
    coarse = planar_map(outlines_of(seams, sections))
    given = _contracted_joins(replace(part, joins=unit.joins), sections, names)
    order = _order_of_sections(coarse, names, given, None, unit.pointer)
    return _OwnSections(sections, [(join.first, join.second) for join in order.joins])


def _joined_pairs(names: Sequence[str], pairs: Sequence[tuple[int, int]]) -> Joins:
    """Pairs of units, each numbered on from the names, as nested pairs of names."""
    made: list[Joins] = list(names)
    for first, second in pairs:
        made.append((made[first], made[second]))
    return made[-1]


# --- sections that are given -------------------------------------------------------------------


def _checked(
    block: Block, sections: Sequence[Section], cuts: StraightCuts, pointer: str
) -> list[list[int]]:
    """The given sections; every step that cannot be sewn is a fault."""
    number = {p.id: i for i, p in enumerate(block.pieces)}
    faults: list[Fault] = []
    units = []
    for i, section in enumerate(sections):
        unit = [number[name] for name in section.order]
        place = {p: k for k, p in enumerate(unit)}
        for k in range(1, len(unit)):
            wrong = _wrong_step(cuts, unit, place, k, section.order)
            if wrong is not None:
                message, at = wrong
                message = (
                    f"step {k + 1} of section {section.id}: piece {section.order[k]!r} cannot be "
                    f"sewn here, as {message}; change the order, or start another section"
                )
                faults.append(Fault(f"{pointer}/{i}/order/{k}", "unsewable-step", message, at))
                break  # what comes after a step that fails says nothing new
        units.append(unit)
    if faults:
        raise BlockError(faults)
    return units


def _wrong_step(
    cuts: StraightCuts,
    unit: Sequence[int],
    place: Mapping[int, int],
    k: int,
    names: Sequence[str],
) -> tuple[str, Point] | None:
    """Why piece ``k`` of a section cannot be sewn to those before it, and where; None if it can.

    Args:
        place: in the order of the section, of each of its pieces.
        names: of its pieces.
    """
    seams, piece = cuts.seams, unit[k]
    shared = _shared_edges(seams, place, piece)
    # From the plainest fault to the subtlest: no seam, several, a bent one, and at last a straight
    # one with cloth on the wrong side of its line.
    if not shared:
        message = f"it shares no edge with the pieces before it ({unit_name(names[:k])})"
        return message, _inside(cuts, piece)
    try:
        seam = seam_along(seams, shared)
    except BrokenSeam:
        message = "it meets the pieces before it along several separate lines"
        return message, _inside(cuts, piece)
    ends = seam.ends
    if seam.kind != "straight" or ends is None:
        if seam.pivots:
            return "its seam bends here", seams.points[seam.pivots[0]]
        middle = seams.edges[seam.sides[len(seam.sides) // 2].edge]
        return "its seam is curved", paths.point_at(middle.segment, 0.5)
    # How far each piece of the block reaches over the seam's line; which of the two sides is the
    # piece's own is where more of it lies.
    left, right = cuts.beyond(seams.points[ends[0]], seams.points[ends[1]])
    if min(left[piece], right[piece]) > cuts.off_line:
        return "it lies on both sides of its seam's line", _inside(cuts, piece)
    over = left if left[piece] > right[piece] else right
    reaching = np.flatnonzero(over[list(unit[:k])] > cuts.off_line)
    if not len(reaching):
        return None
    message = f"piece {names[reaching[0]]!r} reaches over the line of its seam"
    return message, _inside(cuts, unit[reaching[0]])


def _inside(cuts: StraightCuts, piece: int) -> Point:
    """A point inside a piece."""
    return inner_point(ring_polygon(cuts.rings[piece]))


def _shared_edges(seams: Seams, place: Mapping[int, int], piece: int) -> list[int]:
    """The edges that a piece of a section has in common with those before it.

    Args:
        place: in the order of the section, of each of its pieces.
    """
    found = []
    for side in seams.sides[piece]:
        other = seams.edges[side.edge].across(piece)
        if other is not None and place.get(other, len(place)) < place[piece]:
            found.append(side.edge)
    return found


def _sewn_lines(seams: Seams, unit: Sequence[int]) -> Iterator[Line]:
    """The line of each step of a section."""
    place = {p: k for k, p in enumerate(unit)}
    for piece in unit[1:]:
        seam = seam_along(seams, _shared_edges(seams, place, piece))
        assert seam.ends is not None, "a straight seam has two ends"
        yield Line(seams.points[seam.ends[0]], seams.points[seam.ends[1]])


# --- the order of joining ----------------------------------------------------------------------


def _contracted_joins(
    block: Block, units: Sequence[Sequence[int]], names: Sequence[str]
) -> Joins | None:
    """The block's own joins as joins of its sections; None if it has none, or they do not suit."""
    if block.joins is None:
        return None
    ids = [p.id for p in block.pieces]
    return _contracted(block.joins, {ids[p]: n for n, u in enumerate(units) for p in u}, names)


def _order_of_sections(
    coarse: Seams,
    names: Sequence[str],
    given: Joins | None,
    pairs: Sequence[tuple[int, int]] | None,
    pointer: str,
) -> Order:
    """The order of joining: the one given where it suits, else that with the fewest levels.

    Args:
        given: joins of the sections by their names.
        pairs: that with the fewest levels, if it is known already.
        pointer: to the sections in the request.

    Raises:
        BlockError: the sections cannot be joined with straight seams alone.
    """
    if given is not None:
        # Legal joins of pieces may make joins of sections that are not, or that bend.
        try:
            order = order_from(coarse, names, given)
        except BlockError:
            order = None
        if order is not None and all(j.seam.kind == "straight" for j in order.joins):
            return order
    try:
        pairs = _straight_joins(coarse) if pairs is None else pairs
    except NotStraight as stuck:
        raise BlockError(_sections_not_straight(coarse, names, stuck.unit, pointer)) from None
    return order_from(coarse, names, _joined_pairs(names, pairs))


def _contracted(joins: Joins, section_of: Mapping[str, int], names: Sequence[str]) -> Joins | None:
    """The joins of pieces as joins of sections; None if a section is no unit of them.

    >>> _contracted((("a", "b"), "c"), {"a": 0, "b": 0, "c": 1}, ["A", "B"])
    ('A', 'B')
    >>> _contracted((("a", "c"), "b"), {"a": 0, "b": 0, "c": 1}, ["A", "B"]) is None
    True
    """
    # A stack of our own, as joins may nest deeper than calls. None says that the two units before
    # are made, and are to be put together.
    sizes = Counter(section_of.values())
    # Each unit made so far: as joins of sections, or as a part of one section and its size.
    made: list[tuple[Joins | int, int]] = []
    stack: list[Joins | None] = [joins]
    while stack:
        unit = stack.pop()
        if isinstance(unit, str):
            made.append((section_of[unit], 1))
        elif unit is not None:
            stack += [None, unit[1], unit[0]]
            continue
        else:
            (second, more), (first, some) = made.pop(), made.pop()
            if isinstance(first, int) and first == second:
                made.append((first, some + more))
            elif isinstance(first, int) or isinstance(second, int):
                return None  # a part of one section is joined to something else
            else:
                made.append(((first, second), 0))
        last, size = made[-1]
        if isinstance(last, int) and size == sizes[last]:
            made[-1] = names[last], 0
    whole = made[-1][0]
    return None if isinstance(whole, int) else whole


def _sections_not_straight(
    coarse: Seams, names: Sequence[str], stuck: int, pointer: str
) -> list[Fault]:
    """Every seam between given sections that is not straight."""
    order = work_out_order(coarse, names).order
    spans = Spans(order)
    faults = []
    for join in order.joins:
        if join.seam.kind != "straight":
            first, second = (
                "+".join(names[s] for s in spans.pieces(unit)[:6])
                for unit in (join.first, join.second)
            )
            at = coarse.points[coarse.start(join.seam.sides[0])]
            if join.seam.pivots:
                at = coarse.points[join.seam.pivots[0]]
            message = (
                f"the seam between sections {first} and {second} is not straight; "
                "divide the pieces so that sections are joined by straight seams alone"
            )
            faults.append(Fault(pointer, "sections-not-straight", message, at))
    if not faults:
        shown = "+".join([names[s] for s in pieces_of(stuck)][:6])
        message = f"no straight seam divides the sections {shown}"
        faults.append(Fault(pointer, "sections-not-straight", message))
    return faults


def _sewn_edges(coarse: Seams, order: Order, section: int) -> Iterator[SeamEdge]:
    """Where a section is sewn to others."""
    for side in coarse.sides[section]:
        step = order.sewn_by[side.edge]
        if step is not None:
            line = coarse.segment(side)
            yield SeamEdge(Line(line.start, line.end), step)


# --- marks -------------------------------------------------------------------------------------


def _seam_marks(
    seams: Seams, coarse: Seams, units: Sequence[Sequence[int]], allowance: Allowance
) -> list[list[SeamMark]]:
    """For each section the marks on its seams: where seams of pieces meet them, else halfway."""
    section_of = {p: n for n, unit in enumerate(units) for p in unit}
    # Where the seam of two sections goes on and a seam of pieces meets it.
    meeting: dict[frozenset[int], list[Point]] = {}
    for point, runs in enumerate(seams.around):
        corners = [c for run in runs for c in run]
        sections = frozenset(section_of[c.piece] for c in corners)
        if len(corners) > 2 and len(sections) == 2 and all(seams.closes(run) for run in runs):
            meeting.setdefault(sections, []).append(seams.points[point])
    marks: list[list[SeamMark]] = [[] for _ in coarse.sides]
    number = 0
    for edge in coarse.edges:
        if edge.left is None:
            continue
        # One pair of sections may share several edges; a mark belongs to that on which it lies.
        spots = []
        for p in meeting.get(frozenset((edge.left, edge.right)), ()):
            t, gap = paths.nearest(edge.segment, p)
            if gap < _ON_SEAM and 0 < t < 1 and p not in (edge.segment.start, edge.segment.end):
                spots.append((t, p))
        if not spots:
            spots = [(0.5, between(edge.segment.start, edge.segment.end, 0.5))]
        out = outward(paths.tangent(edge.segment, 0.5))
        for _, p in sorted(spots):
            number += 1
            marks[edge.right].append(SeamMark(number, p, out, allowance.seam))
            marks[edge.left].append(SeamMark(number, p, (-out[0], -out[1]), allowance.seam))
    return marks


# --- fabric ------------------------------------------------------------------------------------


def _spares(seams: Seams, units: Sequence[Sequence[int]], allowance: Allowance) -> dict[int, float]:
    """For each piece what its rectangle has to spare: the paper's allowance beside it at least."""
    spares = {}
    for unit in units:
        own = set(unit)
        for piece in unit:
            widest = SPARE
            for side in seams.sides[piece]:
                other = seams.edges[side.edge].across(piece)
                if other is None:
                    widest = max(widest, allowance.edge)
                elif other not in own:
                    widest = max(widest, allowance.seam)
            spares[piece] = widest
    return spares


def _rectangle(ring: Sequence[Point], grain: float | None, spare: float) -> tuple[float, float]:
    """Width and height of the least rectangle along the grain that covers a patch with its spare.

    Without a grain it lies along one of the patch's sides.

    >>> _rectangle([(0, 0), (3, 0), (3, 2), (0, 2)], 90.0, 0.25)
    (3.75, 2.75)
    """
    # Of all rectangles round a convex shape the least has a side along one of the shape's.
    ways = [grain]
    if grain is None:
        ways = [angle(minus(q, p)) for p, q in itertools.pairwise([*ring, ring[0]]) if p != q]
    sizes = []
    for way in ways:
        assert way is not None
        # Of the two sides of the rectangle, the one that lies more across the block.
        turn = math.radians((way + 45.0) % 90.0 - 45.0)
        cos, sin = math.cos(turn), math.sin(turn)
        along = [cos * x + sin * y for x, y in ring]
        across = [cos * y - sin * x for x, y in ring]
        more = 2 * (spare + EASE)
        sizes.append((max(along) - min(along) + more, max(across) - min(across) + more))
    # Rounded, so that rectangles of one area are ranked by their width on any machine.
    return min(sizes, key=lambda size: (round(size[0] * size[1], 6), size))


def _needs(patches: Sequence[Patch]) -> tuple[FabricNeed, ...]:
    """The rectangles summed by fabric, in the order in which fabrics first appear."""
    by_fabric: dict[str | None, list[tuple[float, float]]] = {}
    for patch in patches:
        size = max(patch.width, patch.height), min(patch.width, patch.height)
        by_fabric.setdefault(patch.fabric, []).append(size)
    needs = []
    for fabric, sizes in by_fabric.items():
        counts: list[tuple[float, float, int]] = []
        for size in sorted(sizes, reverse=True):
            if counts and math.dist(counts[-1][:2], size) < _SAME_SIZE:
                counts[-1] = (*counts[-1][:2], counts[-1][2] + 1)
            else:
                counts.append((*size, 1))
        area = sum(width * height for width, height in sizes)
        needs.append(FabricNeed(fabric, tuple(counts), area))
    return tuple(needs)
