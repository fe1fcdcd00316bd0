"""Drawings for workers that are slow, stuck or deadly where a test needs it, and real otherwise.

What a packet does beyond being drawn stands in the name of its block: ``slow``: its stamps
take their time; ``stuck``: it is never drawn; ``deadly``: drawing it ends the process, as
a defect of a library might.
"""

from __future__ import annotations

import os
import signal
import time
from typing import Any

from service.batches.drawing import Packets
from service.settings import Settings


class SlowPackets:
    """As ``Packets``, apart from blocks of certain names."""

    def __init__(self) -> None:
        self._real = Packets()
        self._slow = False

    def draw(self, packet: dict[str, Any], settings: Settings) -> bytes:
        block = packet.get("block")
        name = block.get("name") if isinstance(block, dict) else ""
        if name == "deadly":
            os.kill(os.getpid(), signal.SIGKILL)
        while name == "stuck":
            time.sleep(1)
        self._slow = name == "slow"
        return self._real.draw(packet, settings)

    def stamp(self, master: bytes, name: str) -> bytes:
        if self._slow:
            time.sleep(0.1)
        return self._real.stamp(master, name)
