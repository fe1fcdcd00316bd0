"""The cuts of a corner in the corner's own frame, in which like corners can be compared.

A ``Form`` is what of a mitre was cut, wherever it lies and however it is turned: the cuts of one
corner are laid on another that is as wide by their form.  Flipped over, a corner has the mirror
image of its form in the line that halves it.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final, TypeAlias

from piecewright.patchwork.geometry.vectors import cross, dot, normalised
from piecewright.patchwork.outlines.matching import VISIBLE
from piecewright.patchwork.outlines.mitres import HalfPlane, Mitre

Form: TypeAlias = tuple[tuple[float, float, float], ...]
"""For each cut the parts of its normal along and across the line that halves the corner, and its
reach (inches), in the order of the mitre's chain; empty where nothing is cut."""

_NORMALS: Final = 4e-3
"""By how much the normals of two cuts that are the same may differ: sides of an inch in which a
drawing is off by its tolerance differ so."""

_FINE: Final = 9
"""Decimals to which corners agree that share what is worked out for them."""

_CACHED: Final = 20_000
"""Corners with cuts that are cached: those of some hundred large blocks."""


def form_of(mitre: Mitre) -> Form:
    """The form of a mitre's cuts.

    >>> corner = Mitre((0.6, 0.8), (-0.6, 0.8), 106.2602047, 0.25, 0.25)
    >>> corner.cut(HalfPlane((1.0, 0.0), 0.25)), form_of(corner)
    (True, ((1.0, 0.0, 0.25),))
    """
    chain = mitre.half_planes
    if len(chain) == 2:
        return ()
    (x, y) = mitre.straight_on
    return tuple([(dot(h.normal, (x, y)), dot(h.normal, (-y, x)), h.reach) for h in chain[1:-1]])


def flipped(form: Form) -> Form:
    """The form of the mirror image."""
    return tuple([(along, -across, reach) for along, across, reach in reversed(form)])


def same_form(one: Form, other: Form) -> bool:
    """Whether two forms cut alike, but for the tolerance of a drawing."""
    return len(one) == len(other) and all(
        abs(a - d) <= _NORMALS and abs(b - e) <= _NORMALS and abs(c - f) <= VISIBLE
        for (a, b, c), (d, e, f) in zip(one, other, strict=True)
    )


def cut_to_form(mitre: Mitre, form: Form) -> Mitre:
    """The mitre of the same corner with the cuts of a form instead of its own."""
    own = Mitre(mitre.arrives, mitre.leaves, mitre.turns, *_widths(mitre))
    (x, y) = own.straight_on
    for along, across, reach in form:
        normal = normalised((along * x - across * y, along * y + across * x))
        own.cut(own.moved_out(HalfPlane(normal, reach)))
    return own


def standing(mitre: Mitre, form: Form) -> Mitre:
    """The same laid with its arriving side along the x axis; not to be cut any more.

    How far its raw edges reach, and how much cloth it has, is the same wherever it lies.
    """
    fine = tuple([(round(a, _FINE), round(b, _FINE), round(c, _FINE)) for a, b, c in form])
    return _standing(round(mitre.turns, _FINE), *_widths(mitre), fine)


def ends_of(mitre: Mitre, form: Form) -> tuple[float, float]:
    """How far (inches) the arriving and the leaving raw edge go on with the cuts of a form."""
    one = standing(mitre, form)
    return one.arriving_end, one.leaving_end


def area(mitre: Mitre) -> float:
    """Square inches of a mitre."""
    ring = mitre.ring((0.0, 0.0))
    return abs(sum(cross(p, q) for p, q in zip(ring, ring[1:] + ring[:1], strict=True))) / 2


def sticks_out(mitre: Mitre, form: Form, room: Form) -> bool:
    """Whether the cuts of a form leave more of a mitre than those of another one do."""
    return _sticks_out(standing(mitre, form), standing(mitre, room))


@lru_cache(_CACHED)
def _sticks_out(one: Mitre, room: Mitre) -> bool:
    return any(h.excess(x) > VISIBLE for x in one.rim() for h in room.half_planes)


@lru_cache(_CACHED)
def _standing(turns: float, arriving: float, leaving: float, form: Form) -> Mitre:
    leaves = (math.cos(math.radians(turns)), math.sin(math.radians(turns)))
    return cut_to_form(Mitre((1.0, 0.0), leaves, turns, arriving, leaving), form)


def _widths(mitre: Mitre) -> tuple[float, float]:
    """The allowances (inches) of the arriving and the leaving side."""
    return mitre.half_planes[0].reach, mitre.half_planes[-1].reach
