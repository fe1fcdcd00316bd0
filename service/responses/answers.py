"""From what is asked for to the answer, for HTTP and the command line alike."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any, Final, Literal, TypeAlias, get_args

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, Piece, extent
from piecewright.patchwork.cautions import cautions
from piecewright.patchwork.cutting.templates import Template, TemplateSet, template_set
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.foundation.plan import foundation
from piecewright.patchwork.geometry import paths, svg_path
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.lengths import PER_INCH, Unit
from piecewright.render.drawing.marks import Drawing
from piecewright.render.output.page_json import page_json
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.svg import canvas_svg, sheet_svg
from piecewright.render.output.zip import sheets_zip
from piecewright.render.printables.templates import heading, template_drawings
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import SheetSettings
from piecewright.service.json_text import write_json
from piecewright.service.measures import area, degrees, places, ring, size
from piecewright.service.problems import told_faults
from piecewright.service.requests.parse import Refused, Request, told_in
from piecewright.service.responses.block_plans import Workup

Form: TypeAlias = Literal["json", "pdf", "svg", "zip"]

FORMS: Final[tuple[Form, ...]] = get_args(Form)
MEDIA_TYPES: Final[dict[Form, str]] = {
    "json": "application/json",
    "pdf": "application/pdf",
    "svg": "image/svg+xml",
    "zip": "application/zip",
}


class NoSuchSheet(Exception):
    """A sheet was asked for by a number that no sheet has."""


class NoSuchBlock(Exception):
    """The catalogue has no block with that id."""


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer in the form asked for.

    Attributes:
        name: a file name for it, without its ending; as its author writes the block's name.
    """

    form: Form
    content: bytes
    name: str

    @property
    def media_type(self) -> str:
        return MEDIA_TYPES[self.form]


# --- the catalogue ---------------------------------------------------------------------------


def catalogue_answer(unit: Unit = "in") -> dict[str, Any]:
    """Every block of the catalogue, for choosing."""
    return {
        "unit": unit,
        "blocks": [
            {
                "id": entry.id,
                "name": entry.name,
                "about": entry.about,
                **size(entry.width, entry.height, unit),
                "pieces": entry.pieces,
            }
            for entry in catalogue.entries()
        ],
    }


def block_answer(id: str, unit: Unit = "in") -> dict[str, Any]:
    """A block of the catalogue as the field ``block`` of a request may be (piece by piece).

    Raises:
        NoSuchBlock: the catalogue has none with this id.
    """
    try:
        block = catalogue.load(id)
    except KeyError:
        raise NoSuchBlock(f"the catalogue has no block {id!r:.60}") from None
    answer: dict[str, Any] = {
        "name": block.name,
        "unit": unit,
        "pieces": [_piece(piece, unit) for piece in block.pieces],
    }
    if block.fabrics:
        answer["fabrics"] = [
            {"id": f.id, "name": f.name, "colour": f.colour} for f in block.fabrics
        ]
    if block.joins is not None:
        answer["joins"] = block.joins
    if block.sections is not None:
        answer["sections"] = [{"id": s.id, "order": list(s.order)} for s in block.sections]
    return answer


def _piece(piece: Piece, unit: Unit) -> dict[str, Any]:
    answer: dict[str, Any] = {"id": piece.id}
    if all(isinstance(segment, Line) for segment in piece.outline):
        answer["outline"] = places([segment.start for segment in piece.outline], unit)
    else:
        answer["path"] = svg_path.written(piece.outline, float(PER_INCH[unit]))
    if piece.fabric is not None:
        answer["fabric"] = piece.fabric
    if piece.grain != "auto":
        answer["grain"] = piece.grain if isinstance(piece.grain, str) else degrees(piece.grain)
    return answer


# --- check -----------------------------------------------------------------------------------


def check_answer(request: Request) -> dict[str, Any]:
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
    if block.sections is not None:
        try:
            foundation(*asked)
        except BlockError as error:
            faults += (fault for fault in error.faults if fault not in faults)
    if faults:
        raise Refused(tuple(faults), unit)
    left, top, right, bottom = extent(block.pieces)
    return {
        "unit": unit,
        **size(right - left, bottom - top, unit),
        "pieces": [
            {
                "id": piece.id,
                "fabric": piece.fabric,
                "finished": ring(piece.outline, unit),
                "area": area(paths.area(piece.outline), unit),
            }
            for piece in block.pieces
        ],
        "cautions": told_faults(found, unit),
    }


# --- what is printed -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Printout:
    """What is printed, once it is made; each of its forms is made only when it is asked for.

    Attributes:
        what: it is, as the name of its file says.
        told: what the answer in JSON has between its unit and its sheets.
        pages: its sheets.
        canvas: all of it on one SVG canvas.
    """

    what: str
    told: Callable[[], dict[str, Any]]
    pages: Callable[[], Sequence[Page]]
    canvas: Callable[[], str]


