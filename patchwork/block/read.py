"""From a block's description to a ``Block``.

The description is plain data whose types a schema has checked; here it gets its meaning.  It has
one of two forms: pieces with outlines or SVG path data, or a drawing, a frame that lines cut into
pieces; ``block.grid`` puts blocks together.  A block is valid if every outline is simple and has an
area, pieces neither overlap nor leave a hole or a crack between them (beyond the tolerance), and
ids are unique.  Every fault is reported, not only the first, each with a JSON pointer to what is
wrong and the place on the block.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.fills import Fill, filled
from piecewright.patchwork.block.joins import order_from
from piecewright.patchwork.block.linework import cut_into_pieces, named_in_order
from piecewright.patchwork.block.model import (
    MOST_PIECES,
    MOST_POINTS,
    Block,
    Fabric,
    FaultyBlock,
    Grain,
    Joins,
    Piece,
    Section,
)
from piecewright.patchwork.block.seams import knit, planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths, svg_path
from piecewright.patchwork.geometry.paths import Curve, Outline
from piecewright.patchwork.geometry.polygons import point_inside, polygon_of, polygons
from piecewright.patchwork.geometry.robust_overlay import made_valid, overlaid
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.lengths import PER_INCH, LengthError, Unit, parse_length

Spec = Mapping[str, Any]

FARTHEST = 1e4
"""Inches; no point of a block's curves lies farther out.

