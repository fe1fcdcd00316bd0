"""What the printables of one block rest on, worked out once for all that need it."""

from __future__ import annotations

from functools import cached_property

from piecewright.patchwork.cutting.templates import TemplateSet, template_set
from piecewright.patchwork.cutting.tips import tips_of_joins
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.service.requests.parse import Request


class BlockPlans:
    """A request for one block, and the plans that are made of it when they are first asked for.

    Each plan raises ``BlockError`` as its function does.

    Attributes:
        request: what is asked for.
        most_sheets: how many sheets a document may have.
    """

    def __init__(self, request: Request, most_sheets: int) -> None:
        self.request, self.most_sheets = request, most_sheets

    @cached_property
    def sewing(self) -> SewingPlan:
        """How the block is sewn."""
        asked = self.request
        plan = sewing_plan(asked.block, asked.allowance, asked.plan)
        cut = (plan.block, plan.seams, plan.order, asked.allowance, asked.corners)
        return plan.with_tips(tips_of_joins(*cut))

    @cached_property
    def templates(self) -> TemplateSet:
        """How its pieces are cut."""
        asked = self.request
        return template_set(asked.block, asked.allowance, asked.corners, asked.pieces_pointer)
