"""A client of the service, whose batches nobody does."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from piecewright.service.app import create_app
from piecewright.service.settings import Settings


@pytest.fixture(scope="session")
def client(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    settings = Settings(data=str(tmp_path_factory.mktemp("batches")), broker="memory://")
    return create_app(settings).test_client()
