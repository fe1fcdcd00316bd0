"""What this machine lacks before Piecewright can be set up, in plain words.

Run with the Python that is to make the virtual environment. It says nothing and
exits with 0 if all is there; else it names each lack and the line that installs
it, and exits with 1. Nothing is installed from here.
"""

import ctypes
import importlib.util
import shutil
import sys
from typing import Callable, List, NamedTuple, Tuple

OLDEST_PYTHON = (3, 11)
CAIRO_LIBRARIES = ("libcairo.so.2", "libcairo.2.dylib", "libcairo-2.dll")


class Lack(NamedTuple):
    """Something that is not there, and the Debian package that brings it."""

    what: str
    package: str


def lacks(
    version: Tuple[int, int],
    has_module: Callable[[str], bool],
    has_library: Callable[[str], bool],
) -> List[Lack]:
    """What is missing, given a Python's version and ways to look for modules and libraries."""
    found = []
    if version < OLDEST_PYTHON:
        oldest = ".".join(map(str, OLDEST_PYTHON))
        this = ".".join(map(str, version))
        found.append(Lack(f"Python {oldest} or later (this is Python {this})", "python3"))
    if not (has_module("venv") and has_module("ensurepip")):
        found.append(Lack("Python's venv module, with pip", "python3-venv"))
    if not any(has_library(name) for name in CAIRO_LIBRARIES):
        found.append(Lack("the cairo graphics library, which writes the PDF", "libcairo2"))
    return found


def message(found: List[Lack], has_apt: bool) -> str:
    """The lacks as a person reads them, with what to do about them."""
    lines = ["Piecewright needs what this machine does not have yet:"]
    lines += [f"  - {lack.what}" for lack in found]
    packages = " ".join(lack.package for lack in found)
    if has_apt:
        lines += ["Install it, then run the same command again:"]
        lines += [f"  sudo apt-get update && sudo apt-get install {packages}"]
    else:
        lines += [f"Install it (Debian calls it: {packages}), then run the same command again."]
    return "\n".join(lines)


def _has_module(name: str) -> bool:
    found = importlib.util.find_spec(name)
    return found is not None and found.origin is not None  # an empty folder is no module


def _has_library(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def main() -> int:
    found = lacks(sys.version_info[:2], _has_module, _has_library)
    if found:
        print(message(found, shutil.which("apt-get") is not None), file=sys.stderr)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
