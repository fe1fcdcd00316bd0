"""Seam allowance: what is cut beyond the line of sewing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Allowance:
    """Seam allowance in inches: ``seam`` between pieces, ``edge`` at the outside of the block."""

    seam: float = 0.25
    edge: float = 0.25