def answered(printout: Printout, of: str, unit: Unit, form: Form, sheet: int | None) -> Answer:
    """What is printed, in the form asked for.

    Args:
        of: the name of what it is for, for the file's name.
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        NoSuchSheet: there is no sheet with that number.
        BlockError: the sheets do not serve.
    """
    if form == "json":
        pages = [page_json(page, unit) for page in printout.pages()]
        content = write_json({"unit": unit, **printout.told(), "pages": pages})
    elif form == "pdf":
        content = sheets_pdf(printout.pages())
    elif form == "zip":
        content = sheets_zip(printout.pages(), unit)
    elif sheet is None:
        content = printout.canvas().encode()
    else:
        content = sheet_svg(_nth(printout.pages(), sheet), unit).encode()
    name = f"{of} {printout.what}" + (f" {sheet}" if sheet is not None else "")
    return Answer(form, content, name)


def of_drawings(
    work: Workup,
    what: str,
    drawings: Sequence[Drawing],
    heading: Heading,
    told: Callable[[], dict[str, Any]],
) -> Printout:
    """A thing to print of a block, whose drawings lie on its sheets as they come."""
    asked = work.request
    return Printout(
        what,
        told,
        pages=lambda: lay_out(drawings, asked.sheet, heading, work.most_sheets),
        canvas=lambda: canvas_svg(drawings, heading, asked.unit),
    )


def of_block(
    make: Callable[[Workup], Printout],
    request: Request,
    form: Form,
    most_sheets: int,
    sheet: int | None = None,
) -> Answer:
    """A thing to print of a request's block.

    Args:
        make: which one.
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.

    Raises:
        Refused: the block cannot be sewn as it asks to be, or cloth or sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    with told_in(request.unit):
        printout = make(Workup(request, most_sheets))
        return answered(printout, request.block.name, request.unit, form, sheet)


def _nth(pages: Sequence[Page], number: int) -> Page:
    if not 1 <= number <= len(pages):
        raise NoSuchSheet(f"there is no sheet {number}; the sheets are 1 to {len(pages)}")
    return pages[number - 1]


# --- templates -------------------------------------------------------------------------------


def templates_printout(work: Workup) -> Printout:
    """The cutting templates of a block.

    Raises:
        BlockError: the block cannot be sewn as it asks to be.
    """
    found = work.templates
    drawings, head = template_drawings(found), heading(found)
    return of_drawings(
        work, "templates", drawings, head, lambda: _templates(found, work.request.unit)
    )


templates_answer: Final = partial(of_block, templates_printout)


def _templates(templates: TemplateSet, unit: Unit) -> dict[str, Any]:
    return {
        "pieces": [
            {
                "id": piece.id,
                "template": piece.template,
                "reversed": piece.reversed,
                "finished": ring(piece.finished, unit),
                "cut": ring(piece.cut, unit),
                "match_points": places(piece.match_points, unit),
            }
            for piece in templates.pieces
        ],
        "templates": [_template(template, unit) for template in templates.templates],
    }


def _template(template: Template, unit: Unit) -> dict[str, Any]:
    return {
        "id": template.id,
        "finished": ring(template.finished, unit),
        "cut": ring(template.cut, unit),
        "grain": None if template.grain is None else {"angle": degrees(template.grain)},
        "bias_edges": list(template.bias_edges),
        "cuts": [
            {"fabric": cut.fabric, "plain": cut.plain, "reversed": cut.reversed}
            for cut in template.cuts
        ],
    }


# --- health ----------------------------------------------------------------------------------


@cache
def prove_ready() -> None:
    """Makes one real document, so that a machine without cairo or typeface is found out.

    Once it has worked it is not done again. Whatever is missing raises its own error.
    """
    block: Block = catalogue.load(catalogue.entries()[0].id)
    templates = template_set(block, Allowance(), "matched", None)
    pages = lay_out(template_drawings(templates), SheetSettings(), heading(templates))
    if not sheets_pdf(pages).startswith(b"%PDF"):
        raise RuntimeError("what was drawn is no PDF")


# --- names -----------------------------------------------------------------------------------


def file_name(answer: Answer) -> str:
    """The answer's name as a file name that any system takes.

    >>> file_name(Answer("pdf", b"", "Fish/Chips: a block"))
    'Fish Chips a block.pdf'
    """
    stem = re.sub(r"[\x00-\x1f\x7f-\x9f/\\:*?\"<>|]+", " ", answer.name)
    stem = " ".join(stem.split()).strip(". ")[:100].rstrip(". ") or "templates"
    return f"{stem}.{answer.form}"
