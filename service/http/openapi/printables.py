"""The operations that make printables: each from its entry in ``PRINTABLES`` and its words here."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from piecewright.service.http.openapi import examples
from piecewright.service.http.openapi.examples import (
    FOUNDATIONS,
    GOOD,
    PACKETS,
    PLANS,
    QUILTS,
    Example,
)
from piecewright.service.http.openapi.operations import (
    FILE_NAME,
    PAGE,
    SHEET_COUNT,
    SVG_SHEETS,
    WITH_A_BODY,
    content_of,
    example_fits,
    files_of,
    operation,
)
from piecewright.service.json_text import read_json
from piecewright.service.requests.parse import Refused
from piecewright.service.responses.answer import JSON
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import Settings


@dataclass(frozen=True, slots=True)
class _Words:
    """What is said of the operation that makes a printable.

    Attributes:
        bodies: examples of requests, by name.
        shown: the request to which the example of an answer is given.
    """

    id: str
    summary: str
    description: str
    bodies: Mapping[str, Example]
    shown: Example = examples.SIGNAL_FLAG


_AS_SVG: Final = "on one SVG canvas or one sheet (`page`), or a ZIP with an SVG file a sheet"

_WORDS: Final = {
    "templates": _Words(
        "makeTemplates",
        "Cutting templates",
        "At true size, in the form that `Accept` asks for: outlines as JSON (the default), "
        "all sheets as a PDF, all templates on one SVG canvas or one sheet of them "
        "(`page`), or a ZIP with an SVG file a sheet.",
        GOOD,
    ),
    "sewing-plan": _Words(
        "makeSewingPlan",
        "Sewing plan",
        "Steps with what is joined to what, along which seam, pressed which way and "
        "trimmed to which size; which meetings nest and why the others cannot; how far off "
        "units and points may come out. The pressing plan has the most nested meetings "
        "possible (`optimal` where that is proven). As JSON (the default), as cards on "
        f"sheets in a PDF, {_AS_SVG}.",
        PLANS,
    ),
    "block-map": _Words(
        "makeBlockMap",
        "Block map",
        "The block at its finished size, without seam allowance: fabrics as pale fills "
        "with patterns, piece ids, step numbers on the seams, arrows toward the pressed "
        "side, and meetings that nest or do not. As JSON (the default), as sheets in a "
        f"PDF, {_AS_SVG}.",
        PLANS,
    ),
    "cutting-list": _Words(
        "makeCuttingList",
        "Cutting list and yardage",
        "What to cut from each fabric, strip by strip, and how much cloth to buy: as JSON "
        f"(the default), as sheets to tick off in a PDF, {_AS_SVG}. Squares are cut at s + 2a; "
        "half-square triangles from a square of s + (2 + √2)a cut once; quarter-square "
        "triangles from one of s + (2 + 2√2)a cut twice; rounded up to 1/8 in or 0.5 cm.",
        GOOD,
    ),
    "foundation": _Words(
        "makeFoundation",
        "Foundation sections",
        "For sewing on paper: the block's own sections, or else the fewest that work, each "
        "with the order of sewing and the rectangles of fabric to cut. As JSON (the "
        "default; seen from the face), or printed as mirror images: as sheets in a PDF, "
        f"{_AS_SVG}. A block "
        "with curved or set-in seams has none: the problem names every such seam.",
        FOUNDATIONS,
    ),
    "quilt-plan": _Words(
        "planQuilt",
        "Plan of a group quilt",
        "Shares the blocks of a quilt out evenly among its makers, and plans the pressing "
        "of all of them together, so that seams nest inside blocks and between neighbours "
        "with as few variants of each block as possible; says in which order blocks and "
        "rows are joined. As JSON (the default), as sheets in a PDF, "
        f"{_AS_SVG}. Sent to `/v1/batches`, the "
        "same request gives each maker a packet.",
        QUILTS,
        examples.HARBOUR_QUILT,
    ),
    "packet": _Words(
        "makePacket",
        "Packet",
        "The parts that are asked for in one document, its sheets counted through: a cover "
        "with the block, its finished size, what the packet holds and what to mind; block "
        "map, sewing plan, cutting list, templates or foundation sections. As JSON (the "
        "default; what the packet holds), as a PDF with bookmarks, or a ZIP with an SVG "
        "file a sheet.",
        PACKETS,
        examples.PAPER_PACKET,
    ),
}
"""By the names of ``PRINTABLES``, in the order of the document."""


def printable_paths(settings: Settings) -> dict[str, dict[str, Any]]:
    """The operations by address and method."""
    return {f"/v1/{name}": {"post": _operation(name, settings)} for name in _WORDS}


def _operation(name: str, settings: Settings) -> dict[str, Any]:
    """The operation that makes a printable."""
    words, thing = _WORDS[name], PRINTABLES[name]
    shown = None
    if example_fits(settings):
        asked = thing.read(words.shown.body, settings)
        with suppress(Refused):  # it takes more sheets than this service gives
            shown = read_json(thing.answer(asked, "json", settings.max_sheets, None, False).content)
    by_the_sheet = "svg" in thing.forms
    return operation(
        words.id,
        "printables",
        words.summary,
        words.description,
        {
            JSON: content_of(thing.answer_schema, shown),
            **files_of(form for form in thing.forms if form != "json"),
        },
        body=words.bodies,
        parameters=[PAGE, SVG_SHEETS] if by_the_sheet else [SVG_SHEETS],
        headers={**FILE_NAME, **SHEET_COUNT},
        problems_=(*WITH_A_BODY, 404) if by_the_sheet else WITH_A_BODY,
        settings=settings,
        schema=thing.request_schema,
    )
