"""How long to wait before something that has failed is tried again."""

from __future__ import annotations

from typing import Final

MOST: Final = 30.0
"""Seconds; the longest wait after failures one after another."""


def rest_after(failures: int) -> float:
    """Seconds to wait when so much has failed without anything done between.

    >>> [rest_after(failures) for failures in (0, 1, 2, 3, 100)]
    [0.0, 0.5, 1.0, 2.0, 30.0]
    """
    return min(MOST, 0.25 * 2 ** min(failures, 10)) if failures else 0.0
