"""The requests that the documentation shows, from the Saltmarsh guild's pattern drawer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final


@dataclass(frozen=True, slots=True)
class Example:
    """A request's body, and what it shows."""

    summary: str
    body: dict[str, Any]


SIGNAL_FLAG: Final = Example(
    "A drawing: a frame and the lines across it",
    {
        "block": {
            "name": "Signal Flag",
            "frame": [[0, 0], ["6 1/2", 0], ["6 1/2", "6 1/2"], [0, "6 1/2"]],
            "lines": [[[0, 0], ["6 1/2", "6 1/2"]], [["3 1/4", "3 1/4"], [0, "6 1/2"]]],
            "fabrics": [
                {"id": "sea", "name": "Harbour blue", "colour": "#24506e"},
                {"id": "sail", "name": "Sailcloth", "colour": "#f2ead8"},
            ],
            "fills": [
                {"at": [5, 2], "fabric": "sea"},
                {"at": [1, 3], "fabric": "sail"},
                {"at": [3, 5], "fabric": "sea"},
            ],
        },
        "allowance": "1/4 in",
        "sheet": {"paper": "a4"},
    },
)

HARBOUR_LIGHT: Final = Example(
    "Pieces, one of them with a curve, drawn in inches and answered in millimetres",
    {
        "block": {
            "name": "Harbour Light",
            "unit": "in",
            "pieces": [
                {
                    "id": "lamp",
                    "path": "M0 0 L3 0 A3 3 0 0 1 0 3 Z",
                    "fabric": "light",
                    "grain": 45,
                },
                {
                    "id": "sky",
                    "path": "M3 0 H4 V4 H0 V3 A3 3 0 0 0 3 0 Z",
                    "fabric": "night",
                },
                {
                    "id": "quay",
                    "outline": [[0, 4], [4, 4], [4, "4 1/2"], [0, "4 1/2"]],
                    "fabric": "stone",
                    "grain": "free",
                },
            ],
            "fabrics": [
                {"id": "light", "name": "Lamplight", "colour": "#f2c14e"},
                {"id": "night", "name": "Night sky", "colour": "#1c2541"},
                {"id": "stone", "name": "Quay stone", "colour": "#8d8d86"},
            ],
            "joins": [["lamp", "sky"], "quay"],
        },
        "unit": "mm",
        "finish": {"width": 160},
        "allowance": {"seam": "1/4 in", "edge": 10},
        "corners": "matched",
        "sheet": {"paper": "a4", "orientation": "landscape", "margin": 8, "overlap": "10 mm"},
    },
)

GUILD_STAR: Final = Example(
    "A block of the catalogue at 12 in, on paper of the guild's own size",
    {
        "block": "sawtooth-star",
        "finish": {"width": 12},
        "corners": "blunt",
        "sheet": {"paper": {"width": 9, "height": 12}},
    },
)

LOOSE_END: Final = Example(
    "A drawing with a fault: a line that ends in the air",
    {
        "block": {
            "name": "Torn Flag",
            "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
            "lines": [[[0, 0], [6, 6]], [[0, 6], ["2 1/2", "3 1/4"]]],
        }
    },
)

GOOD: Final = {
    "signal-flag": SIGNAL_FLAG,
    "harbour-light": HARBOUR_LIGHT,
    "guild-star": GUILD_STAR,
}
FAULTY: Final = {"torn-flag": LOOSE_END}
