"""Shapes of pieces that could share a cut outline: alike when turned or flipped over and reversed.

Two pieces have one shape if an isometry lays the finished outline of one on the other's, with the
same allowance on each side.  Only pieces with a point are looked at, as the corners of all others
are whole, and so those that are alike are cut alike.

Many pieces of a large block are translates of each other and have neighbours alike, so that their
corners are cut alike too: they have one ``Role``, and are looked at once.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left, insort
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final, TypeAlias

from piecewright.patchwork.block.seams import Seams, Side
from piecewright.patchwork.geometry.congruence import SMOOTH, Shape, Way, ways_onto
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE
from piecewright.patchwork.outlines.corner_cuts import Form, flipped, form_of, same_form
from piecewright.patchwork.outlines.mitres import POINTED, Mitre, MitreKey

_DECIMALS: Final = 6
"""Of inches and of directions: translates agree in so many."""

_CACHED: Final = 20_000
"""Pairs of outlines of which is cached how one lies on the other: those of some hundred blocks."""


@dataclass(frozen=True, slots=True)
class Role:
    """Pieces that are translates of each other, with mitres alike.

    Attributes:
        pieces: their numbers.
        sides: for each of them its sides that begin at a corner of its shape, in one order.
        mitres: at these corners.
    """

    pieces: list[int]
    sides: list[tuple[int, ...]]
    mitres: tuple[Mitre, ...]


@dataclass(frozen=True, slots=True)
class SharedShape:
    """A shape with the roles of its pieces, each with the ways in which it lies on the first."""

    roles: list[tuple[Role, tuple[Way, ...]]] = field(default_factory=list)

    @property
    def ways(self) -> tuple[Way, ...]:
        """The ways in which the shape lies on itself."""
        return self.roles[0][1]

    @property
    def mirrored(self) -> bool:
        """Whether it is its own mirror image."""
        return self.ways[-1].flipped

    def cut_alike(self) -> bool:
        """Whether all its pieces are cut alike, none of them reversed without need."""
        first = [form_of(mitre) for mitre in self.roles[0][0].mitres]
        return all(
            any(
                _forms_agree(role, way, first)
                for way in ways
                if not (self.mirrored and way.flipped)
            )
            for role, ways in self.roles[1:]
        )


def _forms_agree(role: Role, way: Way, forms: Sequence[Form]) -> bool:
    """Whether a piece has the forms of its shape where it is laid on it."""
    count = len(forms)
    return all(
        same_form(laid_form(form_of(mitre), way), forms[way.corner(k, count)])
        for k, mitre in enumerate(role.mitres)
    )


def laid_form(form: Form, way: Way) -> Form:
    """A form of a piece as it is seen in its shape, or one of the shape as it is in the piece."""
    return flipped(form) if way.flipped else form


def shared_shapes(
    seams: Seams, widths: Sequence[float], mitres: Mapping[MitreKey, Mitre]
) -> list[SharedShape]:
    """The shapes of the pieces of a block that have a point, in the order of their roles.

    Args:
        widths: the allowance of each edge, inches.
        mitres: of all corners.
    """
    shapes: dict[int, SharedShape] = {}
    uneven = len(set(widths)) > 1
    # Those that a role may belong to: the first of each shape, by what isometries keep.
    firsts: dict[int, list[tuple[float, int]]] = {}
    roles = _roles(seams, widths, mitres)
    outlines = [outline for _, outline in roles]
    for i, (role, outline) in enumerate(roles):
        count, around = len(role.sides[0]), _around(outline)
        slack = 2 * TOLERANCE * count
        alike = firsts.setdefault(count, [])
        for other, first in (*alike[bisect_left(alike, (around - slack,)) :], (math.inf, i)):
            if other > around + slack:
                first = i  # none of the others is as long
            ways = _ways(outline, outlines[first])
            if uneven:
                ways = _on_same_widths(seams, widths, role, roles[first][0], ways)
            if ways:
                break
        if first == i:
            insort(alike, (around, i))
        shapes.setdefault(first, SharedShape()).roles.append((role, ways))
    return list(shapes.values())


_Outline: TypeAlias = tuple[tuple[float, ...], ...]
"""For each segment of a shape's outline whether it begins at a corner, where it begins, seen from
the first one's beginning, and its handles if it is a curve."""


