"""The schemas of lengths and places that others refer to, by their names in the document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from piecewright.service.requests.fields import LONGEST_ID

_LENGTH: Final[dict[str, Any]] = {
    "description": (
        "A number in the request's unit, or text as people type it: a decimal or a fraction, with "
        "or without a unit (`in`, `inches`, `″`, `cm`, `mm`), in any case. A comma is a decimal "
        "comma; where it could part thousands (`1,250`) it is refused."
    ),
    "oneOf": [
        {"type": "number"},
        {
            "type": "string",
            "maxLength": 40,
            "pattern": (
                r"^\s*[+-]?\s*(\d+(\s+|\s*-\s*)\d+\s*[/⁄]\s*\d+|\d+\s*[/⁄]\s*\d+"
                r"|(\d+\s*-?\s*)?[¼½¾⅐-⅞↉]|\d+([.,]\d*)?|[.,]\d+)"
                r"\s*([A-Za-z]+\.?|[\"″”]|''|’’|′′)?\s*$"
            ),
        },
    ],
    "examples": [3.5, "3 1/2", "3-1/2", "7⅓", "7/8 inches", "12 mm", "7,5 cm"],
}


def _pair_of(item: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": dict(item), "minItems": 2, "maxItems": 2}


_POINT: Final[dict[str, Any]] = {
    "description": "`[x, y]`: x to the right, y down, seen from the face of the block.",
    **_pair_of({"$ref": "#/components/schemas/Length"}),
}
_PLACE: Final[dict[str, Any]] = {
    "description": "`[x, y]` in the answer's unit, to 6 decimals: x to the right, y down.",
    **_pair_of({"type": "number"}),
}
_JOINS: Final[dict[str, Any]] = {
    "description": (
        "The order of sewing: a piece id, or a pair of units that are sewn to each other. "
        '`[["a", "b"], ["c", "d"]]`: join a to b, c to d, then both.'
    ),
    "oneOf": [
        {"type": "string", "minLength": 1, "maxLength": LONGEST_ID},
        # Generators of clients drop a type whose items refer to itself. That both items are joins
        # is said so that they need not know it.
        {**_pair_of({}), "contains": {"$ref": "#/components/schemas/Joins"}, "minContains": 2},
    ],
}


COMPONENTS: Final[Mapping[str, dict[str, Any]]] = {
    "Length": _LENGTH,
    "Point": _POINT,
    "Place": _PLACE,
    "Joins": _JOINS,
}
