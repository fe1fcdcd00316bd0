"""One more student of the same packet against the first, whose packet is worked out and drawn."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Final

import pikepdf

from bench.ratios import Ratio, compared, seconds
from piecewright.render.output.collating import collate
from piecewright.render.output.stamping import stamped
from piecewright.service.requests.parse import read_request
from piecewright.service.requests.schemas import PacketRequest
from piecewright.service.responses.packet import packet_answer
from piecewright.service.settings import Settings

AIM: Final = 0.02

_BLOCKS: Final = ("churn-dash", "bear-paw", "storm-at-sea")
_CLASS: Final = (500, 2000)
"""Students. The larger class should take as many times as long as it is larger, or nearly."""

_NEARLY: Final = 1.25


def rows() -> list[Ratio]:
    """A further student's copy, on its own and in a class's one document, against the first."""
    found = []
    for block in _BLOCKS:
        first = _packet(block)
        master = first()
        with pikepdf.open(io.BytesIO(master)) as document:
            work = f"{block}, {len(document.pages)} sheets"
        against = "the packet made from its request"
        one_more = compared(_copy(master), first, rounds=3)
        found.append(Ratio("a further student's copy", work, against, one_more, AIM))
    few, many = _CLASS
    times = {size: min(seconds(_collated(master, size)) for _ in range(2)) for size in _CLASS}
    share = times[many] / many / seconds(first)
    found.append(Ratio(f"a further student, {many} in one PDF", work, against, share, AIM))
    growth, most = times[many] / times[few], _NEARLY * many / few
    found.append(Ratio(f"{many} students in one PDF", work, f"{few} students", growth, most))
    return found


def _packet(block: str) -> Callable[[], bytes]:
    def made() -> bytes:
        settings = Settings()
        request = read_request({"block": block}, settings, PacketRequest)
        return packet_answer(request, "pdf", settings.max_sheets).content

    return made


def _copy(master: bytes) -> Callable[[], bytes]:
    return lambda: stamped(master, "Ásta Margrét Jónsdóttir")


def _collated(master: bytes, size: int) -> Callable[[], None]:
    copies = [(f"Student {number}", master) for number in range(size)]
    return lambda: collate(copies, "A class", io.BytesIO())
