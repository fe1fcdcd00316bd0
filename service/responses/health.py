"""That the service can do its work."""

from __future__ import annotations

from functools import cache

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.cutting.templates import template_set
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.printables.templates import heading, template_drawings
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.sheet_settings import SheetSettings
from piecewright.service import VERSION
from piecewright.service.responses import fields
from piecewright.service.responses.fields import AnswerSchema, Json


class Health(AnswerSchema):
    """That the service can do its work."""

    status = fields.Word("Always `ok`.", ["ok"], of=lambda _: "ok")
    version = fields.Text("Of Piecewright.", of=lambda _: VERSION)


def health_answer() -> Json:
    """The answer of a service that works; one that does not answers with a problem."""
    return Health.to_json(None)


@cache
def prove_ready() -> None:
    """Makes one real document, so that a machine without cairo or typeface is found out.

    Once it has worked it is not done again. Whatever is missing raises its own error.
    """
    block = catalogue.load(catalogue.entries()[0].id)
    templates = template_set(block, Allowance(), "matched", None)
    pages = lay_out(template_drawings(templates), SheetSettings(), heading(templates))
    if not sheets_pdf(pages).startswith(b"%PDF"):
        raise RuntimeError("what was drawn is no PDF")
