"""From a request for a group quilt to the blocks and settings that it asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

from marshmallow import ValidationError

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.faults import BlockError, Fault, escaped
from piecewright.patchwork.lengths import Unit
from piecewright.patchwork.quilt.layout import GroupQuilt, quilt_of
from piecewright.service.requests import limits
from piecewright.service.requests.parse import Refused, Request, read_packet
from piecewright.service.requests.quilt_schemas import GroupQuiltRequest
from piecewright.service.requests.schema_faults import schema_faults
from piecewright.service.settings import Settings

Pointer: TypeAlias = tuple[str, bool]


@dataclass(frozen=True, slots=True)
class QuiltAsked:
    """A quilt that several people make.

    Attributes:
        title: as sheets name the quilt.
        quilt: which block lies where, and how it is turned.
        makers: their names; none if nobody is named.
        designs: what is asked for of each block, by its id, in the order of the quilt; all of
            them share every setting.
        pointers: for each block, where the request has it, and whether its geometry is there.
    """

    title: str
    quilt: GroupQuilt
    makers: tuple[str, ...]
    designs: Mapping[str, Request]
    pointers: Mapping[str, Pointer]

    @property
    def shared(self) -> Request:
        """A request with the settings that all have."""
        return next(iter(self.designs.values()))

    @property
    def unit(self) -> Unit:
        return self.shared.unit


def read_quilt(given: Any, settings: Settings) -> QuiltAsked:
    """What a request for a group quilt asks for.

    Args:
        given: the request's JSON value.

    Raises:
        Refused: with every fault found.
    """
    try:
        spec = GroupQuiltRequest().load(given)
    except ValidationError as error:
        raise Refused(tuple(schema_faults(error.messages)), "in") from None
    layout = spec["quilt"]
    blocks = _by_id(layout["blocks"], spec.get("designs", {}))
    makers = tuple(spec.get("makers", ()))
    faults = [*_named_twice(makers), *_unused(spec.get("designs", {}), blocks)]
    quilt: GroupQuilt | None = None
    try:
        quilt = quilt_of(blocks, layout.get("turns"), layout.get("rows"), layout.get("columns"))
    except BlockError as error:
        faults += error.faults
    # The unit of the quilt is that of its blocks' settings, which is known once one has been read.
    unit: Unit = "in"
    designs: dict[str, Request] = {}
    pointers = _pointers(blocks, spec.get("designs", {}))
    for id, pointer in pointers.items():
        try:
            designs[id] = _design(id, given, settings)
            unit = designs[id].unit
            if designs[id].block.apart:
                message = (
                    "a block whose sections lie apart can be no part of a quilt; join them first"
                )
                faults.append(fault_in_quilt(Fault("/block/apart", "apart", message), pointer))
        except Refused as refused:
            unit = refused.unit
            faults += (fault_in_quilt(fault, pointer) for fault in refused.faults)
    if faults or quilt is None:
        # A wrong setting is a fault of each design; it is named once.
        raise Refused(tuple(dict.fromkeys(faults)), unit)
    title = spec.get("title", "").strip() or limits.DEFAULT_TITLE
    return QuiltAsked(title, quilt, makers, designs, pointers)


def _by_id(blocks: Sequence[Sequence[str]], designs: Mapping[str, Any]) -> list[list[str]]:
    """The blocks by their ids, so that two ways of writing a name are not two blocks."""
    return [[id if id in designs else catalogue.id_of(id) or id for id in row] for row in blocks]


def _pointers(blocks: Sequence[Sequence[str]], designs: Mapping[str, Any]) -> dict[str, Pointer]:
    """Where each block is given, in the order of the quilt; one of the catalogue in its place."""
    found: dict[str, Pointer] = {}
    for r, row in enumerate(blocks):
        for c, id in enumerate(row):
            if id not in found:
                own = id in designs and not isinstance(designs[id], str)
                at = f"/designs/{escaped(id)}" if id in designs else f"/quilt/blocks/{r}/{c}"
                found[id] = (at, own)
    return found


def fault_in_quilt(fault: Fault, pointer: Pointer) -> Fault:
    """A fault of one block's request with its pointer into the quilt's."""
    below = fault.pointer.removeprefix("/block")
    # What is not about the block is about the settings, which all blocks have from the defaults.
    if below == fault.pointer:
        return replace(fault, pointer=f"/defaults{fault.pointer}")
    at, listed = pointer
    # Within a block of the catalogue there is nothing in the request to point to.
    return replace(fault, pointer=at + below if listed else at)


def _design(id: str, given: Mapping[str, Any], settings: Settings) -> Request:
    """What is asked for of one block, by the request as it was written."""
    own = given.get("designs", {}).get(id, id)
    read = read_packet({**given.get("defaults", {}), "block": own}, settings)
    if read.block.name:
        return read
    return replace(read, block=replace(read.block, name=id))


def _named_twice(makers: Sequence[str]) -> list[Fault]:
    message = "two makers have this name; add something to tell them apart"
    return [
        Fault(f"/makers/{n}", "duplicate", message)
        for n, name in enumerate(makers)
        if name in makers[:n]
    ]


def _unused(designs: Mapping[str, Any], blocks: Sequence[Sequence[str]]) -> list[Fault]:
    used = {id for row in blocks for id in row}
    message = "the quilt has no place for this design; put it into 'blocks' or take it out"
    return [
        Fault(f"/designs/{escaped(id)}", "unused-design", message)
        for id in designs
        if id not in used
    ]