Twenty-five times the largest block, and near enough that sums of squares keep their digits.
"""

MOST_OVERLAPS = 2_000
"""Pairs of pieces that overlap and are listed; 2,000 pieces in a heap would make two million."""

MOST_CURVE_STEPS = 5_000
"""Of one outline: the chords that stand for its curves. A circle 40 in wide takes some 500."""

NARROWEST_GAP = 1 / 16
"""Inches; an opening between two pieces that is narrower is a gap, not a shape of the block."""


def block_from_pieces(spec: Spec, pointer: str = "/block") -> Block:
    """A block given as pieces with outlines or path data.

    Args:
        spec: as the schema of a request has it; lengths are in its own unit.

    Raises:
        BlockError: with every fault found; pointers start with ``pointer``.

    >>> square = {"id": "a", "outline": [[0, 0], [2, 0], [2, 2], [0, 2]]}
    >>> [piece.id for piece in block_from_pieces({"pieces": [square]}).pieces]
    ['a']
    """
    unit: Unit = spec.get("unit", "in")
    faults: list[Fault] = []
    given: Sequence[Spec] = spec["pieces"]
    if not 1 <= len(given) <= MOST_PIECES:
        message = f"a block has 1 to {MOST_PIECES} pieces, this one has {len(given)}"
        raise BlockError([Fault(f"{pointer}/pieces", "too-many-pieces", message)])
    fabrics = fabrics_of(spec, pointer, faults)
    outlines = [_outline(one, unit, f"{pointer}/pieces/{i}", faults) for i, one in enumerate(given)]
    pieces = [
        Piece(one["id"], outline, one.get("fabric"), _grain(one.get("grain", "auto")))
        for one, outline in zip(given, outlines, strict=True)
    ]
    _check_ids(pieces, pointer, faults)
    _check_fabrics(pieces, fabrics, pointer, faults)
    where = [f"{pointer}/pieces/{i}" for i in range(len(pieces))]
    return checked_block(spec, pieces, where, fabrics, faults, pointer)


def block_from_drawing(spec: Spec, pointer: str = "/block") -> Block:
    """A block given as a frame that lines cut into pieces, named p1, p2, … in reading order.

    Args:
        spec: as the schema of a request has it; lengths are in its own unit.

    Raises:
        BlockError: with every fault found; pointers start with ``pointer``.
    """
    unit: Unit = spec.get("unit", "in")
    faults: list[Fault] = []
    fabrics = fabrics_of(spec, pointer, faults)
    fills = _fills(spec, unit, fabrics, pointer, faults)
    faults_of_fields = len(faults)
    frame = _points(spec["frame"], unit, f"{pointer}/frame", faults)
    lines = [
        _points(line, unit, f"{pointer}/lines/{i}", faults)
        for i, line in enumerate(spec.get("lines") or ())
    ]
    # Without all points the drawing is another one, whose faults would mislead.
    if len(faults) > faults_of_fields:
        raise BlockError(faults)
    try:
        rings = cut_into_pieces(frame, lines, pointer)
    except FaultyBlock as error:
        # Where two pieces are one for want of a line, their fills are no fault.
        pieces = filled(error.pieces, fills).pieces
        raise FaultyBlock([*faults, *error.faults], pieces) from error
    except BlockError as error:
        raise BlockError([*faults, *error.faults]) from error
    if len(rings) > MOST_PIECES:
        message = (
            f"the lines cut the frame into {len(rings)} pieces; at most {MOST_PIECES} are read"
        )
        raise BlockError([*faults, Fault(f"{pointer}/lines", "too-many-pieces", message)])
    found = filled(named_in_order(rings), fills)
    faults += found.faults
    # A drawing's pieces come of its lines.
    where = [f"{pointer}/lines"] * len(found.pieces)
    block = checked_block(spec, found.pieces, where, fabrics, faults, pointer)
    return replace(block, cautions=tuple(found.cautions))


def drawn_extent(spec: Spec) -> tuple[float, float, float, float] | None:
    """``(left, top, right, bottom)`` of a block's description, inches; of what can be read of it.

    Its points may be of a block with faults. None where it has no points.
    """
    unit: Unit = spec.get("unit", "in")
    unread: list[Fault] = []
    points = _points(spec.get("frame", ()), unit, "", unread)
    for one in spec.get("pieces", ()):
        points += paths.ring(_outline(one, unit, "", unread))
    if not points:
        return None
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def checked_block(
    spec: Spec,
    pieces: Sequence[Piece],
    where: Sequence[str],
    fabrics: tuple[Fabric, ...],
    faults: list[Fault],
    pointer: str,
) -> Block:
    """What all forms have in common: check the shapes, knit them, read joins and sections.

    Args:
        where: for each piece the pointer to it in the request.
        faults: those found so far; more are added.

    Raises:
        BlockError: with every fault found.
    """
    # First each outline by itself, as drawn. Then all of them knitted: putting points together
    # may close what is narrower than the tolerance. Shapes that are not sound are left out of the
    # comparison with others, as it is not known what they cover.
    sound = _check_shapes(pieces, where, faults)
    outlines = knit([p.outline for p in pieces])
    shapes = {i: shape for i in sound if (shape := polygon_of(outlines[i])).area > 0}
    for i in sound:
        if i not in shapes:
            message = f"piece {pieces[i].id!r} is narrower than {TOLERANCE} in and has no area"
            faults.append(Fault(where[i], "no-area", message, _place(pieces[i])))
        elif (at := _touches_itself(outlines[i], where[i])) is not None:
            message = f"the outline of piece {pieces[i].id!r} touches itself here"
            faults.append(Fault(where[i], "self-crossing", message, at))
            del shapes[i]  # as for one that is not sound: what it covers is not known
    overlapping = _check_overlaps(shapes, [p.id for p in pieces], where, faults)
    # With a piece missing there would be gaps that are none of the author's; with more overlaps
    # than are listed the block is no block yet.
    apart = bool(spec.get("apart"))
    if len(shapes) == len(pieces) and overlapping <= MOST_OVERLAPS and not apart:
        _check_gaps(list(shapes.values()), [p.id for p in pieces], where, faults)
    joins = None
    if spec.get("joins") is not None:
        joins = joins_of(spec["joins"], pieces, f"{pointer}/joins", faults)
    sections = _sections(spec, pieces, pointer, faults)
    if apart and not faults:
        _check_apart(spec, sections, pieces, shapes, where, pointer, faults)
    knitted = [replace(p, outline=o) for p, o in zip(pieces, outlines, strict=True)]
    if faults:
        raise FaultyBlock(faults, [knitted[i] for i in shapes])
    # Whether joins are legal can be asked of a sound block only.
    if joins is not None:
        order_from(planar_map(outlines), [p.id for p in pieces], joins, f"{pointer}/joins")
    return Block(
        spec.get("name") or "Untitled block",
        spec.get("unit", "in"),
        tuple(knitted),
        fabrics,
        joins,
        sections,
        apart=apart,
    )


# --- fields --------------------------------------------------------------------------------


def fabrics_of(spec: Spec, pointer: str, faults: list[Fault]) -> tuple[Fabric, ...]:
    """The fabrics; a name is the id where none is given, and the colour a light grey."""
    fabrics = tuple(
        Fabric(f["id"], f.get("name") or f["id"], f.get("colour") or "#cccccc")
        for f in spec.get("fabrics") or ()
    )
    counts = Counter(f.id for f in fabrics)
    for i, fabric in enumerate(fabrics):
        if counts[fabric.id] > 1:
            message = f"two fabrics have the id {fabric.id!r}; give each its own"
            faults.append(Fault(f"{pointer}/fabrics/{i}/id", "duplicate-id", message))
    return fabrics


def _grain(value: Any) -> Grain:
    return value if isinstance(value, str) else float(value) % 180.0  # type: ignore[return-value]


def _points(
    given: Sequence[Sequence[Any]], unit: Unit, pointer: str, faults: list[Fault]
) -> list[Point]:
    """Points in inches; those that cannot be read are faults, and left out."""
    points: list[Point] = []
    for i, (x, y) in enumerate(given):
        try:
            points.append((parse_length(x, unit), parse_length(y, unit)))
        except LengthError as error:
            faults.append(Fault(f"{pointer}/{i}", "length", str(error)))
    if len(given) > MOST_POINTS:
        message = f"{len(given)} points; at most {MOST_POINTS} are read"
        faults.append(Fault(pointer, "too-many-points", message))
    return points


def _outline(one: Spec, unit: Unit, pointer: str, faults: list[Fault]) -> Outline:
    """A piece's outline in inches, clockwise; empty where it cannot be read, or has no corners."""
    if "outline" in one:
        points = _points(one["outline"], unit, f"{pointer}/outline", faults)
        if len(points) < len(one["outline"]):
            return ()  # without a corner it is another shape, whose faults would mislead
        distinct = [p for p, q in zip(points, [*points[-1:], *points[:-1]], strict=True) if p != q]
        return paths.clockwise(paths.polygon(distinct)) if len(distinct) > 2 else ()
    try:
        outline = svg_path.parse(one["path"])
    except svg_path.PathDataError as error:
        faults.append(Fault(f"{pointer}/path", "path", f"{error}"))
        return ()
    if len(outline) > MOST_POINTS:
        message = f"{len(outline)} segments; at most {MOST_POINTS} are read"
        faults.append(Fault(f"{pointer}/path", "too-many-points", message))
        return ()
    per_inch = float(PER_INCH[unit])
    outline = tuple(paths.stretched(s, 1 / per_inch, 1 / per_inch) for s in outline)
    if not all(
        math.isfinite(c) and abs(c) < FARTHEST for s in outline for p in _controls(s) for c in p
    ):
        faults.append(Fault(f"{pointer}/path", "path", "a coordinate is not a usable number"))
        return ()
    # All later work on curves grows with the chords that stand for them.
    chords = sum(paths.steps(s) for s in outline if isinstance(s, Curve))
    if chords > MOST_CURVE_STEPS:
        message = "the curves are too large or too wild to follow; draw the block at about its size"
        faults.append(Fault(f"{pointer}/path", "too-many-points", message))
        return ()
    return paths.clockwise(_halved_loops(outline))


