"""The operation that reads a pattern's file."""

from __future__ import annotations

from typing import Any, Final

from piecewright.patchwork.reading.choices import Choices
from piecewright.service.http.openapi.operations import (
    WITH_A_BODY,
    content_of,
    operation,
)
from piecewright.service.http.openapi.problems import file_refusal_response
from piecewright.service.pattern_files.files import READERS, read_file
from piecewright.service.pattern_files.limits import MOST_BYTES, MOST_PAGES
from piecewright.service.requests.choices import PatternChoices
from piecewright.service.responses.answer import JSON, MEDIA_TYPES
from piecewright.service.responses.reading import PICTURES, PatternReading, read_back

_FILE: Final[dict[str, Any]] = {"type": "string", "format": "binary"}
_PICTURE: Final[dict[str, Any]] = {
    "type": "string",
    "description": "What was read, over the grey original: every patch with its number.",
}
_PENNANT: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="4in" height="4in" viewBox="0 0 4 4">'
    '<g fill="none" stroke="black" stroke-width=".01">'
    '<path d="M.5 .5H3.5V3.5H.5ZM.5 .5L3.5 2L.5 3.5"/>'
    '<path d="M.25 .25H3.75V3.75H.25Z" stroke="gray" stroke-dasharray=".06 .04"/></g>'
    '<g font-size=".2"><text x="1.2" y="2.1">1</text><text x="2.8" y="1.1">2</text>'
    '<text x="2.8" y="3.2">3</text></g></svg>'
)
"""A pennant, sewn on paper: a triangle and the two beside it."""


def reading_paths() -> dict[str, dict[str, Any]]:
    """The operation by address and method."""
    pages = read_file(_PENNANT.encode(), "image/svg+xml").pages
    read = read_back(pages, Choices(), "in").to_json()
    made = operation(
        "readPattern",
        "patterns",
        "A pattern of your own read back into geometry",
        "Send the file of a foundation pattern that you made or bought, for your own use; the "
        "rights stay with its maker, and nothing of the file is kept. Its lines, numbers and "
        "allowances are read back into sections and patches; `block` goes into any other request "
        "as it is, so that the pattern can be had at another size with a seam allowance that does "
        "not grow. What is not certain is a question with options, never a guess: send the same "
        "file with `choices` to answer it.",
        {
            JSON: content_of(PatternReading, read),
            **{MEDIA_TYPES[form]: {"schema": _PICTURE} for form in PICTURES},
        },
        problems_=WITH_A_BODY,
    )
    made["requestBody"] = {
        "required": True,
        "description": f"At most {MOST_BYTES // 2**20} MiB and {MOST_PAGES} pages.",
        "content": {
            "application/pdf": {"schema": _FILE},
            "image/svg+xml": {"schema": {"type": "string"}, "example": _PENNANT},
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["file"],
                    "properties": {
                        "file": _FILE,
                        "choices": PatternChoices,
                    },
                },
                "encoding": {
                    "file": {"contentType": ", ".join(READERS)},
                    "choices": {"contentType": JSON},
                },
            },
        },
    }
    made["responses"]["422"] = file_refusal_response()
    return {"/v1/readings": {"post": made}}
