"""Servers for the tests of batches."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.service.batches.servers import empty_database, postgresql_server, redis_server


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    with postgresql_server() as url:
        yield url


@pytest.fixture
def database(postgresql: str) -> Iterator[str]:
    """An empty PostgreSQL database."""
    with empty_database(postgresql) as url:
        yield url


@pytest.fixture(scope="session")
def broker() -> Iterator[str]:
    with redis_server() as url:
        yield url
