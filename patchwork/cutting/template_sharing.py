"""Which pieces share a template: those of one shape, where the grain that they need allows.

Pieces with congruent outlines share a template.  A piece is flipped over only where it does not fit
otherwise, and a template's face is the one that the most of its pieces show.

The arrow of the grain is the template's: an edge at the outside of the block needs to lie on the
straight or the cross grain, and a piece without one takes the grain that others of its shape need.
So there are several templates of one shape only where outside edges ask for it (legs on the grain
here, the long side there).  Where a shape is its own mirror image and the grain is not (it runs
along one side of a diamond, say), it lies the same way in all pieces: none is reversed for it.
What an author says goes: with a grain that is given a piece is flipped over too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.geometry.congruence import Isometry, Shape, congruences, laid

GRAIN_TOLERANCE: Final = 1.0
"""Degrees within which two grain lines are the same: less than cloth is laid to by eye."""


@dataclass(frozen=True, slots=True)
class Grain:
    """How a piece's grain may run, in degrees.

    Attributes:
        own: where nothing else is needed; None where it is free.
        needed: directions one of which must lie on the straight or the cross grain; none where no
            edge asks for it.
        one_way: whether an author gave ``own``, so that the cross grain will not do.
    """

    own: float | None
    needed: tuple[float, ...] = ()
    one_way: bool = False


@dataclass(frozen=True, slots=True)
class Shared:
    """A template, in the place of one of the pieces of its shape.

    Attributes:
        shape: the number of the piece in whose place it lies.
        members: the pieces that are cut from it, in order.
        isometries: what lays each of them there.
        grain: degrees, there.
        face_down: whether it lies there with its face down.
    """

    shape: int
    members: tuple[int, ...]
    isometries: tuple[Isometry, ...]
    grain: float | None
    face_down: bool

    def reversed(self, isometry: Isometry) -> bool:
        """Whether a piece that is laid so is cut from the template face down."""
        return isometry.flipped != self.face_down


def shared_templates(shapes: Sequence[Shape], grains: Sequence[Grain]) -> tuple[Shared, ...]:
    """The templates of pieces, in the order in which their first pieces come."""
    kinds: dict[int, list[_Member]] = {}
    for i, one in enumerate(congruences(shapes)):
        onto = shapes[one.first].finished
        ways = tuple(laid(shapes[i].finished, onto, way) for way in one.ways)
        kinds.setdefault(one.first, []).append(_Member(i, ways, grains[i]))
    found = [template for first, members in kinds.items() for template in _by_grain(first, members)]
    return tuple(sorted(found, key=lambda template: template.members[0]))


@dataclass(frozen=True, slots=True)
class _Member:
    """A piece of a shape, and what lays it onto the first of them, not flipped before flipped."""

    number: int
    isometries: tuple[Isometry, ...]
    grain: Grain

    def fitting(self, grain: float, wanted: Sequence[float]) -> Isometry | None:
        """How it lies so that a template's grain is one of those wanted; None if it cannot."""
        repeats = 180.0 if self.grain.one_way else 90.0
        for isometry in self.isometries:
            for own in wanted:
                apart = abs(isometry.grain(own) - grain) % repeats
                if min(apart, repeats - apart) <= GRAIN_TOLERANCE:
                    return isometry if isometry in self.allowed else self.isometries[0]
        return None

    @property
    def allowed(self) -> tuple[Isometry, ...]:
        """What may lay it for the sake of its grain: it is flipped for one that is given alone."""
        flip = self.isometries[0].flipped
        return tuple(how for how in self.isometries if how.flipped == flip or self.grain.one_way)

    def needing(self, grain: float) -> Isometry | None:
        """How it lies so that it has the grain it needs; None if it cannot."""
        return self.fitting(grain, self.needed)

    @property
    def needed(self) -> tuple[float, ...]:
        """Directions one of which it needs."""
        if self.grain.one_way:
            assert self.grain.own is not None, "an author gave it"
            return (self.grain.own,)
        return self.grain.needed


def _by_grain(first: int, members: Sequence[_Member]) -> Iterator[Shared]:
    """The templates of one shape, which lie in the place of the piece ``first``."""
    free = [m for m in members if m.grain.own is None]
    if free:
        yield _template(first, [(m, m.isometries[0]) for m in free], None)
    # What an author gave is less easily met, and goes first.
    left = sorted((m for m in members if m.needed), key=lambda m: not m.grain.one_way)
    groups: list[tuple[float, list[tuple[_Member, Isometry]]]] = []
    while left:
        # Of the directions that will do for a piece the one that the most others can do with.
        every = [isometry.grain(own) for isometry in left[0].allowed for own in left[0].needed]
        grain = max(every, key=lambda g: sum(m.needing(g) is not None for m in left))
        group = [(m, how) for m in left if (how := m.needing(grain)) is not None]
        taken = {m.number for m, _ in group}
        left = [m for m in left if m.number not in taken]
        groups.append((grain, group))
    for member in members:
        own = member.grain.own
        if own is None or member.needed:
            continue
        if not groups:
            groups.append((member.isometries[0].grain(own), []))
        fits = ((how, group) for g, group in groups if (how := member.fitting(g, (own,))))
        how, group = next(fits, (member.isometries[0], groups[0][1]))
        group.append((member, how))
    for grain, group in groups:
        yield _template(first, sorted(group, key=lambda one: one[0].number), grain)


def _template(
    shape: int, members: Sequence[tuple[_Member, Isometry]], grain: float | None
) -> Shared:
    isometries = tuple(how for _, how in members)
    flipped = sum(how.flipped for how in isometries)
    # Where as many lie one way as the other, the first of them shows the face.
    face_down = 2 * flipped > len(members) or (
        2 * flipped == len(members) and isometries[0].flipped
    )
    return Shared(shape, tuple(m.number for m, _ in members), isometries, grain, face_down)