def _around(outline: _Outline) -> float:
    """How long (inches) the way is from corner to corner round an outline."""
    corners = [segment[1:3] for segment in outline if segment[0]]
    return sum(itertools.starmap(math.dist, itertools.pairwise((*corners, corners[0]))))


@lru_cache(_CACHED)
def _ways(outline: _Outline, onto: _Outline) -> tuple[Way, ...]:
    """The ways in which an outline lies on another one; none if they are not congruent."""
    return tuple(ways_onto(_shape(outline), _shape(onto)))


def _shape(segments: _Outline) -> Shape:
    outline: list[Segment] = []
    for segment, after in itertools.pairwise((*segments, segments[0])):
        _, x, y, *handles = segment
        start, end = (x, y), (after[1], after[2])
        if handles:
            hx, hy, kx, ky = handles
            outline.append(Curve(start, (hx, hy), (kx, ky), end))
        else:
            outline.append(Line(start, end))
    marked = tuple([k for k, segment in enumerate(segments) if segment[0]])
    whole = tuple(outline)
    return Shape(whole, whole, marked)


def _on_same_widths(
    seams: Seams, widths: Sequence[float], role: Role, first: Role, ways: Sequence[Way]
) -> tuple[Way, ...]:
    """The ways in which each side of a role lies on one with the same allowance."""
    own, onto = (
        [widths[seams.sides[one.pieces[0]][k].edge] for k in one.sides[0]] for one in (role, first)
    )
    count = len(own)
    return tuple(
        way for way in ways if all(width == onto[way.side(k, count)] for k, width in enumerate(own))
    )


def _roles(
    seams: Seams, widths: Sequence[float], mitres: Mapping[MitreKey, Mitre]
) -> list[tuple[Role, _Outline]]:
    """The pieces that have a point, in roles, each with the outline of its shape."""
    roles: dict[tuple[tuple[int, ...], _Outline], Role] = {}
    # Corners of one pattern have one mitre, so that most are looked at once.
    numbers: dict[int, int] = {}
    kinds: dict[tuple[float, ...], int] = {}
    pointed = dict.fromkeys([key[0] for key, mitre in mitres.items() if mitre.turns > POINTED])
    for piece in pointed:
        sides = seams.sides[piece]
        own = [mitres[piece, k] for k in range(len(sides))]
        corners = [
            k
            for k, mitre in enumerate(own)
            if abs(mitre.turns) > SMOOTH or widths[sides[k - 1].edge] != widths[sides[k].edge]
        ]
        if len(corners) == 1:  # a drop, which cannot be laid by its one corner
            corners = list(range(len(sides)))
        seen = []
        for k in corners:
            number = numbers.get(id(own[k]))
            if number is None:
                number = numbers[id(own[k])] = kinds.setdefault(own[k].chain, len(kinds))
            seen.append(number)
        outline = _seen_from_first(seams, sides, corners)
        key = (tuple(seen), outline)
        role = roles.get(key)
        if role is None:
            role = roles[key] = Role([], [], tuple([own[k] for k in corners]))
        role.pieces.append(piece)
        role.sides.append(tuple(corners))
    return [(role, outline) for (_, outline), role in roles.items()]


def _seen_from_first(seams: Seams, sides: Sequence[Side], corners: Sequence[int]) -> _Outline:
    """The outline from the first corner on, without the points in the middle of its straight sides.

    Args:
        sides: of the piece.
        corners: the numbers of those that begin at a corner.
    """
    edges, points = seams.edges, seams.points
    x, y = points[seams.start(sides[corners[0]])]
    outline: list[tuple[float, ...]] = []
    marked = set(corners)
    straight = False
    for k in range(corners[0], corners[0] + len(sides)):
        k %= len(sides)
        side, corner = sides[k], k in marked
        edge = edges[side.edge]
        curved = type(edge.segment) is Curve
        if curved or corner or not straight:
            px, py = points[edge.start if side.forward else edge.end]
            seen = [float(corner), round(px - x, _DECIMALS), round(py - y, _DECIMALS)]
            if curved:
                segment = seams.segment(side)
                assert isinstance(segment, Curve), "a curve travelled back is one"
                for hx, hy in (segment.handle1, segment.handle2):
                    seen += (round(hx - x, _DECIMALS), round(hy - y, _DECIMALS))
            outline.append(tuple(seen))
        straight = not curved
    return tuple(outline)
