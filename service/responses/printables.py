"""What can be printed: each thing by its name, with how its request is read and answered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, Final, TypeAlias

from piecewright.service.requests.parse import read_packet, read_request
from piecewright.service.requests.quilt import read_quilt
from piecewright.service.requests.quilt_schemas import GroupQuiltRequest
from piecewright.service.requests.request_schema import RequestSchema
from piecewright.service.requests.schemas import (
    BlockRequest,
    PacketRequest,
)
from piecewright.service.responses.answer import FORMS, Answer, Form
from piecewright.service.responses.block_map import BlockMapAnswer, block_map_printout
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.cutting_list import CuttingListAnswer, cutting_list_printout
from piecewright.service.responses.fields import AnswerSchema
from piecewright.service.responses.foundation import FoundationAnswer, foundation_printout
from piecewright.service.responses.packet import PacketAnswer, packet_answer
from piecewright.service.responses.printout import Printout, block_printable_answer
from piecewright.service.responses.quilt_plan import QuiltPlanAnswer, quilt_plan_answer
from piecewright.service.responses.sewing_plan import SewingPlanAnswer, sewing_plan_printout
from piecewright.service.responses.templates import TemplatesAnswer, templates_printout
from piecewright.service.settings import Settings

Answering: TypeAlias = Callable[[Any, Form, int, int | None, bool], Answer]
"""Takes what is asked for, the form, the most sheets, the number of one sheet or None, and whether
JSON has each sheet's SVG."""


@dataclass(frozen=True, slots=True)
class Printable:
    """A thing to print.

    Attributes:
        answer: makes it.
        answer_schema: of its answer in JSON.
        read: from the request's JSON value to what ``answer`` takes; raises ``Refused``.
        request_schema: of its request.
        forms: in which it is to be had, the usual one first.
    """

    answer: Answering
    answer_schema: type[AnswerSchema]
    read: Callable[[Any, Settings], Any] = read_request
    request_schema: type[RequestSchema] = BlockRequest
    forms: tuple[Form, ...] = FORMS


def _of_block(
    make: Callable[[BlockPlans], Printout], answer_schema: type[AnswerSchema]
) -> Printable:
    return Printable(partial(block_printable_answer, make), answer_schema)


PRINTABLES: Final = {
    "templates": _of_block(templates_printout, TemplatesAnswer),
    "cutting-list": _of_block(cutting_list_printout, CuttingListAnswer),
    "foundation": _of_block(foundation_printout, FoundationAnswer),
    "sewing-plan": _of_block(sewing_plan_printout, SewingPlanAnswer),
    "block-map": _of_block(block_map_printout, BlockMapAnswer),
    "quilt-plan": Printable(quilt_plan_answer, QuiltPlanAnswer, read_quilt, GroupQuiltRequest),
    "packet": Printable(
        packet_answer, PacketAnswer, read_packet, PacketRequest, ("json", "pdf", "zip")
    ),
}
"""By the last part of the address, ``/v1/<name>``."""
