"""A client of the service as it is started without any environment."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from service.app import create_app
from service.settings import Settings


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    return create_app(Settings()).test_client()
