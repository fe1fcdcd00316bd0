"""An SVG that a person sends, made safe and read as the page that it is.

It is turned into a PDF, and that is read: so there is one reader, and style sheets, ``use``,
transformations and units are the business of the library that draws it. Nothing is fetched: no
reference that leads out of the file is followed.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any, Final
from xml.etree.ElementTree import Element, ParseError

import pikepdf
from cairosvg.surface import PDFSurface
from defusedxml import DefusedXmlException, ElementTree

from piecewright.service.pattern_files.limits import (
    MOST_OBJECTS,
    PatternFileError,
)

_MOST_DEPTH: Final = 100
"""Elements within elements."""

_MOST_DRAWN: Final = MOST_OBJECTS
"""Elements that are drawn, those that ``use`` repeats counted each time."""

_PER_INCH: Final = 96
"""CSS pixels, the user units of SVG (SVG 2, 8.9; CSS Values 4, 6.2)."""

_USUAL: Final = 11.0
"""Inches: the longer side of a letter sheet, which a drawing without a size is taken for."""

_SIZED: Final = re.compile(r"\s*[\d.]+(?:e[+-]?\d+)?\s*(in|cm|mm|pt|pc|q)\s*", re.IGNORECASE)
"""A length in a unit that is a length on paper; pixels are whatever a screen makes of them."""


def svg_as_pdf(data: bytes) -> tuple[bytes, bool]:
    """A drawing as a PDF of one page, and whether it says how large it is on paper.

    Raises:
        PatternFileError: it cannot be read, or has more in it than is read.
    """
    try:
        root = ElementTree.fromstring(data, forbid_dtd=False, forbid_entities=True)
    except DefusedXmlException:
        message = "this SVG defines entities, which are not read; save it as plain SVG"
        raise PatternFileError("entities", message) from None
    except (ParseError, ValueError, LookupError) as error:
        message = f"this SVG is not well-formed XML ({str(error)[:120]}); save it anew"
        raise PatternFileError("unreadable", message) from None
    if root.tag.rpartition("}")[2] != "svg":
        raise PatternFileError("unreadable", "this XML file is no SVG drawing")
    _check_count(root)
    pdf = _as_pdf(data)
    if all(_SIZED.fullmatch(root.get(side, "")) for side in ("width", "height")):
        return pdf, True
    # What is a line's width apart can be told only on a page of a usual size.
    return _as_pdf(data, _USUAL / _longest_side(pdf)), False


def _longest_side(pdf: bytes) -> float:
    """Inches, of the only page of a PDF."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        left, bottom, right, top = (float(side) for side in document.pages[0].mediabox)
    return max(right - left, top - bottom, 1e-6) / 72


def _as_pdf(data: bytes, scale: float = 1.0) -> bytes:
    """The drawing as a PDF.

    Raises:
        PatternFileError: it cannot be drawn.
    """
    try:
        pdf: bytes = PDFSurface.convert(data, url_fetcher=_refuse, dpi=_PER_INCH, scale=scale)
    except Exception as error:
        # The library raises whatever its own code meets in a file that it does not expect.
        if isinstance(error, MemoryError):
            raise
        message = "this SVG cannot be drawn; save it as plain SVG, or print it to a PDF"
        raise PatternFileError("unreadable", message) from error
    return pdf


def _refuse(url: str, *_: Any, **__: Any) -> bytes:
    """Fetches nothing: what a drawing refers to elsewhere is left out."""
    return b""


def _check_count(root: Element) -> None:
    """Refuse a drawing in which repetitions of repetitions make up more than is drawn in time."""
    by_id = {one.get("id"): one for one in root.iter() if one.get("id")}
    counts: dict[int, int] = {}
    under_way: set[int] = set()

    def drawn(element: Element, depth: int) -> int:
        if depth > _MOST_DEPTH:
            raise PatternFileError("too-deep", f"elements are nested more than {_MOST_DEPTH} deep")
        key = id(element)
        if key in under_way:
            raise PatternFileError("too-deep", "an element of this SVG repeats itself")
        if key in counts:
            return counts[key]
        under_way.add(key)
        total = 1 + sum(drawn(child, depth + 1) for child in element)
        for target in _repeated(element):
            if target in by_id:
                total += drawn(by_id[target], depth + 1)
        under_way.discard(key)
        if total > _MOST_DRAWN:
            message = f"this SVG draws more than {_MOST_DRAWN:,} elements; a pattern has hundreds"
            raise PatternFileError("too-much", message)
        counts[key] = total
        return total

    drawn(root, 0)


def _repeated(element: Element) -> Iterator[str]:
    """Ids of what an element draws once more: by ``use``, or as a pattern, marker or mask."""
    for name, value in element.attrib.items():
        if name.rpartition("}")[2] == "href" and value.startswith("#"):
            yield value[1:]
        yield from re.findall(r"url\(\s*['\"]?#([^'\")]+)", value)
