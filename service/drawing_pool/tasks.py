"""Tasks: what a worker may be asked to do, who does it there, and what can come of it."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from piecewright.service.json_text import NotJson, read_json, write_json
from piecewright.service.pattern_files.files import read_file
from piecewright.service.problems import Problem
from piecewright.service.requests.choices import read_choices
from piecewright.service.requests.parse import Refused, read_request
from piecewright.service.requests.quilt import read_quilt
from piecewright.service.responses.answer import Answer, Form, NoSuchSheet
from piecewright.service.responses.catalogue import NoSuchBlock
from piecewright.service.responses.check import check_answer
from piecewright.service.responses.printables import PRINTABLES, Printable
from piecewright.service.responses.quilt_plan import planned
from piecewright.service.responses.reading import reading_answer
from piecewright.service.settings import Settings

# --- what is asked ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to draw, or to find out.

    Attributes:
        kind: the name of its handler in ``HANDLERS``.
        body: the request's body as it came: it is read, checked and drawn by the worker, so that
            no request can keep the service's own process busy.
        form: of the answer.
        sheet: the number of the one sheet to give; None for all.
        media_type: of a file that the body is.
        choices: JSON that goes with a file.
    """

    kind: str
    body: bytes
    form: Form = "json"
    sheet: int | None = None
    media_type: str = ""
    choices: bytes = b"{}"


Handler: TypeAlias = Callable[[Task, Settings], Answer | None]
"""Does a task; None where there is nothing to answer but that nothing is wrong."""


def _check(task: Task, settings: Settings) -> Answer:
    request = read_request(read_json(task.body), settings)
    return Answer("json", write_json(check_answer(request)), f"{request.block.name} check")


def _read_pattern(task: Task, settings: Settings) -> Answer:
    choices, unit = read_choices(read_json(task.choices))
    file = read_file(task.body, task.media_type)
    return reading_answer(file, choices, unit, task.form)


def _plan_quilt(task: Task, settings: Settings) -> None:
    planned(read_quilt(read_json(task.body), settings))


def _printer_of(printable: Printable) -> Handler:
    def print_it(task: Task, settings: Settings) -> Answer:
        asked = printable.read(read_json(task.body), settings)
        return printable.answer(asked, task.form, settings.max_sheets, task.sheet)

    return print_it


HANDLERS: Final[Mapping[str, Handler]] = {
    "check": _check,
    "quilt": _plan_quilt,
    "readings": _read_pattern,
    **{name: _printer_of(printable) for name, printable in PRINTABLES.items()},
}
"""All that a worker can do, by the kind of the task; for a printable the last part of its address.
``quilt`` is to find out whether a group quilt can be planned."""


# --- what comes of it ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Done:
    """It is done."""

    answer: Answer | None


@dataclass(frozen=True, slots=True)
class Rejected:
    """Something is wrong with the request: the error as its class and what that takes.

    An exception of several arguments is not pickled whole: unpickling calls the class with
    ``args``, which is what it gave ``Exception.__init__``.
    """

    kind: Callable[..., Exception]
    arguments: tuple[Any, ...]

    def error(self) -> Exception:
        """The error, to be raised again."""
        return self.kind(*self.arguments)


@dataclass(frozen=True, slots=True)
class Failed:
    """Something is wrong with the service."""

    traceback: str


@dataclass(frozen=True, slots=True)
class OutOfMemory:
    """It needs more memory than a worker has."""


Outcome: TypeAlias = Done | Rejected | Failed | OutOfMemory


def run_task(task: Task, settings: Settings, handlers: Mapping[str, Handler]) -> Outcome:
    """Does a task, and turns whatever comes of it into something that can be sent."""
    try:
        return Done(handlers[task.kind](task, settings))
    except Refused as error:
        return Rejected(Refused, (error.faults, error.unit))
    except Problem as error:
        return Rejected(Problem, (error.kind, error.detail, error.retry_after))
    except (NotJson, NoSuchSheet, NoSuchBlock) as error:
        return Rejected(type(error), (str(error),))
    except MemoryError:
        return OutOfMemory()
    except Exception:
        return Failed(traceback.format_exc())
