"""How a command may end."""

from __future__ import annotations

from typing import Final

GOOD: Final = 0
FAULTY: Final = 1
"""The block or a setting has faults."""

MISUSED: Final = 2
"""The command cannot be carried out; ``argparse`` ends with the same."""


class Misuse(Exception):
    """The command cannot be carried out; the message says why."""
