"""A block made of blocks: a grid whose cells are filled by blocks, in whatever form they are given.

A cell is the id of a block, a block with a description of its own (of pieces, a drawing, or a grid
again), or a plain patch of one fabric.  A block is scaled to its cell, and may be flipped over and
turned before that.  Cells are named ``b1``, ``b2``, … in reading order; a piece ``a`` of the block
in the second cell is ``b2.a``, and a plain patch has its cell's name.  Each cell stays a unit of
the order of sewing (``model.BlockUnit``).

Faults of a block in a cell point into its description; their places are those on the whole block.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

import shapely

from piecewright.patchwork.block.joins import order_from, renamed
from piecewright.patchwork.block.model import (
    MOST_PIECES,
    Block,
    BlockUnit,
    Fabric,
    Joins,
    Piece,
    Section,
    extent,
)
from piecewright.patchwork.block.read import (
    block_from_drawing,
    block_from_pieces,
    checked_block,
    drawn_extent,
    fabrics_of,
    joins_of,
    unknown_fabric,
)
from piecewright.patchwork.block.seams import knit, planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline
from piecewright.patchwork.geometry.polygons import polygon_of, polygons
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.lengths import LengthError, Unit, parse_length, spoken

Spec: TypeAlias = Mapping[str, Any]

Box: TypeAlias = tuple[float, float, float, float]
"""Left, top, right and bottom, inches."""

Named: TypeAlias = Callable[[str, str], Block]
"""The block with an id; it raises ``BlockError``, with the pointer that it is given, for none."""

DEEPEST: Final = 3
"""Grids within each other. A quilt of blocks of units is two; names of pieces grow with each."""

_PLAIN: Final = 1.0
"""Inches; the side of a cell of a grid that has plain patches alone and no lengths."""


@dataclass(frozen=True, slots=True)
class _Inner:
    """What fills a cell, as it was read.

    Attributes:
        block: None where it has faults.
        faults: their places are those on the block as it is drawn itself.
        box: its extent as drawn; None where it cannot be told, and for a plain patch, which
            fills any cell.
        wanted: fabrics that it is cut from and does not bring along, with the pointers to them.
    """

    block: Block | None
    faults: tuple[Fault, ...] = ()
    box: Box | None = None
    wanted: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Cell:
    """A cell, and how the block in it lies.

    Attributes:
        number: from 1, in reading order.
        pointer: to what fills it.
        box: its place on the whole block.
        turn: degrees, clockwise as seen; ``mirrored`` before it is turned.
    """

    number: int
    row: int
    column: int
    pointer: str
    inner: _Inner
    box: Box
    turn: int
    mirrored: bool

    @property
    def name(self) -> str:
        return f"b{self.number}"

    @property
    def words(self) -> str:
        return f"row {self.row + 1}, column {self.column + 1}"

    @property
    def middle(self) -> Point:
        left, top, right, bottom = self.box
        return ((left + right) / 2, (top + bottom) / 2)

    @property
    def drawn(self) -> tuple[float, float]:
        """Width and height of its block as drawn, once it is turned."""
        assert self.inner.box is not None
        return _turned_size(self.inner.box, self.turn)

    def at(self, p: Point) -> Point:
        """Where a point of its block lies on the whole block."""
        assert self.inner.box is not None
        left, top, right, bottom = self.inner.box
        wide, high = right - left, bottom - top
        x, y = p[0] - left, p[1] - top
        if self.mirrored:
            x = wide - x
        turned = {
            0: (x, y),
            90: (high - y, x),
            180: (wide - x, high - y),
            270: (y, wide - x),
        }[self.turn]
        across, down = self.drawn
        x0, y0, x1, y1 = self.box
        return (x0 + turned[0] * (x1 - x0) / across, y0 + turned[1] * (y1 - y0) / down)

    def placed(self, piece: Piece) -> Piece:
        """A piece of its block at its place on the whole block, under its name there."""
        if self.inner.box is None:
            left, top, right, bottom = self.box
            corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
            return Piece(self.name, paths.polygon(corners), piece.fabric)
        outline: Outline = tuple(_mapped(segment, self.at) for segment in piece.outline)
        grain = piece.grain
        if not isinstance(grain, str):
            grain = ((-grain if self.mirrored else grain) + self.turn) % 180.0
        return Piece(
            f"{self.name}.{piece.id}",
            paths.reverse_outline(outline) if self.mirrored else outline,
            piece.fabric,
            grain,
        )


def block_from_grid(spec: Spec, named: Named, pointer: str = "/block") -> Block:
    """A block given as a grid of blocks.

    Args:
        spec: as the schema of a request has it; lengths are in its own unit, and in that too
            where a block in a cell names none.
        named: gives the blocks of the catalogue.

    Raises:
        BlockError: with every fault found; pointers start with ``pointer``.

    >>> grid = {"blocks": [[{"fabric": "sky"}, {"fabric": "sky"}]]}
    >>> block = block_from_grid(
    ...     {"grid": grid, "fabrics": [{"id": "sky"}]}, lambda id, pointer: Block(id, "in", ())
    ... )
    >>> [piece.id for piece in block.pieces]
    ['b1', 'b2']
    """
    read = _grid(spec, named, pointer, 1)
    faults = [*read.faults]
    known = {fabric.id for fabric in (read.block.fabrics if read.block else ())}
    if read.block is not None:
        faults += [unknown_fabric(here, id, known) for here, id in read.wanted]
    if read.block is None or faults:
        raise BlockError(faults)
    return read.block


# --- what fills the cells ----------------------------------------------------------------------


class _Reader:
    """Reads what fills the cells of one grid, each design once."""

    def __init__(self, unit: Unit, named: Named, depth: int) -> None:
        self._unit, self._named, self._depth = unit, named, depth
        self._designs: dict[str, _Inner] = {}
        self._catalogue: dict[str, _Inner] = {}

    def add_designs(self, designs: Mapping[str, Any], pointer: str) -> None:
        """Read the blocks that cells may name. They cannot name each other."""
        read = {id: self.inner(one, f"{pointer}/{_escaped(id)}") for id, one in designs.items()}
        self._designs = read

    def inner(self, given: Any, pointer: str) -> _Inner:
        """What fills a cell."""
        if isinstance(given, str):
            return self._by_id(given, pointer)
        if "fabric" in given:
            fabric = given["fabric"]
            plain = Block("", self._unit, (Piece("", (), fabric),))
            here = f"{pointer}/fabric"
            return _Inner(plain, wanted=() if fabric is None else ((here, fabric),))
        if "block" in given:
            return _recoloured(self.inner(given["block"], f"{pointer}/block"), given, pointer)
        spec = {**given, "unit": given.get("unit", self._unit)}
        if "grid" in given:
            return _grid(spec, self._named, pointer, self._depth + 1)
        wanted = tuple(_fabrics_of_the_grid(given, pointer))
        spec["fabrics"] = [
            *given.get("fabrics", ()),
            *({"id": id} for id in dict.fromkeys(id for _, id in wanted)),
        ]
        try:
            form = block_from_pieces if "pieces" in given else block_from_drawing
            block = form(spec, pointer)
        except BlockError as error:
            return _Inner(None, error.faults, drawn_extent(spec))
        fabrics = block.fabrics[: len(given.get("fabrics", ()))]
        return _Inner(replace(block, fabrics=fabrics), (), extent(block.pieces), wanted)

    def _by_id(self, id: str, pointer: str) -> _Inner:
        if id in self._designs:
            return self._designs[id]
        if id not in self._catalogue:
            try:
                block = self._named(id, pointer)
            except BlockError as error:
                return _Inner(None, error.faults)
            self._catalogue[id] = _Inner(block, box=extent(block.pieces))
        return self._catalogue[id]


def _fabrics_of_the_grid(given: Spec, pointer: str) -> Iterator[tuple[str, str]]:
    """The fabrics that a block in a cell is cut from and leaves to the grid to say."""
    own = {fabric["id"] for fabric in given.get("fabrics", ())}
    for name in ("pieces", "fills"):
        for i, one in enumerate(given.get(name, ())):
            fabric = one.get("fabric")
            if fabric is not None and fabric not in own:
                yield f"{pointer}/{name}/{i}/fabric", fabric


def _recoloured(inner: _Inner, given: Spec, pointer: str) -> _Inner:
    """A block of which some fabrics are others, as ``fabrics`` of its description says."""
    if inner.block is None:
        return inner
    others: Mapping[str, str] = given.get("fabrics", {})
    block = inner.block
    own = {f.id: f for f in block.fabrics}
    known = {*own, *(p.fabric for p in block.pieces if p.fabric is not None)}
    faults = tuple(
        unknown_fabric(f"{pointer}/fabrics/{_escaped(id)}", id, known)
        for id in others
        if id not in known
    )
    if faults:
        return replace(inner, block=None, faults=faults)
    pieces = tuple(replace(p, fabric=others.get(p.fabric or "", p.fabric)) for p in block.pieces)
    # Of two fabrics that are exchanged both are its own; all others are the grid's to know.
    used = {p.fabric for p in pieces}
    fabrics = tuple(fabric for id, fabric in own.items() if id in used)
    wanted = tuple(one for one in inner.wanted if one[1] not in others)
    wanted += tuple(
        (f"{pointer}/fabrics/{_escaped(id)}", other)
        for id, other in others.items()
        if other not in own
    )
    return replace(inner, block=replace(block, pieces=pieces, fabrics=fabrics), wanted=wanted)


# --- the grid ----------------------------------------------------------------------------------


def _grid(spec: Spec, named: Named, pointer: str, depth: int) -> _Inner:
    """A grid of blocks, as what fills a cell of another one, or by itself."""
    here = f"{pointer}/grid"
    grid: Spec = spec["grid"]
    if depth > DEEPEST:
        message = f"grids may lie {DEEPEST} deep in each other; this one lies deeper"
        return _Inner(None, (Fault(here, "too-deep", message),))
    unit: Unit = spec.get("unit", "in")
    faults = [*_uneven(grid, here)]
    lengths = {name: _lengths(grid, name, unit, here, faults) for name in ("rows", "columns")}
    if faults:
        return _Inner(None, tuple(faults))
    reader = _Reader(unit, named, depth)
    reader.add_designs(grid.get("designs", {}), f"{here}/designs")
    faults += _unused(grid, here)
    cells = _cells(grid, reader, here, lengths)
    faults += _faults_of_cells(cells)
    fabrics, wanted = _fabrics(spec, cells, pointer, faults)
    joins = None
    if spec.get("joins") is not None:
        joins = _joins_of_cells(spec, cells, f"{pointer}/joins", faults)
    count = sum(len(cell.inner.block.pieces) for cell in cells if cell.inner.block)
    if count > MOST_PIECES:
        message = f"a block has at most {MOST_PIECES} pieces, the blocks of this one have {count}"
        faults.append(Fault(here, "too-many-pieces", message))
    box = (0.0, 0.0, *cells[-1].box[2:])
    if faults:
        return _Inner(None, tuple(faults), box)
    pieces, where, units = _put_together(cells)
    try:
        block = checked_block(
            {"name": spec.get("name"), "unit": unit}, pieces, where, fabrics, faults, pointer
        )
    except BlockError as error:
        return _Inner(None, error.faults, box)
    built = BlockUnit("", tuple(p.id for p in pieces), 0, joins, None, units)
    return _Inner(replace(block, built=built), (), extent(block.pieces), wanted)


def _uneven(grid: Spec, pointer: str) -> Iterator[Fault]:
    """Rows that are missing or too many, or of another length than the first."""
    blocks = grid["blocks"]
    down, across = len(blocks), len(blocks[0])
    for name, have in (("rows", down), ("columns", across)):
        given = grid.get(name, have)
        asked = len(given) if isinstance(given, list) else given
        if asked != have:
            message = f"{name} says {asked}, and there are {have} {name} of blocks"
            yield Fault(f"{pointer}/{name}", "grid-layout", message)
    for name in ("blocks", "turns", "mirrored"):
        rows = grid.get(name, blocks)
        if len(rows) != down:
            message = f"there are {down} rows of blocks, and {len(rows)} here"
            yield Fault(f"{pointer}/{name}", "grid-layout", message)
        for r, row in enumerate(rows):
            if len(row) != across:
                message = f"the first row has {across} blocks, and this one has {len(row)}"
                yield Fault(f"{pointer}/{name}/{r}", "grid-layout", message)


def _lengths(
    grid: Spec, name: str, unit: Unit, pointer: str, faults: list[Fault]
) -> list[float] | None:
    """The widths of columns or the heights of rows that are given, inches; None for a count."""
    given = grid.get(name)
    if not isinstance(given, list):
        return None
    lengths = []
    for i, one in enumerate(given):
        try:
            lengths.append(parse_length(one, unit))
        except LengthError as error:
            faults.append(Fault(f"{pointer}/{name}/{i}", "length", str(error)))
            continue
        if lengths[-1] <= TOLERANCE:
            message = "rows and columns of a grid must be more than zero"
            faults.append(Fault(f"{pointer}/{name}/{i}", "length", message))
    return lengths


def _unused(grid: Spec, pointer: str) -> Iterator[Fault]:
    """Designs that no cell names."""
    used = {
        cell["block"] if isinstance(cell, dict) and "block" in cell else cell
        for row in grid["blocks"]
        for cell in row
        if isinstance(cell, str) or isinstance(cell.get("block"), str)
    }
    for id in grid.get("designs", {}):
        if id not in used:
            message = "no cell names this design; put it into 'blocks' or take it out"
            yield Fault(f"{pointer}/designs/{_escaped(id)}", "unused-design", message)


def _cells(
    grid: Spec, reader: _Reader, pointer: str, lengths: Mapping[str, list[float] | None]
) -> list[_Cell]:
    """The cells in reading order."""
    blocks: Sequence[Sequence[Any]] = grid["blocks"]
    turns = grid.get("turns") or [[0] * len(row) for row in blocks]
    mirrored = grid.get("mirrored") or [[False] * len(row) for row in blocks]
    inner = [
        [reader.inner(one, f"{pointer}/blocks/{r}/{c}") for c, one in enumerate(row)]
        for r, row in enumerate(blocks)
    ]
    # Without lengths all cells are as large as the largest block is drawn.
    sizes = [
        _turned_size(one.box, turns[r][c])
        for r, row in enumerate(inner)
        for c, one in enumerate(row)
        if one.box is not None
    ]
    widths = lengths["columns"] or [max((w for w, _ in sizes), default=_PLAIN)] * len(blocks[0])
    heights = lengths["rows"] or [max((h for _, h in sizes), default=_PLAIN)] * len(blocks)
    # Summed up once, so that neighbours have the same corners to the last digit.
    x = [sum(widths[:c]) for c in range(len(widths) + 1)]
    y = [sum(heights[:r]) for r in range(len(heights) + 1)]
    return [
        _Cell(
            r * len(row) + c + 1,
            r,
            c,
            f"{pointer}/blocks/{r}/{c}",
            one,
            (x[c], y[r], x[c + 1], y[r + 1]),
            turns[r][c],
            mirrored[r][c],
        )
        for r, row in enumerate(inner)
        for c, one in enumerate(row)
    ]


def _turned_size(box: Box, turn: int) -> tuple[float, float]:
    """Width and height of what has an extent, once it is turned."""
    left, top, right, bottom = box
    wide, high = right - left, bottom - top
    return (high, wide) if turn % 180 else (wide, high)


# --- faults of cells ---------------------------------------------------------------------------


def _faults_of_cells(cells: Sequence[_Cell]) -> list[Fault]:
    """What is wrong with the blocks, and with how they fit their cells."""
    # A design with faults is told of once, at the first of its cells.
    found: dict[tuple[str, str, str], Fault] = {}
    for cell in cells:
        for fault in cell.inner.faults:
            key = (fault.pointer, fault.code, fault.detail)
            at = cell.middle
            if fault.at is not None and cell.inner.box is not None and min(cell.drawn) > 0:
                at = cell.at(fault.at)
            found.setdefault(key, replace(fault, at=at))
    misfits = [_misfit(cell) for cell in cells]
    return [*found.values(), *(one for one in misfits if one is not None)]


def _misfit(cell: _Cell) -> Fault | None:
    """The fault of a block that does not fill its cell when it is scaled to it."""
    if cell.inner.block is None or cell.inner.box is None:
        return None
    block = cell.inner.block
    wide, high = cell.drawn
    left, top, right, bottom = cell.box
    across, down = right - left, bottom - top
    if abs(wide * down / high - across) > TOLERANCE:
        size, room = (
            f"{spoken(w, block.unit)} by {spoken(h, block.unit)}"
            for w, h in ((wide, high), (across, down))
        )
        message = (
            f"{block.name!r} is {size} as it lies here, and its cell ({cell.words}) is {room}, of "
            "other proportions; give 'rows' and 'columns' as lengths that suit it, or turn it"
        )
        return Fault(cell.pointer, "cell-proportions", message, cell.middle)
    share = sum(paths.area(p.outline) for p in block.pieces) / (wide * high)
    if (1 - share) * across * down > TOLERANCE * (across + down):
        whole = shapely.union_all([polygon_of(p.outline) for p in block.pieces])
        bare = overlaid(shapely.difference, shapely.box(*cell.inner.box), whole)
        dot = max(polygons(bare), key=lambda p: p.area).representative_point()
        message = (
            f"{block.name!r} is no rectangle and leaves a part of its cell ({cell.words}) bare; "
            "add pieces that make it one"
        )
        return Fault(cell.pointer, "cell-not-filled", message, cell.at((dot.x, dot.y)))
    return None


def _fabrics(
    spec: Spec, cells: Sequence[_Cell], pointer: str, faults: list[Fault]
) -> tuple[tuple[Fabric, ...], tuple[tuple[str, str], ...]]:
    """The fabrics of all blocks by id, and those that none of them brings along.

    What the grid's own description says of a fabric holds for all cells.
    """
    own = fabrics_of(spec, pointer, faults)
    known = {fabric.id: fabric for fabric in own}
    said = set(known)
    first: dict[str, _Cell] = {}
    told: set[tuple[str, str]] = set()
    for cell in cells:
        for fabric in cell.inner.block.fabrics if cell.inner.block else ():
            if fabric.id in said:
                continue
            before = known.setdefault(fabric.id, fabric)
            other = first.setdefault(fabric.id, cell)
            colours = (before.colour.lower(), fabric.colour.lower())
            if colours[0] != colours[1] and (fabric.id, colours[1]) not in told:
                told.add((fabric.id, colours[1]))
                message = (
                    f"fabric {fabric.id!r} is {colours[1]} here ({cell.words}) and {colours[0]} in "
                    f"{other.words}; say in the block's own 'fabrics' which it is, or name another "
                    "fabric for one of them: {'block': …, 'fabrics': {…}}"
                )
                faults.append(Fault(cell.pointer, "fabric-clash", message, cell.middle))
    wanted = dict.fromkeys(one for cell in cells for one in cell.inner.wanted)
    missing = tuple((here, id) for here, id in wanted if id not in known)
    return tuple(known.values()), missing


def _joins_of_cells(
    spec: Spec, cells: Sequence[_Cell], pointer: str, faults: list[Fault]
) -> Joins | None:
    """The order in which the blocks are joined, by the names of their cells, as it is given."""
    before = len(faults)
    patches = []
    for cell in cells:
        left, top, right, bottom = cell.box
        corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
        patches.append(Piece(cell.name, paths.polygon(corners)))
    joins = joins_of(spec["joins"], patches, pointer, faults)
    if len(faults) > before:
        return None
    try:
        seams = planar_map(knit([p.outline for p in patches]))
        order_from(seams, [p.id for p in patches], joins, pointer)
    except BlockError as error:
        faults += error.faults
        return None
    return joins


# --- all together ------------------------------------------------------------------------------


def _put_together(
    cells: Sequence[_Cell],
) -> tuple[list[Piece], list[str], tuple[BlockUnit, ...]]:
    """The pieces of all cells, the pointer of each, and the units that they make up."""
    pieces: list[Piece] = []
    where: list[str] = []
    units: list[BlockUnit] = []
    designs: dict[object, int] = {}
    for cell in cells:
        block = cell.inner.block
        assert block is not None
        placed = [cell.placed(piece) for piece in block.pieces]
        left, top, right, bottom = cell.box
        size = tuple(sorted((round(right - left, 4), round(bottom - top, 4))))
        # Fabrics are not regarded: what is sewn alike is one design.
        key = (
            size,
            tuple(piece.outline for piece in block.pieces),
            block.joins,
            block.sections,
            block.built,
        )
        design = designs.setdefault(key, len(designs))
        ids = tuple(piece.id for piece in placed)
        if block.built is not None:
            unit = replace(_named(block.built, cell.name), design=design, pointer=cell.pointer)
        else:
            joins, sections = _named_parts(block.joins, block.sections, cell.name)
            unit = BlockUnit(cell.name, ids, design, joins, sections, (), cell.pointer)
        pieces += placed
        where += [cell.pointer] * len(placed)
        units.append(unit)
    return pieces, where, tuple(units)


def _named(unit: BlockUnit, prefix: str) -> BlockUnit:
    """A unit with all names in it after that of the cell that it lies in."""
    joins, sections = _named_parts(unit.joins, unit.sections, prefix)
    return BlockUnit(
        f"{prefix}.{unit.name}" if unit.name else prefix,
        tuple(f"{prefix}.{id}" for id in unit.pieces),
        unit.design,
        joins,
        sections,
        tuple(_named(one, prefix) for one in unit.units),
        unit.pointer,
    )


def _named_parts(
    joins: Joins | None, sections: tuple[Section, ...] | None, prefix: str
) -> tuple[Joins | None, tuple[Section, ...] | None]:
    if sections is not None:
        sections = tuple(
            Section(f"{prefix}.{s.id}", tuple(f"{prefix}.{id}" for id in s.order)) for s in sections
        )
    return joins and renamed(joins, lambda id: f"{prefix}.{id}"), sections


def _mapped(segment: paths.Segment, at: Callable[[Point], Point]) -> paths.Segment:
    if isinstance(segment, Line):
        return Line(at(segment.start), at(segment.end))
    return paths.Curve(at(segment.start), at(segment.handle1), at(segment.handle2), at(segment.end))


def _escaped(name: str) -> str:
    """A name as a part of a JSON pointer (RFC 6901)."""
    return name.replace("~", "~0").replace("/", "~1")
