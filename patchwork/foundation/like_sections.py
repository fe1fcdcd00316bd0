"""Foundations that are printed once for several sections, which are alike by a turn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from piecewright.patchwork.block.model import Piece
from piecewright.patchwork.foundation.alike_units import (
    STAYS,
    lies_on,
    turned_polygon,
    turns_onto,
)
from piecewright.patchwork.foundation.plan import Foundation, FoundationSection
from piecewright.patchwork.geometry.congruence import Isometry
from piecewright.patchwork.geometry.polygons import polygon_of


@dataclass(frozen=True, slots=True)
class LikeSection:
    """A section, and how it lies on the first one of its kind."""

    section: FoundationSection
    laid: Isometry


@dataclass(frozen=True, slots=True)
class LikeSections:
    """Sections that are sewn on copies of one foundation; the first is the one that is drawn."""

    members: tuple[LikeSection, ...]

    @property
    def first(self) -> FoundationSection:
        return self.members[0].section

    @property
    def ids(self) -> tuple[str, ...]:
        return tuple(member.section.id for member in self.members)

    @property
    def make(self) -> int:
        """How many a block takes."""
        return len(self.members)


def like_sections(found: Foundation) -> tuple[LikeSections, ...]:
    """The sections by the foundation that they are sewn on, in the order of the first of each.

    Those are alike of which one lies on the other by a turn: its cut outline, and each patch on the
    patch of the same fabric that is sewn in the same turn.
    """
    pieces = {piece.id: piece for piece in found.block.pieces}
    kinds: list[list[LikeSection]] = []
    for section in found.sections:
        for kind in kinds:
            laid = _laid(section, kind[0].section, pieces)
            if laid is not None:
                kind.append(LikeSection(section, laid))
                break
        else:
            kinds.append([LikeSection(section, STAYS)])
    return tuple(LikeSections(tuple(kind)) for kind in kinds)


def _laid(
    section: FoundationSection, onto: FoundationSection, pieces: Mapping[str, Piece]
) -> Isometry | None:
    """The turn by which a section lies on another one, if they are alike."""
    if [p.fabric for p in section.patches] != [p.fabric for p in onto.patches]:
        return None
    cut = polygon_of(onto.cut)
    for laid in turns_onto(section.outline, onto.outline):
        if lies_on(turned_polygon(section.cut, laid), cut) and all(
            lies_on(turned_polygon(pieces[p].outline, laid), polygon_of(pieces[q].outline))
            for p, q in zip(section.order, onto.order, strict=True)
        ):
            return laid
    return None
