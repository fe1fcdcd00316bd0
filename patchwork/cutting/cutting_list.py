"""The cutting list: what to cut of each fabric, from which strips, and how much cloth to buy.

Cloth lies with its length (the selvage, the straight grain) down and its width across; strips
are cut across the usable width.  Every patch is counted once, in the first way that serves:

1. a square, a rectangle, or a triangle of a square, by rotary cutter
   (``patchwork.cutting.rotary``);
2. a shape that a strip gives when it is cut at an angle (``patchwork.cutting.angled_strips``);
3. a template, nested by outline (``patchwork.cutting.nesting``).

Counts are those of all blocks together.  Of a rectangle, either side may lie along
the strip; the way is taken that needs the least cloth, and of those the one with the fewest
strips.  For a given way no strip can be saved (``patchwork.optimise.cutting_stock``).

A grain that the author gave lies along the cloth.  On a directional fabric, a rectangle's longer
side does, and of everything else the grain arrow, with the print the same way up.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.cutting.angled_strips import Slanted, rounded_up, slanted
from piecewright.patchwork.cutting.borders import (
    Binding,
    Border,
    Edging,
    binding_edging,
    border_edging,
)
from piecewright.patchwork.cutting.nesting import Blank, TooWide, nested, turns_for
from piecewright.patchwork.cutting.rotary import (
    TRIM,
    Rotary,
    Ruler,
    ShapeName,
    recognised,
    ruler,
    sides_of,
)
from piecewright.patchwork.cutting.templates import Template, TemplateSet
from piecewright.patchwork.cutting.yardage import Yardage, to_buy
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.optimise.cutting_stock import Packing, pack_lengths

ALIKE: Final = 0.01
"""Inches within which patches are cut as one: far finer than a ruler's lines."""

MOST_BLOCKS: Final = 10_000
"""More than a shop's order of kits."""

_COARSE: Final = 0.01
"""Inches by which curves of templates may be simpler for nesting; less than the gap there."""

_MOST_CHOICES: Final = 6
"""Kinds of rectangles of which every way of laying them is looked at: 64 plans at most. Of more
kinds, all lie with their shorter side across the strip."""

Purpose: TypeAlias = Literal["patches", "border", "binding"]


@dataclass(frozen=True, slots=True)
class Cloth:
    """The cloth and how it is used.

    Attributes:
        width: usable, inches.
        shrinkage, spare: percent of the length.
        directional: the ids of fabrics with a one-way or large print.
    """

    width: float = 40.0
    shrinkage: float = 3.0
    spare: float = 5.0
    directional: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Quilt:
    """What the blocks are for.

    Attributes:
        blocks: how many are made.
        size: finished width and height without its border, where that is known.
    """

    blocks: int = 1
    size: tuple[float, float] | None = None
    border: Border | None = None
    binding: Binding | None = None


@dataclass(frozen=True, slots=True)
class Cut:
    """What is cut of one kind from one fabric; all sizes are inches.

    Attributes:
        name: what a maker calls it: the shape, or ``diamond``, ``trapezoid``, ``template A``.
        finished: width and height of the patch, as ``Rotary`` and ``Slanted`` have them; of a
            template those of its finished outline.
        exact: width and height to cut, before rounding.
        cut: width and height to cut: of the square or rectangle; of a shape cut at an angle the
            step along the strip and the strip's width; of a template those of its outline.
        count: patches, of all blocks together.
        blanks: how many squares or rectangles those are cut from; else the count again.
        yields: patches of each blank.
        lengthwise: which of the two sizes (0 or 1) lies along the cloth; None for either.
        trim: whether rounding left more than 1/32 in.
        templates: the ids of the templates that have this shape.
        reversed: how many of the count are cut face down, where that matters.
    """

    shape: ShapeName
    name: str
    finished: tuple[float, float]
    exact: tuple[float, float]
    cut: tuple[float, float]
    count: int
    blanks: int
    yields: int
    source: Literal["strip", "template"]
    lengthwise: int | None
    trim: bool
    templates: tuple[str, ...]
    reversed: int = 0
    slant: Slanted | None = None
    one_way_print: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """A row of like blanks in a strip.

    Attributes:
        cut: the number of the ``Cut`` in its fabric's list.
        length: of each along the strip, inches.
        count: how many of them.
    """

    cut: int
    length: float
    count: int


