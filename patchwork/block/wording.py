"""Words for a block as a whole: its size, the width of its seams, letters to name its parts."""

from __future__ import annotations

from collections.abc import Sequence

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, extent
from piecewright.patchwork.lengths import Unit, spoken


def letters(number: int) -> str:
    """The name of a template, a section, a row …: A, B, … Z, AA, AB, … for 0, 1, 2, …

    Bijective base 26, as spreadsheets name their columns.

    >>> letters(0), letters(25), letters(26), letters(701), letters(702)
    ('A', 'Z', 'AA', 'ZZ', 'AAA')
    """
    name = ""
    number += 1  # there is no letter for zero, so digits run from 1 to 26
    while number:
        number, letter = divmod(number - 1, 26)
        name = chr(ord("A") + letter) + name
    return name


def counted(count: int, thing: str) -> str:
    """So many of a thing whose plural is made with an s.

    >>> counted(1, "step"), counted(2, "seam intersection")
    ('1 step', '2 seam intersections')
    """
    return f"{count:,} {thing}{'' if count == 1 else 's'}"


def unit_name(ids: Sequence[str], most: int = 6) -> str:
    """A unit as messages name it, by its first pieces.

    >>> unit_name(["a"]), unit_name(["a", "b", "c"], 2)
    ('piece a', 'unit a+b+…')
    """
    shown = "+".join(ids[:most])
    return f"unit {shown}{'+…' if len(ids) > most else ''}" if len(ids) > 1 else f"piece {shown}"


def width_by_height(width: float, height: float, unit: Unit) -> str:
    """A size in inches as people write it, its unit once.

    >>> width_by_height(6.5, 3.5, "in")
    '6 1/2 × 3 1/2 in'
    """
    across, down = spoken(width, unit), spoken(height, unit)
    return f"{across.rsplit(' ', 1)[0]} × {down}"


def block_size(block: Block) -> str:
    """A block's width and height, in its unit."""
    left, top, right, bottom = extent(block.pieces)
    return width_by_height(right - left, bottom - top, block.unit)


def allowance_words(allowance: Allowance, unit: Unit) -> str:
    """The seam allowance, and that of the edge where it differs.

    >>> allowance_words(Allowance(0.25, 0.5), "in")
    'Seam allowance 1/4 in, 1/2 in at the edge of the block'
    """
    message = f"Seam allowance {spoken(allowance.seam, unit)}"
    if allowance.edge != allowance.seam:
        message += f", {spoken(allowance.edge, unit)} at the edge of the block"
    return message
