"""Border and binding strips for a quilt of a given size, with the joins they need.

Rules (common practice, from memory, but for the lengths, which are geometry):

* Border strips are as wide as the border and two seam allowances.
* ``butted``: the two sides are cut first, as long as the quilt and two allowances; then top and
  bottom, as long as the quilt's width, both borders and two allowances.
* ``mitred``: every strip is as long as its side of the quilt, both borders and
  (2 + 2√2) allowances, which the points of the mitred seam reach, and 2 in (5 cm) to spare.
* The binding runs once round the finished quilt, with 12 in (30 cm) for corners and the last join.
* Strips are joined on the diagonal: two are laid crosswise and sewn from corner to corner, so
  every join takes as much length as the strip is wide.
* Strips that must lie along the cloth (a one-way print) are cut along it, without joins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.cutting.rotary import Ruler

BorderCorners: TypeAlias = Literal["butted", "mitred"]

MITRE_SPARE: Final = 2.0
"""Inches; mitred strips are sewn on before they are cut to length at the corner."""

BINDING_SPARE: Final = 12.0
"""Inches, for four folded corners and the last join."""


@dataclass(frozen=True, slots=True)
class Border:
    """A border as asked for.

    Attributes:
        width: as it shows, inches.
    """

    width: float
    fabric: str | None = None
    corners: BorderCorners = "butted"


@dataclass(frozen=True, slots=True)
class Binding:
    """A binding as asked for.

    Attributes:
        width: of the strip to cut, inches.
    """

    width: float
    fabric: str | None = None


@dataclass(frozen=True, slots=True)
class Edging:
    """The strips of a border or a binding.

    Attributes:
        purpose: ``border`` or ``binding``.
        width: of the strips to cut, inches.
        lengths: what is needed, as (inches, how many, which side).
        strips: how many are cut.
        joins: how many diagonal joins they are sewn together with.
        lengthwise: whether they are cut along the cloth; each is then as long as needed.
        cloth: the length of cloth that they take, inches.
        rule: how the lengths come about, in a sentence.
    """

    purpose: Literal["border", "binding"]
    fabric: str | None
    width: float
    lengths: tuple[tuple[float, int, str], ...]
    strips: int
    joins: int
    lengthwise: bool
    cloth: float
    rule: str


def border_edging(
    border: Border,
    quilt: tuple[float, float],
    allowance: float,
    ruler: Ruler,
    cloth_width: float,
    lengthwise: bool,
) -> Edging:
    """The strips of a border round a quilt.

    Args:
        quilt: finished width and height without the border, inches.
        allowance: inches.
        cloth_width: usable, inches.
        lengthwise: whether they must lie along the cloth.
    """
    across, down = quilt
    if border.corners == "mitred":
        more = 2 * border.width + (2 + 2 * math.sqrt(2)) * allowance + MITRE_SPARE
        lengths = ((down + more, 2, "sides"), (across + more, 2, "top and bottom"))
        rule = (
            "Mitred corners: each strip is its side of the quilt, both borders, what the points "
            "of the mitred seams reach, and 2 in (5 cm) to spare."
        )
    else:
        lengths = (
            (down + 2 * allowance, 2, "sides"),
            (across + 2 * border.width + 2 * allowance, 2, "top and bottom"),
        )
        rule = "Butted corners: sew the sides on first, then top and bottom."
    rounded = tuple((ruler.up(size), count, where) for size, count, where in lengths)
    width = ruler.up(border.width + 2 * allowance)
    return _edging("border", border.fabric, width, rounded, rule, cloth_width, lengthwise)


def binding_edging(
    binding: Binding,
    quilt: tuple[float, float],
    ruler: Ruler,
    cloth_width: float,
    lengthwise: bool,
) -> Edging:
    """The strips of a binding round a quilt whose finished width and height (inches) are given."""
    total = ruler.up(2 * (quilt[0] + quilt[1]) + BINDING_SPARE)
    rule = "Once round the quilt, and 12 in (30 cm) for the corners and the last join."
    width = ruler.up(binding.width)
    lengths = ((total, 1, "all round"),)
    return _edging("binding", binding.fabric, width, lengths, rule, cloth_width, lengthwise)


def _edging(
    purpose: Literal["border", "binding"],
    fabric: str | None,
    width: float,
    lengths: tuple[tuple[float, int, str], ...],
    rule: str,
    cloth_width: float,
    lengthwise: bool,
) -> Edging:
    """The strips for some lengths, and the cloth that they take."""
    total = sum(size * count for size, count, _ in lengths)
    if lengthwise and purpose == "border":
        # Side by side, the longest first: each row takes as much cloth as its longest strip.
        beside = max(1, int(cloth_width / width + 1e-9))
        every = sorted((size for size, count, _ in lengths for _ in range(count)), reverse=True)
        cloth = sum(every[k] for k in range(0, len(every), beside))
        strips, joins = len(every), 0
    else:
        # n strips with n - 1 joins: n * cloth_width - (n - 1) * width >= total.
        lengthwise = False
        strips = max(1, math.ceil((total - width) / (cloth_width - width) - 1e-9))
        joins = strips - 1
        cloth = strips * width
        if joins:
            rule += " Join the strips on the diagonal: each join takes a strip's width of length."
    return Edging(purpose, fabric, width, lengths, strips, joins, lengthwise, cloth, rule)