@dataclass(frozen=True, slots=True)
class Strip:
    """Strips that are cut up alike, from left to right.

    Attributes:
        width: inches.
        count: how many strips.
        length: of the strip; the cloth's usable width, but for borders cut along the cloth.
        used: inches of it.
    """

    width: float
    count: int
    length: float
    parts: tuple[Part, ...]
    used: float
    purpose: Purpose = "patches"
    lengthwise: bool = False


@dataclass(frozen=True, slots=True)
class FabricCuts:
    """All that is cut from one fabric.

    Attributes:
        bound: no way to pack these blanks into strips of these widths has fewer strips.
        nested: the length of cloth that its templates take, inches.
        length: of all that is cut, inches, before shrinkage and spare.
    """

    fabric: str | None
    cuts: tuple[Cut, ...]
    strips: tuple[Strip, ...]
    bound: int
    nested: float
    length: float
    yardage: Yardage


@dataclass(frozen=True, slots=True)
class CuttingList:
    """What to cut for a number of blocks, and for the quilt's edges."""

    templates: TemplateSet
    cloth: Cloth
    quilt: Quilt
    rule: Ruler
    fabrics: tuple[FabricCuts, ...]
    edgings: tuple[Edging, ...]


def cutting_list(
    templates: TemplateSet,
    cloth: Cloth | None = None,
    quilt: Quilt | None = None,
    rule: Ruler | None = None,
) -> CuttingList:
    """The cutting list of a block's templates.

    Args:
        cloth: 40 in wide with no directional fabric, if none is given.
        quilt: one block without border or binding, if none is given.
        rule: what sizes to cut are rounded up to; the usual ruler of the block's unit if none is
            given.

    Raises:
        BlockError: the cloth is too narrow for a patch (``cloth-too-narrow`` at
            ``/cloth/width``), or a border has no quilt to go round (``quilt-size``).
    """
    cloth, quilt = cloth or Cloth(), quilt or Quilt()
    unit = templates.block.unit
    rule = rule or ruler(unit)
    edgings = _edgings(templates, cloth, quilt, rule)
    # In the order in which the block lists its fabrics; then those that only pieces name.
    wanted: dict[str | None, list[tuple[Template, int, int]]] = {
        fabric.id: [] for fabric in templates.block.fabrics
    }
    for template in templates.templates:
        for cut in template.cuts:
            wanted.setdefault(cut.fabric, []).append((template, cut.plain, cut.reversed))
    for edging in edgings:
        wanted.setdefault(edging.fabric, [])
    # A grain given in degrees is meant: it lies along the cloth, not across it.
    one_way = {p.id: not isinstance(p.grain, str) for p in templates.block.pieces}
    fabrics = []
    for fabric, patches in wanted.items():
        own = [edging for edging in edgings if edging.fabric == fabric]
        if patches or own:
            directional = fabric in cloth.directional
            maker = _Fabric(cloth, rule, quilt.blocks, directional, one_way)
            for template, plain, turned_over in patches:
                maker.add(template, plain, turned_over)
            strips, bound = maker.strips()
            strips += [_edging_strip(edging, cloth) for edging in own]
            nest = maker.nested()
            # Strips, templates and edgings are cut one below the other.
            across = sum(s.width * s.count for s in strips if s.purpose == "patches")
            length = across + nest + sum(edging.cloth for edging in own)
            bought = to_buy(length, cloth.shrinkage, cloth.spare, unit)
            cuts = tuple(maker.cuts)
            fabrics.append(FabricCuts(fabric, cuts, tuple(strips), bound, nest, length, bought))
    return CuttingList(templates, cloth, quilt, rule, tuple(fabrics), edgings)


# -- the quilt's edges


