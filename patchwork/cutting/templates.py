"""Cutting templates: one for each shape of a block, with what to cut from it.

Pieces of the same shape, turned or flipped over, share a template (``cutting.template_sharing``).
On it are match points and notches: a match point is where three or more pieces meet, or two pieces
and the outside, on a piece's finished outline; curved seams get notches at even divisions besides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.grain import bias_edges, grain_lines, outside_grains
from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import PIVOT, Seams, planar_map, straightened
from piecewright.patchwork.block.wording import letters
from piecewright.patchwork.cautions import found_cautions
from piecewright.patchwork.cutting.template_sharing import Grain, Shared, shared_templates
from piecewright.patchwork.cutting.tips import ends_of_others
from piecewright.patchwork.faults import Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.congruence import Isometry, Shape
from piecewright.patchwork.geometry.paths import Curve, Outline
from piecewright.patchwork.geometry.vectors import Point, Vector, distance, outward
from piecewright.patchwork.outlines.cut_outlines import Corners, cut_outlines
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.stops import stop_points

NOTCH_SPACING = 2.0
"""Inches at most between two notches along a curved seam; there is one at least on each."""

_ONE_MARK = 0.01
"""Inches within which marks of congruent pieces are one mark of their template."""

_STRIDES = 64
"""Into how many parts each curve is divided to measure along it: to some ten thousandths of its
length, which is far finer than a notch is drawn."""


@dataclass(frozen=True, slots=True)
class Notch:
    """A mark across the allowance of a curved seam.

    Attributes:
        at: the point on the finished edge.
        out: the direction of length one from there to the raw edge.
        away: the allowance there, inches.
    """

    at: Point
    out: Vector
    away: float


@dataclass(frozen=True, slots=True)
class CutPiece:
    """A piece with its cut outline, in block coordinates.

    Attributes:
        template: the id of the template that it is cut from.
        reversed: whether the template is laid on the cloth face down for it.
        stop_points: the match points at which a seam along the piece stops.
    """

    id: str
    template: str
    reversed: bool
    finished: Outline
    cut: Outline
    match_points: tuple[Point, ...]
    stop_points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class FabricCount:
    """How many pieces of a fabric are cut with a template face up and face down."""

    fabric: str | None
    plain: int
    reversed: int


@dataclass(frozen=True, slots=True)
class Template:
    """A template, face up, at its own place: its cut outline touches both axes from the right.

    Attributes:
        pieces: the ids of the pieces that it is for.
        grain: degrees, or None.
        bias_edges: edge numbers (see ``patchwork.block.grain.bias_edges``).
        stop_points: those match points at which a seam stops along any of the pieces.
        centre_marks: where another piece's raw edge ends beside a tip that stands out beyond it
            (see ``patchwork.cutting.tips``).
    """

    id: str
    pieces: tuple[str, ...]
    finished: Outline
    cut: Outline
    grain: float | None
    bias_edges: tuple[int, ...]
    cuts: tuple[FabricCount, ...]
    match_points: tuple[Point, ...]
    stop_points: tuple[Point, ...]
    notches: tuple[Notch, ...]
    centre_marks: tuple[Notch, ...]


@dataclass(frozen=True, slots=True)
class TemplateSet:
    """All that is cut for one block at its finished size."""

    block: Block
    allowance: Allowance
    corners: Corners
    pieces: tuple[CutPiece, ...]
    templates: tuple[Template, ...]
    cautions: tuple[Fault, ...]


def template_set(
    block: Block,
    allowance: Allowance,
    corners: Corners = "matched",
    pieces_pointer: str | None = "/block/pieces",
) -> TemplateSet:
    """The templates of a block at finished size, in the order in which their shapes first appear.

    Args:
        pieces_pointer: as for ``patchwork.cautions.cautions``.

    Raises:
        BlockError: the joins given are not legal, or none can be worked out.
    """
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    cut = cut_outlines(seams, order, allowance, corners)
    shapes = [
        Shape(straightened(piece.outline), outline)
        for piece, outline in zip(block.pieces, cut.outlines, strict=True)
    ]
    found = shared_templates(shapes, _grains(block, seams))
    match_points = _match_points(seams, order)
    stopping = stop_points(seams, order)
    notches = _notches(seams, allowance)
    centre_marks: list[list[Notch]] = [[] for _ in block.pieces]
    for piece, at, out in ends_of_others(seams, order, cut.mismatches):
        centre_marks[piece].append(Notch(at, out, allowance.seam))
    # For each piece the letter of its template, and whether that is laid face down for it.
    laid = {
        i: (letters(n), one.reversed(isometry))
        for n, one in enumerate(found)
        for i, isometry in zip(one.members, one.isometries, strict=True)
    }
    pieces = tuple(
        CutPiece(
            piece.id,
            *laid[i],
            shape.finished,
            shape.cut,
            tuple(seams.points[p] for p in marks),
            tuple(seams.points[p] for p in marks if p in stops),
        )
        for i, (piece, shape, marks, stops) in enumerate(
            zip(block.pieces, shapes, match_points, stopping, strict=True)
        )
    )
    templates = tuple(
        _template(block, letters(n), one, shapes[one.shape], pieces, notches, centre_marks)
        for n, one in enumerate(found)
    )
    cautions = found_cautions(block, seams, order, allowance, cut.mismatches, pieces_pointer)
    return TemplateSet(block, allowance, corners, pieces, templates, cautions)


def _grains(block: Block, seams: Seams) -> list[Grain]:
    """How the grain of each piece may run."""
    return [
        Grain(own, outside_grains(seams, i))
        if piece.grain == "auto"
        else Grain(own, one_way=own is not None)
        for i, (piece, own) in enumerate(
            zip(block.pieces, grain_lines(seams, block.pieces), strict=True)
        )
    ]


def _template(
    block: Block,
    name: str,
    shared: Shared,
    shape: Shape,
    pieces: Sequence[CutPiece],
    notches: Sequence[Sequence[Notch]],
    centre_marks: Sequence[Sequence[Notch]],
) -> Template:
    """A template, whose pieces are laid onto ``shape``."""
    ring = Isometry(shared.face_down, 0.0, (0.0, 0.0)).points(paths.ring(shape.cut))
    corner = (-min(x for x, _ in ring), -min(y for _, y in ring))
    home = Isometry(shared.face_down, 0.0, corner)
    counts: dict[str | None, list[int]] = {}
    marks: list[Point] = []
    stops: list[Point] = []
    ticks: list[Notch] = []
    ends: list[Notch] = []
    for i, laid in zip(shared.members, shared.isometries, strict=True):
        counts.setdefault(block.pieces[i].fabric, [0, 0])[pieces[i].reversed] += 1
        # Like pieces may meet their neighbours at different points: the template has them all.
        for own_points, on_template in (
            (pieces[i].match_points, marks),
            (pieces[i].stop_points, stops),
        ):
            for p in own_points:
                at = home.point(laid.point(p))
                if all(distance(at, q) > _ONE_MARK for q in on_template):
                    on_template.append(at)
        for own, found in ((notches[i], ticks), (centre_marks[i], ends)):
            for notch in own:
                at = home.point(laid.point(notch.at))
                if all(distance(at, other.at) > _ONE_MARK for other in found):
                    found.append(Notch(at, _turned(home, _turned(laid, notch.out)), notch.away))
    finished = home.outline(shape.finished)
    grain = None if shared.grain is None else home.grain(shared.grain)
    return Template(
        name,
        tuple(block.pieces[i].id for i in shared.members),
        finished,
        home.outline(shape.cut),
        grain,
        bias_edges(finished, grain),
        tuple(FabricCount(fabric, *count) for fabric, count in counts.items()),
        tuple(marks),
        tuple(stops),
        tuple(ticks),
        tuple(ends),
    )


def _turned(isometry: Isometry, direction: Vector) -> Vector:
    """A direction where the isometry takes it: it is turned and flipped, and not moved."""
    return Isometry(isometry.flipped, isometry.turned, (0.0, 0.0)).point(direction)


def _match_points(seams: Seams, order: Order) -> list[list[int]]:
    """For each piece the points to match: where three pieces meet, or two and the outside.

    The pivots of set-in seams are marked besides, as raw edges do not help there.
    """
    pivots = {p for join in order.joins for p in join.seam.pivots}
    marked: list[list[int]] = [[] for _ in seams.sides]
    for point, runs in enumerate(seams.around):
        corners = [c for run in runs for c in run]
        open_to_outside = any(not seams.closes(run) for run in runs)
        if len(corners) >= 3 or (len(corners) == 2 and open_to_outside) or point in pivots:
            for corner in corners:
                marked[corner.piece].append(point)
    return marked


def _notches(seams: Seams, allowance: Allowance) -> list[list[Notch]]:
    """For each piece the notches on its curved seams, the same for both pieces of a seam."""
    notches: list[list[Notch]] = [[] for _ in seams.sides]
    for piece, sides in enumerate(seams.sides):
        for run in _curved_runs(seams, piece):
            other = seams.edges[sides[run[0]].edge].across(piece)
            if other is None or other < piece:
                continue  # no seam, or one that the other piece has its notches from
            segments = [seams.segment(sides[k]) for k in run]
            for at, direction in _even_divisions(segments):
                out = outward(direction)
                back = (-out[0], -out[1])
                notches[piece].append(Notch(at, out, allowance.seam))
                notches[other].append(Notch(at, back, allowance.seam))
    return notches


def _curved_runs(seams: Seams, piece: int) -> list[list[int]]:
    """Runs of a piece's curved sides that go on smoothly beside one and the same neighbour."""
    sides = seams.sides[piece]

    def goes_on(k: int) -> bool:
        """Whether side k goes on smoothly from the side before it."""
        before, after = seams.edges[sides[k - 1].edge], seams.edges[sides[k].edge]
        return (
            isinstance(before.segment, Curve)
            and isinstance(after.segment, Curve)
            and {before.left, before.right} == {after.left, after.right}
            and abs(_turn_at(seams, piece, k)) <= PIVOT
        )

    starts = [
        k
        for k, side in enumerate(sides)
        if isinstance(seams.edges[side.edge].segment, Curve) and not goes_on(k)
    ]
    # A run that goes all the way round a piece has no start, and gets no notch.
    runs = []
    for start in starts:
        run = [start]
        while len(run) < len(sides) and goes_on((run[-1] + 1) % len(sides)):
            run.append((run[-1] + 1) % len(sides))
        runs.append(run)
    return runs


