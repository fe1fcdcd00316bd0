"""A pattern's pages as grey pictures, to lie under what was read of them."""

from __future__ import annotations

import io
from collections.abc import Collection
from typing import Final

import pypdfium2 as pdfium

_PER_INCH: Final = 100
"""Dots: fine enough to see a line beside the one that was read for it."""

_MOST_DOTS: Final = 20_000_000
"""Of one picture; a larger page has fewer dots to the inch."""

_INK: Final = 0.55
"""Of its darkness that the original keeps, so that what is drawn over it stands out."""


def originals_of(pdf: bytes, numbers: Collection[int]) -> dict[int, bytes]:
    """Grey PNG pictures of pages, by their numbers.

    Args:
        pdf: that pages have been read of before.
    """
    document = pdfium.PdfDocument(pdf)
    try:
        return {
            number: _picture(document[number - 1])
            for number in sorted(numbers)
            if 1 <= number <= len(document)
        }
    finally:
        document.close()


def _picture(page: pdfium.PdfPage) -> bytes:
    width, height = page.get_size()
    dots = width * height * (_PER_INCH / 72) ** 2
    scale = _PER_INCH / 72 * min(1.0, (_MOST_DOTS / dots) ** 0.5)
    picture = page.render(scale=scale, grayscale=True).to_pil()
    pale = picture.point([round(255 - (255 - level) * _INK) for level in range(256)])
    out = io.BytesIO()
    pale.save(out, "PNG", optimize=False)
    return out.getvalue()
