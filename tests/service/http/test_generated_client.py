"""A client that a general generator makes of the document keeps every request and answer.

The generator is openapi-python-client, with the configuration that is kept beside the document.
"""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from threading import Thread
from types import ModuleType
from typing import Any

import pytest
from flask.testing import FlaskClient
from openapi_python_client import generate
from openapi_python_client.config import Config, ConfigFile, MetaType
from werkzeug.serving import make_server

from tests.service.http.test_openapi import DOCUMENT, KEPT, contents, examples

NAME = "piecewright_client"
JOB = Path(__file__).with_name("client_job.py")

TYPES = f"""\
[mypy]
strict = true
[mypy-{NAME}.*]
# Casts to what a thing is already, and one name for two local variables of one type.
disable_error_code = redundant-cast, no-redef
[mypy-{NAME}.client]
# The same file in every client: nothing of the document is in it.
ignore_errors = true
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the generated package lies."""
    folder = tmp_path_factory.mktemp("generated")
    given = ConfigFile.load_from_path(KEPT.with_name("client.yaml"))
    given.post_hooks = []  # they only make it prettier
    config = Config.from_sources(
        given,
        MetaType.NONE,
        document_source=KEPT,
        file_encoding="utf-8",
        overwrite=False,
        output_path=folder / NAME,
    )
    # Whatever the generator leaves out it says. A file by itself it sends as one type alone: an SVG
    # to be read back goes as a part of a form.
    left_out = [error.detail or error.header for error in generate(config=config)]
    assert left_out == ["Unsupported content type image/svg+xml"]
    return folder


@pytest.fixture(scope="module")
def models(folder: Path) -> Iterator[ModuleType]:
    """Its classes of requests and answers."""
    sys.path.insert(0, str(folder))
    yield importlib.import_module(f"{NAME}.models")
    sys.path.remove(str(folder))


def holds(whole: Any, part: Any) -> bool:
    """Whether a JSON value has all that another one has; objects may have more."""
    if isinstance(whole, dict) and isinstance(part, dict):
        return all(name in whole and holds(whole[name], part[name]) for name in part)
    if isinstance(whole, list) and isinstance(part, list):
        return len(whole) == len(part) and all(map(holds, whole, part))
    return bool(whole == part) or same_moment(whole, part)


def same_moment(one: Any, other: Any) -> bool:
    """Whether two texts are the same time, which RFC 3339 has several ways to write."""
    try:
        return datetime.fromisoformat(one) == datetime.fromisoformat(other)
    except (TypeError, ValueError):
        return False


def test_every_object_of_the_document_has_a_class(models: ModuleType) -> None:
    shapes = DOCUMENT["components"]["schemas"]
    objects = {name for name, shape in shapes.items() if "properties" in shape}
    assert {name for name in objects if not hasattr(models, name)} == set()


def test_every_example_comes_through_whole(models: ModuleType) -> None:
    """A client fills in defaults, and so sends more than the example; of an answer it keeps all."""
    met = set()
    for what, media, content in contents():
        name = content["schema"].get("$ref", "").removeprefix("#/components/schemas/")
        if "json" not in media or not name:
            continue
        for example in examples(content):
            through = getattr(models, name).from_dict(example).to_dict()
            assert holds(through, example), (what, name)
            if not what.endswith("request"):
                assert holds(example, through), (what, name)
            met.add(name)
    assert met >= {"BlockRequest", "BlockAsPieces", "SewingPlanAnswer", "BatchAnswer", "Problem"}


def test_the_main_job_is_typed(folder: Path) -> None:
    (folder / "mypy.ini").write_text(TYPES, "utf-8")
    checked = subprocess.run(
        [
            *(sys.executable, "-m", "mypy", "--no-incremental"),
            *("--config-file", str(folder / "mypy.ini"), "-p", NAME, "-m", JOB.stem),
        ],
        cwd=folder,
        env={**os.environ, "MYPYPATH": f"{folder}:{JOB.parent}"},
        capture_output=True,
        text=True,
    )
    assert checked.returncode == 0, checked.stdout + checked.stderr


def test_the_main_job_is_done(client: FlaskClient, models: ModuleType) -> None:
    job = importlib.import_module("tests.service.http.client_job")
    server = make_server("127.0.0.1", 0, client.application, threaded=True)
    thread = Thread(target=server.serve_forever)
    thread.start()
    try:
        done = job.work(f"http://127.0.0.1:{server.server_port}", key="none")
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert isinstance(done.joins, list)
    assert done.same_joins == done.joins
    assert (done.fault, done.pieces_in_spite) == ("dangling-line", 2)
    assert len(done.inside) == 2
    assert done.sheets == str(len(done.svg))
    assert all(svg.startswith("<svg ") for svg in done.svg)
    assert done.pdf.startswith(b"%PDF")
