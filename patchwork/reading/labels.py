"""The numbers of patches: words that may be one, in classes that look alike.

Patches are numbered ``1``, ``A1``, ``A-1`` or ``A 1``; a page also has page numbers, sizes and
codes of cloth with figures in them. Numbers of patches look alike, so words are sorted into classes
by their form and the size of their type, and a class is taken or left as a whole.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.page import Word

_LABEL: Final = re.compile(r"\(?([A-Za-z]{0,2})[-–.:#/]?(\d{1,3})[.):]?")
_LETTERS: Final = re.compile(r"[A-Z]{1,2}[-–]?")

_MOST_SIZES = 4
"""Sizes of type that are told apart, those with the most labels."""

_APART: Final = 0.8
"""Of the height of the type: how far the figure of "A 1" may stand from its letter."""


@dataclass(frozen=True, slots=True)
class Label:
    """What may be the number of a patch.

    Attributes:
        section: the letters before the number, in capitals; empty where there are none.
        number: 1 or more; 0 says that the face which holds it is no patch.
        at: where it stands, inches on the page.
        is_given: whether the maker gave it, so that it counts more than what is printed there.
    """

    section: str
    number: int
    at: Point
    height: float = 0.0
    is_given: bool = False


def label_classes(words: Sequence[Word]) -> list[tuple[Label, ...]]:
    """The words that may be numbers of patches, in classes of which each is taken or left whole.

    The class with the most labels comes first. Labels with letters before them and labels without
    are never in one class; labels of several sizes of type are, together and by themselves.

    >>> words = [Word(text, (1.0, 1.0), 0.2) for text in ("A1", "A2", "9")]
    >>> [[label.number for label in found] for found in label_classes(words)]
    [[1, 2], [9]]
    """
    sizes: dict[bool, list[list[Label]]] = defaultdict(list)
    for label in sorted(_labels(words), key=lambda label: -label.height):
        known = sizes[bool(label.section)]
        if known and known[-1][0].height <= 1.1 * label.height:
            known[-1].append(label)
        else:
            known.append([label])
    found: dict[tuple[Label, ...], None] = {}
    for of_kind in sizes.values():
        # Numbers whose type shrinks with the patch they stand in are of several sizes.
        of_kind = sorted(of_kind, key=len, reverse=True)[:_MOST_SIZES]
        for count in range(len(of_kind), 0, -1):
            for some in itertools.combinations(of_kind, count):
                labels = [label for one in some for label in one]
                starting = {label.section for label in labels if label.number == 1}
                found[tuple(labels)] = None
                # Codes of cloth look like numbers of a section that has no number 1.
                found[tuple(label for label in labels if label.section in starting)] = None
    return sorted((labels for labels in found if labels), key=lambda labels: -len(labels))


def _labels(words: Sequence[Word]) -> Iterable[Label]:
    for i, word in enumerate(words):
        match = _LABEL.fullmatch(word.text)
        if match is None or int(match[2]) == 0:
            continue
        letters = match[1]
        before = words[i - 1] if i and not letters else None
        if before is not None and _LETTERS.fullmatch(before.text) and _follows(before, word):
            letters = before.text.rstrip("-–")
        yield Label(letters.upper(), int(match[2]), word.at, word.height)


def _follows(before: Word, word: Word) -> bool:
    """Whether a figure stands right behind letters, on their line."""
    across, down = abs(word.at[0] - before.at[0]), abs(word.at[1] - before.at[1])
    wide = 0.35 * before.height * (len(before.text) + len(word.text))
    return min(across, down) < 0.2 * word.height and max(across, down) < wide + _APART * word.height
