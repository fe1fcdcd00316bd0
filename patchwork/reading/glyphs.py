"""Numbers that are drawn as shapes: letters of a file without any text.

Many programs turn text into outlines before they save. A figure is then a small filled shape; it
is laid on a grid of ``COLUMNS`` by ``ROWS`` cells, stretched to fill it, and compared to figures of
a few typefaces (``reading.glyph_shapes``), to how wide they are for their height, and to how many
holes they have. What resembles none of them is no figure; what is taken for a wrong one makes a
number that fits nowhere, so that it is asked.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree, affinity
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.polygons import polygon_of, polygons
from piecewright.patchwork.reading.glyph_shapes import COLUMNS, ROWS, SHAPES
from piecewright.patchwork.reading.page import Mark, Word

_LOWEST, _HIGHEST = 0.035, 0.7
"""Inches, of a figure: from 4 pt type to numbers as large as a patch."""

_UNLIKE = 0.22
"""Of the cells that may differ: figures of typefaces that look alike differ in a tenth, different
figures of one typeface in a third."""

_HOLES = 0.15
"""What a hole too many or too few counts as, in cells: serifs that meet may close one."""

_NARROWER = 0.12
"""What it counts as to be narrower by a half."""

_LETTER = 0.06
"""What a letter counts as beside a figure: an I is hardly told from a 1."""

_SLANTS = (0.0, 0.2)
"""How far type leans for its height: upright, and the usual 12 degrees of italics."""

_LEVEL = 0.6
"""Of the height of figures in one word that lies side by side."""

_NEXT = 0.45
"""Of their height that they stand apart, at most."""


@dataclass(frozen=True, slots=True)
class _Glyph:
    """A filled shape that may be a figure; its box is ``left, top, right, bottom``."""

    shape: Polygon
    box: tuple[float, float, float, float]

    @property
    def height(self) -> float:
        return self.box[3] - self.box[1]


def drawn_words(marks: Sequence[Mark]) -> list[Word]:
    """The numbers, with letters before them or without, that are drawn as filled shapes."""
    found = []
    for glyphs in _rows(_glyphs(marks)):
        text = _read(glyphs)
        if text is None:
            continue
        left, right = min(g.box[0] for g in glyphs), max(g.box[2] for g in glyphs)
        top, bottom = min(g.box[1] for g in glyphs), max(g.box[3] for g in glyphs)
        # A figure is some seven tenths as high as its type.
        height = round((bottom - top) / 0.7, 3)
        found.append(Word(text, ((left + right) / 2, (top + bottom) / 2), height))
    return found


def _glyphs(marks: Sequence[Mark]) -> list[_Glyph]:
    """Filled shapes of the size of figures, with their holes."""
    small = []
    for mark in marks:
        if not (mark.style.filled and mark.closed):
            continue
        shape = polygon_of(mark.path)
        left, top, right, bottom = shape.bounds if not shape.is_empty else (0, 0, 0, 0)
        if _LOWEST < bottom - top < _HIGHEST and right - left < _HIGHEST:
            small.append(shape)
    if not small:
        return []
    # What lies within another shape is a hole in it, as the figure's two rings are one path.
    outer, inner = STRtree(small).query(small, predicate="contains_properly")
    within = set(inner.tolist())
    holes: dict[int, list[Polygon]] = {}
    for i, j in zip(outer.tolist(), inner.tolist(), strict=True):
        holes.setdefault(i, []).append(small[j])
    found = []
    for i, shape in enumerate(small):
        if i in within:
            continue
        whole = shapely.difference(shape, shapely.union_all(holes.get(i, [])))
        parts = polygons(whole)
        if len(parts) == 1:
            found.append(_Glyph(parts[0], parts[0].bounds))
    return found


def _rows(glyphs: Sequence[_Glyph]) -> Iterator[list[_Glyph]]:
    """Figures that stand side by side, as words."""
    left = sorted(glyphs, key=lambda g: g.box[0])
    while left:
        word = [left.pop(0)]
        for glyph in list(left):
            if _follows(word[-1], glyph):
                word.append(glyph)
                left.remove(glyph)
        yield word


def _follows(one: _Glyph, other: _Glyph) -> bool:
    high = max(one.height, other.height)
    level = min(one.box[3], other.box[3]) - max(one.box[1], other.box[1])
    gap = other.box[0] - one.box[2]
    return level > _LEVEL * high and -0.2 * high < gap < _NEXT * high


def _read(glyphs: Sequence[_Glyph]) -> str | None:
    """The figures as text: up to two letters, and up to three digits; None if they are none."""
    if not 1 <= len(glyphs) <= 5:
        return None
    best: tuple[float, str] | None = None
    for slant in _SLANTS:
        unlike = [_differences(glyph, slant) for glyph in glyphs]
        for letters in range(max(0, len(glyphs) - 3), min(3, len(glyphs))):
            parts = [
                min((by[c], c) for c in by if c.isalpha() == (k < letters))
                for k, by in enumerate(unlike)
            ]
            if max(cost for cost, _ in parts) > _UNLIKE:
                continue
            cost = sum(cost for cost, _ in parts) + _LETTER * letters
            read = (cost, "".join(c for _, c in parts))
            best = read if best is None or read < best else best
    return None if best is None else best[1]


def _differences(glyph: _Glyph, slant: float) -> Mapping[str, float]:
    """How much a shape, set upright, differs from each figure."""
    upright = affinity.affine_transform(glyph.shape, [1, slant, 0, 1, 0, 0])
    grid, aspect, holes = shape_of(upright)
    found: dict[str, float] = {}
    for character, (cells, aspects, counts) in _known().items():
        wrong = (cells != grid).mean(axis=1) + _HOLES * np.abs(counts - holes)
        wrong += _NARROWER * np.abs(np.log2(aspects / aspect))
        found[character] = float(wrong.min())
    return found


def shape_of(figure: Polygon) -> tuple[NDArray[np.bool_], float, int]:
    """A figure as the table has it: its cells row by row, its width by its height, its holes."""
    left, top, right, bottom = figure.bounds
    width, height = max(right - left, 1e-9), max(bottom - top, 1e-9)
    x = left + (np.arange(COLUMNS) + 0.5) / COLUMNS * width
    y = top + (np.arange(ROWS) + 0.5) / ROWS * height
    grid_x, grid_y = np.meshgrid(x, y)
    cells = shapely.contains_xy(figure, grid_x.ravel(), grid_y.ravel())
    return cells, width / height, len(figure.interiors)


@functools.cache
def _known() -> dict[str, tuple[NDArray[np.bool_], NDArray[np.float64], NDArray[np.float64]]]:
    """By character: cells, aspects and holes of the figure in each typeface."""
    return {
        character: (
            np.array([_cells(code) for code, _, _ in drawn]),
            np.array([aspect for _, aspect, _ in drawn]),
            np.array([float(holes) for _, _, holes in drawn]),
        )
        for character, drawn in SHAPES.items()
    }


def _cells(code: str) -> NDArray[np.bool_]:
    bits = np.unpackbits(np.frombuffer(bytes.fromhex(code), np.uint8))
    return bits[: COLUMNS * ROWS].astype(bool)


def code_of(cells: Iterable[bool]) -> str:
    """Cells as the table writes them."""
    return np.packbits(np.fromiter(cells, bool)).tobytes().hex()
