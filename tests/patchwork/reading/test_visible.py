"""What of the marks on a page can be seen."""

from __future__ import annotations

import pytest
from shapely.geometry import box

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.reading.page import Mark, Style
from piecewright.patchwork.reading.visible import Painted, visible

LINE = Mark((Line((0.0, 1.0), (4.0, 1.0)),), False, Style(False, "#000000", 0.01))


def patch(left: float, top: float, right: float, bottom: float) -> Painted:
    ring = paths.polygon([(left, top), (right, top), (right, bottom), (left, bottom)])
    return Painted(Mark(ring, True, Style(True, "#ffffff")), covers=True)


def seen(*painted: Painted) -> list[tuple[float, float]]:
    """From where to where the line shows."""
    lines = [mark for mark in visible(painted) if not mark.style.filled]
    return sorted((m.path[0].start[0], m.path[-1].end[0]) for m in lines)


@pytest.mark.parametrize(
    ("painted", "shown"),
    [
        ([Painted(LINE)], [(0, 4)]),
        ([Painted(LINE), patch(-1, 0, 5, 2)], []),
        ([patch(-1, 0, 5, 2), Painted(LINE)], [(0, 4)]),
        ([Painted(LINE), patch(1, 0, 3, 2)], [(0, 1), (3, 4)]),
        # The patches on both sides of a seam are filled after it.
        ([Painted(LINE), patch(0, 0, 4, 1), patch(0, 1, 4, 2)], [(0, 4)]),
        ([Painted(LINE, clip=box(1, 0, 3, 2))], [(1, 3)]),
        ([Painted(LINE, clip=box(-1, 0, 5, 2))], [(0, 4)]),
        ([Painted(LINE, clip=box(5, 5, 6, 6))], []),
    ],
)
def test_a_line_shows_where_nothing_hides_it(
    painted: list[Painted], shown: list[tuple[float, float]]
) -> None:
    found = seen(*painted)
    assert len(found) == len(shown)
    for one, other in zip(found, shown, strict=True):
        assert one == pytest.approx(other, abs=0.011)
