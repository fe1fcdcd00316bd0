"""A sewing plan in a maker's words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from piecewright.patchwork.block.joins import Spans
from piecewright.patchwork.block.model import extent
from piecewright.patchwork.block.wording import counted, width_by_height
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, Vector, distance, minus
from piecewright.patchwork.lengths import Unit, fraction, spoken
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.error_budget import Compared, PointDeviation
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.patchwork.sewing.pressing import Meeting
from piecewright.patchwork.sewing.rectangles import Size
from piecewright.patchwork.sewing.rounds import Round
from piecewright.patchwork.sewing.steps import PartialSeam, Step

CAUTION = (
    "The iron is hot and steam burns: unplug it when you leave the room. Count pins and needles "
    "out and back in."
)

_MOST_LISTED = 8

_MOST_TITLED = 5
"""Steps that a card's title names where it cannot name all: they fit its width at full size."""

_AS_FAR = 1 / 32
"""Inches within which two tips stand out alike: half of what a ruler has."""

_LEAST_RULED = 1 / 24
"""Inches; of less it is said that it is less than the least that a ruler has, 1/16 in or 1 mm."""
_MOST_PLACES = 4
"""Along a seam, of which a card tells how far each comes from its start; of more the first."""

_MOST_NAMED = 4
"""Pieces round a point that are named; more would take a line of a card and tell less."""


