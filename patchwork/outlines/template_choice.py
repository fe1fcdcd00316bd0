"""One cut outline for each shape: the choice of its cuts, and of how each piece lies in it.

Corners that are matched piece by piece differ between like pieces, as their neighbours do, and a
maker would need a template for each.  So each corner of a shape has one of the cuts that its pieces
have there, or none.  These, and how each piece lies in a shape that is symmetric, are chosen for
all shapes together.  One after the other,

* the most seam ends of the block agree: the two raw edges end together;
* the fewest pieces are reversed, of shapes that are their own mirror image (a piece of another
  shape lies as it must);
* the fewest points stick out of a sewn unit, as dog ears would;
* the least cloth is cut away.

Where like pieces are cut alike as it is, nothing is chosen: their seam ends agree already.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter, OrderedDict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.congruence import Way
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.optimise.bucket_elimination import Effort, Table
from piecewright.patchwork.optimise.many_valued import minimise_many
from piecewright.patchwork.outlines.corner_cuts import (
    Form,
    area,
    cut_to_form,
    ends_of,
    form_of,
    same_form,
    standing,
    sticks_out,
)
from piecewright.patchwork.outlines.matching import VISIBLE, Matched, SeamEnd
from piecewright.patchwork.outlines.mitres import Mitre, MitreKey
from piecewright.patchwork.outlines.shared_shapes import (
    Role,
    SharedShape,
    laid_form,
    shared_shapes,
)

_Template: TypeAlias = tuple[Form, ...]
"""A cut outline that a shape may have: the form of each of its corners."""

_Corner: TypeAlias = tuple[int, int]
"""A piece, and the number of a corner of its shape."""

_MOST_TEMPLATES: Final = (128, 32, 12, 4)
"""Templates of one shape that are compared at once: as many as make no more than ``_MOST_COSTS``.

A convex shape has three points at most, and its pieces seldom more than three cuts at one of them.
Where a shape could have more templates, those are compared that differ from a good one at one
corner, as long as that makes it better.
"""

_MOST_COSTS: Final = 4_000_000
"""Costs of seam ends, by the templates of both pieces and by how they lie: 32 MB."""

_SECONDS: Final = 1.0
"""How far the best choice is searched for, as ``Effort`` counts them."""

_CACHED: Final = 64
"""Blocks of which the choice is kept: those of the catalogue and some more.

One of 2,000 pieces takes a megabyte."""

_FINE: Final = 1e-6
"""The part of all the cloth that could be cut away in which it is counted."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The mitres that change so that like pieces are cut alike.

    Attributes:
        optimal: whether it is proven that no other choice is better.
    """

    mitres: dict[MitreKey, Mitre]
    optimal: bool


_known: OrderedDict[tuple[object, ...], Chosen] = OrderedDict()
"""Choices for blocks that were met, so that each is made once for all printables of a block."""


def choose_templates(seams: Seams, widths: Sequence[float], matched: Matched) -> Chosen:
    """The best cut outline of each shape of a block.

    Args:
        widths: the allowance of each edge, inches.
        matched: the mitres of all corners, matched piece by piece.
    """
    curves = [edge.segment for edge in seams.edges if type(edge.segment) is Curve]
    block = (seams.points, *matched.signature, *curves)
    found = _known.get(block)
    if found is None:
        shapes = shared_shapes(seams, widths, matched.mitres)
        found = _known[block] = _chosen_for(shapes, matched)
        if len(_known) > _CACHED:
            _known.popitem(last=False)
    return found


def _chosen_for(shapes: Sequence[SharedShape], matched: Matched) -> Chosen:
    if all(shape.cut_alike() for shape in shapes):
        return Chosen({}, True)
    options = [_options(shape) for shape in shapes]
    now = [
        tuple(
            next(form for form in own if same_form(form, form_of(mitre)))
            for own, mitre in zip(at_corners, shape.roles[0][0].mitres, strict=True)
        )
        for at_corners, shape in zip(options, shapes, strict=True)
    ]
    places, ends = _places(shapes), matched.ends()
    counts = [math.prod(map(len, at_corners)) for at_corners in options]
    most = _most_templates(shapes, counts, places, ends)
    every = [count <= most for count in counts]
    effort, least = Effort(_SECONDS), math.inf
    while True:
        compared = [
            _unturned(
                itertools.product(*own) if whole else itertools.islice(_near(own, one), most), shape
            )
            for own, whole, one, shape in zip(options, every, now, shapes, strict=True)
        ]
        network = _Network(matched, shapes, compared, places, ends)
        values, cost, proven = network.solved(now, effort)
        if all(every) or cost >= least:
            return Chosen(network.mitres(values), all(every) and proven)
        now = [own[t] for own, t in zip(compared, values, strict=False)]
        least = cost


# --- what can be chosen -----------------------------------------------------------------------


def _options(shape: SharedShape) -> list[list[Form]]:
    """For each corner of a shape the cuts that its pieces have there, and none."""
    count = len(shape.roles[0][0].mitres)
    known: list[Form] = [()]
    options: list[list[Form]] = [[()] for _ in range(count)]
    for role, ways in shape.roles:
        for way, (k, mitre) in itertools.product(ways, enumerate(role.mitres)):
            seen = laid_form(form_of(mitre), way)
            # One form for all that are the same, so that a turned template is known again.
            form = next((one for one in known if same_form(one, seen)), None)
            if form is None:
                form = seen
                known.append(form)
            at = options[way.corner(k, count)]
            if form not in at:
                at.append(form)
    return options


def _as_laid(template: _Template, way: Way) -> _Template:
    """The forms of a piece's corners where its shape has a template, and it lies on it in a way."""
    count = len(template)
    return tuple([laid_form(template[way.corner(k, count)], way) for k in range(count)])


