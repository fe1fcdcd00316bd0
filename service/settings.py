"""What whoever runs the service may set, each by an environment variable."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from patchwork.block import MOST_PIECES, MOST_POINTS
from render.sheets import MOST_SHEETS

PREFIX = "PIECEWRIGHT_"


@dataclass(frozen=True, slots=True)
class Settings:
    """The limits of one running service.

    Each is read from the environment variable of its name in capitals after
    ``PIECEWRIGHT_``, such as ``PIECEWRIGHT_MAX_SHEETS``.

    Attributes:
        max_request_bytes: of a request's body; a larger one is answered 413.
        max_pieces: of a block, however it is given.
        max_points: of an outline, a frame or a line (segments, for path data).
        max_sheets: of one document; a request that needs more is answered 422.

    Raises:
        ValueError: a limit is below 1, or above what the geometry is made for.
    """

    max_request_bytes: int = field(default=2 * 1024 * 1024, metadata={"most": 64 * 1024 * 1024})
    max_pieces: int = field(default=MOST_PIECES, metadata={"most": MOST_PIECES})
    max_points: int = field(default=MOST_POINTS, metadata={"most": MOST_POINTS})
    max_sheets: int = field(default=200, metadata={"most": MOST_SHEETS})

    def __post_init__(self) -> None:
        for limit in fields(self):
            value, most = getattr(self, limit.name), limit.metadata["most"]
            if not 1 <= value <= most:
                variable = PREFIX + limit.name.upper()
                raise ValueError(f"{variable} must be from 1 to {most}, not {value}")

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """The settings that the environment gives; defaults for the rest.

        Raises:
            ValueError: a variable holds no whole number, or one out of its range.
        """
        given: dict[str, int] = {}
        for limit in fields(cls):
            variable = PREFIX + limit.name.upper()
            written = environment.get(variable, "").strip()
            if not written:
                continue
            try:
                given[limit.name] = int(written)
            except ValueError:
                raise ValueError(f"{variable} must be a whole number, not {written!r}") from None
        return cls(**given)
