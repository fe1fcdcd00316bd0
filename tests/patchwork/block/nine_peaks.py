"""A nine patch of triangles in squares: a block that is made of blocks."""

from __future__ import annotations

from typing import Any

Json = dict[str, Any]

PEAK = "triangle-in-a-square"
GROUND: Json = {"fabric": "background"}

NINE_PEAKS: Json = {
    "name": "Nine Peaks",
    "grid": {
        "blocks": [
            [GROUND, PEAK, GROUND],
            [PEAK, {"fabric": "dark"}, PEAK],
            [GROUND, PEAK, GROUND],
        ],
        "turns": [[0, 0, 0], [270, 0, 90], [0, 180, 0]],
    },
}