def _turned(template: _Template, shape: SharedShape) -> _Template:
    """The one that stands for a template and all its turned copies."""
    return min(_as_laid(template, way) for way in shape.ways if not way.flipped)


def _unturned(templates: Iterable[_Template], shape: SharedShape) -> list[_Template]:
    """The templates, one alone of those that are turned copies of each other."""
    return list(dict.fromkeys(_turned(one, shape) for one in templates))


def _near(options: Sequence[Sequence[Form]], template: _Template) -> Iterator[_Template]:
    """A template, and those that differ from it at one corner."""
    yield template
    for k, own in enumerate(options):
        yield from ((*template[:k], form, *template[k + 1 :]) for form in own)


def _places(shapes: Sequence[SharedShape]) -> dict[MitreKey, _Corner]:
    """The points of all pieces, by their mitres."""
    return {
        (piece, side): (piece, i)
        for shape in shapes
        for role, _ in shape.roles
        for piece, sides in zip(role.pieces, role.sides, strict=True)
        for i, side in enumerate(sides)
        if role.mitres[i].sharp
    }


def _most_templates(
    shapes: Sequence[SharedShape],
    counts: Sequence[int],
    places: Mapping[MitreKey, _Corner],
    ends: Sequence[SeamEnd],
) -> int:
    """How many templates of each shape are compared at once.

    Args:
        counts: how many each shape could have.
    """
    # For each piece its shape, and in how many ways it may lie.
    lies = {
        piece: (s, len(ways))
        for s, shape in enumerate(shapes)
        for role, ways in shape.roles
        for piece in role.pieces
    }
    pairs = Counter(
        tuple(sorted(lies[places[key][0]] for key in (end.arriving, end.leaving) if key in places))
        for end in ends
    )
    for most in _MOST_TEMPLATES:
        costs = 0
        for pair, times in pairs.items():
            compared = {s: min(counts[s], most) for s, _ in pair}
            costs += times * math.prod(compared.values()) * math.prod(ways for _, ways in pair)
        if costs <= _MOST_COSTS:
            break
    return most


# --- what it costs ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Stances:
    """How the pieces of a role may lie in the templates of their shape that are compared.

    Ways that make no difference are one stance.  The first two axes of all are templates and
    stances; where a template has fewer stances than others its first one is repeated.

    Attributes:
        forms: of the piece's corners.
        ends: how far (inches) the arriving and the leaving raw edge go on at each corner.
        reversed: 1 where the piece lies flipped and its shape is its own mirror image.
    """

    forms: list[list[_Template]]
    ends: NDArray[np.float64]
    reversed: NDArray[np.int64]

    @property
    def count(self) -> int:
        return int(self.reversed.shape[1])


