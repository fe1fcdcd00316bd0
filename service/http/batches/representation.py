"""A batch as answers and events tell it.

The ``address`` is that of the batch; all others follow from it.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from piecewright.service.batches.model import Batch, BatchItem


def told_batch(batch: Batch, address: str) -> dict[str, Any]:
    """A batch with the items that it holds."""
    return {
        **told_progress(batch, address),
        "items": [told_item(item, address) for item in batch.items],
    }


def told_progress(batch: Batch, address: str) -> dict[str, Any]:
    """How far a batch is."""
    return {
        "id": batch.id,
        "title": batch.title,
        "state": batch.state,
        "total": batch.total,
        "done": batch.done,
        "failed": batch.failed,
        "created": moment(batch.created),
        "ended": moment(batch.ended),
        "expires": moment(batch.expires),
        "collated": None if batch.collated is None else _told_collated(batch.collated),
        "links": {"self": address, "archive": f"{address}/archive"},
    }


def told_item(item: BatchItem, address: str) -> dict[str, Any]:
    """An item; ``href`` where there is a document, ``problem`` where there is none to come."""
    told: dict[str, Any] = {
        "number": item.number,
        "for": item.name,
        "state": item.state,
        "pages": item.pages,
    }
    if item.state == "done":
        told["href"] = f"{address}/items/{item.number}"
    if item.problem is not None:
        told["problem"] = item.problem
    return told


def _told_collated(collated: BatchItem) -> dict[str, Any]:
    """All documents in one; ``problem`` where there is none to come."""
    told: dict[str, Any] = {"state": collated.state, "pages": collated.pages}
    if collated.problem is not None:
        told["problem"] = collated.problem
    return told


def moment(seconds: float | None) -> str | None:
    """A time as RFC 3339 writes it, to the millisecond."""
    if seconds is None:
        return None
    moment = datetime.fromtimestamp(seconds, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
