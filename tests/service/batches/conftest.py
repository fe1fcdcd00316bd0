"""Servers for the tests of batches, and a client of a service whose batches nobody else does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import Engine

from piecewright.service.batches.tables import open_database
from piecewright.service.settings import Settings
from tests.service.batches.asking import client_of, kept_in
from tests.service.batches.servers import empty_database, postgresql_server, redis_server


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Of a service that keeps its batches in the test's own folder."""
    return kept_in(tmp_path)


@pytest.fixture
def client(settings: Settings) -> FlaskClient:
    """A client of the service with the test's ``settings``."""
    return client_of(settings)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    with postgresql_server() as url:
        yield url


@pytest.fixture
def database(postgresql: str) -> Iterator[str]:
    """An empty PostgreSQL database."""
    with empty_database(postgresql) as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """A database for the state of batches, with its tables."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'batches.sqlite'}"
    else:
        url = request.getfixturevalue("database")
    opened = open_database(url)
    yield opened
    opened.dispose()


@pytest.fixture(scope="session")
def broker() -> Iterator[str]:
    with redis_server() as url:
        yield url
