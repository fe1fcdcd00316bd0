"""What can be printed: each thing by its name, with how its request is read and answered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from piecewright.service.requests.parse import read_packet, read_request
from piecewright.service.requests.quilt import read_quilt
from piecewright.service.responses.answers import FORMS, Answer, Form, templates_answer
from piecewright.service.responses.cutting_list import cutting_list_answer
from piecewright.service.responses.foundation import foundation_answer
from piecewright.service.responses.packet import packet_answer
from piecewright.service.responses.quilt_plan import quilt_plan_answer
from piecewright.service.responses.sewing_plan import block_map_answer, sewing_plan_answer
from piecewright.service.settings import Settings

Answering: TypeAlias = Callable[[Any, Form, int, int | None], Answer]
"""Takes what is asked for, the form, the most sheets, and the number of one sheet or None."""


@dataclass(frozen=True, slots=True)
class Printable:
    """A thing to print.

    Attributes:
        answer: makes it.
        read: from the request's JSON value to what ``answer`` takes; raises ``Refused``.
        forms: in which it is to be had, the usual one first.
    """

    answer: Answering
    read: Callable[[Any, Settings], Any] = read_request
    forms: tuple[Form, ...] = FORMS


PRINTABLES: Final = {
    "templates": Printable(templates_answer),
    "cutting-list": Printable(cutting_list_answer),
    "foundation": Printable(foundation_answer),
    "sewing-plan": Printable(sewing_plan_answer),
    "block-map": Printable(block_map_answer),
    "quilt-plan": Printable(quilt_plan_answer, read_quilt),
    "packet": Printable(packet_answer, read_packet, ("json", "pdf", "zip")),
}
"""By the last part of the address, ``/v1/<name>``."""
