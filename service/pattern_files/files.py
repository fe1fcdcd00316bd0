"""The pages of a pattern's file, whatever kind of file it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.reading.page import Page
from piecewright.service.pattern_files.limits import PatternFileError
from piecewright.service.pattern_files.pdf import pages_of_pdf
from piecewright.service.pattern_files.svg import pages_of_svg
from piecewright.service.requests.parse import Refused

READERS: Final[Mapping[str, Callable[[bytes], Sequence[Page]]]] = {
    "application/pdf": pages_of_pdf,
    "image/svg+xml": pages_of_svg,
}
"""By media type."""


def pages_of(data: bytes, media_type: str) -> Sequence[Page]:
    """What stands on the pages of a file.

    Args:
        media_type: one of ``READERS``.

    Raises:
        Refused: it cannot be read, or has more in it than is read.
    """
    try:
        return READERS[media_type](data)
    except PatternFileError as error:
        raise Refused((Fault("/file", error.code, error.detail),), "in") from None
