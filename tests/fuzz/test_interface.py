"""Requests made up after the OpenAPI document, right ones and wrong ones, by schemathesis."""

from __future__ import annotations

import tempfile
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import CheckFunction
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from piecewright.service.app import create_app
from piecewright.service.settings import Settings

pytestmark = pytest.mark.long

# Batches that are made up are taken and kept, but nobody does them.
_SETTINGS = Settings(data=tempfile.mkdtemp(prefix="fuzzed-"), broker="memory://", deadline=20)
_DOCUMENT = schemathesis.openapi.from_wsgi("/openapi.json", create_app(_SETTINGS))


@schemathesis.serializer("application/pdf")
def _as_bytes(context: Any, value: Any) -> bytes:
    """What is made up for a PDF is any text, and none."""
    return value if isinstance(value, bytes) else str(value).encode()


@_DOCUMENT.parametrize()
@settings(
    max_examples=3,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_as_the_document_says(case: schemathesis.Case[Any]) -> None:
    """All checks but one: what fits the schema need be no block that can be sewn, and is then
    refused. A body that breaks a limit of the schema by being long may also be too large to be
    read (413), which schemathesis does not count among refusals."""
    left_out: list[CheckFunction] = [positive_data_acceptance]
    answer = case.call()
    if answer.status_code == 413:
        left_out.append(negative_data_rejection)
    case.validate_response(answer, excluded_checks=left_out)
