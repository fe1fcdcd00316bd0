"""A limit of memory for the processes that draw."""

from __future__ import annotations

import resource


def limit_memory(megabytes: int) -> None:
    """From now on this process gets ``MemoryError`` in place of more memory than that.

    The limit is on the address space (``RLIMIT_AS``): Linux does not enforce one on what is
    resident.
    """
    most = megabytes * 1024 * 1024
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
