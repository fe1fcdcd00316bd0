"""Faults: what is wrong with a block or a setting, where, and how its author can mend it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, or (as a caution) that a maker should know.

    Attributes:
        pointer: JSON pointer (RFC 6901) into the request, to the piece or field.
        code: a short fixed word for programs, such as ``overlap``.
        detail: what is wrong and what to do, for people.
        at: where on the block (inches, block plane), where there is a place.
    """

    pointer: str
    code: str
    detail: str
    at: tuple[float, float] | None = None


def escaped(name: object) -> str:
    """A name as a part of a JSON pointer (RFC 6901).

    >>> escaped("half/square~1")
    'half~1square~01'
    """
    # The order matters: the tilde of an escaped slash must not be escaped again.
    return str(name).replace("~", "~0").replace("/", "~1")


class BlockError(ValueError):
    """A block or a setting that cannot be worked with; holds every fault found."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(f"{f.pointer}: {f.detail}" for f in faults))
        self.faults = tuple(faults)
