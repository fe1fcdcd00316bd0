"""What stands on a page of a pattern, whatever file it came in: marks and words.

The plane of a page has x to the right and y down, in inches, with its upper left corner at the
origin, as the page is seen.
"""

from __future__ import annotations

from dataclasses import dataclass

from piecewright.patchwork.geometry.paths import Segment
from piecewright.patchwork.geometry.vectors import Point


@dataclass(frozen=True, slots=True)
class Style:
    """How a mark is drawn. Marks of one style mean one thing, as a rule.

    Attributes:
        filled: whether it is the border of a filled shape, rather than a line.
        colour: ``#rrggbb``.
        width: of a line, inches, to 0.001; 0 for a border.
        dashed: whether the line is broken.
    """

    filled: bool
    colour: str
    width: float = 0.0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """One subpath: segments that each start where the one before ends.

    Attributes:
        closed: whether the last ends where the first starts; a filled shape always does.
    """

    path: tuple[Segment, ...]
    closed: bool
    style: Style


@dataclass(frozen=True, slots=True)
class Word:
    """A word as it stands on the page.

    Attributes:
        height: of its letters, as given by the size of its type, inches.
        at: the middle of the rectangle round it.
    """

    text: str
    at: Point
    height: float


@dataclass(frozen=True, slots=True)
class Page:
    """A page of a pattern.

    Attributes:
        number: from 1.
        is_true: whether the file says how large it is, so that its inches are inches.
        pictures: how many there are that are made of dots, not lines.
    """

    number: int
    width: float
    height: float
    marks: tuple[Mark, ...]
    words: tuple[Word, ...]
    is_true: bool = True
    pictures: int = 0
