"""What a desk may be asked to do, and what it can say to that."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from piecewright.service.json_text import NotJson, read_json, write_json
from piecewright.service.problems import Problem
from piecewright.service.requests.parse import Refused, read_request
from piecewright.service.requests.quilt import read_quilt
from piecewright.service.responses.answer import Answer, Form, NoSuchSheet
from piecewright.service.responses.catalogue import NoSuchBlock
from piecewright.service.responses.check import check_answer
from piecewright.service.responses.printables import PRINTABLES, Printable
from piecewright.service.responses.quilt_plan import planned
from piecewright.service.settings import Settings

# --- what is asked ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Order:
    """One piece of work.

    Attributes:
        work: its name in ``WORKS``.
        body: the request's body as it came.
        form: of the answer.
        sheet: the number of the one sheet to give; None for all.
    """

    work: str
    body: bytes
    form: Form = "json"
    sheet: int | None = None


Work: TypeAlias = Callable[[Order, Settings], Answer | None]
"""Does an order; None where there is nothing to answer but that nothing is wrong."""


def _checked(order: Order, settings: Settings) -> Answer:
    request = read_request(read_json(order.body), settings)
    return Answer("json", write_json(check_answer(request)), f"{request.block.name} check")


def _planned(order: Order, settings: Settings) -> None:
    planned(read_quilt(read_json(order.body), settings))


def _printed(thing: Printable) -> Work:
    def made(order: Order, settings: Settings) -> Answer:
        asked = thing.read(read_json(order.body), settings)
        return thing.answer(asked, order.form, settings.max_sheets, order.sheet)

    return made


WORKS: Final[Mapping[str, Work]] = {
    "check": _checked,
    "quilt": _planned,
    **{name: _printed(thing) for name, thing in PRINTABLES.items()},
}
"""All that a desk can do, by name; for a printable that of its address. ``quilt`` is to find out
whether a group quilt can be planned."""


# --- what is said to that --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Done:
    """It is done."""

    answer: Answer | None


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something is wrong with the request: the error as its class and what that takes."""

    kind: Callable[..., Exception]
    arguments: tuple[Any, ...]

    def error(self) -> Exception:
        return self.kind(*self.arguments)


@dataclass(frozen=True, slots=True)
class Failed:
    """Something is wrong with the service: the traceback."""

    told: str


@dataclass(frozen=True, slots=True)
class OutOfMemory:
    """It needs more memory than a desk has."""


Outcome: TypeAlias = Done | Wrong | Failed | OutOfMemory


def carried_out(order: Order, settings: Settings, works: Mapping[str, Work]) -> Outcome:
    """Does an order, whatever comes of it."""
    try:
        return Done(works[order.work](order, settings))
    except Refused as error:
        return Wrong(Refused, (error.faults, error.unit))
    except Problem as error:
        return Wrong(Problem, (error.kind, error.detail, error.retry_after))
    except (NotJson, NoSuchSheet, NoSuchBlock) as error:
        return Wrong(type(error), (str(error),))
    except MemoryError:
        return OutOfMemory()
    except Exception:
        return Failed(traceback.format_exc())
