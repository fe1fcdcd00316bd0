"""The built-in blocks: traditional patterns of the public domain, one data file each.

A file ``traditional/<id>.json`` is a block in either of the forms that a request may
give (pieces, or a drawing), with an ``id`` and a sentence ``about`` it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from piecewright.patchwork.block.model import Block, extent
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.names import bare


@dataclass(frozen=True, slots=True)
class Entry:
    """What a maker reads when choosing a block.

    Attributes:
        about: one sentence on how the block is pieced.
        width, height: the drawn size, inches.
        pieces: how many patches.
    """

    id: str
    name: str
    about: str
    width: float
    height: float
    pieces: int


@cache
def entries() -> tuple[Entry, ...]:
    """Every block of the catalogue, by id."""
    return tuple(_entry(id) for id in sorted(_files()))


def id_of(name: str) -> str | None:
    """The id of the block with this id or name, whatever its case and its spaces.

    >>> id_of("Sawtooth star"), id_of("no such block")
    ('sawtooth-star', None)
    """
    return _ids().get(bare(name))


@cache
def _ids() -> dict[str, str]:
    """The ids by bare id and by bare name."""
    return {bare(name): id for id, file in _files().items() for name in (file["name"], id)}


@cache
def load(id: str) -> Block:
    """The block with this id, at its drawn size.

    Raises:
        KeyError: the catalogue has no such block.
    """
    file = _files()[id]
    if "frame" in file:
        return block_from_drawing(file)
    return block_from_pieces(file)


def _entry(id: str) -> Entry:
    file, block = _files()[id], load(id)
    left, top, right, bottom = extent(block.pieces)
    width, height = round(right - left, 6), round(bottom - top, 6)
    return Entry(id, file["name"], file["about"], width, height, len(block.pieces))


@cache
def _files() -> dict[str, dict[str, Any]]:
    """The data files, by the block's id."""
    folder = files("piecewright.patchwork.block").joinpath("traditional")
    found = (f for f in folder.iterdir() if f.name.endswith(".json"))
    return {f.name.removesuffix(".json"): json.loads(f.read_text("utf-8")) for f in found}