def _controls(segment: paths.Segment) -> tuple[Point, ...]:
    """All points that a segment is given by."""
    if isinstance(segment, Curve):
        return (segment.start, segment.handle1, segment.handle2, segment.end)
    return (segment.start, segment.end)


def _halved_loops(outline: Outline) -> Outline:
    """The outline with curves that end where they start cut in two, so that no edge is a loop."""
    halved: list[paths.Segment] = []
    for segment in outline:
        if isinstance(segment, Curve) and math.dist(segment.start, segment.end) <= TOLERANCE:
            halved.extend(paths.split(segment, 0.5))
        else:
            halved.append(segment)
    return tuple(halved)


def _check_ids(pieces: Sequence[Piece], pointer: str, faults: list[Fault]) -> None:
    counts = Counter(p.id for p in pieces)
    for i, piece in enumerate(pieces):
        if counts[piece.id] > 1:
            message = f"{counts[piece.id]} pieces have the id {piece.id!r}; give each its own"
            faults.append(Fault(f"{pointer}/pieces/{i}/id", "duplicate-id", message, _place(piece)))


def unknown_fabric(pointer: str, fabric: str, known: set[str]) -> Fault:
    names = ", ".join(sorted(known)[:8]) or "none"
    message = f"there is no fabric {fabric!r}; the block's fabrics are: {names}"
    return Fault(pointer, "unknown-fabric", message)