def _turn_at(seams: Seams, piece: int, k: int) -> float:
    """Degrees that a piece's outline turns at the start of its side ``k``."""
    point = seams.start(seams.sides[piece][k])
    return next(
        c.turns for run in seams.around[point] for c in run if c.piece == piece and c.side == k
    )


def _even_divisions(segments: Sequence[paths.Segment]) -> list[tuple[Point, Vector]]:
    """Points that divide a run of segments evenly, with the direction of travel there."""
    # By the length of fine chords: along a Bézier the parameter runs at no even speed.
    stations: list[tuple[float, paths.Segment, float]] = []  # (inches gone, segment, parameter)
    gone = 0.0
    for segment in segments:
        before = segment.start
        for j in range(_STRIDES + 1):
            at = paths.point_at(segment, j / _STRIDES)
            gone += distance(before, at)
            before = at
            stations.append((gone, segment, j / _STRIDES))
    count = max(2, math.ceil(gone / NOTCH_SPACING))
    found = []
    for k in range(1, count):
        want = gone * k / count
        i = next(i for i, station in enumerate(stations) if station[0] >= want)
        (low, _, _), (high, segment, t) = stations[i - 1], stations[i]
        t -= (high - want) / max(high - low, 1e-12) / _STRIDES  # back by its share of the chord
        found.append((paths.point_at(segment, t), paths.tangent(segment, t)))
    return found
