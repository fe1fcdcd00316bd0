"""The plan of a group quilt in a maker's words."""

from __future__ import annotations

from collections.abc import Iterable

from piecewright.patchwork.block.wording import counted, letters
from piecewright.patchwork.quilt.assembly import Area, pressed
from piecewright.patchwork.quilt.layout import place_name
from piecewright.patchwork.quilt.plan import QuiltPlan, Share
from piecewright.patchwork.sewing.rectangles import Size
from piecewright.patchwork.sewing.wording import listed, size


def codes(plan: QuiltPlan) -> dict[str, str]:
    """A short name for each variant, such as ``NP A`` for ``nine-patch A``.

    It is made of the first letters of the design's words; designs that begin alike are numbered.
    """
    short: dict[str, str] = {}
    for variant in plan.variants:
        words = variant.design.replace("-", " ").replace("_", " ").split() or ["?"]
        start = "".join(word[0] for word in words)[:3].upper()
        own, n = start, 1
        while any(own == code and id != variant.design for id, code in short.items()):
            n += 1
            own = f"{start}{n}"
        short.setdefault(variant.design, own)
    return {v.id: f"{short[v.design]} {v.letter}" for v in plan.variants}


def overview(plan: QuiltPlan) -> list[str]:
    """How large the quilt is, and how its seams nest."""
    whole = Size(sum(plan.widths), sum(plan.heights))
    raw = Size(whole.width + 2 * plan.edge, whole.height + 2 * plan.edge)
    blocks = counted(plan.quilt.rows * plan.quilt.columns, "block")
    message = [
        f"{blocks} in {counted(plan.quilt.rows, 'row')} of {plan.quilt.columns}: "
        f"{size(whole, plan.unit)} finished, {size(raw, plan.unit)} with the seam allowance."
    ]
    total = plan.inside_meetings + len(plan.meetings)
    if total:
        bound = "no plan nests more" if plan.optimal else f"at most {plan.bound} can"
        between = sum(m.nests for m in plan.meetings)
        message.append(
            f"Seams nest at {plan.nested} of {counted(total, 'seam intersection')}: {bound}."
        )
        if plan.meetings:
            message[-1] += f" Between blocks they nest at {between} of {len(plan.meetings)}."
    few = ", the fewest with which these seams nest" if plan.fewest_variants else ""
    message.append(
        f"{counted(len(plan.variants), 'variant')}{few}. Blocks of one variant are pressed alike, "
        "step by step; they may be turned in the quilt once they are made."
    )
    return message


def share_text(plan: QuiltPlan, share: Share) -> str:
    """``Ada, 5 blocks: 3 × nine-patch A (A1, A3, B2) and 2 × nine-patch B (A2, B1)``."""
    parts = []
    for variant, count in share.variants:
        places = [
            place_name(p.row, p.column)
            for p in plan.placements
            if p.maker == share.maker and p.variant == variant
        ]
        parts.append(f"{count} × {variant} ({', '.join(places)})")
    total = sum(count for _, count in share.variants)
    return f"{share.maker}, {counted(total, 'block')}: {listed(parts)}."


def joining(plan: QuiltPlan) -> list[str]:
    """How the blocks are joined, step by step."""
    message = []
    across, down = plan.quilt.columns, plan.quilt.rows
    # All rows are joined alike: what is said of the first holds for each.
    within = [j for j in plan.joinings if j.kind == "blocks" and j.first.top == 0]
    if within:
        pairs = _levels(
            (j.level, _span(j.first.left, j.first.right), _span(j.second.left, j.second.right))
            for j in within
        )
        message.append(f"In each row, sew block {'; then '.join(pairs)}.")
        for way in ("right", "left"):
            rows = [letters(r) for r in range(down) if pressed(r) == way]
            if rows:
                named = f"row{'s' * (len(rows) > 1)} {listed(rows)}"
                message.append(f"Press every seam between the blocks of {named} to the {way}.")
        # Rows of one height are named together; in most quilts that is all of them.
        heights: dict[str, list[str]] = {}
        for r in range(down):
            raw = Size(sum(plan.widths) + 2 * plan.edge, plan.heights[r] + 2 * plan.edge)
            heights.setdefault(size(raw, plan.unit), []).append(letters(r))
        for raw_size, rows in heights.items():
            one = len(rows) == 1
            named = f"Row {rows[0]} is" if one else f"Rows {listed(rows)} are each"
            message.append(f"{named} {raw_size} when sewn.")
    between = [j for j in plan.joinings if j.kind == "rows"]
    if between:
        pairs = _levels((j.level, _rows(j.first), _rows(j.second)) for j in between)
        message.append(f"Sew row {'; then '.join(pairs)}. Press these seams down.")
    meetings = len(plan.meetings)
    left_open = sum(not m.nests for m in plan.meetings)
    if meetings:
        if not left_open:
            nest = "they nest"
        elif left_open == meetings:
            nest = "pin them (open dots), as none nest"
        else:
            nest = f"all but {left_open} nest; pin those (open dots)"
        message.append(f"Match the seams at {counted(meetings, 'point')} between blocks: {nest}.")
    if across * down == 1:
        message.append("The quilt is one block: there is nothing to join.")
    return message


def _levels(joins: Iterable[tuple[int, str, str]]) -> list[str]:
    """``1 to 2, 3 to 4`` for each level."""
    levels: dict[int, list[str]] = {}
    for level, one, other in joins:
        levels.setdefault(level, []).append(f"{one} to {other}")
    return [", ".join(own) for _, own in sorted(levels.items())]


def _span(first: int, last: int) -> str:
    return str(first + 1) if first == last else f"{first + 1}–{last + 1}"


def _rows(area: Area) -> str:
    one, last = letters(area.top), letters(area.bottom)
    return one if area.top == area.bottom else f"{one}–{last}"


def not_nested(plan: QuiltPlan, most: int) -> list[str]:
    """Seam intersections between blocks that do not nest, by what keeps them from it."""
    reasons: dict[str, dict[str, None]] = {}
    left_open = [m for m in plan.meetings if not m.nests]
    for meeting in left_open[:most]:
        places = listed([place_name(*place) for place in meeting.blocks])
        reasons.setdefault(meeting.reason or "it does not nest", {})[places] = None
    message = [f"Where {'; '.join(places)} meet: {reason}." for reason, places in reasons.items()]
    if len(left_open) > most:
        more = counted(len(left_open) - most, "further point")
        message.append(f"And at {more}; the map shows them all.")
    return message
