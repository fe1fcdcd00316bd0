"""What a maker has said of a pattern, in answer to questions of its reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from piecewright.patchwork.geometry.vectors import Point

Use: TypeAlias = Literal["seam", "allowance", "other"]
"""What lines of a style are: seams and the outlines of sections, edges of the allowance, or no part
of a section."""

Side: TypeAlias = Literal["printed", "face"]
"""What a sheet shows: the side of a foundation that is printed and sewn on, which is the mirror
image of the finished block; or the block as it is seen when it is finished."""


@dataclass(frozen=True, slots=True)
class KnownLength:
    """A distance on a sheet whose true length is known; its ends are in the file's inches."""

    sheet: int
    start: Point
    end: Point
    length: float


@dataclass(frozen=True, slots=True)
class GivenNumber:
    """A number for the patch that holds a place of a sheet, such as ``A3``; empty for none."""

    sheet: int
    at: Point
    text: str


@dataclass(frozen=True, slots=True)
class GivenAllowance:
    """How wide the allowance of a section is, inches.

    Attributes:
        is_inside: whether it is a part of what the outermost line of the section encloses, so that
            this line is where the paper is cut.
    """

    width: float
    is_inside: bool = False


@dataclass(frozen=True, slots=True)
class Choices:
    """Answers to questions; what is left out is worked out. Places are in the file's inches.

    Attributes:
        sheets: numbers of the sheets that count; all if None.
        styles: by the id of the style.
        allowance: by the id of the section; ``"*"`` for all others.
    """

    sheets: frozenset[int] | None = None
    styles: Mapping[str, Use] = field(default_factory=dict)
    known: KnownLength | None = None
    allowance: Mapping[str, GivenAllowance] = field(default_factory=dict)
    numbers: tuple[GivenNumber, ...] = ()
    side: Side | None = None
    scale: Literal["page", "test-square"] | None = None

    def allowance_of(self, section: str) -> GivenAllowance | None:
        """What was said of a section's allowance."""
        return self.allowance.get(section) or self.allowance.get("*")
