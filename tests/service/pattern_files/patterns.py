"""Foundation patterns whose geometry is known, and the many ways in which they are drawn.

A section is cut from a rectangle by straight lines one after the other, so that its numbers are an
order in which it can be sewn.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import shapely
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import split

from tests.service.pattern_files.draughtsmen import BLACK, Colour, Draughtsman, Point

GREY: Colour = (0.6, 0.6, 0.6)
TINTS: Sequence[Colour] = (
    (0.9, 0.8, 0.8),
    (0.8, 0.9, 0.8),
    (0.8, 0.8, 0.95),
    (0.9, 0.9, 0.7),
    (0.7, 0.9, 0.9),
)
DASHES: Final = (0.06, 0.04)
SHAKE: Final = (-0.001, 0.001)
"""Inches: how far off the ends of lines are that snap to the pixels of a screen."""


@dataclass(frozen=True)
class Section:
    """A section on the page; its pieces in the order of sewing."""

    id: str
    pieces: tuple[Polygon, ...]

    @property
    def outline(self) -> Polygon:
        whole = shapely.union_all(self.pieces, grid_size=1e-6)
        assert isinstance(whole, Polygon)
        return whole

    def cut_line(self, allowance: float = 0.25) -> list[Point]:
        wide = self.outline.buffer(allowance, join_style="mitre", mitre_limit=20)
        return corners(wide)

    def seams(self) -> list[tuple[Point, Point]]:
        """Every seam, from node to node, once."""
        drawn = shapely.union_all([p.exterior for p in self.pieces], grid_size=1e-6)
        return [
            pair
            for string in shapely.get_parts(drawn)
            for pair in itertools.pairwise(points(string))
        ]


def corners(shape: Polygon) -> list[Point]:
    """In their order, none of them twice."""
    return points(shape.exterior)[:-1]


def points(line: BaseGeometry) -> list[Point]:
    return [(x, y) for x, y in line.coords]


def cut(id: str, at: Point, width: float, height: float, *lines: tuple[Point, Point]) -> Section:
    """A section: the first line cuts off its last piece, the second the last but one, and so on."""
    body: Polygon = box(0, 0, width, height)
    off: list[Polygon] = []
    for start, end in lines:
        run = (end[0] - start[0], end[1] - start[1])
        far = [(start[0] + k * run[0], start[1] + k * run[1]) for k in (-50, 50)]
        parts = [p for p in split(body, LineString(far)).geoms if isinstance(p, Polygon)]
        small, body = sorted(parts, key=lambda part: part.area)
        off.append(small)
    pieces = (body, *reversed(off))
    return Section(id, tuple(shapely.affinity.translate(p, *at) for p in pieces))


PATTERNS: Final = {
    "buoy": [
        cut("A", (1.2, 1.5), 5, 5, ((0, 1.8), (5, 1.1)), ((1.9, 5), (3.2, 0)), ((0, 3.9), (5, 3.2)))
    ],
    "pier": [
        cut("A", (1, 1), 4, 3, ((0, 0.9), (4, 0.6)), ((2.5, 0), (3.3, 3))),
        cut("B", (1.2, 5.2), 4, 2.5, ((0, 2.5), (1.5, 0)), ((2.2, 0), (4, 2.5))),
    ],
    "log": [
        cut(
            "A",
            (1.3, 2),
            5,
            5,
            ((0, 1), (5, 1)),
            ((4, 0), (4, 5)),
            ((0, 4), (5, 4)),
            ((1, 0), (1, 5)),
            ((0, 2), (5, 2)),
            ((3, 0), (3, 5)),
        )
    ],
    # Sections so near to each other that the lines at which they are cut cross.
    "sails": [
        Section("A", (Polygon([(1, 5), (3, 1), (5, 5)]),)),
        Section(
            "B",
            (
                Polygon([(5.4, 1.2), (7.4, 1.2), (5.4, 5.2)]),
                Polygon([(7.4, 1.2), (7.6, 1.2), (5.6, 5.2), (5.4, 5.2)]),
            ),
        ),
        cut("C", (2, 6.5), 3, 3, ((0, 3), (3, 0))),
    ],
}

Pattern: TypeAlias = Sequence[Section]
Way: TypeAlias = Callable[[Draughtsman, Pattern], None]


def inside(piece: Polygon) -> Point:
    """Where a number is written: the middle, if that lies well inside."""
    at = min(
        (piece.centroid, piece.representative_point()),
        key=lambda p: -p.distance(piece.exterior) if piece.contains(p) else 1.0,
    )
    return (at.x, at.y)


def draw_numbers(
    pen: Draughtsman, section: Section, written: str = "{id}{n}", size: float = 0.16
) -> None:
    for n, piece in enumerate(section.pieces, 1):
        at = inside(piece)
        room = piece.exterior.distance(shapely.Point(at))
        pen.text(at, written.format(id=section.id, n=n), min(size, 0.8 * room))


def draw(
    pen: Draughtsman,
    section: Section,
    *,
    written: str = "{id}{n}",
    cut_line: str = "dashed",
    allowance: float = 0.25,
    seam_width: float = 0.014,
) -> None:
    """A section as most are drawn: black seams, a cut line round it, a number in each patch."""
    for start, end in section.seams():
        pen.line([start, end], seam_width)
    draw_cut_line(pen, section, cut_line, allowance)
    draw_numbers(pen, section, written)


def draw_cut_line(
    pen: Draughtsman, section: Section, kind: str = "dashed", allowance: float = 0.25
) -> None:
    line = section.cut_line(allowance)
    if kind == "dashed":
        pen.line(line, 0.007, dashes=DASHES, closed=True)
    elif kind == "grey":
        pen.line(line, 0.007, GREY, closed=True)
    elif kind == "alike":
        pen.line(line, closed=True)


# --- ways of drawing ---------------------------------------------------------------------------

WAYS: dict[str, Way] = {}


def way(function: Way) -> Way:
    WAYS[function.__name__.replace("_", " ")] = function
    return function


@way
def as_usual(pen: Draughtsman, pattern: Pattern) -> None:
    pen.text((4.2, 0.5), "Harbour light, 10 in block - page 1 of 2", 0.14)
    for section in pattern:
        draw(pen, section)


@way
def with_a_grey_cut_line(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section, cut_line="grey")


@way
def with_a_cut_line_like_the_seams(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section, cut_line="alike")


@way
def with_letters_and_hyphens(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section, written="{id}-{n}")


@way
def with_letters_apart(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section, written="{id} {n}")


@way
def with_lines_that_end_short(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for start, end in section.seams():
            pen.line(_longer(start, end, -0.018))
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


@way
def with_lines_that_run_past(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for start, end in section.seams():
            pen.line(_longer(start, end, 0.05))
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


@way
def patch_by_patch(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for piece in section.pieces:
            pen.line(corners(piece), closed=True)
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


@way
def in_thin_filled_bars(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for start, end in section.seams():
            pen.fill(_bar(start, end, 0.014), BLACK)
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


@way
def in_single_dashes(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for start, end in section.seams():
            count = max(4, int(math.dist(start, end) / 0.12))
            for k in range(count):
                last = k == count - 1
                pen.line([_between(start, end, (k + t) / count) for t in (0, 1 if last else 0.6)])
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


@way
def with_seams_drawn_on_into_the_allowance(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        room = Polygon(section.cut_line())
        for start, end in section.seams():
            middle = LineString([start, end]).interpolate(0.5, normalized=True)
            if section.outline.exterior.distance(middle) > 1e-6:
                ends = [shapely.Point(p) for p in (start, end)]
                by = [4.0 if p.distance(section.outline.exterior) < 1e-6 else 0.0 for p in ends]
                far = LineString([_between(start, end, -by[0]), _between(start, end, 1 + by[1])])
                pen.line(points(far.intersection(room)))
            else:
                pen.line([start, end])
        draw_cut_line(pen, section, "alike")
        draw_numbers(pen, section)


@way
def in_tints_with_seams(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for k, piece in enumerate(section.pieces):
            pen.fill(corners(piece), TINTS[k % len(TINTS)])
        draw(pen, section)


@way
def in_tints_alone(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for k, piece in enumerate(section.pieces):
            pen.fill(corners(piece), TINTS[k % len(TINTS)])
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


@way
def in_white_lines_on_dark(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        for piece in section.pieces:
            pen.fill(corners(piece), (0.6, 0.7, 0.8))
        for start, end in section.seams():
            pen.line([start, end], 0.02, (1, 1, 1))
        draw_cut_line(pen, section, "alike")
        draw_numbers(pen, section)


@way
def on_a_grid(pen: Draughtsman, pattern: Pattern) -> None:
    for k in range(35):
        pen.line([(k / 4, 0), (k / 4, 11)], 0.004, (0.7, 0.8, 0.9))
    for k in range(45):
        pen.line([(0, k / 4), (8.5, k / 4)], 0.004, (0.7, 0.8, 0.9))
    for section in pattern:
        draw(pen, section)


@way
def in_a_frame(pen: Draughtsman, pattern: Pattern) -> None:
    pen.line([(0.3, 0.3), (8.2, 0.3), (8.2, 10.7), (0.3, 10.7)], 0.02, closed=True)
    pen.text((7.8, 10.4), "1", 0.12)
    for section in pattern:
        draw(pen, section)


@way
def with_fold_lines(pen: Draughtsman, pattern: Pattern) -> None:
    pen.line([(0, 5.5), (8.5, 5.5)], 0.005, GREY, (0.2, 0.1))
    pen.line([(4.25, 0), (4.25, 11)], 0.005, GREY, (0.2, 0.1))
    for section in pattern:
        draw(pen, section)


@way
def with_a_table(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section)
    for k in range(4):
        pen.line([(5, 9.7 + 0.3 * k), (8.2, 9.7 + 0.3 * k)], 0.01)
    for x in (5, 6, 7, 8.2):
        pen.line([(x, 9.7), (x, 10.6)], 0.01)
    rows = (("patch", "cut", "size"), ("A1", "2", "3 1/2"), ("B2", "4", "2"))
    for r, row in enumerate(rows):
        for x, word in zip((5.5, 6.5, 7.6), row, strict=True):
            pen.text((x, 9.85 + 0.3 * r), word, 0.1)


@way
def with_quilting_lines(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        left, top, right, bottom = section.outline.bounds
        for k in range(int(2 * (right - left + bottom - top))):
            far = LineString([(left + k / 2, top), (left + k / 2 - 20, top + 20)])
            across = far.intersection(section.outline)
            if isinstance(across, LineString) and across.length > 0.1:
                pen.line(points(across), 0.006, (0.8, 0.2, 0.2), (0.05, 0.05))
        draw(pen, section)


@way
def with_codes_of_cloth(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section)
        for k, piece in enumerate(section.pieces):
            x, y = inside(piece)
            if piece.exterior.distance(shapely.Point(x, y)) > 0.4:
                pen.text((x, y + 0.22), f"K{31 + k % 3}", 0.1)


@way
def over_scribbles_that_a_white_patch_hides(pen: Draughtsman, pattern: Pattern) -> None:
    for k in range(6):
        pen.line([(1 + k, 0.5), (7 - k, 10)])
    pen.fill([(0, 0), (8.5, 0), (8.5, 11), (0, 11)], (1, 1, 1))
    for section in pattern:
        draw(pen, section)


@way
def with_a_small_picture(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section)
    first = pattern[0]
    small = [shapely.affinity.scale(p, 0.2, 0.2, origin=(0, 0)) for p in first.pieces]
    moved = Section(first.id, tuple(shapely.affinity.translate(p, 6.6, 9.0) for p in small))
    for start, end in moved.seams():
        pen.line([start, end])
    draw_numbers(pen, moved, size=0.08)


@way
def with_two_cut_lines(pen: Draughtsman, pattern: Pattern) -> None:
    for section in pattern:
        draw(pen, section)
        pen.line(section.cut_line(0.5), 0.004, GREY, closed=True)


@way
def by_an_unsteady_hand(pen: Draughtsman, pattern: Pattern) -> None:
    chance = random.Random(3)
    for section in pattern:
        for seam in section.seams():
            pen.line([(x + chance.uniform(*SHAKE), y + chance.uniform(*SHAKE)) for x, y in seam])
        draw_cut_line(pen, section)
        draw_numbers(pen, section)


def _between(start: Point, end: Point, t: float) -> Point:
    return (start[0] + t * (end[0] - start[0]), start[1] + t * (end[1] - start[1]))


def _longer(start: Point, end: Point, by: float) -> list[Point]:
    t = by / math.dist(start, end)
    return [_between(start, end, -t), _between(start, end, 1 + t)]


def _bar(start: Point, end: Point, width: float) -> list[Point]:
    length = math.dist(start, end)
    dx, dy = ((end[k] - start[k]) / length * width / 2 for k in (0, 1))
    return [
        (start[0] - dy, start[1] + dx),
        (end[0] - dy, end[1] + dx),
        (end[0] + dy, end[1] - dx),
        (start[0] + dy, start[1] - dx),
    ]
