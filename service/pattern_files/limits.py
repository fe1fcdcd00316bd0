"""What a pattern's file may hold, and how it is refused."""

from __future__ import annotations

MOST_BYTES = 20 * 2**20
"""Of a file: twice the largest patterns with photographs in them."""

MOST_PAGES = 50
"""A pattern for a whole quilt has some thirty."""

MOST_OBJECTS = 20_000
"""Of one page, those in forms included. A page of a pattern has some hundreds."""

MOST_SEGMENTS = 60_000
"""Of one page's paths; a page of a pattern has some thousands, letters as outlines included."""

DEEPEST = 8
"""Forms within forms; programs that draw nest them two or three deep."""

MOST_CONTENT = 64 * 2**20
"""Bytes of unpacked drawing, in all: some ten seconds of PDFium's time."""

LARGEST_SIDE = 300
"""Inches, of a page: 25 ft, wider than any plotter's roll is printed."""


class PatternFileError(Exception):
    """A file that is not read.

    Attributes:
        code: a short fixed word for programs.
        detail: what is wrong with it and what to do, for people.
    """

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(code, detail)
        self.code, self.detail = code, detail
