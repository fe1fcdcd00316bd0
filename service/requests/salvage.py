"""What can be read of a block that its schema refuses, so that its pieces can be shown."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from marshmallow import ValidationError

from piecewright.patchwork.block.model import FaultyBlock, Piece
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.lengths import Unit
from piecewright.service.requests.block_schemas import BlockAsDrawing, BlockAsPieces
from piecewright.service.requests.blocks import block_as_drawn
from piecewright.service.requests.fields import ListOf
from piecewright.service.settings import Settings


def pieces_in_spite(given: Any, unit: Unit, settings: Settings) -> tuple[Piece, ...]:
    """The pieces of a block of which some fields, or some items of its lists, are wrong.

    Args:
        given: the block of a request.
        unit: of its lengths, if it names none.
    """
    if not isinstance(given, dict):
        return ()
    schema = BlockAsPieces() if "pieces" in given else BlockAsDrawing()
    sound: dict[str, Any] = {}
    for name, field in schema.fields.items():
        if name in given:
            with suppress(ValidationError):
                sound[name] = _sound(field, given[name])
    if not all(name in sound for name, field in schema.fields.items() if field.required):
        return ()
    try:
        return block_as_drawn(sound, unit, settings).pieces
    except FaultyBlock as error:
        return error.pieces
    except BlockError:
        return ()


def _sound(field: Any, value: Any) -> Any:
    """The value of a field; of a list the items that are good.

    Raises:
        ValidationError: none of it is.
    """
    if not isinstance(field, ListOf) or not isinstance(value, list):
        return field.deserialize(value)
    items = []
    for item in value[: field.most]:
        with suppress(ValidationError):
            items.append(field.inner.deserialize(item))
    return field.deserialize(items)
