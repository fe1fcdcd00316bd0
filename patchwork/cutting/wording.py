"""Words for a cutting list: sizes, how to cut, how strips are cut up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from piecewright.patchwork.block.wording import counted, width_by_height
from piecewright.patchwork.cutting.angled_strips import Slanted
from piecewright.patchwork.cutting.borders import Edging
from piecewright.patchwork.cutting.cutting_list import Cut, FabricCuts, Strip
from piecewright.patchwork.lengths import Unit, spoken

CAUTION: Final = (
    "Rotary cutter: blade closed whenever you are not cutting, cut away from your body, "
    "ruler held down flat or weighted."
)


def counted_cuts(count: int, name: str) -> str:
    """``1 square``, ``4 squares``; a template's pieces keep its name.

    >>> counted_cuts(4, "square"), counted_cuts(1, "diamond"), counted_cuts(3, "template A")
    ('4 squares', '1 diamond', '3 of template A')
    """
    return f"{count} of {name}" if name.startswith("template ") else counted(count, name)


def size(width: float, height: float, unit: Unit) -> str:
    """Two lengths with their unit once; one if they are the same.

    >>> size(3.5, 6.5, "in"), size(2.0, 2.0, "in")
    ('3 1/2 × 6 1/2 in', '2 in')
    """
    down = spoken(height, unit)
    return down if spoken(width, unit) == down else width_by_height(width, height, unit)


def finished_size(cut: Cut, unit: Unit) -> str:
    """The finished size of a patch, as makers give it."""
    width, height = cut.finished
    if cut.shape == "half-square triangle":
        return f"{spoken(width, unit)} along each short side"
    if cut.shape == "quarter-square triangle":
        return f"{spoken(width, unit)} along the long side"
    return size(width, height, unit)


def blanks(cut: Cut, unit: Unit) -> str:
    """What is cut first of what is cut from strips: ``12 squares 3 7/8 in``."""
    if cut.slant is not None:
        return f"{counted_cuts(cut.blanks, cut.name)}, {spoken(cut.slant.width, unit)} strips"
    name = "rectangle" if cut.shape == "rectangle" else "square"
    return f"{counted_cuts(cut.blanks, name)} {size(*cut.cut, unit)}"


def note(cut: Cut, unit: Unit) -> str:
    """How to cut, in phrases; empty where the size says it all."""
    message: list[str] = []
    if cut.yields > 1:
        times = "once" if cut.shape == "half-square triangle" else "twice"
        message.append(f"cut {times} corner to corner")
        if times == "twice" and cut.yields == 2:
            where = "across" if cut.lengthwise else "along"
            message.append(f"use the two with the long side {where} the cloth")
        over = cut.blanks * cut.yields - cut.count
        if over:
            message.append(f"{over} left over")
    if cut.slant is not None:
        message.append(_at_an_angle(cut.slant, unit))
        if cut.reversed:
            message.append("with the strip face down")
    elif cut.shape == "half-square triangle" and cut.reversed:
        message.append("along the other diagonal: these are mirror images")
    if cut.source == "template":
        if cut.reversed == cut.count:
            message.append("template face down")
        elif cut.reversed:
            message.append(f"{cut.reversed} of them with the template face down")
    if cut.shape == "rectangle" and cut.lengthwise is not None:
        message.append(f"the {spoken(cut.cut[cut.lengthwise], unit)} side along the cloth")
    if cut.trim:
        message.append("trim to size")
    if cut.one_way_print:
        message.append("lay every print the same way up")
    return "; ".join(message)


def _at_an_angle(slant: Slanted, unit: Unit) -> str:
    width, step = spoken(slant.width, unit), spoken(slant.step, unit)
    angles = [f"{min(a, 180 - a):g}°" for a in slant.angles]
    if slant.measured_across:
        lean = "\\" if slant.angles[0] < 90 else "/"
        return (
            f"from a strip {width} wide, cut at {angles[0]}, leaning like {lean}, every {step} "
            "measured square to the cuts"
        )
    if slant.name == "triangle":
        both = angles[0] if angles[0] == angles[1] else " and ".join(angles) + " in turn"
        return f"from a strip {width} wide, cut to and fro at {both}, from edge to edge"
    ends = f"both ends at {angles[0]}"
    if angles[0] != angles[1]:
        ends = " and ".join("square" if a == "90°" else f"at {a}" for a in angles)
        ends = f"its ends {ends}"
    return (
        f"from a strip {width} wide, {ends}, long side {step}, every second one turned half round"
    )


def strip_text(strip: Strip, cuts: Sequence[Cut], unit: Unit) -> str:
    """How strips are cut up, in a sentence."""
    strips = f"{counted(strip.count, 'strip')} {spoken(strip.width, unit)} wide"
    if strip.purpose != "patches":
        where = "along the cloth" if strip.lengthwise else "across the cloth"
        return f"{strips}, cut {where}, for the {strip.purpose}"
    rows = []
    for part in strip.parts:
        cut = cuts[part.cut]
        if cut.slant is not None:
            rows.append(counted_cuts(part.count, cut.name))
        else:
            name = "square" if cut.shape not in ("square", "rectangle") else cut.shape
            rows.append(f"{counted_cuts(part.count, name)} {size(strip.width, part.length, unit)}")
    each = "each into " if strip.count > 1 else ""
    return f"{strips}: {each}{', '.join(rows)}"


def edging_text(edging: Edging, unit: Unit) -> str:
    """The strips of a border or binding, and how they come together."""
    if edging.purpose == "binding":
        lengths = f"{spoken(edging.lengths[0][0], unit)} in all"
    else:
        lengths = ", ".join(
            f"{count} × {spoken(length, unit)} ({where})" for length, count, where in edging.lengths
        )
    joins = f"; {counted(edging.joins, 'diagonal join')}"
    strips = counted(edging.strips, "strip")
    return (
        f"{edging.purpose.capitalize()}: {strips} {spoken(edging.width, unit)} wide"
        f"{joins if edging.joins else ''}; {lengths}. {edging.rule}"
    )


def fabric_name(fabric: FabricCuts, names: dict[str, str]) -> str:
    """A fabric's name, its id where it has none."""
    if fabric.fabric is None:
        return "No fabric named"
    return names.get(fabric.fabric) or fabric.fabric
