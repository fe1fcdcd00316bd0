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

GUILD_QUILT: Final = Example(
    "A quilt of twenty stars with a border and a binding, one fabric with a one-way print",
    {
        "block": "sawtooth-star",
        "finish": {"width": 12},
        "quilt": {
            "blocks": 20,
            "width": 48,
            "height": 60,
            "border": {"width": 4, "fabric": "dark", "corners": "mitred"},
            "binding": {"width": "2 1/2", "fabric": "accent"},
        },
        "cloth": {"width": "42 in", "shrinkage": 3, "spare": 5, "directional": ["accent"]},
    },
)

PAPER_GEESE: Final = Example(
    "Geese for sewing on paper, at twice their size, printed for a light box with thin lines",
    {
        "block": "flying-geese",
        "finish": {"scale": 2},
        "foundation": {"mirrored": False, "line_weight": 0.4},
    },
)

GIVEN_SECTIONS: Final = Example(
    "A fan of three blades as a foundation section, its order of sewing given",
    {
        "block": {
            "name": "Breakwater",
            "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
            "lines": [[[2, 0], [3, 6]], [[4, 0], [3, 6]]],
            "sections": [{"id": "fan", "order": ["p1", "p2", "p3"]}],
        },
        "finish": {"width": 8},
    },
)

GUILD_PRESSING: Final = Example(
    "One seam pressed as the maker wishes, thick ones open, cut and sewn with great care",
    {
        "block": "ohio-star",
        "finish": {"width": 9},
        "pressing": {"open_above": 9, "keep": [{"step": "1", "press": "second"}]},
        "deviation": {"cutting": "1/64 in", "sewing": "1/64 in"},
    },
)

ADAS_PACKET: Final = Example(
    "A packet with a name on every sheet",
    {"block": "sawtooth-star", "finish": {"width": 12}, "for": "Ada"},
)

PAPER_PACKET: Final = Example(
    "A packet for sewing on paper: cover, map and foundation sections, on A4",
    {
        "block": "flying-geese",
        "finish": {"scale": 2},
        "sheet": {"paper": "a4"},
        "parts": ["cover", "block-map", "foundation"],
    },
)

SPRING_CLASS: Final = Example(
    "Kits for a class: three makers, one of whom wants a larger block on A3",
    {
        "title": "Harbour sampler, spring class",
        "defaults": {
            "block": "sawtooth-star",
            "finish": {"width": 12},
            "sheet": {"paper": "a4", "margin": "1/2 in"},
        },
        "items": [
            {"for": "Ada"},
            {"for": "Bente"},
            {"for": "Carl", "finish": {"width": 16}, "sheet": {"paper": "a3"}},
        ],
    },
)

HARBOUR_QUILT: Final = Example(
    "Six blocks in two rows, made by two, one of them turned",
    {
        "title": "Harbour quilt",
        "quilt": {
            "rows": 2,
            "columns": 3,
            "blocks": [
                ["nine-patch", "nine-patch", "pinwheel"],
                ["nine-patch", "nine-patch", "pinwheel"],
            ],
            "turns": [[0, 0, 0], [0, 0, 180]],
        },
        "makers": ["Ada", "Wim"],
        "defaults": {"finish": {"width": 12}},
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
    "guild-quilt": GUILD_QUILT,
}
FAULTY: Final = {"torn-flag": LOOSE_END}
FOUNDATIONS: Final = {
    "signal-flag": SIGNAL_FLAG,
    "guild-star": GUILD_STAR,
    "paper-geese": PAPER_GEESE,
    "breakwater": GIVEN_SECTIONS,
}
PLANS: Final = {**GOOD, "guild-pressing": GUILD_PRESSING}
PACKETS: Final = {
    "adas-packet": ADAS_PACKET,
    "paper-packet": PAPER_PACKET,
    "signal-flag": SIGNAL_FLAG,
}
BATCHES: Final = {"spring-class": SPRING_CLASS}
QUILTS: Final = {"harbour-quilt": HARBOUR_QUILT}