def _edgings(templates: TemplateSet, cloth: Cloth, quilt: Quilt, rule: Ruler) -> tuple[Edging, ...]:
    """The border, and the binding round it."""
    if quilt.border is None and quilt.binding is None:
        return ()
    if quilt.size is None:
        message = "a border or a binding needs the quilt's finished width and height"
        raise BlockError([Fault("/quilt", "quilt-size", message)])
    found = []
    across, down = quilt.size
    if quilt.border is not None:
        border = quilt.border
        width = border.width + 2 * templates.allowance.seam
        _check_width(width, cloth, "/quilt/border/width")
        lengthwise = border.fabric in cloth.directional
        found.append(
            border_edging(
                border, quilt.size, templates.allowance.seam, rule, cloth.width, lengthwise
            )
        )
        across, down = across + 2 * border.width, down + 2 * border.width
    if quilt.binding is not None:
        _check_width(quilt.binding.width, cloth, "/quilt/binding/width")
        found.append(binding_edging(quilt.binding, (across, down), rule, cloth.width, False))
    return tuple(found)


def _check_width(width: float, cloth: Cloth, pointer: str) -> None:
    """Refuse a strip that diagonal joins would use up, as each takes its width of length."""
    if 2 * width > cloth.width:
        message = "a strip must be less than half as wide as the cloth's usable width"
        raise BlockError([Fault(pointer, "range", message)])


def _edging_strip(edging: Edging, cloth: Cloth) -> Strip:
    length = max(size for size, _, _ in edging.lengths) if edging.lengthwise else cloth.width
    return Strip(
        edging.width,
        edging.strips,
        length,
        (),
        length,
        edging.purpose,
        edging.lengthwise,
    )


# -- the patches of one fabric


