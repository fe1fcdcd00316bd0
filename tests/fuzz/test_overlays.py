"""No overlay that GEOS gives up on fails a request: one after the other, each is made to give up.

Overlays are caught where Shapely hands them to GEOS, so that none is missed, however it is written.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import Any, Final, TypeAlias

import pytest
import shapely

from piecewright.service.drawing_pool.tasks import HANDLERS, Done, Outcome, Rejected, Task, run_task
from piecewright.service.requests.parse import Refused
from piecewright.service.responses.answer import Form
from piecewright.service.settings import Settings

pytestmark = pytest.mark.long

OURS: Final = Path(__file__).parents[2] / "piecewright"
GUARD: Final = Path("patchwork/geometry/robust_overlay.py")
"""What repeats overlays that fail; who asked it is whose place counts."""

OVERLAYS: Final = (
    *("difference", "difference_prec", "difference_scalar", "difference_prec_scalar"),
    *("intersection", "intersection_prec", "intersection_scalar", "intersection_prec_scalar"),
    *("unary_union", "unary_union_prec", "union", "union_prec", "union_scalar"),
    *("intersection_all", "make_valid_with_params", "polygonize", "polygonize_full"),
)
"""By their names in ``shapely.lib``."""

SLOTTED: Final = {
    # A slot narrower than two allowances, beside a point of 3 degrees.
    "pieces": [
        {
            "id": "hull",
            "outline": [[0, 0], [6, 0], [6, 3], [3.3, 3], [3.3, 1], [3, 1], [3, 3], [0, 3]],
            "fabric": "navy",
        },
        {
            "id": "mast",
            "outline": [[0, 3], [3, 3], [3, 1], [3.3, 1], [3.3, 3], [6, 3], [6, 3.3]],
            "fabric": "sail",
        },
        {"id": "sea", "outline": [[0, 3], [6, 3.3], [6, 6], [0, 6]], "fabric": "navy"},
    ],
    "fabrics": [{"id": "navy", "colour": "#112244"}, {"id": "sail", "colour": "#eeeeee"}],
}
FAN: Final = {
    # Blades that meet in points of 9 degrees, their tips longer than their neighbours are wide; and
    # strips too narrow for a number.
    "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
    "lines": [*([[0, 0], [6, k]] for k in (1, 2, 3, 4, 5, 6)), [[5.9, 0], [5.9, 6]]],
}
UNSOUND: Final = {
    # Lines that leave the frame, that end in a piece, and that lie along each other.
    "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
    "lines": [[[0, 3], [9, 3]], [[0, 4], [3, 4]], [[0, 1], [6, 1]]],
}
SLIVERED: Final = {
    # Lines that nearly meet.
    "frame": [[0, 0], [4, 0], [4, 4], [0, 4]],
    "lines": [[[3.997, 1.002], [2, 1], [2.001, 4.002]], [[4, 2.002], [0.997, 2], [2.006, 1]]],
}
Asked: TypeAlias = tuple[Any, str, Form]
"""A block, what is wanted of it, and in which form."""

REQUESTS: Final[Sequence[Asked]] = [
    (UNSOUND, "check", "json"),
    (SLIVERED, "check", "json"),
    (SLOTTED, "cutting-list", "json"),
    (SLOTTED, "sewing-plan", "svg"),
    (FAN, "templates", "svg"),
    (FAN, "foundation", "svg"),
    (FAN, "block-map", "svg"),
    (SLOTTED, "templates", "pdf"),
]


def drawn(asked: Asked) -> Outcome:
    """What comes of a request whose sheets are smaller than the block."""
    block, work, form = asked
    body = {"block": block, "sheet": {"paper": {"width": 5, "height": 5}}, "finish": {"width": 8}}
    return run_task(Task(work, json.dumps(body).encode(), form), Settings(), HANDLERS)


def place() -> str | None:
    """The line of ours that asks for the overlay which is being done."""
    frame: FrameType | None = sys._getframe(1)
    while frame is not None:
        path = Path(frame.f_code.co_filename)
        if path.is_relative_to(OURS):
            name = path.relative_to(OURS)
            if name.parts[0] in ("patchwork", "render") and name != GUARD:
                return f"{name}:{frame.f_lineno}"
        frame = frame.f_back
    return None


class Overlays:
    """Watches GEOS's overlays, and makes those of one place give up.

    Attributes:
        seen: the places that asked for one.
        at: whose give up; ``left`` is how many more do.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.seen: dict[str, None] = {}
        self.at: str | None = None
        self.left = 0
        for name in OVERLAYS:
            monkeypatch.setattr(shapely.lib, name, self._watched(getattr(shapely.lib, name)))

    def _watched(self, operation: Callable[..., Any]) -> Callable[..., Any]:
        def done(*given: Any, **how: Any) -> Any:
            here = place()
            if here is not None:
                self.seen[here] = None
                if here == self.at and self.left:
                    self.left -= 1
                    raise shapely.GEOSException("TopologyException: side location conflict at 1 2.")
            return operation(*given, **how)

        return done

    def fail(self, at: str, times: int) -> None:
        self.at, self.left = at, times

    def places(self) -> Iterator[tuple[str, Asked, Outcome]]:
        """Every place, with the first request that comes by it and what comes of that."""
        known: set[str] = set()
        for asked in REQUESTS:
            self.seen.clear()
            self.left = 0
            plain = drawn(asked)
            new = [at for at in self.seen if at not in known]
            assert new, asked
            known.update(new)
            yield from ((at, asked, plain) for at in new)


@pytest.fixture
def overlays(monkeypatch: pytest.MonkeyPatch) -> Overlays:
    return Overlays(monkeypatch)


def codes(outcome: Outcome) -> list[str] | None:
    """The faults with which a request is refused, by their codes; None if it is answered."""
    if isinstance(outcome, Done):
        return None
    assert isinstance(outcome, Rejected), outcome
    assert isinstance(outcome.kind, type)
    assert issubclass(outcome.kind, Refused)
    return [fault.code for fault in outcome.arguments[0]]


def test_an_overlay_that_fails_once_fails_no_request(overlays: Overlays) -> None:
    for at, asked, plain in overlays.places():
        overlays.fail(at, times=1)
        assert codes(drawn(asked)) == codes(plain), at
        assert not overlays.left, at


def test_an_overlay_that_fails_on_every_grid_is_a_fault_of_the_block(overlays: Overlays) -> None:
    """It is refused by RFC 9457; 500 would be an error of the service."""
    for at, asked, _ in overlays.places():
        overlays.fail(at, times=1000)
        assert codes(drawn(asked)) == ["too-fine"], at
