"""Sheets as a ZIP archive, an SVG file a sheet."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from typing import Final

from piecewright.patchwork.lengths import Unit
from piecewright.render.output.svg import sheet_svg
from piecewright.render.sheets.page import Page

_WHEN: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a ZIP entry can carry; the same contents give the same bytes."""


def sheets_zip(pages: Sequence[Page], unit: Unit = "in") -> bytes:
    """An archive of ``page-01.svg``, ``page-02.svg``, ... in the order of the pages."""
    # Of one length, so that programs that sort by letters keep the order of the sheets.
    digits = max(2, len(str(len(pages))))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, page in enumerate(pages, 1):
            entry = zip_entry(f"page-{number:0{digits}}.svg")
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, sheet_svg(page, unit))
    return out.getvalue()


def zip_entry(name: str) -> zipfile.ZipInfo:
    """An entry, not compressed, that depends on nothing but its name and content."""
    entry = zipfile.ZipInfo(name, _WHEN)
    # Permissions on Unix, in the high half; without them some tools make a file that nobody may
    # read.
    entry.external_attr = 0o644 << 16
    return entry