class _Fabric:
    """The patches of one fabric, collected template by template."""

    def __init__(
        self,
        cloth: Cloth,
        rule: Ruler,
        blocks: int,
        directional: bool,
        one_way: dict[str, bool],
    ) -> None:
        self.cloth, self.rule, self.blocks = cloth, rule, blocks
        self.directional, self.one_way = directional, one_way
        # Strips are packed in whole steps of the ruler, so that sums are exact.
        self.room = math.floor(cloth.width / rule.step + 1e-6)
        self.cuts: list[Cut] = []
        self._blanks: list[tuple[Template, Blank]] = []

    def add(self, template: Template, plain: int, turned_over: int) -> None:
        """Count the patches of a template, in the first way of cutting that serves."""
        # Pieces with a given grain never share a template with others.
        given = self.one_way[template.pieces[0]]
        one_way = given or self.directional
        sides = sides_of(template)
        if sides is not None:
            rotary = recognised(sides, template.grain, one_way, self.directional and not given)
            if rotary is not None and self._fits(rotary):
                apart = one_way and rotary.shape == "half-square triangle"
                counts = (plain, turned_over) if apart else (plain + turned_over, 0)
                # With one grain line for all, squares cut along one diagonal give no mirror images.
                for number, face_down in zip(counts, (False, True), strict=True):
                    if number:
                        self._put(self._by_rotary(rotary, template, number, face_down))
                return
            slant = slanted(sides, template.grain, one_way, self.directional)
            if slant is not None and rounded_up(slant, self.rule).per_strip(self.cloth.width):
                # Mirror images come from strips laid face down, where the cuts are not symmetric.
                counts = (plain + turned_over, 0) if slant.mirrored else (plain, turned_over)
                for number, face_down in zip(counts, (False, True), strict=True):
                    if number:
                        self._put(self._at_an_angle(slant, template, number, face_down))
                return
        self._by_template(template, plain, turned_over, one_way)

    def _fits(self, rotary: Rotary) -> bool:
        """Whether the cloth is wide enough for the square or rectangle."""
        return bool(self._ways(rotary.cut, rotary.lengthwise))

    def _ways(self, cut: tuple[float, float], lengthwise: int | None) -> list[tuple[int, int]]:
        """The (strip width, length along the strip) in which a blank can be cut, in steps."""
        first, second = (self.rule.steps(size) for size in cut)
        ways = [(first, second), (second, first)]
        if first == second:
            ways = ways[:1]
        elif lengthwise is not None:
            ways = [ways[lengthwise]]
        return [way for way in ways if way[1] <= self.room]

    def _by_rotary(self, rotary: Rotary, template: Template, number: int, face_down: bool) -> Cut:
        """Patches of squares and rectangles; how many of these is known when all are added up."""
        cut = (self.rule.up(rotary.cut[0]), self.rule.up(rotary.cut[1]))
        return Cut(
            shape=rotary.shape,
            name=rotary.shape,
            finished=rotary.finished,
            exact=rotary.cut,
            cut=cut,
            count=number * self.blocks,
            blanks=0,
            yields=rotary.yields,
            source="strip",
            lengthwise=rotary.lengthwise,
            trim=_over(cut, rotary.cut),
            templates=(template.id,),
            reversed=number * self.blocks if face_down else 0,
            one_way_print=self.directional,
        )

    def _at_an_angle(self, slant: Slanted, template: Template, number: int, over: bool) -> Cut:
        """Patches cut from strips at an angle."""
        up = rounded_up(slant, self.rule)
        return Cut(
            shape="template",
            name=slant.name,
            finished=slant.finished,
            exact=(slant.step, slant.width),
            cut=(up.step, up.width),
            count=number * self.blocks,
            blanks=0,
            yields=1,
            source="strip",
            lengthwise=1,
            trim=_over((up.width, up.step), (slant.width, slant.step)),
            templates=(template.id,),
            reversed=number * self.blocks if over else 0,
            slant=up,
            one_way_print=self.directional,
        )

    def _by_template(self, template: Template, plain: int, over: int, one_way: bool) -> None:
        """Patches that are nested; those laid face down have another outline and grain."""
        ring = tuple(paths.ring(template.cut, _COARSE))
        turns = turns_for(template.grain, one_way, self.directional)
        if plain:
            self._blanks.append((template, Blank(ring, turns, plain)))
        if over:
            flipped = tuple((-x, y) for x, y in reversed(ring))
            grain = None if template.grain is None else (180.0 - template.grain) % 180.0
            turns = turns_for(grain, one_way, self.directional)
            self._blanks.append((template, Blank(flipped, turns, over)))
        finished, cut = _size(paths.ring(template.finished)), _size(paths.ring(template.cut))
        self.cuts.append(
            Cut(
                shape="template",
                name=f"template {template.id}",
                finished=finished,
                exact=cut,
                cut=cut,
                count=(plain + over) * self.blocks,
                blanks=(plain + over) * self.blocks,
                yields=1,
                source="template",
                lengthwise=None,
                trim=False,
                templates=(template.id,),
                reversed=over * self.blocks,
                one_way_print=self.directional,
            )
        )

    def _put(self, new: Cut) -> None:
        """Add patches to those that are cut alike."""
        for k, cut in enumerate(self.cuts):
            if _alike(cut, new):
                new = replace(
                    cut,
                    count=cut.count + new.count,
                    reversed=cut.reversed + new.reversed,
                    trim=cut.trim or new.trim,
                    templates=(*cut.templates, *new.templates),
                )
                self.cuts[k] = _with_blanks(new)
                return
        self.cuts.append(_with_blanks(new))

    def nested(self) -> float:
        """The length of cloth that the templates take."""
        blanks = [blank for _, blank in self._blanks]
        try:
            return nested(blanks, self.cloth.width, self.blocks)[0]
        except TooWide as error:
            template = self._blanks[error.blank][0]
            message = (
                f"template {template.id} is wider than the cloth's usable width in every turn that "
                "its grain allows; take wider cloth or a smaller finished size"
            )
            raise BlockError([Fault("/cloth/width", "cloth-too-narrow", message)]) from error

    # -- strips

    def strips(self) -> tuple[list[Strip], int]:
        """Strips for all that is cut from strips, the widest first; and a bound on how many."""
        straight = [
            k for k, cut in enumerate(self.cuts) if cut.source == "strip" and cut.slant is None
        ]
        choices = [self._ways(self.cuts[k].exact, self.cuts[k].lengthwise) for k in straight]
        # Two ways each make a product that doubles with every kind of rectangle.
        if sum(len(ways) > 1 for ways in choices) > _MOST_CHOICES:
            choices = [[min(ways)] for ways in choices]  # the shorter side across the strip
        plans = (self._plan(straight, ways) for ways in itertools.product(*choices))
        best = min(plans, key=lambda plan: (_cloth(plan), sum(p.strips for _, _, p in plan)))
        # The bound of the plan that was taken: strips of other widths are another plan.
        strips, bound = [], 0
        for width, items, packing in best:
            bound += packing.bound
            for pattern, times in packing.patterns:
                parts = tuple(
                    Part(k, length * self.rule.step, number)
                    for (k, length), number in zip(items, pattern, strict=True)
                    if number
                )
                used = sum(part.length * part.count for part in parts)
                across = width * self.rule.step
                strips.append(Strip(across, times, self.cloth.width, parts, used))
        for k, cut in enumerate(self.cuts):
            if cut.slant is not None:
                at_angle = self._slanted_strips(k, cut.slant)
                strips += at_angle
                bound += sum(strip.count for strip in at_angle)
        return sorted(strips, key=lambda s: -s.width), bound

    def _plan(
        self, straight: Sequence[int], ways: Iterable[tuple[int, int]]
    ) -> list[tuple[int, list[tuple[int, int]], Packing]]:
        """For each width of strip what is cut from it, as (cut, length), and how it is packed."""
        by_width: dict[int, list[tuple[int, int]]] = {}
        for k, (width, length) in zip(straight, ways, strict=True):
            by_width.setdefault(width, []).append((k, length))
        plan = []
        for width, items in by_width.items():
            # In a fixed order, the longest first, for strips to read alike every time.
            items.sort(key=lambda item: (-item[1], item[0]))
            lengths = tuple(length for _, length in items)
            counts = tuple(self.cuts[k].blanks for k, _ in items)
            plan.append((width, items, pack_lengths(lengths, counts, self.room)))
        return plan

    def _slanted_strips(self, k: int, slant: Slanted) -> list[Strip]:
        """The strips for patches cut at an angle: full ones, and one with the rest."""
        each = slant.per_strip(self.cloth.width)
        full, rest = divmod(self.cuts[k].count, each)
        return [
            Strip(
                slant.width,
                times,
                self.cloth.width,
                (Part(k, slant.advance, number),),
                slant.length(number),
            )
            for number, times in ((each, full), (rest, 1))
            if number and times
        ]


