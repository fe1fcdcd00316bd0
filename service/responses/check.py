"""The block of a request read back as pieces, with sizes and cautions."""

from __future__ import annotations

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.cautions import cautions
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.foundation.plan import foundation
from piecewright.patchwork.lengths import Unit
from piecewright.service.requests.parse import Refused, Request
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json
from piecewright.service.responses.pieces import CheckedPiece, ShownPiece, shown_pieces
from piecewright.service.responses.problem import Caution


class CheckAnswer(AnswerSchema):
    """A good block, read back as pieces."""

    unit = fields.Unit()
    width = fields.Length("Of the finished block.")
    height = fields.Length("Of the finished block.")
    pieces = fields.Many(
        CheckedPiece, "In the order of the request.", of=lambda block: shown_pieces(block.pieces)
    )
    cautions = fields.Many(Caution, "Empty if there are none.")


class CheckRefused(Refused):
    """A request that is well-formed but wrong, and what can be shown of its block.

    Attributes:
        shown: the pieces that could be found.
    """

    def __init__(
        self, faults: tuple[Fault, ...], unit: Unit, shown: tuple[ShownPiece, ...]
    ) -> None:
        super().__init__(faults, unit)
        self.shown = shown

    @classmethod
    def of(cls, refused: Refused) -> CheckRefused:
        """A refusal with what is seen about the pieces that it has."""
        return cls(refused.faults, refused.unit, tuple(shown_pieces(refused.pieces, sound=False)))


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
        raise Refused(tuple(faults), unit, block.pieces)
    left, top, right, bottom = extent(block.pieces)
    return CheckAnswer.to_json(block, unit, width=right - left, height=bottom - top, cautions=found)
