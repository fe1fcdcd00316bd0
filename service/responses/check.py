"""The block of a request read back as pieces, with sizes and cautions."""

from __future__ import annotations

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.cautions import cautions
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.foundation.plan import foundation
from piecewright.patchwork.geometry import paths
from piecewright.service.requests.parse import Refused, Request
from piecewright.service.responses import fields
from piecewright.service.responses.fields import CURVES, AnswerSchema, Json
from piecewright.service.responses.problem import Caution


class CheckedPiece(AnswerSchema):
    """A piece as it was read."""

    id = fields.Text("As given; p1, p2, … for a drawing; b1, b2.p1, … in a grid.")
    fabric = fields.Text("The id of its fabric, or null.", nullable=True)
    finished = fields.Ring(
        f"Without allowance, in block coordinates at finished size. {CURVES}", of="outline"
    )
    area = fields.Area("Finished, in square units.", of=lambda piece: paths.area(piece.outline))


class CheckAnswer(AnswerSchema):
    """A good block, read back as pieces."""

    unit = fields.Unit()
    width = fields.Length("Of the finished block.")
    height = fields.Length("Of the finished block.")
    pieces = fields.Many(CheckedPiece, "In the order of the request.")
    cautions = fields.Many(Caution, "Empty if there are none.")


def check_answer(request: Request) -> Json:
    """The block read back as pieces, with its cautions.

    Raises:
        Refused: the block cannot be sewn in the order of its joins, or on its sections.
    """
    block, unit = request.block, request.unit
    asked = (block, request.allowance, request.corners, request.pieces_pointer)
    faults: list[Fault] = []
    found: tuple[Fault, ...] = ()
    try:
        found = cautions(*asked)
    except BlockError as error:
        faults += error.faults
    # Sections that were given are looked at too: whoever gave them means to sew on paper. Without
    # them a block with curves is a good block, though it can have no foundation.
    if block.sections is not None:
        try:
            foundation(*asked)
        except BlockError as error:
            # Both plans read the block's pieces, and find the same faults in them.
            faults += (fault for fault in error.faults if fault not in faults)
    if faults:
        raise Refused(tuple(faults), unit)
    left, top, right, bottom = extent(block.pieces)
    return CheckAnswer.to_json(block, unit, width=right - left, height=bottom - top, cautions=found)