def _cloth(plan: Sequence[tuple[int, list[tuple[int, int]], Packing]]) -> int:
    """The length of cloth that a plan takes, in steps of the ruler."""
    return sum(width * packing.strips for width, _, packing in plan)


def _with_blanks(cut: Cut) -> Cut:
    """With as many squares or rectangles as its patches take."""
    return replace(cut, blanks=math.ceil(cut.count / cut.yields))


def _alike(one: Cut, other: Cut) -> bool:
    """Whether two kinds of patches are cut as one."""
    return (
        (one.shape, one.name, one.source, one.lengthwise, one.reversed > 0)
        == (other.shape, other.name, other.source, other.lengthwise, other.reversed > 0)
        and (one.slant and one.slant.angles) == (other.slant and other.slant.angles)
        and all(
            abs(a - b) <= ALIKE
            for a, b in zip(one.finished + one.cut, other.finished + other.cut, strict=True)
        )
    )


def _over(cut: tuple[float, float], exact: tuple[float, float]) -> bool:
    """Whether rounding up left so much that patches are to be trimmed."""
    return any(up - size > TRIM + 1e-9 for up, size in zip(cut, exact, strict=True))


def _size(ring: Sequence[Point]) -> tuple[float, float]:
    """Width and height of a ring of points."""
    xs, ys = [p[0] for p in ring], [p[1] for p in ring]
    return max(xs) - min(xs), max(ys) - min(ys)
