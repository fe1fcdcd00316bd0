"""SVG 2 path data to outlines (by fontTools' parser) and back."""

from __future__ import annotations

import math
import re

from fontTools.pens.basePen import decomposeQuadraticSegment
from fontTools.svgLib.path import parse_path

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.vectors import Point, between

LONGEST = 20_000
"""Characters of path data that are read.

The 200 curves that a piece may have, each with six numbers of a dozen digits, come to less.
"""

_COMMAND = re.compile(r"[MLHVCSQTAZmlhvcsqtaz]")
_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
_FLAG = re.compile(r"[01]")
_SPACE = re.compile(r"[\s,]*", re.ASCII)


class PathDataError(ValueError):
    """Path data that is not one closed subpath; the message says what is wrong."""


class _OutlinePen:
    """Collects the one closed subpath that a piece's path data must be."""

    def __init__(self) -> None:
        self.segments: list[Segment] = []
        self.at: Point | None = None
        self.closed = False

    def moveTo(self, point: Point) -> None:  # noqa: N802 - the parser's protocol
        if self.at is not None:
            raise PathDataError("a piece has one subpath; this path data starts a second one")
        self.at = self.first = point

    def lineTo(self, point: Point) -> None:  # noqa: N802
        assert self.at is not None
        if point != self.at:
            self.segments.append(Line(self.at, point))
        self.at = point

    def curveTo(self, handle1: Point, handle2: Point, point: Point) -> None:  # noqa: N802
        assert self.at is not None
        self.segments.append(Curve(self.at, handle1, handle2, point))
        self.at = point

    def qCurveTo(self, *points: Point) -> None:  # noqa: N802
        # A quadratic Bézier as a cubic: handles two thirds of the way to its one handle.
        for handle, point in decomposeQuadraticSegment(points):
            assert self.at is not None
            self.curveTo(between(self.at, handle, 2 / 3), between(point, handle, 2 / 3), point)

    def arcTo(  # noqa: N802
        self, rx: float, ry: float, rotation: float, large: bool, sweep: bool, point: Point
    ) -> None:
        assert self.at is not None
        self.segments.extend(paths.arc(self.at, rx, ry, rotation, large, sweep, point))
        self.at = point

    def closePath(self) -> None:  # noqa: N802
        self.lineTo(self.first)
        self.closed = True

    def endPath(self) -> None:  # noqa: N802
        if self.at != self.first:
            raise PathDataError("the path is not closed; end it with Z")
        self.closed = True


def parse(data: str) -> Outline:
    """Read path data with one closed subpath (M L H V A C Q Z and S T, absolute or relative).

    Coordinates keep the data's own unit.

    >>> [segment.end for segment in parse("M0 0 H2 V1 Z")]
    [(2.0, 0.0), (2.0, 1.0), (0.0, 0.0)]

    Raises:
        PathDataError: the data is no path data, is not closed, or has several subpaths.
    """
    if len(data) > LONGEST:
        raise PathDataError(f"path data of more than {LONGEST} characters")
    pen = _OutlinePen()
    try:
        parse_path(_spaced(data), pen)
    except PathDataError:
        raise
    # What the parser raises for data that it does not understand.
    except (ValueError, IndexError, TypeError, AssertionError, ArithmeticError) as error:
        raise PathDataError(f"cannot read {data!r:.60} as SVG path data") from error
    if not pen.closed:
        raise PathDataError("the path is not closed; end it with Z")
    return tuple(pen.segments)


def _spaced(data: str) -> str:
    """The data as plain words with spaces between.

    The parser skips what it does not know and reads ``04`` and ``4.e1`` as two numbers each,
    so it is given only what it reads as SVG 2 does.
    """
    words: list[str] = []
    # Flags of an arc need no space after them: ``A1 1 0 0110 10`` has the flags 0 and 1.
    arc, arguments = False, 0
    at = _end(_SPACE, data, 0)
    while at < len(data):
        if word := _COMMAND.match(data, at):
            arc, arguments = word[0] in "Aa", 0
            words.append(word[0])
        elif word := (_FLAG if arc and arguments % 7 in (3, 4) else _NUMBER).match(data, at):
            arguments += 1
            if not math.isfinite(float(word[0])):
                raise PathDataError(f"{word[0]:.20} is too large a number")
            words.append(word[0] if word.re is _FLAG else repr(float(word[0])))
        else:
            raise PathDataError(f"cannot read {data[at:]!r:.60} as SVG path data")
        at = _end(_SPACE, data, word.end())
    return " ".join(words)


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    found = pattern.match(text, at)
    return found.end() if found else at


def written(outline: Outline, per_inch: float = 1.0, decimals: int = 6) -> str:
    """The outline as path data, its coordinates times ``per_inch``.

    >>> written(paths.polygon([(0, 0), (0.5, 0), (0, 2)]))
    'M0 0 L0.5 0 L0 2 L0 0 Z'
    """

    def pair(point: Point) -> str:
        return " ".join(
            # Plus zero, so that a rounded -0.0 is written as 0.
            f"{round(c * per_inch, decimals) + 0.0:.{decimals}f}".rstrip("0").rstrip(".")
            for c in point
        )

    words = [f"M{pair(outline[0].start)}"]
    for segment in outline:
        if isinstance(segment, Line):
            words.append(f"L{pair(segment.end)}")
        else:
            words.append(f"C{pair(segment.handle1)} {pair(segment.handle2)} {pair(segment.end)}")
    return " ".join([*words, "Z"])
