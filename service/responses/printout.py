"""A printable that has been planned, and its answer in whichever form is asked for.

The way of a request here is: request -> plans -> ``Printout`` -> ``Answer``. The plans are made
at once, as they may refuse the request; JSON, sheets and canvas only if the form needs them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from piecewright.patchwork.lengths import Unit
from piecewright.render.drawing.marks import Drawing
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.svg import canvas_svg, sheet_svg
from piecewright.render.output.zip import sheets_zip
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.named import NO_WINDOWS, Windows, lay_out_named
from piecewright.render.sheets.page import Page
from piecewright.service.requests.parse import Request, refusing_in
from piecewright.service.responses.answer import Answer, Form, NoSuchSheet
from piecewright.service.responses.block_plans import BlockPlans
from piecewright.service.responses.fields import Json
from piecewright.service.responses.pages import json_with_sheets


@dataclass(frozen=True, slots=True)
class Printout:
    """A printable that has been planned; each of its forms is made when it is asked for.

    Attributes:
        what: it is, as the name of its file says.
        representation: the answer in JSON, from its sheets.
        pages: its sheets.
        canvas: all of it on one SVG canvas.
    """

    what: str
    representation: Callable[[Sequence[Page]], Json]
    pages: Callable[[], Sequence[Page]]
    canvas: Callable[[], str]


def printout_answer(
    printout: Printout, of: str, unit: Unit, form: Form, sheet: int | None, svg: bool = False
) -> Answer:
    """A printout in the form asked for.

    Args:
        of: the name of what it is for, for the file's name.
        sheet: for ``svg``, the number of the one sheet to give; all on one canvas if None.
        svg: for ``json``, whether each sheet is given as SVG too.

    Raises:
        NoSuchSheet: there is no sheet with that number.
        BlockError: the sheets do not serve.
    """
    name = f"{of} {printout.what}" + (f" {sheet}" if sheet is not None else "")
    if form == "svg" and sheet is None:
        return Answer(form, printout.canvas().encode(), name)
    pages = printout.pages()
    if form == "json":
        content = json_with_sheets(printout.representation(pages), pages, unit, svg)
    elif form == "pdf":
        content = sheets_pdf(pages)
    elif form == "zip":
        content = sheets_zip(pages, unit)
    else:
        assert sheet is not None
        content = sheet_svg(_numbered(pages, sheet), unit).encode()
    return Answer(form, content, name, len(pages))


def _numbered(pages: Sequence[Page], number: int) -> Page:
    if not 1 <= number <= len(pages):
        raise NoSuchSheet(f"there is no sheet {number}; the sheets are 1 to {len(pages)}")
    return pages[number - 1]


def printout_of_drawings(
    plans: BlockPlans,
    what: str,
    drawings: Sequence[Drawing],
    heading: Heading,
    representation: Callable[[Sequence[Page]], Json],
) -> Printout:
    """A printable of a block whose drawings lie on its sheets as they come."""
    return printout_of_named(plans, what, lambda _: drawings, heading, representation)


def printout_of_named(
    plans: BlockPlans,
    what: str,
    draw: Callable[[Windows], Sequence[Drawing]],
    heading: Heading,
    representation: Callable[[Sequence[Page]], Json],
) -> Printout:
    """The same, where names are placed by what each sheet shows of the drawings."""
    asked = plans.request
    return Printout(
        what,
        representation,
        pages=lambda: lay_out_named(draw, asked.sheet, heading, plans.most_sheets),
        canvas=lambda: canvas_svg(draw(NO_WINDOWS), heading, asked.unit),
    )


def block_printable_answer(
    make: Callable[[BlockPlans], Printout],
    request: Request,
    form: Form,
    most_sheets: int,
    sheet: int | None = None,
    svg: bool = False,
) -> Answer:
    """A printable of a request's block.

    Args:
        make: which one.
        sheet, svg: as for ``printout_answer``.

    Raises:
        Refused: the block cannot be sewn as it asks to be, or cloth or sheets do not serve.
        NoSuchSheet: there is no sheet with that number.
    """
    with refusing_in(request.unit):
        printout = make(BlockPlans(request, most_sheets))
        return printout_answer(printout, request.block.name, request.unit, form, sheet, svg)
