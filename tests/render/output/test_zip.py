"""Sheets in a ZIP archive."""

from __future__ import annotations

import io
import zipfile

from piecewright.render.output.svg import sheet_svg
from piecewright.render.output.zip import sheets_zip
from piecewright.render.sheets.layout import lay_out
from tests.render.specimens import HEADING, paper, plain


def test_archive_holds_a_file_a_sheet_in_order() -> None:
    pages = lay_out([plain("A", 14, 14)], paper("letter", "portrait"), HEADING)
    with zipfile.ZipFile(io.BytesIO(sheets_zip(pages, "mm"))) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == [f"page-0{n}.svg" for n in range(1, len(pages) + 1)]
        for name, page in zip(archive.namelist(), pages, strict=True):
            assert archive.read(name).decode("utf-8") == sheet_svg(page, "mm")


def test_same_pages_give_the_same_bytes() -> None:
    pages = lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    assert sheets_zip(pages) == sheets_zip(pages)
