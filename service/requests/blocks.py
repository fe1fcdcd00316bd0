"""From the block of a request that its schema has checked to the block at its finished size."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.grid import block_from_grid
from piecewright.patchwork.block.model import Block, extent, finished
from piecewright.patchwork.block.read import FARTHEST, block_from_drawing, block_from_pieces
from piecewright.patchwork.faults import BlockError, Fault, escaped
from piecewright.patchwork.lengths import Unit, parse_length
from piecewright.service.requests.fields import suggestion
from piecewright.service.settings import Settings

_Spec: TypeAlias = Mapping[str, Any]


def block_as_drawn(given: str | _Spec, unit: Unit, settings: Settings) -> Block:
    """The block of a request: of the catalogue, of pieces, of a drawing, or of blocks.

    Args:
        unit: of its lengths, if it names none.

    Raises:
        BlockError: with every fault found.
    """
    if isinstance(given, str):
        block = _from_catalogue(given, "/block")
    else:
        spec = {**given, "unit": given.get("unit", unit)}
        # Before anything is reckoned with them: these limits are what bounds the time it takes.
        _check_points(spec, settings.max_points)
        if "grid" in spec:
            block = block_from_grid(spec, _from_catalogue)
        else:
            _check_count(len(spec.get("pieces", ())), settings.max_pieces)
            block = block_from_pieces(spec) if "pieces" in spec else block_from_drawing(spec)
    # How many pieces lines make of a frame, and how far a curve reaches, is known only now.
    _check_count(len(block.pieces), settings.max_pieces)
    if max(map(abs, extent(block.pieces))) > FARTHEST:
        raise BlockError([_far("/block")])
    return block


def _from_catalogue(name: str, pointer: str) -> Block:
    id = catalogue.id_of(name)
    if id is None:
        hint = suggestion(name.lower(), [entry.id for entry in catalogue.entries()])
        message = f"the catalogue has no block {name!r}{hint or '; GET /v1/blocks lists them'}"
        raise BlockError([Fault(pointer, "unknown-block", message)])
    return catalogue.load(id)


def _check_count(pieces: int, most: int) -> None:
    if pieces > most:
        message = f"a block has at most {most} pieces here, this one has {pieces}"
        raise BlockError([Fault("/block", "too-many-pieces", message)])


def _check_points(spec: _Spec, most: int) -> None:
    """Raises ``BlockError`` for lists with too many points, and for points that are far out."""
    faults: list[Fault] = []
    for pointer, points, unit in _point_lists(spec, "/block"):
        if len(points) > most:
            message = f"{len(points)} points; at most {most} are read here"
            faults.append(Fault(pointer, "too-many-points", message))
        elif any(abs(parse_length(c, unit)) > FARTHEST for p in points for c in p):
            faults.append(_far(pointer))
    if faults:
        raise BlockError(faults)


def _point_lists(spec: _Spec, pointer: str) -> Iterator[tuple[str, Sequence[Sequence[Any]], Unit]]:
    """All lists of points of a block and the blocks in it, with pointers, in their units."""
    unit: Unit = spec["unit"]
    for i, line in enumerate(spec.get("lines", ())):
        yield f"{pointer}/lines/{i}", line, unit
    yield f"{pointer}/frame", spec.get("frame", ()), unit
    for i, piece in enumerate(spec.get("pieces", ())):
        yield f"{pointer}/pieces/{i}/outline", piece.get("outline", ()), unit
    for i, fill in enumerate(spec.get("fills", ())):
        yield f"{pointer}/fills/{i}/at", [fill["at"]], unit
    if "grid" not in spec:
        return
    here, grid = f"{pointer}/grid", spec["grid"]
    inner = {f"{here}/designs/{escaped(id)}": d for id, d in grid.get("designs", {}).items()}
    for r, row in enumerate(grid["blocks"]):
        inner.update((f"{here}/blocks/{r}/{c}", cell) for c, cell in enumerate(row))
    for place, cell in inner.items():
        given = cell
        if isinstance(given, dict) and "block" in given:
            place, given = f"{place}/block", given["block"]
        if isinstance(given, dict) and "fabric" not in given:
            yield from _point_lists({**given, "unit": given.get("unit", unit)}, place)


def _far(pointer: str) -> Fault:
    return Fault(pointer, "range", f"a point is more than {FARTHEST:,.0f} in from the origin")


def block_as_finished(block: Block, given: _Spec | float | str | None, unit: Unit) -> Block:
    """The block at the finished size that a request asks for; as drawn if it asks for none.

    Args:
        given: a length alone is a width.

    Raises:
        BlockError: it asks for none that the block can have.
    """
    if given is None:
        # A scale of 1 changes nothing, but holds the block to the same limits of size.
        return finished(block, scale=1.0, pointer="/block")
    if not isinstance(given, Mapping):
        given = {"width": given}
    width, height = (
        parse_length(given[name], unit) if name in given else None for name in ("width", "height")
    )
    return finished(block, width, height, given.get("scale"))
