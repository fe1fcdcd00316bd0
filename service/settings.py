"""What whoever runs the service may set, each by an environment variable."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, Final

from piecewright.patchwork.block.model import MOST_PIECES, MOST_POINTS
from piecewright.render.sheets.sheet_settings import MOST_SHEETS

PREFIX = "PIECEWRIGHT_"
METRICS_FOLDER = "PROMETHEUS_MULTIPROC_DIR"
"""The environment variable by which prometheus_client knows where processes share figures."""

MOST_ITEMS: Final = 2000
"""Of one batch, whatever the setting: its state is answered with all of them at once."""

MOST_PROCESSES: Final = 64
"""For batches, on one machine."""

LEVELS = ("debug", "info", "warning", "error")


def _limit(default: int, most: int, least: int = 1) -> Any:
    return field(default=default, metadata={"least": least, "most": most})


@dataclass(frozen=True, slots=True)
class Settings:
    """The limits of one running service, and where it keeps what it makes.

    Each is read from the environment variable of its name in capitals after
    ``PIECEWRIGHT_``, such as ``PIECEWRIGHT_MAX_SHEETS``.

    Attributes:
        max_request_bytes: of a request's body; a larger one is answered 413.
        max_pieces: of a block, however it is given.
        max_points: of an outline, a frame or a line (segments, for path data).
        max_sheets: of one document; a request that needs more is answered 422.
        max_items: of one batch.
        deadline: seconds for the drawing of one answer; then it is stopped, and answered 503.
        desks: workers of the drawing pool, for each process of the service.
        waiting: requests that may wait for a worker, for each process of the service; a
            further one is answered 503 at once.
        desk_memory: MB that a worker may take, of the drawing pool or of batches; what needs
            more is answered 503.
        cache_bytes: of answers that each process of the service keeps for whoever asks the same
            again; 0 for none.
        rate: requests a minute from one key, or from one address where no keys are set;
            0 for no limit.
        proxies: through how many proxies of one's own requests come, each of which puts the
            address that it was asked from into X-Forwarded-For.
        data: the folder for batches; ``~/.local/state/piecewright`` if empty.
        database: where the state of batches is kept, as SQLAlchemy takes it; a SQLite file in
            ``data`` if empty.
        files: where the documents of batches are kept, as fsspec takes it; a folder in ``data``
            if empty. Services with another database must not keep theirs in the same place, as
            documents of batches that are not in the database are removed.
        broker: the Celery broker that hands out the work of batches; processes of the service's
            own if empty.
        batch_processes: processes that the service starts for batches; 0 for one for each core.
        batch_deadline: seconds for one packet of a batch, and for all of them in one document.
        keep_hours: how long a batch is kept after it has ended.
        keep_batches: the most batches of one owner (a key's, or all who ask without one together)
            that are kept, failed and cancelled ones too; 0 for no limit.
        keep_bytes: of the documents of one owner's batches together, at which no more are added;
            0 for no limit. Files that a batch needs only while it is worked on are not counted.
        keys: the file of API keys (see ``service.http.keys``); none are needed if empty.
        origins: of pages that may use the service from a browser, such as
            ``https://guild.example``, with commas between them; ``*`` for all.
        log: the least level that is logged: debug, info, warning or error.

    Raises:
        ValueError: a limit is out of its range, or the level is none.
    """

    max_request_bytes: int = _limit(2 * 1024 * 1024, 64 * 1024 * 1024)
    max_pieces: int = _limit(MOST_PIECES, MOST_PIECES)
    max_points: int = _limit(MOST_POINTS, MOST_POINTS)
    max_sheets: int = _limit(200, MOST_SHEETS)
    max_items: int = _limit(MOST_ITEMS, MOST_ITEMS)
    deadline: int = _limit(30, 3600)
    desks: int = _limit(1, 64)
    waiting: int = _limit(16, 1000, least=0)
    desk_memory: int = _limit(3072, 1024 * 1024, least=256)
    cache_bytes: int = _limit(32 * 1024 * 1024, 16 * 1024 * 1024 * 1024, least=0)
    rate: int = _limit(0, 1_000_000, least=0)
    proxies: int = _limit(0, 8, least=0)
    data: str = ""
    database: str = ""
    files: str = ""
    broker: str = ""
    batch_processes: int = _limit(0, MOST_PROCESSES, least=0)
    batch_deadline: int = _limit(120, 3600)
    keep_hours: int = _limit(72, 24 * 365)
    keep_batches: int = _limit(200, 1_000_000, least=0)
    keep_bytes: int = _limit(10 * 1024**3, 1024**5, least=0)
    keys: str = ""
    origins: str = ""
    log: str = "info"

    def __post_init__(self) -> None:
        if self.log not in LEVELS:
            raise ValueError(f"{PREFIX}LOG must be one of {', '.join(LEVELS)}, not {self.log!r}")
        for limit in fields(self):
            if limit.metadata:
                value = getattr(self, limit.name)
                least, most = limit.metadata["least"], limit.metadata["most"]
                if not least <= value <= most:
                    variable = PREFIX + limit.name.upper()
                    raise ValueError(f"{variable} must be from {least} to {most}, not {value}")

    @property
    def data_folder(self) -> Path:
        """Where batches are kept."""
        return Path(self.data) if self.data else Path.home() / ".local" / "state" / "piecewright"

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """The settings that the environment gives; defaults for the rest.

        Raises:
            ValueError: a variable holds no whole number where one is needed, or one out of its
                range.
        """
        given: dict[str, Any] = {}
        for setting in fields(cls):
            variable = PREFIX + setting.name.upper()
            written = environment.get(variable, "").strip()
            if not written:
                continue
            if not setting.metadata:
                given[setting.name] = written
                continue
            try:
                given[setting.name] = int(written)
            except ValueError:
                raise ValueError(f"{variable} must be a whole number, not {written!r}") from None
        return cls(**given)

    def as_environment(self) -> dict[str, str]:
        """The environment variables from which these settings can be read again."""
        return {
            PREFIX + setting.name.upper(): str(getattr(self, setting.name))
            for setting in fields(self)
        }
