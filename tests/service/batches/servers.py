"""Servers that tests start for themselves: Redis and PostgreSQL, on free ports, in folders of
their own.

Both come from Debian's packages ``redis-server`` and ``postgresql``. Without them their
tests are skipped, but not in CI, where ``.ci/run`` installs them.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
import redis

_PATIENCE = 60.0
"""Seconds; a server that is not up by then will not come up."""


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


@contextmanager
def redis_server() -> Iterator[str]:
    """The address of a Redis of our own."""
    program = shutil.which("redis-server") or missing("redis-server", "redis-server")
    port = free_port()
    with tempfile.TemporaryDirectory(prefix="piecewright-redis-") as folder:
        process = subprocess.Popen(
            [program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", folder],
            stdout=subprocess.DEVNULL,
        )
        try:
            url = f"redis://127.0.0.1:{port}/0"
            with redis.Redis.from_url(url) as client:
                wait_until(lambda: _answers(client))
            yield url
        finally:
            process.terminate()
            process.wait()


def _answers(client: redis.Redis) -> bool:
    try:
        return bool(client.ping())
    except redis.ConnectionError:
        return False


@contextmanager
def postgresql_server() -> Iterator[str]:
    """The address, as SQLAlchemy takes it, of an empty database in a PostgreSQL of our own."""
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    initdb = programs[-1] if programs else Path(missing("initdb", "postgresql"))
    folder = Path(tempfile.mkdtemp(prefix="piecewright-postgresql-"))
    as_user: list[str] = []
    if os.getuid() == 0:  # PostgreSQL does not run as root
        owner = pwd.getpwnam("postgres")
        os.chown(folder, owner.pw_uid, owner.pw_gid)
        as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
    data, port = folder / "data", free_port()
    run = {"check": True, "stdout": subprocess.DEVNULL, "cwd": folder}
    try:
        subprocess.run(
            [*as_user, initdb, "-D", data, "-U", "guild", "-A", "trust", "--no-sync", "-E", "UTF8"],
            **run,  # type: ignore[call-overload]
        )
        control = [*as_user, initdb.with_name("pg_ctl"), "-D", data, "-w"]
        options = f"-p {port} -h 127.0.0.1 -k {folder} -F"
        subprocess.run(
            [*control, "-l", folder / "log", "-o", options, "start"],
            **run,  # type: ignore[call-overload]
        )
        try:
            yield f"postgresql+psycopg://guild@127.0.0.1:{port}/postgres"
        finally:
            subprocess.run(
                [*control, "-m", "immediate", "stop"],
                **run,  # type: ignore[call-overload]
            )
    finally:
        shutil.rmtree(folder)


@contextmanager
def empty_database(server: str) -> Iterator[str]:
    """A database of its own on a server, by the address of another."""
    name = f"batches_{time.monotonic_ns()}"
    address = server.replace("+psycopg", "")
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    yield server.rpartition("/")[0] + f"/{name}"


def missing(program: str, package: str) -> str:
    """Skips the test for want of a program; in CI it fails."""
    message = f"there is no {program} here; Debian's package {package} brings it"
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)


def wait_until(holds: object, what: str = "it") -> None:
    """Waits until a thing has come about, and fails if it never does."""
    assert callable(holds)
    end = time.monotonic() + _PATIENCE
    while not holds():
        if time.monotonic() > end:
            pytest.fail(f"{what} did not come about")
        time.sleep(0.05)
