"""What can be printed: each thing by its name, with the function that answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeAlias

from service.answers import FORMS, Answer, Form, templates_answer
from service.cutting import cutting_list_answer
from service.foundation import foundation_answer
from service.packet import packet_answer
from service.reading import Request
from service.schemas import BlockRequest, PacketRequest
from service.sewing import block_map_answer, sewing_plan_answer

Answering: TypeAlias = Callable[[Request, Form, int, int | None], Answer]
"""Takes the request, the form, the most sheets, and the number of one sheet or None."""


@dataclass(frozen=True, slots=True)
class Printable:
    """A thing to print.

    Attributes:
        answer: makes it.
        forms: in which it is to be had, the usual one first.
        schema: of its request.
    """

    answer: Answering
    forms: tuple[Form, ...] = FORMS
    schema: type[BlockRequest] = BlockRequest


PRINTABLES: Final = {
    "templates": Printable(templates_answer),
    "cutting-list": Printable(cutting_list_answer),
    "foundation": Printable(foundation_answer),
    "sewing-plan": Printable(sewing_plan_answer),
    "block-map": Printable(block_map_answer),
    "packet": Printable(packet_answer, ("json", "pdf", "zip"), PacketRequest),
}
"""By the last part of the address, ``/v1/<name>``."""