def _fills(
    spec: Spec, unit: Unit, fabrics: Sequence[Fabric], pointer: str, faults: list[Fault]
) -> list[Fill]:
    """The fills of a drawing; those without a place that can be read are faults, and left out."""
    known = {f.id for f in fabrics}
    fills: list[Fill] = []
    for i, fill in enumerate(spec.get("fills") or ()):
        here = f"{pointer}/fills/{i}"
        if fill["fabric"] not in known:
            faults.append(unknown_fabric(f"{here}/fabric", fill["fabric"], known))
        fills += [
            Fill(here, at, fill["fabric"])
            for at in _points([fill["at"]], unit, f"{here}/at", faults)
        ]
    return fills


def _check_fabrics(
    pieces: Sequence[Piece], fabrics: Sequence[Fabric], pointer: str, faults: list[Fault]
) -> None:
    known = {f.id for f in fabrics}
    for i, piece in enumerate(pieces):
        if piece.fabric is not None and piece.fabric not in known:
            faults.append(unknown_fabric(f"{pointer}/pieces/{i}/fabric", piece.fabric, known))


def _place(piece: Piece) -> Point | None:
    """Where a piece is, for a fault that is not of one place of it."""
    return piece.outline[0].start if piece.outline else None


def joins_of(given: Any, pieces: Sequence[Piece], pointer: str, faults: list[Fault]) -> Joins:
    """The nested pairs as tuples; every piece must be named exactly once."""
    known = {p.id for p in pieces}
    named: Counter[str] = Counter()
    # An explicit stack: a chain of 2,000 joins nests deeper than Python's calls may.
    made: list[Joins] = []
    stack: list[tuple[Any, str, bool]] = [(given, pointer, False)]
    while stack:
        value, here, ready = stack.pop()
        if ready:
            second, first = made.pop(), made.pop()
            made.append((first, second))
        elif isinstance(value, str):
            named[value] += 1
            if value not in known:
                message = f"there is no piece {value!r}"
                faults.append(Fault(here, "unknown-piece", message))
            made.append(value)
        else:
            first, second = value
            stack += [
                (value, here, True),
                (second, f"{here}/1", False),
                (first, f"{here}/0", False),
            ]
    for piece in pieces:
        if named[piece.id] != 1:
            times = "never" if not named[piece.id] else f"{named[piece.id]} times"
            message = f"piece {piece.id!r} is joined {times}; name every piece exactly once"
            faults.append(Fault(pointer, "joins-incomplete", message, _place(piece)))
    return made[0]


