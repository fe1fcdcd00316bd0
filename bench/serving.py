"""Requests a second against an address at which there is nothing to do, and memory.

Requests are sent by wrk (https://github.com/wg/wrk).
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

from bench.ratios import Ratio
from bench.served import WORKERS, Served, served, wall
from piecewright.patchwork.block.model import MOST_PIECES

CONNECTIONS: Final = 8

_SECONDS: Final = 5
_ROUNDS: Final = 3
_BODY: Final = {"block": "churn-dash"}
_PDF: Final = "application/pdf"


def rows() -> list[Ratio]:
    """Templates as a PDF, kept and drawn anew, against ``/health``; memory of a large request."""
    wrk = shutil.which("wrk")
    if wrk is None:
        raise RuntimeError("wrk is missing: apt-get install wrk")
    found = []
    work, against = f"templates of {_BODY['block']}, PDF, {WORKERS} workers", "GET /health"
    with served({}) as service:
        kept = _times_as_long(wrk, service)
        found.append(Ratio("a request that was answered before", work, against, kept))
    with served({"PIECEWRIGHT_CACHE_BYTES": 0}) as service:
        drawn = _times_as_long(wrk, service)
        found.append(Ratio("a request that is drawn", work, against, drawn))
    with served({"PIECEWRIGHT_DEADLINE": 600}) as service:
        idle = service.memory()
        status, _ = service.ask("POST", "/v1/block-map", {"block": wall(MOST_PIECES)}, _PDF)
        if status != 200:
            raise RuntimeError(f"the largest request was answered {status}")
        most = service.memory("VmHWM") / idle
    work = f"block map of {MOST_PIECES:,} pieces, PDF"
    found.append(Ratio("memory of the service", work, "the service without work", most))
    return found


def _times_as_long(wrk: str, service: Served) -> float:
    """How many times as long templates take as nothing, of rounds by turns the fastest."""
    empty = templates = 0.0
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        script.write(
            f"wrk.method = 'POST'\nwrk.body = [[{json.dumps(_BODY)}]]\n"
            f"wrk.headers['Content-Type'] = 'application/json'\nwrk.headers['Accept'] = '{_PDF}'\n"
        )
        script.flush()
        for _ in range(_ROUNDS):
            empty = max(empty, _rate(wrk, service, "/health"))
            templates = max(templates, _rate(wrk, service, "/v1/templates", Path(script.name)))
    return empty / templates


def _rate(wrk: str, service: Served, path: str, script: Path | None = None) -> float:
    """Answers a second, all of them good."""
    given = () if script is None else ("--script", str(script))
    done = subprocess.run(
        [
            *(wrk, "--threads", "1", "--connections", str(CONNECTIONS)),
            *("--duration", f"{_SECONDS}s", "--timeout", "30s", *given),
            f"http://127.0.0.1:{service.port}{path}",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    if "Non-2xx" in done.stdout or "Socket errors" in done.stdout:
        raise RuntimeError(f"not every answer was good:\n{done.stdout}")
    rate = re.search(r"Requests/sec:\s*([0-9.]+)", done.stdout)
    assert rate is not None
    return float(rate[1])
