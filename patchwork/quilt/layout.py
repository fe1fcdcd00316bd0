"""How the blocks of a group quilt lie: which design in each place, and how it is turned.

Rows go from the top down and columns from the left to the right, both counted from 0 here; for
people, rows have letters and columns numbers from 1.  The quilt plane is that of a block: inches,
x to the right, y down, seen from the right side, from the quilt's top left corner.
A block is turned clockwise as seen, once it is finished; its maker need not know.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from piecewright.patchwork.block.wording import letters
from piecewright.patchwork.faults import BlockError, Fault

Turn: TypeAlias = Literal[0, 90, 180, 270]
"""Degrees, clockwise as seen."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What lies in one place: the id of a design, and how its block is turned."""

    design: str
    turn: Turn = 0


@dataclass(frozen=True, slots=True)
class GroupQuilt:
    """The blocks of a quilt, set edge to edge; ``cells`` holds its rows."""

    rows: int
    columns: int
    cells: tuple[tuple[Cell, ...], ...]


def quilt_of(
    blocks: Sequence[Sequence[str]],
    turns: Sequence[Sequence[int]] | None = None,
    rows: int | None = None,
    columns: int | None = None,
) -> GroupQuilt:
    """The quilt with these designs, row by row.

    Args:
        turns: degrees, clockwise as seen, for each place; nothing is turned without them.
        rows, columns: how many there should be; counted where they are not given.

    Raises:
        BlockError: a row is missing or of another length, or a turn is no quarter turn.
    """
    down = len(blocks) if rows is None else rows
    across = (len(blocks[0]) if blocks else 0) if columns is None else columns
    faults = [] if blocks else [Fault("/quilt/blocks", "quilt-layout", "give at least one row")]
    faults += _uneven("blocks", [len(row) for row in blocks], down, across)
    if turns is not None:
        faults += _uneven("turns", [len(row) for row in turns], down, across)
        message = "a block is turned by 0, 90, 180 or 270 degrees"
        faults += [
            Fault(f"/quilt/turns/{r}/{c}", "quarter-turn", message)
            for r, row in enumerate(turns)
            for c, turn in enumerate(row)
            if _quarter(turn) is None
        ]
    if faults:
        raise BlockError(faults)
    cells = tuple(
        tuple(
            Cell(design, (_quarter(turns[r][c]) or 0) if turns is not None else 0)
            for c, design in enumerate(row)
        )
        for r, row in enumerate(blocks)
    )
    return GroupQuilt(down, across, cells)


def _uneven(name: str, lengths: Sequence[int], down: int, across: int) -> list[Fault]:
    faults = []
    if len(lengths) != down:
        message = f"the quilt has {down} rows of blocks, and {len(lengths)} are given here"
        faults.append(Fault(f"/quilt/{name}", "quilt-layout", message))
    for r, length in enumerate(lengths):
        if length != across or not length:
            message = f"a row of this quilt has {across} places, and {length} are given here"
            faults.append(Fault(f"/quilt/{name}/{r}", "quilt-layout", message))
    return faults


def _quarter(turn: int) -> Turn | None:
    known: tuple[Turn, ...] = (0, 90, 180, 270)
    return next((one for one in known if one == turn), None)


def place_name(row: int, column: int) -> str:
    """``B3`` for the third block of the second row.

    >>> place_name(1, 2)
    'B3'
    """
    return f"{letters(row)}{column + 1}"