class Words:
    """Says the steps of one plan."""

    def __init__(self, plan: SewingPlan) -> None:
        self.plan = plan
        self.unit: Unit = plan.block.unit
        self.spans = Spans(plan.order)
        self.names = {f.id: f.name for f in plan.block.fabrics}
        self.meetings: dict[int, list[Meeting]] = {}
        for meeting in plan.pressing.meetings:
            self.meetings.setdefault(meeting.step, []).append(meeting)
        self.rounds = {r.joins[-1]: r for r in plan.sewing.rounds}
        self.groups: dict[int, list[Step]] = {}
        for step in plan.sewing.steps:
            self.groups.setdefault(step.like, []).append(step)

    # --- units ---

    def unit_name(self, number: int, fabric: bool = True) -> str:
        """``n1 (Harbour navy)``, or ``the unit of step 3``."""
        pieces = self.plan.order.pieces
        if number >= pieces:
            return f"the unit of step {number - pieces + 1}"
        piece = self.plan.block.pieces[number]
        if not fabric or piece.fabric is None:
            return piece.id
        return f"{piece.id} ({self.names.get(piece.fabric, piece.fabric)})"

    def joined(self, step: Step) -> str:
        """What is sewn to what."""
        join = self.plan.order.joins[step.join]
        return f"Sew {self.unit_name(join.first)} to {self.unit_name(join.second)}."

    def likewise(self, step: Step) -> str:
        """The other steps that are sewn just like one; empty if there are none."""
        others = [s for s in self.groups[step.like] if s.join != step.join]
        if not others:
            return ""
        message = []
        for other in others[:_MOST_LISTED]:
            join = self.plan.order.joins[other.join]
            names = [self.unit_name(u, fabric=False) for u in (join.first, join.second)]
            message.append(f"{names[0]} to {names[1]}")
        more = len(others) - len(message)
        tail = f", and {more} more" if more else ""
        return f"Likewise {'; '.join(message)}{tail}."

    # --- the seam ---

    def seam(self, step: Step) -> str:
        """The kind of seam, and what it asks for."""
        join = self.plan.order.joins[step.join]
        segments = [self.plan.seams.segment(s) for s in join.seam.sides]
        long = f"{spoken(paths.run_length(segments), self.unit)} finished"
        if step.partial is not None:
            return self._partial(step, step.partial, long)
        if step.kind == "straight":
            return f"Straight seam, {long}."
        if step.kind == "curved":
            return (
                f"Curved seam, {long}: pin both ends and the notches, the concave edge on top, and "
                "ease it in."
            )
        count = len(step.pivots)
        turns = "the pivot" if count == 1 else f"each of the {count} pivots"
        return (
            f"Set-in seam, {long}: at {turns} (diamond) stop with the needle down, lift the foot, "
            "turn, and clip the inner corner almost to the stitch."
        )

    def _partial(self, step: Step, partial: PartialSeam, long: str) -> str:
        end = _end_towards(minus(partial.start, partial.stop))
        sewn = spoken(distance(partial.start, partial.stop), self.unit)
        return (
            f"Partial seam, {long}: sew from its {end} end as drawn to its middle, {sewn}, "
            "backstitch at the bar, and leave the rest open. It is finished in "
            f"{self._finishing(step)}."
        )

    def _finishing(self, step: Step) -> str:
        """The steps in which a step's partial seam is finished, and those of the steps like it."""
        found = [s.partial.finished_by for s in self.groups[step.like] if s.partial is not None]
        return steps_listed(dict.fromkeys(found))

    def finished(self, step: Step) -> str:
        """What is sewn after the seam itself, to finish an earlier one; empty if nothing is."""
        if step.finishes is None:
            return ""
        begun = [s.finishes.join for s in self.groups[step.like] if s.finishes is not None]
        long = spoken(distance(step.finishes.seam[0], step.finishes.seam[-1]), self.unit)
        return (
            f"Then finish {steps_listed(dict.fromkeys(begun))}: pin the open part and the stretch "
            f"straight on from it (dashed), and sew on from the bar, {long}."
        )

    def stops(self, step: Step) -> str:
        """Where the seam stops before the raw edge; empty if it is sewn from edge to edge."""
        if not step.stops:
            return ""
        inches = self.plan.allowance.seam
        both = len(step.stops) > 1
        away = f", {spoken(inches, self.unit)}" if inches else ""
        where = (
            f"Start and stop at the match points (bars){away}{' from the raw edges' * bool(away)},"
            if both
            else f"Stop at the match point (bar){away}{' before the raw edge' * bool(away)},"
        )
        # Alike steps stop alike, but each for a later step of its own.
        if len(self.groups[step.like]) > 1:
            return f"{where} and backstitch: a later seam pivots there."
        later = sorted({stop.pivots + 1 for stop in step.stops})
        pivots = (
            f"step {later[0]} pivots"
            if len(later) == 1
            else f"steps {listed(map(str, later))} pivot"
        )
        return f"{where} and backstitch: {pivots} there."

    def matching(self, step: Step) -> str:
        """What must meet along the seam; empty if nothing does."""
        met = self.meetings.get(step.join, [])
        if not met:
            return ""
        nested = sum(m.nests for m in met)
        points = counted(len(met), "point")
        if nested == len(met):
            nest = "the seams nest" if len(met) == 1 else "the seams nest at all of them"
            return f"Match {points} (dot{'s' * (len(met) > 1)}): {nest}."
        if nested:
            message = [f"Match {points}: the seams nest at {nested} (filled); pin the rest (open)."]
        else:
            message = [f"Match {points} (open dot{'s' * (len(met) > 1)}): pin, as nothing nests."]
        reasons = dict.fromkeys(m.reason for m in met if m.reason)
        message += [f"Cannot nest: {reason}." for reason in list(reasons)[:2]]
        return " ".join(message)

    def tips(self, step: Step) -> str:
        """How the raw edges lie where they do not end together; empty if they do everywhere."""
        if not step.tips:
            return ""
        by = [tip.by for tip in step.tips]
        pieces = listed(dict.fromkeys(tip.piece for tip in step.tips))
        if len(by) == 2 and abs(by[0] - by[1]) < _AS_FAR:
            return f"Centre it: {self._stands(by[0])} at each end ({pieces})."
        message = []
        for tip in step.tips:
            others = [p for p in (step.seam[0], step.seam[-1]) if distance(p, tip.at) > TOLERANCE]
            end = _end_towards(minus(tip.at, others[0])) if others else "one"
            message.append(f"{self._stands(tip.by)} at the {end} end ({tip.piece})")
        return f"Match the dots, not the raw edges: {'; '.join(message)}."

    def other_tips(self, step: Step) -> list[str]:
        """The same for the steps that are sewn just like one, where it is not the same for them."""
        found: dict[str, list[str]] = {}
        for other in self.groups[step.like]:
            if (told := self.tips(other)) != self.tips(step):
                found.setdefault(told, []).append(str(other.join + 1))
        return [
            f"Step{'s' * (len(steps) > 1)} {listed(steps)}: {told or 'raw edges end together.'}"
            for told, steps in found.items()
        ]

    def _stands(self, by: float) -> str:
        """How far a tip stands out or stays back."""
        fine = abs(by) < _LEAST_RULED
        amount = f"less than {self.ruled(0.0)}" if fine else self.ruled(abs(by))
        return f"{amount} {'stands out' if by > 0 else 'stays back'}"

    def feeding(self, step: Step) -> str:
        """Where to slow down at the machine, and where to mind a fold; empty if nowhere."""
        needle = step.needle
        if needle is None or not (needle.ridges or needle.folds):
            return ""
        join = self.plan.order.joins[step.join]
        on_top = self.unit_name(join.first if needle.on_top == "first" else join.second, False)
        across, down = needle.end[0] - needle.start[0], needle.end[1] - needle.start[1]
        if abs(across) >= abs(down):
            end = "left" if across > 0 else "right"
        else:
            end = "top" if down > 0 else "bottom"
        ridges, folds = self._met(step)
        flat = "keep the allowance underneath flat"
        if not ridges:
            message = f"{flat} {_from_raw_edge(folds)}"
        else:
            message = f"slow down {_from_raw_edge(ridges)}, where the presser foot meets a ridge"
            if folds:
                message += f"; {flat} " + ("there" if folds == ridges else f"at {_places(folds)}")
        return f"Start at the {end}, {on_top} on top: {message}."

    def fed_otherwise(self, step: Step) -> list[str]:
        """The same of steps that are sewn just like one, but across seams pressed another way."""
        return [
            f"Step {other.join + 1}: {self.feeding(other) or 'there is nothing to slow down for.'}"
            for other in self.groups[step.like]
            if self._met(other) != self._met(step)
        ]

    def _met(self, step: Step) -> tuple[list[str], list[str]]:
        """How far along a seam its ridges and its folds are."""
        needle = step.needle
        ridges, folds = (needle.ridges, needle.folds) if needle else ((), ())
        along = [[self.ruled(one.from_start, 8) for one in found] for found in (ridges, folds)]
        return list(dict.fromkeys(along[0])), list(dict.fromkeys(along[1]))

    # --- pressing ---

    def press(self, step: Step) -> str:
        """Toward which side, by fabric where that is clear, and how much of the seam."""
        toward = self._toward(step)
        if step.partial is not None:
            later = self._finishing(step)
            return f"{toward[:-1]}, up to the bar; the rest goes the same way in {later}."
        if step.finishes is not None:
            return f"{toward[:-1]}, and what is finished the way its beginning goes."
        return toward

    def _toward(self, step: Step) -> str:
        if step.press == "open":
            return "Press the seam open."
        join = self.plan.order.joins[step.join]
        toward = join.first if step.press == "first" else join.second
        fabric = self.pressed_fabric(step)
        if fabric is not None and all(
            self.pressed_fabric(other) == fabric for other in self.groups[step.like]
        ):
            name = self.names.get(fabric, fabric)
            if len(self.groups[step.like]) > 1:
                return f"Press toward {name}, as the arrow shows."
            if toward < self.plan.order.pieces:
                return f"Press toward {name} ({self.unit_name(toward, fabric=False)})."
            return f"Press toward {name}, {self.unit_name(toward)}."
        if len(self.groups[step.like]) > 1:
            return "Press as the arrow shows."
        away = join.first + join.second - toward
        if toward >= self.plan.order.pieces > away:
            return f"Press away from {self.unit_name(away)}."
        return f"Press toward {self.unit_name(toward)}."

    def pressed_fabric(self, step: Step) -> str | None:
        """The fabric that a seam is pressed toward, if one lies there alone, and not on both."""
        sides = [self._fabrics(step, which) for which in ("first", "second")]
        if step.press == "open":
            return None
        own, other = sides if step.press == "first" else reversed(sides)
        if len(own) != 1 or own & other:
            return None
        return next(iter(own))

    def _fabrics(self, step: Step, which: Press) -> set[str | None]:
        """The fabrics that lie along a seam on one of its sides."""
        join = self.plan.order.joins[step.join]
        unit = join.first if which == "first" else join.second
        found: set[str | None] = set()
        for side in join.seam.sides:
            edge = self.plan.seams.edges[side.edge]
            for piece in (edge.right, edge.left):
                if piece is not None and self.spans.holds(unit, piece):
                    found.add(self.plan.block.pieces[piece].fabric)
        return found

    # --- sizes ---

    def trim(self, step: Step) -> str:
        """The size to trim to."""
        last = step.join == len(self.plan.order.joins) - 1
        if step.unfinished is None:
            if step.partial is not None:
                return "Trim nothing yet."
            return "" if last else "Trim the dog ears only."
        return f"Trim to {size(step.unfinished, self.unit)}."

    def squared(self, found: Round) -> str:
        """How to square up after a round."""
        if found.unfinished is None or found.from_centre is None:
            return f"Round {found.number} is done."
        lengths = [spoken(away, self.unit) for away in found.from_centre]
        if len(set(lengths)) == 1:
            from_centre = f"{lengths[0]} from its middle to each raw edge"
        else:
            ways = ("left", "up", "right", "down")
            from_centre = "from its middle " + ", ".join(
                f"{away} {way}" for away, way in zip(lengths, ways, strict=True)
            )
        return (
            f"Round {found.number} is done: square up from the centre, {from_centre}, to "
            f"{size(found.unfinished, self.unit)}."
        )

    def step(self, step: Step) -> list[str]:
        """All that is said of a step, in sentences."""
        message = [
            self.joined(step),
            self.seam(step),
            self.finished(step),
            self.stops(step),
            self.tips(step),
            self.matching(step),
            self.feeding(step),
            self.press(step),
        ]
        after = self.rounds.get(step.join)
        message.append(self.squared(after) if after else self.trim(step))
        return [s for s in message if s]

    # --- the whole ---

    def overview(self) -> list[str]:
        """The plan in a few paragraphs."""
        plan = self.plan
        count, levels = len(plan.sewing.steps), len(plan.sewing.batches)
        if not count:
            return ["The block is one piece: there is nothing to sew."]
        message = [f"{counted(count, 'step')} in {counted(levels, 'set')}."]
        if count > levels:
            message[0] += (
                " All steps of a set can be chain pieced: sewn one after another without cutting "
                "the thread."
            )
        if count > 1:
            message[0] += " The cards go set by set; their numbers are those on the block map."
        if plan.block.built is not None:
            blocks = counted(len(plan.block.built.units), "block")
            message.append(f"It is made of {blocks}: each is sewn whole, and then they are joined.")
        pivots = sum(len(step.pivots) for step in plan.sewing.steps)
        if plan.given:
            with_pivots = f", with {counted(pivots, 'pivot')}" if pivots else ""
            message.append(f"The order of sewing is the block's own{with_pivots}.")
        # Nothing is said of an order that is not proven to be best.
        elif plan.fewest_pivots:
            message.append(
                f"Set-in seams turn at {counted(pivots, 'pivot')}: no order has fewer."
                if pivots
                else "No seam has to be set in."
            )
        message += self._partial_seams()
        pressing = plan.pressing
        if pressing.meetings:
            proven = pressing.nested == pressing.bound
            bound = "no plan nests more" if proven else f"at most {pressing.bound} can"
            total = len(pressing.meetings)
            crossings = counted(total, "seam intersection")
            message.append(f"Seams nest at {pressing.nested} of {crossings}: {bound}.")
        else:
            message.append("No seams cross inside a later seam, so none have to nest.")
        return message

    def _partial_seams(self) -> list[str]:
        """Which seams are sewn in two parts."""
        partial = [step for step in self.plan.sewing.steps if step.partial is not None]
        if not partial:
            return []
        pairs = [
            f"step {s.join + 1} is finished in step {s.partial.finished_by + 1}"
            for s in partial
            if s.partial is not None
        ]
        more = len(pairs) - _MOST_LISTED
        if more > 0:
            pairs = [*pairs[:_MOST_LISTED], f"{more} more are finished likewise"]
        return [f"{counted(len(partial), 'partial seam')}: {listed(pairs)}."]

    def not_nested(self) -> list[str]:
        """Every seam intersection that does not nest, and why."""
        return [
            f"Step {m.step + 1}, {self.place(self.plan.seams.points[m.at])}: "
            f"{m.reason or 'it does not nest'}."
            for m in self.plan.pressing.meetings
            if not m.nests
        ]

    def budget(self) -> list[str]:
        """How far off the block and the points at which seams meet may come out."""
        budget = self.plan.budget
        message = [
            f"Cut to within {self.fine(budget.cutting)} and sewn to within "
            f"{self.fine(budget.sewing)}, 19 blocks in 20 are off by no more than this."
        ]
        if budget.units:
            whole = budget.units[-1]
            both = [c for c in (whole.width, whole.height) if c is not None]
            if both:
                worst = max(both, key=lambda c: c.untrimmed.likely)
                message.append(f"The whole block: {self.compared(worst)}")
        for number, point in enumerate(budget.first_to_suffer, 1):
            message.append(f"{number}. {self.at_stake(point)}")
        if not budget.first_to_suffer:
            message.append("No seams have to match, so there is no point to lose.")
        return message

    def at_stake(self, point: PointDeviation) -> str:
        """How far off a point where seams should meet may come out."""
        return (
            f"Point {self.around(point.at)} (step {point.join + 1}): "
            f"{self.compared(point.mismatch)}"
        )

    def compared(self, found: Compared) -> str:
        """How far off something is likely to be, and whether trimming helps."""
        likely, trimmed = (self.ruled(d.likely) for d in (found.untrimmed, found.trimmed))
        if likely == trimmed:
            return f"{likely} off is likely, trimmed or not."
        return f"{likely} off is likely; trim units first and it is {trimmed}."

    def around(self, point: int) -> str:
        """Between which pieces a point of the block lies, or where it is if they are many."""
        seams = self.plan.seams
        pieces = dict.fromkeys(c.piece for run in seams.around[point] for c in run)
        if len(pieces) > _MOST_NAMED:
            return f"of {len(pieces)} pieces, {self.place(seams.points[point])}"
        return f"between {listed(self.plan.block.pieces[i].id for i in sorted(pieces))}"

    def ruled(self, inches: float, parts: int = 16) -> str:
        """A length as a ruler has it: to the nearest 1/16 in or 1 mm, and no less than that.

        Nobody measures finer how far off a point is, nor along a seam.

        Args:
            parts: of an inch.
        """
        if self.unit != "in":
            return _metric(max(1, round(inches * 25.4)), self.unit)
        return _fraction(max(1, round(inches * parts)), parts)

    def place(self, at: Point) -> str:
        """A place on the block, measured from its top left corner."""
        left, top, *_ = extent(self.plan.block.pieces)
        return (
            f"{spoken(at[0] - left, self.unit)} from the left, "
            f"{spoken(at[1] - top, self.unit)} down"
        )

    def fine(self, inches: float) -> str:
        """A small length to the nearest 1/64 in or 0.1 mm.

        It is always a rounded one, so that nothing marks it so.
        """
        if self.unit != "in":
            return _metric(round(inches * 25.4, 1), self.unit)
        return _fraction(max(1 if inches > 0 else 0, round(inches * 64)), 64)


