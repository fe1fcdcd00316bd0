"""A problem's JSON object (RFC 9457), and faults and cautions as answers carry them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.lengths import Unit
from piecewright.service.problems import MOST_ERRORS, Kind
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json
from piecewright.service.responses.pieces import CheckedPiece, ShownPiece


class Caution(AnswerSchema):
    """What a maker should know about a block that can be made."""

    pointer = fields.Text("JSON pointer (RFC 6901) into the request.")
    code = fields.Text("A fixed word for programs, such as `sharp-point`.")
    detail = fields.Text("What it is and what to do, for people.")
    at = fields.Place("Where on the block, at finished size.", optional=True)


class ProblemError(AnswerSchema):
    """One thing that is wrong."""

    pointer = fields.Text("JSON pointer (RFC 6901) into the request; empty for the whole of it.")
    code = fields.Text("A fixed word for programs, such as `overlap`.")
    detail = fields.Text("What is wrong and what to do, for people.")
    at = fields.Place(
        "Where on the block, in the request's unit; as drawn for a fault of the block's own "
        "geometry.",
        optional=True,
    )


@dataclass(frozen=True, slots=True)
class _Reported:
    """What a problem says; ``errors`` and ``pieces`` are None where its kind has none."""

    kind: Kind
    type: str
    detail: str
    errors: Sequence[Fault] | None
    pieces: Sequence[ShownPiece] | None


class Problem(AnswerSchema):
    """What went wrong (RFC 9457)."""

    type = fields.Text("A page that explains this kind of problem.")
    title = fields.Text("This kind of problem, in a few words.", of="kind.title")
    status = fields.Count("The HTTP status.", least=400, of="kind.status")
    detail = fields.Text("What went wrong this time.")
    errors = fields.Many(ProblemError, "Every fault found, where there are several.", optional=True)
    pieces = fields.Many(
        CheckedPiece,
        "For `/v1/check`: the pieces that could be found in spite of the faults, in the same "
        "coordinates as the faults' places.",
        optional=True,
    )


def problem_body(
    kind: Kind,
    detail: str,
    type_: str,
    faults: Sequence[Fault] = (),
    unit: Unit = "in",
    pieces: Sequence[ShownPiece] = (),
) -> Json:
    """The problem's JSON object.

    Args:
        type_: the address of the page that explains it.
        unit: of the places of faults.
        pieces: that were found in spite of the faults.
    """
    told = _Reported(kind, type_, detail, faults[:MOST_ERRORS] or None, pieces or None)
    return Problem.to_json(told, unit)
