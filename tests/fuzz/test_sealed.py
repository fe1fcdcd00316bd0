"""Drawing loads nothing: no network, and no file but the program's own and its typeface's."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
from pathlib import Path
from socket import create_server
from typing import Any

import pytest

from tests.fuzz.test_names import request_with

pytestmark = pytest.mark.long

SEALED = """
import json, os, sys

seen = []
WATCHED = ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn", "os.fork")

def watch(event, arguments):
    if event == "open":
        path, _, flags = arguments
        # A number is a file that is open already; what is made anew has nothing to be read.
        made = flags & os.O_EXCL or flags & os.O_TMPFILE == os.O_TMPFILE
        if not isinstance(path, int) and not made:
            seen.append([event, os.fsdecode(path)])
    elif event.startswith(WATCHED):
        seen.append([event, str(arguments[0]) if arguments else ""])

body, form, work = sys.stdin.buffer.read(), sys.argv[1], sys.argv[2]
from piecewright.service.responses.health import prove_ready
from piecewright.service.drawing_pool.tasks import HANDLERS, Done, Task, run_task
from piecewright.service.settings import Settings

prove_ready()  # as a worker does before it takes tasks; libraries are loaded then
sys.addaudithook(watch)
open(os.devnull).close()
outcome = run_task(Task(work, body, form), Settings(), HANDLERS)
assert isinstance(outcome, Done), outcome
content = outcome.answer.content
sys.stdout.write(json.dumps({"seen": seen, "content": content.decode("latin-1")}))
"""
SECRET = "the harbour master's own words"


def drawn(body: Any, form: str, work: str = "templates") -> tuple[list[tuple[str, str]], str]:
    """What a process does that draws as a worker does, by Python's audit events, and the answer."""
    done = subprocess.run(
        [sys.executable, "-c", SEALED, form, work],
        input=json.dumps(body).encode(),
        capture_output=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 0, done.stderr.decode()
    told = json.loads(done.stdout)
    return [(event, what) for event, what in told["seen"]], told["content"]


@pytest.mark.parametrize("form", ["svg", "pdf"])
def test_names_that_lead_elsewhere_are_not_followed(form: str, tmp_path: Path) -> None:
    """Libraries in C raise no audit events: a port that listens shows that they connect nowhere."""
    secret = tmp_path / "secret.svg"
    secret.write_text(f"<svg xmlns='http://www.w3.org/2000/svg'><text>{SECRET}</text></svg>")
    repository = Path(__file__).parents[2]
    own = (
        str(repository / "piecewright"),
        *(sysconfig.get_path(name) for name in ("stdlib", "platstdlib", "purelib", "platlib")),
    )
    with create_server(("127.0.0.1", 0)) as port:
        port.setblocking(False)
        address = f"http://127.0.0.1:{port.getsockname()[1]}/gull.png"
        body = request_with(f"url({address})")
        body["block"]["fabrics"][0]["name"] = f'<image href="{address}"/>'
        body["block"]["fabrics"][1]["name"] = f'"/><image href="{secret.as_uri()}"/>'
        seen, content = drawn(body, form)
        with pytest.raises(BlockingIOError):
            port.accept()
    files = {what for event, what in seen if event == "open"}
    # The null device is what the program itself opens, to show that the hook sees it.
    assert {file for file in files if not file.startswith(own)} == {os.devnull}
    assert SECRET not in content
    assert {event for event, _ in seen} == {"open"}
