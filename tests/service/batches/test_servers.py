"""Tests that need a server may be skipped on a machine without it, but never in CI."""

from __future__ import annotations

import pytest

from tests.service.batches.servers import missing


def test_elsewhere_they_are_skipped_and_say_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="Debian's package redis-server"):
        missing("redis-server", "redis-server")


def test_in_ci_they_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="Debian's package postgresql"):
        missing("initdb", "postgresql")
