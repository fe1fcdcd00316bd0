"""From the JSON of a request for a batch to what it asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from marshmallow import ValidationError

from piecewright.patchwork.faults import Fault
from piecewright.service.batches.print_jobs import NAME, Item
from piecewright.service.batches.schemas import BatchRequest
from piecewright.service.requests.parse import Refused
from piecewright.service.requests.schema_faults import schema_faults
from piecewright.service.settings import Settings


@dataclass(frozen=True, slots=True)
class BatchAsked:
    """A batch that is asked for.

    Attributes:
        defaults: what items change: a packet request, or part of one; for a quilt's makers, the
            request for the quilt.
        of_quilt: whether the items are for the makers of a quilt.
    """

    title: str
    defaults: Mapping[str, Any]
    items: tuple[Item, ...]
    of_quilt: bool = False


def read_batch(given: Any, settings: Settings) -> BatchAsked:
    """What a request for a batch asks for. The packets themselves are read when drawn.

    Args:
        given: the request's JSON value.

    Raises:
        Refused: the request is no batch; with every fault found.
    """
    faults: list[Fault] = []
    spec: Mapping[str, Any] = {}
    try:
        spec = BatchRequest().load(given)
    except ValidationError as error:
        faults += schema_faults(error.messages)
    items = spec.get("items", [])
    if len(items) > settings.max_items:
        message = (
            f"a batch has at most {settings.max_items:,} items here, this one has {len(items):,}"
        )
        faults.append(Fault("/items", "too-many", message))
    if faults:
        raise Refused(tuple(faults), "in")
    if "quilt" in spec:
        return BatchAsked(spec.get("title", ""), given, makers_items(spec), of_quilt=True)
    return BatchAsked(spec.get("title", ""), spec.get("defaults", {}), batch_items(spec))


def batch_items(spec: Mapping[str, Any]) -> tuple[Item, ...]:
    """The items of a request that its schema has passed, in order."""
    usual = spec.get("defaults", {}).get(NAME, "")
    return tuple(
        Item(given.get(NAME, usual), {k: v for k, v in given.items() if k != NAME})
        for given in spec["items"]
    )


def makers_items(spec: Mapping[str, Any]) -> tuple[Item, ...]:
    """An item for each maker of a quilt: the request for the quilt, and which maker it is."""
    return tuple(Item(name, {"maker": number}) for number, name in enumerate(spec["makers"]))
