"""Clocks that run ahead, as they seem to where a machine is too busy to get on with the work."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any
from unittest.mock import patch

_HOUR = 3600


@contextmanager
def running_ahead() -> Iterator[None]:
    """Every clock is an hour further on each time that it is looked at."""
    hours = count(1)
    looked_at: dict[str, Any] = {}
    for clock in ("time", "monotonic", "perf_counter", "process_time", "thread_time"):
        looked_at[clock] = lambda: float(_HOUR * next(hours))
        looked_at[f"{clock}_ns"] = lambda: _HOUR * next(hours) * 10**9
    with patch.multiple(time, **looked_at):
        yield
