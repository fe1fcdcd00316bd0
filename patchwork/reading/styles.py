"""The styles in which the lines of a pattern are drawn, and choices of those that are seams."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.reading.choices import Use
from piecewright.patchwork.reading.lines import DrawnLine, is_thin, lines_of
from piecewright.patchwork.reading.page import Mark, Page, Style

MOST_TRIED = 64
"""Choices of styles that are looked at: all of six styles. A pattern has two to four."""

_SHORTEST = 0.4
"""Inches: a style none of whose lines is longer draws dots, arrowheads or letters, not seams."""


@dataclass(frozen=True, slots=True)
class UsedStyle:
    """A style that lines of the file have.

    Attributes:
        id: ``s1``, ``s2``, …, those with the most ink first.
    """

    id: str
    style: Style


def used_styles(pages: Sequence[Page]) -> tuple[UsedStyle, ...]:
    """The styles of a file's lines; thin filled bars are lines, other fills are borders."""
    lengths: dict[Style, float] = defaultdict(float)
    for page in pages:
        for mark in page.marks:
            size = paths.run_length(mark.path)
            lengths[mark.style] += size / 2 if is_thin(mark) else size
    order = sorted(lengths, key=lambda s: (s.filled, -round(lengths[s], 3), s.colour, s.width))
    return tuple(UsedStyle(f"s{i + 1}", s) for i, s in enumerate(order))


def by_style(marks: Sequence[Mark]) -> dict[Style, list[Mark]]:
    """Marks by their style, without styles none of whose lines is longer than a letter."""
    found: dict[Style, list[Mark]] = defaultdict(list)
    for mark in marks:
        found[mark.style].append(mark)
    # A row of dashes is long, though no mark of it is; so it is lines that are asked.
    return {style: of for style, of in found.items() if any(map(_is_long, lines_of(of)))}


def _is_long(line: DrawnLine) -> bool:
    xs, ys = [p[0] for p in line.points], [p[1] for p in line.points]
    return max(max(xs) - min(xs), max(ys) - min(ys)) > _SHORTEST


def choices_of_styles(
    marks: Mapping[Style, Sequence[Mark]], said: Mapping[Style, Use]
) -> Iterator[frozenset[Style]]:
    """Which styles may be seams, the likeliest choices first.

    Lines come before borders of filled shapes: most patterns are drawn in lines, and tints lie
    under them. Of lines, all come before all but one, and so on.

    Args:
        said: what is known of styles; those that are said to be seams are in every choice.
    """
    seams = frozenset(s for s in marks if said.get(s) == "seam")
    open_ = [s for s in marks if s not in said]
    thin = {s for s in open_ if s.filled and all(is_thin(m) for m in marks[s])}
    drawn = [s for s in open_ if not s.filled or s in thin]
    tints = [s for s in open_ if s.filled and s not in thin]
    tried: set[frozenset[Style]] = set()
    for more in ((), tuple(tints)):
        for left_out in range(len(drawn) + 1):
            for out in itertools.combinations(reversed(drawn), left_out):
                choice = seams | (frozenset(drawn) - frozenset(out)) | frozenset(more)
                if choice and choice not in tried:
                    tried.add(choice)
                    yield choice
                if len(tried) >= MOST_TRIED:
                    return
