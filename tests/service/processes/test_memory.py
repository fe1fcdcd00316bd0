"""A process that has set itself a limit of memory fails, in place of its machine."""

from __future__ import annotations

import subprocess
import sys


def test_a_process_that_wants_more_memory_than_its_limit_gets_none() -> None:
    code = (
        "from piecewright.service.processes.memory import limit_memory; limit_memory(256)\n"
        "try: bytearray(512 * 1024 * 1024)\n"
        "except MemoryError: print('refused')"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == "refused\n"