def _sections(
    spec: Spec, pieces: Sequence[Piece], pointer: str, faults: list[Fault]
) -> tuple[Section, ...] | None:
    if spec.get("sections") is None:
        return None
    sections = tuple(Section(s["id"], tuple(s["order"])) for s in spec["sections"])
    known = {p.id for p in pieces}
    counts = Counter(name for s in sections for name in s.order)
    ids = Counter(s.id for s in sections)
    for i, section in enumerate(sections):
        here = f"{pointer}/sections/{i}"
        if ids[section.id] > 1:
            message = f"two sections have the id {section.id!r}; give each its own"
            faults.append(Fault(f"{here}/id", "duplicate-id", message))
        for k, name in enumerate(section.order):
            if name not in known:
                faults.append(
                    Fault(f"{here}/order/{k}", "unknown-piece", f"there is no piece {name!r}")
                )
    for piece in pieces:
        if counts[piece.id] != 1:
            times = "in no section" if not counts[piece.id] else f"{counts[piece.id]} times"
            message = f"piece {piece.id!r} is {times}; put every piece into exactly one section"
            faults.append(
                Fault(f"{pointer}/sections", "sections-incomplete", message, _place(piece))
            )
    return sections


# --- shapes --------------------------------------------------------------------------------


def _check_shapes(pieces: Sequence[Piece], where: Sequence[str], faults: list[Fault]) -> list[int]:
    """The numbers of the pieces whose outline is simple and has an area."""
    sound: list[int] = []
    for i, (piece, here) in enumerate(zip(pieces, where, strict=True)):
        points = paths.ring(piece.outline)
        if not points and any(f.pointer.startswith(f"{here}/") for f in faults):
            continue  # what could not be read is a fault already
        if len(points) < 3:
            message = f"piece {piece.id!r} has fewer than three corners"
            faults.append(Fault(here, "no-area", message, _place(piece)))
            continue
        shape = Polygon(points)
        if not _bodies(shape, here):
            message = f"piece {piece.id!r} has no area"
            faults.append(Fault(here, "no-area", message, _place(piece)))
        elif not shape.is_valid:
            at = _crossing(shape)
            message = f"the outline of piece {piece.id!r} crosses or touches itself here"
            faults.append(Fault(here, "self-crossing", message, at))
        else:
            sound.append(i)
    return sound


def _crossing(shape: Polygon) -> Point | None:
    """Where an invalid outline crosses itself, by GEOS's message: ``Self-intersection[x y]``."""
    reason = shapely.is_valid_reason(shape)
    try:
        x, y = reason[reason.index("[") + 1 : reason.index("]")].split()[:2]
        return (float(x), float(y))
    except ValueError:
        return None


def _touches_itself(outline: Outline, pointer: str) -> Point | None:
    """Where an outline touches itself once near points are one; None where only a hair is lost."""
    shape = Polygon(paths.ring(outline))
    if shape.is_valid:
        return None
    bodies = _bodies(shape, pointer)
    # Two bodies: it is pinched in two. A hole: it bites its own tail.
    holes = [hole for p in bodies for h in p.interiors for hole in _bodies(Polygon(h), pointer)]
    return _crossing(shape) if len(bodies) > 1 or holes else None


def _bodies(shape: Polygon, pointer: str) -> list[Polygon]:
    """The parts of a shape that are wider than the tolerance somewhere."""
    parts = polygons(made_valid(shape, pointer))
    return [p for p in parts if not p.buffer(-TOLERANCE / 2).is_empty]


def _check_overlaps(
    shapes: Mapping[int, Polygon], ids: Sequence[str], where: Sequence[str], faults: list[Fault]
) -> int:
    """How many pairs of pieces overlap, each of them a fault; it stops counting after the most."""
    if not shapes:
        return 0
    found = 0
    for i, j, overlap in _overlaps(shapes):
        if not overlap.buffer(-TOLERANCE / 2).is_empty:
            found += 1
            if found > MOST_OVERLAPS:
                message = (
                    "further pieces overlap, which are not listed; move the edges of these first"
                )
                faults.append(Fault(where[j], "overlap", message, point_inside(overlap)))
                break
            size = f"{overlap.area:.4g} square inches"
            message = f"pieces {ids[i]!r} and {ids[j]!r} overlap by {size}; move one outline's edge"
            faults.append(Fault(where[j], "overlap", message, point_inside(overlap)))
    return found


