"""Where answers go: to a file, whole or not at all, or to standard output."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from piecewright.service.cli.exit_codes import Misuse
from piecewright.service.responses.answer import Answer, Form


def form_of(output: Path | None, forms: Sequence[Form]) -> Form:
    if output is None:
        return "json"
    ending = output.suffix.lower().removeprefix(".")
    for form in forms:
        if ending == form:
            return form
    raise Misuse(f"{output} should end in {', '.join('.' + form for form in forms)}")


def write_answer(answer: Answer, output: Path | None) -> None:
    if output is None:
        to_stdout(answer.content)
    else:
        replace_file(output, answer.content)


def to_stdout(content: bytes) -> None:
    sys.stdout.flush()
    sys.stdout.buffer.write(content)
    sys.stdout.buffer.flush()


def replace_file(path: Path, content: bytes) -> None:
    """Writes a file whole or not at all."""
    if path.exists() and not path.is_file():
        path.write_bytes(content)  # a device or a pipe cannot be replaced
        return
    target = path.resolve()
    handle, draft = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(draft, target.stat().st_mode & 0o777 if target.exists() else _usual_mode())
        os.replace(draft, target)
    except BaseException:
        os.unlink(draft)
        raise


def _usual_mode() -> int:
    """What a new file may be used for: a draft is its owner's alone."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
