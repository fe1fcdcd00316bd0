"""The pages of a pattern's file, whatever kind of file it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.reading.page import Page
from piecewright.service.pattern_files.limits import PatternFileError
from piecewright.service.pattern_files.pdf import pages_of_pdf
from piecewright.service.pattern_files.svg import svg_as_pdf
from piecewright.service.requests.parse import Refused


@dataclass(frozen=True, slots=True)
class PatternFile:
    """A file that was read.

    Attributes:
        pages: what stands on them.
        pdf: the file as a PDF that shows the same.
    """

    pages: Sequence[Page]
    pdf: bytes


def _pdf_file(data: bytes) -> PatternFile:
    return PatternFile(pages_of_pdf(data), data)


def _svg_file(data: bytes) -> PatternFile:
    pdf, is_true = svg_as_pdf(data)
    pages = pages_of_pdf(pdf)
    return PatternFile([replace(page, is_true=is_true) for page in pages], pdf)


READERS: Final[Mapping[str, Callable[[bytes], PatternFile]]] = {
    "application/pdf": _pdf_file,
    "image/svg+xml": _svg_file,
}
"""By media type."""


MEDIA_ENDINGS: Final[Mapping[str, str]] = {"application/pdf": ".pdf", "image/svg+xml": ".svg"}
"""What names of files end in, by media type."""


def read_file(data: bytes, media_type: str) -> PatternFile:
    """A pattern's file with what stands on its pages.

    Args:
        media_type: one of ``READERS``.

    Raises:
        Refused: it cannot be read, or has more in it than is read.
    """
    try:
        return READERS[media_type](data)
    except PatternFileError as error:
        raise Refused((Fault("/file", error.code, error.detail),), "in") from None
