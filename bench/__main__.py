"""Runs the measurements and writes their table: ``python -m bench [NAME ...]``.

Without names all of them run, and the tables in ``bench/README.md`` are written anew.
"""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from typing import Final

from bench.ratios import table

MEASURED: Final = {
    "pages": "A page to PDF",
    "outlines": "Matched cut outlines",
    "plans": "Order of sewing, pressing, foundation and cutting list",
    "stamping": "A further student of the same packet",
    "serving": "Requests a second, and memory",
}
"""The modules of this folder that have ``rows``, and what each measures."""

REPORT: Final = Path(__file__).with_name("README.md")
_BEGIN: Final = "<!-- measured -->"
_END: Final = "<!-- end of measured -->"


def main(names: list[str]) -> int:
    """Measure; the exit code."""
    unknown = [name for name in names if name not in MEASURED]
    if unknown:
        print(f"there is no measurement {unknown[0]!r}; there are {', '.join(MEASURED)}")
        return 2
    parts = []
    for name in names or MEASURED:
        print(f"measuring: {MEASURED[name]}", file=sys.stderr)
        part = f"### {MEASURED[name]}\n\n{table(import_module(f'bench.{name}').rows())}\n"
        print(part, flush=True)
        parts.append(part)
    if not names:
        before, _, rest = REPORT.read_text("utf-8").partition(_BEGIN)
        _, _, after = rest.partition(_END)
        measured = "\n".join(parts)
        REPORT.write_text(f"{before}{_BEGIN}\n\n{measured}\n{_END}{after}", "utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
