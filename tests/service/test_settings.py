"""Settings come from the environment, and one that makes no sense is told by its name."""

from __future__ import annotations

import pytest

from piecewright.patchwork.block.model import MOST_PIECES, MOST_POINTS
from piecewright.service.settings import Settings


def test_what_holds_if_nothing_is_set() -> None:
    usual = Settings.from_environment({})
    assert usual.max_request_bytes == 2 * 1024 * 1024
    assert usual.max_sheets == 200
    assert (usual.max_pieces, usual.max_points) == (MOST_PIECES, MOST_POINTS)


def test_what_is_set_holds() -> None:
    given = {"PIECEWRIGHT_MAX_REQUEST_BYTES": " 5000 ", "PIECEWRIGHT_MAX_SHEETS": "", "HOME": "/"}
    settings = Settings.from_environment(given)
    assert (settings.max_request_bytes, settings.max_sheets) == (5000, 200)


@pytest.mark.parametrize("value", ["0", "-1", "many", "1.5", "9" * 30])
def test_what_makes_no_sense_is_told_by_name(value: str) -> None:
    with pytest.raises(ValueError, match="PIECEWRIGHT_MAX_SHEETS"):
        Settings.from_environment({"PIECEWRIGHT_MAX_SHEETS": value})
