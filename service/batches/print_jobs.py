"""Print jobs: the items of a batch that share one master, known by a digest of their packet.

A master is the PDF of a packet without a name; the item's document is the master with the name
stamped on every sheet. So items that differ in nothing but the name are drawn once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from piecewright.service.batches.merge_patch import merge_patch
from piecewright.service.json_text import canonical

NAME: Final = "for"
"""The field of a packet request that says whose it is; all else makes the master."""

COLLATED: Final = 0
"""Number of the print job, and of its one item, that is all documents of a batch in one. There is
none before the others have ended."""

_MOST_FIELDS: Final = 2_000_000
"""Fields that are looked at to find packets that are alike though written differently: some
ten seconds' worth. Beyond, packets are compared as they are written."""


@dataclass(frozen=True, slots=True)
class Item:
    """One packet of a batch.

    Attributes:
        name: whose it is, "" for nobody's.
        packet: a merge patch on the batch's defaults, without ``for``; or all of the request.
        whole: whether ``packet`` is all of the request.
    """

    name: str
    packet: Mapping[str, Any]
    whole: bool = False


@dataclass(frozen=True, slots=True)
class PrintJob:
    """Items with one master.

    Attributes:
        packet: that of all its items, as ``Item`` has it.
        numbers: of its items, counted from 1.
    """

    packet: Mapping[str, Any]
    whole: bool
    numbers: tuple[int, ...]


def group_items(items: Iterable[Item], defaults: Mapping[str, Any]) -> list[PrintJob]:
    """The items put together by their packets, in the order of each job's first item."""
    digests = _Digests()
    found: dict[bytes, tuple[Item, list[int]]] = {}
    for number, item in enumerate(items, 1):
        key = digests.of_packet(item, defaults)
        found.setdefault(key, (item, []))[1].append(number)
    return [PrintJob(item.packet, item.whole, tuple(numbers)) for item, numbers in found.values()]


def packet_request(
    packet: Mapping[str, Any], whole: bool, defaults: Mapping[str, Any]
) -> dict[str, Any]:
    """All of a packet's request, without a name."""
    merged = dict(packet) if whole else merge_patch(defaults, packet)
    merged.pop(NAME, None)
    return merged


class _Digests:
    """Digests of JSON values; those of objects are made of their fields' digests.

    Packets are merged from the same defaults, and what a patch does not touch is the same
    object in each of them. Its digest is made once, so that a batch of 2,000 items with a
    large block costs as much as its text is long.
    """

    def __init__(self) -> None:
        # The value is kept beside its digest: its id stays its own as long as it lives.
        self._known: dict[int, tuple[Any, bytes]] = {}
        self._left = _MOST_FIELDS

    def of_packet(self, item: Item, defaults: Mapping[str, Any]) -> bytes:
        if self._left > 0:
            try:
                return self._of(packet_request(item.packet, item.whole, defaults))
            except RecursionError:
                pass
        # Packets that are written alike are alike; that much is seen at any depth and size.
        return sha256(bytes([item.whole]) + canonical(item.packet)).digest()

    def _of(self, value: Any) -> bytes:
        if not isinstance(value, dict | list):
            return sha256(canonical(value)).digest()
        known = self._known.get(id(value))
        if known is not None:
            return known[1]
        if isinstance(value, dict):
            self._left -= len(value)
            made = sha256(b"{")
            for name in sorted(value):
                made.update(sha256(canonical(name)).digest() + self._of(value[name]))
        else:
            made = sha256(canonical(value))
        digest = made.digest()
        self._known[id(value)] = (value, digest)
        return digest
