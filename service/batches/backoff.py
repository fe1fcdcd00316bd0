"""Exponential backoff: how long to wait before something that has failed is tried again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LONGEST_DELAY: Final = 30.0
"""Seconds; the longest wait after failures one after another. A disk that has room again, or a
database that is back, is found so soon."""

_FIRST: Final = 0.5
"""Seconds; the wait after a first failure, long enough for a server that is just started anew."""


@dataclass(slots=True)
class Backoff:
    """Failures one after another, each of which makes the next wait twice as long.

    No wait is longer than ``LONGEST_DELAY``.

    >>> backoff = Backoff()
    >>> for _ in range(3):
    ...     backoff.fail()
    >>> backoff.delay
    2.0
    """

    failures: int = 0

    def fail(self) -> None:
        """It has failed once more."""
        self.failures += 1

    def succeed(self) -> None:
        """It has not failed: the next failure is a first one."""
        self.failures = 0

    @property
    def delay(self) -> float:
        """Seconds to wait now; 0 if it has not failed.

        >>> [Backoff(failures).delay for failures in (0, 1, 2, 3, 100)]
        [0.0, 0.5, 1.0, 2.0, 30.0]
        """
        if not self.failures:
            return 0.0
        # The longest delay is reached long before 2**10, beyond which numbers would only grow.
        return min(LONGEST_DELAY, _FIRST * 2.0 ** min(self.failures - 1, 10))