def _overlaps(shapes: Mapping[int, Polygon]) -> Iterator[tuple[int, int, BaseGeometry]]:
    """The numbers of pieces that overlap, and what both cover; hairs are left to the caller."""
    numbers, whole = list(shapes), np.array([*shapes.values()], dtype=object)
    pairs = STRtree(whole).query(whole, predicate="intersects")
    pairs = pairs[:, pairs[0] < pairs[1]]
    pairs = pairs[:, np.lexsort((pairs[1], pairs[0]))]
    # Some at a time: of pieces in a heap not all pairs are wanted.
    for few in range(0, pairs.shape[1], MOST_OVERLAPS):
        first, second = pairs[:, few : few + MOST_OVERLAPS]
        common = overlaid(shapely.intersection, whole[first], whole[second])
        for k in np.flatnonzero(shapely.area(common) > 1e-9).tolist():
            yield numbers[first[k]], numbers[second[k]], common[k]


def _check_gaps(
    shapes: Sequence[Polygon], ids: Sequence[str], where: Sequence[str], faults: list[Fault]
) -> None:
    """Holes, cracks and parts that do not hang together."""
    tree = STRtree(shapes)
    whole = overlaid(shapely.union_all, shapes)
    for hole in _gaps(whole):
        at = point_inside(hole)
        near = int(tree.nearest(hole))
        message = f"there is a gap beside piece {ids[near]!r}; pieces must meet along their edges"
        faults.append(Fault(where[near], "gap", message, at))
    # A gap may be what parts the block, and is reported already then.
    if not any(f.code == "gap" for f in faults):
        for part in sorted(polygons(whole), key=lambda p: -p.area)[1:]:
            near = int(tree.nearest(part.representative_point()))
            message = f"piece {ids[near]!r} does not share an edge with the rest of the block"
            faults.append(Fault(where[near], "apart", message, point_inside(part)))


def _check_apart(
    spec: Spec,
    sections: Sequence[Section] | None,
    pieces: Sequence[Piece],
    shapes: Mapping[int, Polygon],
    where: Sequence[str],
    pointer: str,
    faults: list[Fault],
) -> None:
    """Each section by itself, where they need not touch: that it has no gaps and hangs together."""
    if sections is None:
        message = "sections that lie apart have to be given: 'sections' says which pieces each has"
        faults.append(Fault(f"{pointer}/sections", "required", message))
        return
    if spec.get("joins") is not None:
        message = "sections that lie apart are not joined; leave 'joins' out, or 'apart'"
        faults.append(Fault(f"{pointer}/joins", "apart", message))
    number = {piece.id: i for i, piece in enumerate(pieces)}
    for section in sections:
        own = [number[id] for id in section.order]
        _check_gaps([shapes[i] for i in own], list(section.order), [where[i] for i in own], faults)


def _gaps(whole: shapely.Geometry) -> Iterator[Polygon]:
    """Holes of the block, and cracks between its pieces that are open to the outside."""
    reach = NARROWEST_GAP / 2
    filled = []
    for part in polygons(whole):
        filled.append(Polygon(part.exterior))
        for hole in part.interiors:
            if not Polygon(hole).buffer(-TOLERANCE / 2).is_empty:
                yield Polygon(hole)
    solid = overlaid(shapely.union_all, filled)
    # A morphological closing: grown and shrunk back, the block keeps its outline but for openings
    # that are narrower than twice the growth. With mitres, so that its corners come back as they
    # were; a limit of 20 serves all corners down to some 6 degrees.
    closed = solid.buffer(reach, join_style="mitre", mitre_limit=20).buffer(
        -reach, join_style="mitre", mitre_limit=20
    )
    # On a grid: nearly all edges of the two coincide but for rounding, and without one GEOS
    # may give back the whole block.
    cracks = overlaid(shapely.difference, closed, solid, grid=1e-6)
    for crack in polygons(cracks):
        if not crack.buffer(-TOLERANCE / 2).is_empty:
            yield crack
