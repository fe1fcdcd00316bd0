"""The command line ``piecewright``: the functions of the HTTP interface, for scripts.

It ends with 0 if all went well, 1 if the block or a setting has faults (each a line on
standard error: pointer, place, what is wrong), 2 if the command cannot be understood or a
file cannot be read or written.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.lengths import Unit, in_unit
from piecewright.service.cli.arguments import parser
from piecewright.service.cli.exit_codes import FAULTY, GOOD, MISUSED, Misuse
from piecewright.service.requests.parse import Refused
from piecewright.service.responses.answer import NoSuchSheet
from piecewright.service.responses.catalogue import NoSuchBlock
from piecewright.service.settings import Settings

__all__ = ["FAULTY", "GOOD", "MISUSED", "main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Carries out a command line and gives the exit code."""
    given = parser().parse_args(arguments)
    try:
        settings = Settings.from_environment()
    except ValueError as error:
        print(f"piecewright: {error}", file=sys.stderr)
        return MISUSED
    try:
        code: int = given.run(given, settings)
    except Refused as error:
        for fault in error.faults:
            print(_line(fault, error.unit), file=sys.stderr)
        return FAULTY
    except BrokenPipeError:
        # Whoever read the output has left, as ``head`` does; that is no fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD
    except OSError as error:
        # A write names no file; then it is where the output goes.
        where = error.filename or getattr(given, "output", None) or "standard output"
        print(f"piecewright: {where}: {error.strerror}", file=sys.stderr)
        return MISUSED
    except (Misuse, NoSuchBlock, NoSuchSheet) as error:
        print(f"piecewright: {error}", file=sys.stderr)
        return MISUSED
    return code


def _line(fault: Fault, unit: Unit) -> str:
    place = ""
    if fault.at is not None:
        x, y = (in_unit(c, unit) for c in fault.at)
        place = f"at ({x:g}, {y:g}) {unit}: "
    return f"{fault.pointer or '/'}: {place}{fault.detail}"
