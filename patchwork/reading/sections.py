"""Sections out of faces and numbers: which faces are patches, and which patches belong together.

Right is a reading in which each patch holds one number and the numbers of each section run 1, 2, …
without a gap; so it is the numbers that tell which lines of a page are seams.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.labels import Label

_SHARED = 0.02
"""Inches: the shortest edge by which two faces are neighbours."""

_THIN = 0.04
"""Inches: faces nowhere wider are gaps between lines, not patches."""


@dataclass(frozen=True, slots=True)
class FoundPiece:
    """A patch as it lies on the page.

    Attributes:
        shape: its finished outline as printed, inches on the page.
    """

    number: int
    shape: Polygon
    label: Label


@dataclass(frozen=True, slots=True)
class FoundSection:
    """Patches that hang together, in the order of their numbers.

    Attributes:
        letters: before their numbers; empty where there are none.
        shape: all of them together.
        is_whole: whether their numbers run from 1 without a gap, each once, and they leave no hole.
        beside: faces without a number that have an edge with one of them.
    """

    letters: str
    pieces: tuple[FoundPiece, ...]
    shape: Polygon
    is_whole: bool
    beside: tuple[Polygon, ...]


@dataclass(frozen=True, slots=True)
class FoundSections:
    """What a choice of lines and numbers gives on a page.

    Attributes:
        crowded: places with several numbers in one face.
        loose: labels that stand in no face.
        stray: labels in faces that make up no section that starts with 1.
        bare: what faces without numbers make up that touch no section.
    """

    sections: tuple[FoundSection, ...]
    crowded: tuple[Point, ...]
    loose: tuple[Label, ...]
    stray: tuple[Label, ...]
    bare: tuple[Polygon, ...]

    @property
    def is_right(self) -> bool:
        """Whether nothing speaks against it."""
        whole = all(section.is_whole for section in self.sections)
        return bool(self.sections) and whole and not self.crowded and not self.stray


class Faces:
    """The faces between lines that may be patches, to be tried with several classes of numbers.

    A face that has another one in it is no patch: it is what lies between a frame and a section.

    Attributes:
        shapes: those that are no gaps between lines.
        tree: of them.
        neighbours: for each the numbers of those with which it has an edge.
    """

    def __init__(self, faces: Sequence[Polygon]) -> None:
        wide = (face for face in faces if not face.buffer(-_THIN / 2).is_empty)
        self.shapes = [face for face in wide if not face.interiors]
        self.tree = STRtree(self.shapes)
        self.neighbours = _neighbours(self.shapes)


def sections_of(faces: Faces, labels: Sequence[Label]) -> FoundSections:
    """The sections that numbers make of faces."""
    simple, neighbours = faces.shapes, faces.neighbours
    at = shapely.points(np.array([label.at for label in labels]).reshape(-1, 2))
    holding: dict[int, list[Label]] = defaultdict(list)
    inside: set[int] = set()
    for label, face in zip(*faces.tree.query(at, predicate="within").tolist(), strict=True):
        holding[face].append(labels[label])
        inside.add(label)
    dismissed = set()
    for face, held in holding.items():
        given = [label for label in held if label.is_given]
        if given:
            holding[face] = given
        if given and not given[0].number:
            dismissed.add(face)
    for face in dismissed:
        del holding[face]
    loose = tuple(label for i, label in enumerate(labels) if i not in inside)
    crowded = tuple(
        held[0].at
        for held in holding.values()
        if len({(label.section, label.number) for label in held}) > 1
    )
    stray: list[Label] = []
    sections: list[FoundSection] = []
    for members in _components(holding, neighbours):
        pieces = [FoundPiece(holding[i][0].number, simple[i], holding[i][0]) for i in members]
        beside = {j for i in members for j in neighbours[i]} - holding.keys() - dismissed
        section = _section(pieces, [simple[j] for j in sorted(beside)])
        if section is None:
            stray += [piece.label for piece in pieces]
        else:
            sections.append(section)
    sections.sort(key=lambda s: (s.letters, round(s.shape.centroid.y, 1), s.shape.centroid.x))
    bare = _bare(simple, holding.keys() | dismissed, neighbours)
    return FoundSections(tuple(sections), crowded, loose, tuple(stray), bare)


def _bare(
    faces: Sequence[Polygon], known: Collection[int], neighbours: Sequence[set[int]]
) -> tuple[Polygon, ...]:
    """Parts of the page that hang together and hold no number, none of them at a numbered face."""
    left = [i for i in range(len(faces)) if i not in known and not neighbours[i] & set(known)]
    return tuple(polygons(overlaid(shapely.union_all, [faces[i] for i in left], on_block=False)))


def _section(pieces: Sequence[FoundPiece], beside: Sequence[Polygon]) -> FoundSection | None:
    """The section that pieces make up; None if it does not hang together or has no number 1."""
    ordered = tuple(sorted(pieces, key=lambda piece: piece.number))
    if ordered[0].number != 1:
        return None
    parts = polygons(overlaid(shapely.union_all, [p.shape for p in ordered], on_block=False))
    shape = max(parts, key=lambda part: part.area)
    counts = Counter(piece.number for piece in ordered)
    runs = sorted(counts) == list(range(1, len(ordered) + 1))
    is_whole = runs and len(parts) == 1 and not shape.interiors
    return FoundSection(ordered[0].label.section, ordered, shape, is_whole, tuple(beside))


def _neighbours(faces: Sequence[Polygon]) -> list[set[int]]:
    """For each face those with which it has an edge.

    Neighbours have edges through the same nodes, so it is edges that are compared; where a corner
    of one lies on an edge of the other, that is a node of both.
    """
    of_edge: dict[tuple[tuple[float, ...], ...], list[int]] = defaultdict(list)
    for i, face in enumerate(faces):
        ring = list(face.exterior.coords)
        for p, q in zip(ring, ring[1:], strict=False):
            if (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 > _SHARED**2:
                of_edge[tuple(sorted((p, q)))].append(i)
    neighbours: list[set[int]] = [set() for _ in faces]
    for owners in of_edge.values():
        for i in owners:
            neighbours[i].update(owners)
    for i, near in enumerate(neighbours):
        near.discard(i)
    return neighbours


def _components(holding: dict[int, list[Label]], neighbours: Sequence[set[int]]) -> list[list[int]]:
    """Numbered faces that hang together and whose numbers have the same letters."""
    left = set(holding)
    found = []
    for start in sorted(holding):
        if start not in left:
            continue
        left.discard(start)
        stack, members = [start], []
        letters = holding[start][0].section
        while stack:
            i = stack.pop()
            members.append(i)
            for j in sorted(neighbours[i]):
                if j in left and holding[j][0].section == letters:
                    left.discard(j)
                    stack.append(j)
        found.append(members)
    return found