def _stances(
    role: Role, ways: Sequence[Way], templates: Sequence[_Template], mirrored: bool
) -> _Stances:
    forms: list[list[_Template]] = []
    flips: list[list[int]] = []
    for template in templates:
        own: dict[_Template, tuple[_Template, int]] = {}
        for way in ways:  # those that are not flipped come first
            laid = _as_laid(template, way)
            # A form and the mirror image of its mirror image differ by rounding alone.
            alike = tuple([tuple([_rounded(cut) for cut in form]) for form in laid])
            own.setdefault(alike, (laid, int(mirrored and way.flipped)))
        forms.append([laid for laid, _ in own.values()])
        flips.append([flip for _, flip in own.values()])
    most = max(map(len, forms))
    for row, flip in zip(forms, flips, strict=True):
        row += row[:1] * (most - len(row))
        flip += flip[:1] * (most - len(flip))
    known: dict[tuple[int, Form], tuple[float, float]] = {}
    for template in itertools.chain.from_iterable(forms):
        for k, form in enumerate(template):
            if (k, form) not in known:
                mitre = role.mitres[k]
                known[k, form] = ends_of(mitre, form) if mitre.sharp else (0.0, 0.0)
    ends = [[[known[own] for own in enumerate(template)] for template in row] for row in forms]
    return _Stances(forms, np.array(ends), np.array(flips))


def _rounded(cut: tuple[float, float, float]) -> tuple[float, float, float]:
    """A cut of a form to a millionth, far finer than forms that differ."""
    along, across, reach = cut
    return (round(along, 6), round(across, 6), round(reach, 6))


