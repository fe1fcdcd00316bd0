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
from dataclasses import replace
from typing import Any, Final, TypeAlias

from piecewright.patchwork.block.grid_cells import Cell, Inner, faults_of_cells, turned_size
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
from piecewright.patchwork.faults import BlockError, Fault, escaped
from piecewright.patchwork.geometry.vectors import TOLERANCE
from piecewright.patchwork.lengths import LengthError, Unit, parse_length

Spec: TypeAlias = Mapping[str, Any]

Named: TypeAlias = Callable[[str, str], Block]
"""The block with an id; it raises ``BlockError``, with the pointer that it is given, for none."""

DEEPEST: Final = 3
"""Grids within each other. A quilt of blocks of units is two; names of pieces grow with each."""

_PLAIN: Final = 1.0
"""Inches; the side of a cell of a grid that has plain patches alone and no lengths."""


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
        self._designs: dict[str, Inner] = {}
        self._catalogue: dict[str, Inner] = {}

    def add_designs(self, designs: Mapping[str, Any], pointer: str) -> None:
        """Read the blocks that cells may name. They cannot name each other."""
        read = {id: self.inner(one, f"{pointer}/{escaped(id)}") for id, one in designs.items()}
        self._designs = read

    def inner(self, given: Any, pointer: str) -> Inner:
        """What fills a cell."""
        if isinstance(given, str):
            return self._by_id(given, pointer)
        if "fabric" in given:
            fabric = given["fabric"]
            plain = Block("", self._unit, (Piece("", (), fabric),))
            here = f"{pointer}/fabric"
            return Inner(plain, wanted=() if fabric is None else ((here, fabric),))
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
            return Inner(None, error.faults, drawn_extent(spec))
        if block.apart:
            message = "a block whose sections lie apart can be no part of another; join them first"
            fault = Fault(f"{pointer}/apart", "apart", message)
            return Inner(None, (fault,), extent(block.pieces))
        fabrics = block.fabrics[: len(given.get("fabrics", ()))]
        return Inner(replace(block, fabrics=fabrics), (), extent(block.pieces), wanted)

    def _by_id(self, id: str, pointer: str) -> Inner:
        if id in self._designs:
            return self._designs[id]
        if id not in self._catalogue:
            try:
                block = self._named(id, pointer)
            except BlockError as error:
                return Inner(None, error.faults)
            self._catalogue[id] = Inner(block, box=extent(block.pieces))
        return self._catalogue[id]


def _fabrics_of_the_grid(given: Spec, pointer: str) -> Iterator[tuple[str, str]]:
    """The fabrics that a block in a cell is cut from and leaves to the grid to say."""
    own = {fabric["id"] for fabric in given.get("fabrics", ())}
    for name in ("pieces", "fills"):
        for i, one in enumerate(given.get(name, ())):
            fabric = one.get("fabric")
            if fabric is not None and fabric not in own:
                yield f"{pointer}/{name}/{i}/fabric", fabric


def _recoloured(inner: Inner, given: Spec, pointer: str) -> Inner:
    """A block of which some fabrics are others, as ``fabrics`` of its description says."""
    if inner.block is None:
        return inner
    others: Mapping[str, str] = given.get("fabrics", {})
    block = inner.block
    own = {f.id: f for f in block.fabrics}
    known = {*own, *(p.fabric for p in block.pieces if p.fabric is not None)}
    faults = tuple(
        unknown_fabric(f"{pointer}/fabrics/{escaped(id)}", id, known)
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
        (f"{pointer}/fabrics/{escaped(id)}", other)
        for id, other in others.items()
        if other not in own
    )
    return replace(inner, block=replace(block, pieces=pieces, fabrics=fabrics), wanted=wanted)


# --- the grid ----------------------------------------------------------------------------------


def _grid(spec: Spec, named: Named, pointer: str, depth: int) -> Inner:
    """A grid of blocks, as what fills a cell of another one, or by itself."""
    here = f"{pointer}/grid"
    grid: Spec = spec["grid"]
    if depth > DEEPEST:
        message = f"grids may lie {DEEPEST} deep in each other; this one lies deeper"
        return Inner(None, (Fault(here, "too-deep", message),))
    unit: Unit = spec.get("unit", "in")
    faults = [*_uneven(grid, here)]
    lengths = {name: _lengths(grid, name, unit, here, faults) for name in ("rows", "columns")}
    if faults:
        return Inner(None, tuple(faults))
    reader = _Reader(unit, named, depth)
    reader.add_designs(grid.get("designs", {}), f"{here}/designs")
    faults += _unused(grid, here)
    cells = _cells(grid, reader, here, lengths)
    faults += faults_of_cells(cells, unit)
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
        return Inner(None, tuple(faults), box)
    pieces, where, units = _put_together(cells)
    try:
        block = checked_block(
            {"name": spec.get("name"), "unit": unit}, pieces, where, fabrics, faults, pointer
        )
    except BlockError as error:
        return Inner(None, error.faults, box)
    built = BlockUnit("", tuple(p.id for p in pieces), 0, joins, None, units)
    return Inner(replace(block, built=built), (), extent(block.pieces), wanted)


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
            yield Fault(f"{pointer}/designs/{escaped(id)}", "unused-design", message)


def _cells(
    grid: Spec, reader: _Reader, pointer: str, lengths: Mapping[str, list[float] | None]
) -> list[Cell]:
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
        turned_size(one.box, turns[r][c])
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
        Cell(
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


def _fabrics(
    spec: Spec, cells: Sequence[Cell], pointer: str, faults: list[Fault]
) -> tuple[tuple[Fabric, ...], tuple[tuple[str, str], ...]]:
    """The fabrics of all blocks by id, and those that none of them brings along.

    What the grid's own description says of a fabric holds for all cells.
    """
    own = fabrics_of(spec, pointer, faults)
    known = {fabric.id: fabric for fabric in own}
    said = set(known)
    first: dict[str, Cell] = {}
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
    spec: Spec, cells: Sequence[Cell], pointer: str, faults: list[Fault]
) -> Joins | None:
    """The order in which the blocks are joined, by the names of their cells, as it is given."""
    before = len(faults)
    patches = [Piece(cell.name, cell.outline) for cell in cells]
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
    cells: Sequence[Cell],
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
