"""Drawings for workers that are slow, stuck or deadly where a test needs it, and real otherwise.

What a packet does beyond being drawn stands in the name of its block: ``slow``: its stamps
take their time; ``stuck``: it is never drawn; ``deadly``: drawing it ends the process, as
a defect of a library might; ``huge``: it needs more memory than there is for it. What
happens when all packets are put into one PDF stands in the batch's title in the same way.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterable
from typing import Any

import numpy as np

from piecewright.service.batches.packet_maker import Packets
from piecewright.service.settings import Settings


class SlowPackets:
    """As ``Packets``, apart from blocks of certain names."""

    def __init__(self) -> None:
        self._real = Packets()
        self._slow = False

    def draw(self, packet: dict[str, Any], settings: Settings) -> bytes:
        block = packet.get("block")
        name = str(block.get("name")) if isinstance(block, dict) else ""
        _suffer(name)
        self._slow = name == "slow"
        return self._real.draw(packet, settings)

    def stamp(self, master: bytes, name: str) -> bytes:
        if self._slow:
            time.sleep(0.1)
        return self._real.stamp(master, name)

    def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
        _suffer(title)
        if title == "slow":
            time.sleep(0.5)
        return self._real.collate(copies, title)


def _suffer(name: str) -> None:
    if name == "deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    while name == "stuck":
        time.sleep(1)
    if name == "huge":
        np.zeros(8 * 1024**3, np.uint8)