class _Network:
    """The choice between templates as a network of costs.

    Its variables are the shapes, with the templates that are compared for their values, and after
    them the pieces that may lie in several stances.  A cost is one number: a seam end that does
    not agree weighs more than all reversed pieces together, one of these more than all ears, and
    one of these more than all the cloth that is cut away.
    """

    def __init__(
        self,
        matched: Matched,
        shapes: Sequence[SharedShape],
        compared: Sequence[Sequence[_Template]],
        places: dict[MitreKey, _Corner],
        ends: Sequence[SeamEnd],
    ) -> None:
        self.matched, self.shapes, self.compared = matched, shapes, compared
        self.sizes = [len(templates) for templates in compared]
        self.tables: dict[tuple[int, ...], Table] = {}
        self.roles: dict[int, tuple[Role, _Stances]] = {}
        # For each piece the variables that say how it is cut: its shape, and how it lies.
        self.variables: dict[int, tuple[int, ...]] = {}
        for s, (shape, templates) in enumerate(zip(shapes, compared, strict=True)):
            for role, ways in shape.roles:
                stances = _stances(role, ways, templates, shape.mirrored)
                for piece in role.pieces:
                    self.roles[piece] = role, stances
                    self.variables[piece] = (s,)
                    if stances.count > 1:
                        self.variables[piece] = (s, len(self.sizes))
                        self.sizes.append(stances.count)
        # Each weighs more than all of what comes after it.
        self.ear = round(1 / _FINE) + 1
        self.reversal = self.ear * (len(places) + 1)
        self.end = self.reversal * (len(self.roles) + 1)
        self._count_cloth()
        self._count_pieces(places)
        self._count_ends(places, ends)

    def solved(self, now: Sequence[_Template], effort: Effort) -> tuple[tuple[int, ...], int, bool]:
        """The best values, what they cost, and whether that is proven to be least.

        Args:
            now: templates to begin with.
        """
        start = [0] * len(self.sizes)
        for s, (shape, own, one) in enumerate(zip(self.shapes, self.compared, now, strict=True)):
            start[s] = own.index(_turned(one, shape))
        found = minimise_many(self.sizes, self.tables, effort, start, len(self.shapes))
        cost = sum(
            int(table[tuple(found.values[v] for v in scope)])
            for scope, table in self.tables.items()
        )
        return found.values, cost, found.proven

    def mitres(self, values: Sequence[int]) -> dict[MitreKey, Mitre]:
        """The mitres that change with a choice."""
        changed: dict[MitreKey, Mitre] = {}
        cut: dict[tuple[int, Form], Mitre] = {}
        for shape in self.shapes:
            for role, _ in shape.roles:
                for piece, sides in zip(role.pieces, role.sides, strict=True):
                    template, *stance = (values[v] for v in self.variables[piece])
                    forms = self.roles[piece][1].forms[template][stance[0] if stance else 0]
                    for side, form in zip(sides, forms, strict=True):
                        own = self.matched.mitres[piece, side]
                        if own.sharp and not same_form(form, form_of(own)):
                            if (id(own), form) not in cut:
                                cut[id(own), form] = cut_to_form(own, form)
                            changed[piece, side] = cut[id(own), form]
        return changed

    def _count_cloth(self) -> None:
        """Cloth that is cut away, of all pieces of a shape."""
        costs = []
        for shape, templates in zip(self.shapes, self.compared, strict=True):
            mitres = shape.roles[0][0].mitres
            pieces = sum(len(role.pieces) for role, _ in shape.roles)
            points = [k for k, mitre in enumerate(mitres) if mitre.sharp]
            whole = {k: area(standing(mitres[k], ())) for k in points}
            taken = {
                (k, form): whole[k] - area(standing(mitres[k], form))
                for k in points
                for form in {template[k] for template in templates}
            }
            costs.append([pieces * sum([taken[k, one[k]] for k in points]) for one in templates])
        most = sum(max(own) for own in costs)
        for s, own in enumerate(costs):
            if most > 0.0:
                self._add((s,), (np.array(own) / most / _FINE).astype(np.int64))

    def _count_pieces(self, places: dict[MitreKey, _Corner]) -> None:
        """Pieces that are reversed, and their points that stick out as ears."""
        costs: dict[tuple[int, ...], Table] = {}
        sides = {place: key for key, place in places.items()}
        for piece, (role, stances) in self.roles.items():
            points = [k for k, mitre in enumerate(role.mitres) if mitre.sharp]
            rooms = [self.matched.trimmed[sides[piece, k]] for k in points]
            key = (id(stances), *map(id, rooms))
            if key not in costs:
                out: dict[tuple[int, Form], bool] = {}
                for template in itertools.chain.from_iterable(stances.forms):
                    for k, room in zip(points, rooms, strict=True):
                        form = template[k]
                        if (k, form) not in out:
                            out[k, form] = sticks_out(role.mitres[k], form, form_of(room))
                ears = [
                    [sum([out[k, one[k]] for k in points]) for one in row] for row in stances.forms
                ]
                costs[key] = self.reversal * stances.reversed + self.ear * np.array(ears)
            self._add(self.variables[piece], costs[key])

    def _count_ends(self, places: dict[MitreKey, _Corner], ends: Sequence[SeamEnd]) -> None:
        """Seam ends that do not agree."""
        costs: dict[tuple[object, ...], Table] = {}
        for end in ends:
            one, other = places.get(end.arriving), places.get(end.leaving)
            if one is None and other is None:
                continue  # both corners are whole, and nothing is chosen
            one_scope, one_key, ends_one = self._raw_end(one, self.matched.mitres[end.arriving], 0)
            scope, key, ends_other = self._raw_end(other, self.matched.mitres[end.leaving], 1)
            one_shape = bool(scope) and one_scope[:1] == scope[:1]
            together = (*one_key, *key, one_shape)
            if together not in costs:
                apart = np.abs(np.subtract.outer(ends_one, ends_other)) > VISIBLE
                if one_shape:
                    # Both have the same template: the diagonal of these two axes.
                    apart = np.diagonal(apart, axis1=0, axis2=ends_one.ndim)
                    apart = np.moveaxis(apart, -1, 0)
                costs[together] = self.end * apart.astype(np.int64)
            self._add(one_scope + (scope[1:] if one_shape else scope), costs[together])

    def _raw_end(
        self, place: _Corner | None, mitre: Mitre, leaving: int
    ) -> tuple[tuple[int, ...], tuple[float, float], NDArray[np.float64]]:
        """How far a raw edge goes on: the variables, a key for that, and the inches by values.

        Args:
            place: of the mitre's corner; None where that is whole.
            leaving: 1 for the leaving side's raw edge, 0 for the arriving side's.
        """
        if place is None:
            fixed = mitre.leaving_end if leaving else mitre.arriving_end
            return (), (-1.0, fixed), np.array(fixed)
        piece, corner = place
        stances = self.roles[piece][1]
        found = stances.ends[:, :, corner, leaving]
        # With one stance no variable says which.
        found = found[:, 0] if stances.count == 1 else found
        return self.variables[piece], (id(stances), corner), found

    def _add(self, scope: tuple[int, ...], cost: Table) -> None:
        """Add what the values of some variables cost."""
        cost = np.asarray(cost, dtype=np.int64)
        if cost.ndim > len(scope):
            cost = cost[:, 0]  # one stance, so that no variable says which
        order = sorted(range(len(scope)), key=scope.__getitem__)
        scope = tuple(scope[axis] for axis in order)
        cost = cost.transpose(order)
        self.tables[scope] = self.tables[scope] + cost if scope in self.tables else cost