def _from_raw_edge(lengths: Sequence[str]) -> str:
    """Where along a seam something comes, measured from where it starts."""
    first, *more = lengths
    if len(lengths) > _MOST_PLACES:
        return f"{first} from the raw edge and at {len(more)} more places"
    return f"{_places(lengths)} from the raw edge"


def _places(lengths: Sequence[str]) -> str:
    """``3 and 6 1/2 in``; of many the first alone."""
    if len(lengths) > _MOST_PLACES:
        return f"{lengths[0]} and at {len(lengths) - 1} more places"
    numbers = [length.rsplit(" ", 1) for length in lengths]
    return f"{listed(number for number, _ in numbers)} {numbers[-1][1]}"


def _fraction(count: int, of: int) -> str:
    """``1 3/16 in``."""
    return f"{fraction(Fraction(count, of))} in"


def _end_towards(way: Vector) -> str:
    """Which end of a seam lies that way, as the block is drawn."""
    right, down = way
    if abs(right) >= abs(down):
        return "right" if right > 0 else "left"
    return "lower" if down > 0 else "upper"


def _metric(millimetres: float, unit: Unit) -> str:
    """``2.5 mm``, or ``0.25 cm``."""
    return f"{millimetres / 10 if unit == 'cm' else millimetres:g} {unit}"


def steps_title(steps: Sequence[Step]) -> str:
    """``Step 3``, or ``Steps 1, 5 and 8: make 3``; of more than eight the first five alone."""
    numbers = [str(s.join + 1) for s in steps]
    if len(numbers) == 1:
        return f"Step {numbers[0]}"
    count = len(numbers)
    if count > _MOST_LISTED:
        numbers = [*numbers[:_MOST_TITLED], f"{count - _MOST_TITLED} more"]
    return f"Steps {listed(numbers)}: make {count}"


def steps_listed(joins: Iterable[int]) -> str:
    """``step 3``, or ``steps 1, 5 and 8``."""
    numbers = [str(join + 1) for join in joins]
    return f"step{'s' * (len(numbers) > 1)} {listed(numbers)}"


def all_steps(steps: Sequence[Step]) -> str:
    """The numbers of steps of which ``steps_title`` does not name all; empty if it does."""
    if len(steps) <= _MOST_LISTED:
        return ""
    return f"Steps {listed(str(s.join + 1) for s in steps)}."


def listed(words: Iterable[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    words = list(words)
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def size(found: Size, unit: Unit) -> str:
    """``6 1/2 × 3 1/2 in``."""
    return width_by_height(found.width, found.height, unit)
