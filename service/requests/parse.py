"""From a request's JSON to what it asks for.

Two steps: the schema checks every field by itself, which leaves lengths as they were
written; then the unit is known, and lengths, block and sheet get their meaning.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from marshmallow import ValidationError

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, FaultyBlock, Piece
from piecewright.patchwork.cutting.borders import Binding, Border
from piecewright.patchwork.cutting.cutting_list import Cloth, Quilt
from piecewright.patchwork.cutting.rotary import Ruler, ruler
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.lengths import PER_INCH, READ_TO, UNITS, Unit, parse_length, spoken
from piecewright.patchwork.outlines.cut_outlines import Corners
from piecewright.patchwork.sewing.plan import Kept, PlanOptions
from piecewright.render.printables.foundation.print_style import DEFAULT_STYLE, PrintStyle
from piecewright.render.sheets.papers import PAPERS, TRUE, Paper, Printer
from piecewright.render.sheets.sheet_settings import SheetSettings
from piecewright.service.requests import limits
from piecewright.service.requests.blocks import block_as_drawn, block_as_finished
from piecewright.service.requests.limits import Limits
from piecewright.service.requests.salvage import pieces_in_spite
from piecewright.service.requests.schema_faults import schema_faults
from piecewright.service.requests.schemas import PARTS, BlockRequest, PacketRequest
from piecewright.service.settings import Settings

_T = TypeVar("_T")
_Spec = Mapping[str, Any]


class Refused(Exception):
    """A request that is well-formed but wrong.

    Attributes:
        faults: every fault found.
        unit: of the request, in which places are answered.
        pieces: of its block, those that could be found.
    """

    def __init__(
        self, faults: tuple[Fault, ...], unit: Unit, pieces: tuple[Piece, ...] = ()
    ) -> None:
        super().__init__("; ".join(f"{f.pointer}: {f.detail}" for f in faults[:8]))
        self.faults, self.pieces = faults, pieces
        self.unit: Unit = unit


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked for: a block at its finished size, and the settings of its sheets.

    Attributes:
        unit: of the answer.
        pieces_pointer: where the request lists the pieces; None if it does not.
        rule: that rotary cuts are rounded up to; None for the usual one.
        map_scale: ``true`` or ``page``, of the block map; None where it does not say.
        parts: of a packet.
        maker: whose name a packet's sheets carry; empty for nobody's.
    """

    unit: Unit
    block: Block
    pieces_pointer: str | None
    allowance: Allowance
    corners: Corners
    sheet: SheetSettings
    cloth: Cloth = field(default_factory=Cloth)
    quilt: Quilt = field(default_factory=Quilt)
    rule: Ruler | None = None
    looks: PrintStyle = DEFAULT_STYLE
    map_scale: str | None = None
    plan: PlanOptions | None = None
    parts: tuple[str, ...] = ()
    maker: str = ""


def read_request(
    given: Any, settings: Settings, schema: type[BlockRequest] = BlockRequest
) -> Request:
    """What a request asks for.

    Args:
        given: the request's JSON value.
        schema: of the request.

    Raises:
        Refused: with every fault found.
    """
    faults: list[Fault] = []
    spec = _checked(given, faults, schema)
    block_spec = spec.get("block")
    # Only a block of the request's own names a unit; those of the catalogue go by the request's.
    unit: Unit = spec.get("unit") or _unit_of(block_spec or _block_of(given)) or "in"

    # Every part is read even where another is faulty, so that all faults are found at once; the
    # block's size is looked at only if there is a block.
    found: list[Piece] = []
    drawn = block_spec and _collect(
        faults, lambda: block_as_drawn(block_spec, unit, settings), found
    )
    block = drawn and _collect(faults, lambda: block_as_finished(drawn, spec.get("finish"), unit))
    allowance = _collect(faults, lambda: _allowance(spec.get("allowance", {}), unit))
    printer = _collect(faults, lambda: _printer(spec.get("printer"), unit))
    sheet = _collect(faults, lambda: _sheet(spec.get("sheet", {}), unit))
    quilt = _collect(faults, lambda: _quilt(spec.get("quilt", {}), unit)) or Quilt()
    cloth = _collect(faults, lambda: _cloth(spec.get("cloth", {}), unit, block, quilt))
    rule = _collect(faults, lambda: _ruler(spec.get("rounding"), unit))
    plan = _collect(
        faults, lambda: _plan(spec.get("pressing", {}), spec.get("deviation", {}), unit)
    )
    if faults or block is None or allowance is None or sheet is None or cloth is None:
        seen = block or drawn
        if "block" not in spec:
            found += pieces_in_spite(_block_of(given), unit, settings)
        raise Refused(tuple(faults), unit, seen.pieces if seen else tuple(found))
    # Faults of pieces that are found later, by geometry, point to where the request lists them.
    as_pieces = isinstance(block_spec, dict) and "pieces" in block_spec
    return Request(
        unit=unit,
        block=replace(block, unit=unit),  # sheets and words about it are in the request's unit
        pieces_pointer="/block/pieces" if as_pieces else None,
        allowance=allowance,
        corners=spec.get("corners", limits.DEFAULT_CORNERS),
        sheet=replace(sheet, printer=printer or TRUE),
        cloth=cloth,
        quilt=quilt,
        rule=rule,
        map_scale=spec.get("map", {}).get("scale"),
        looks=PrintStyle(**spec.get("foundation", {})),
        plan=plan,
        parts=tuple(spec.get("parts", PARTS)),
        maker=spec.get("for", ""),
    )


def read_packet(given: Any, settings: Settings) -> Request:
    """What a request for a packet asks for.

    Args:
        given: the request's JSON value.

    Raises:
        Refused: with every fault found.
    """
    return read_request(given, settings, PacketRequest)


def _block_of(given: Any) -> Any:
    """The block of a request as it was written, right or wrong."""
    return given.get("block") if isinstance(given, dict) else None


def _unit_of(block: Any) -> Unit | None:
    """The unit that a block names, if it is one."""
    named = block.get("unit") if isinstance(block, dict) else None
    return next((unit for unit in UNITS if unit == named), None)


@contextmanager
def refusing_in(unit: Unit) -> Iterator[None]:
    """Faults that geometry or sheets raise inside leave as ``Refused``, places in ``unit``."""
    try:
        yield
    except BlockError as error:
        raise Refused(error.faults, unit) from error


def _collect(
    faults: list[Fault], read: Callable[[], _T], found: list[Piece] | None = None
) -> _T | None:
    """What ``read`` gives; or None, its faults put to the others, and its pieces to ``found``."""
    try:
        return read()
    except BlockError as error:
        faults += error.faults
        if found is not None and isinstance(error, FaultyBlock):
            found += error.pieces
        return None


# --- the first step: fields by themselves -----------------------------------------------------


def _checked(given: Any, faults: list[Fault], schema: type[BlockRequest]) -> dict[str, Any]:
    """The fields with which nothing is wrong; what is wrong with the others goes to the faults."""
    try:
        return dict(schema().load(given))
    except ValidationError as error:
        faults += schema_faults(error.messages)
        # An object of which only some fields are wrong is among the valid data, without those; read
        # on, it would be taken for one that leaves them out.
        valid = error.valid_data if isinstance(error.valid_data, dict) else {}
        wrong = error.messages if isinstance(error.messages, dict) else {}
        return {name: value for name, value in valid.items() if name not in wrong}


# --- the second step: what the fields mean together -------------------------------------------


def _lengths(
    given: _Spec, unit: Unit, pointer: str, within: Mapping[str, Limits]
) -> dict[str, float]:
    """The lengths of an object that the schema has checked, in inches.

    Args:
        given: may have other fields, and may be without some of these.
        within: their limits, by the names of the lengths.

    Raises:
        BlockError: with a fault for every length that is out of its limits.
    """
    read = {name: parse_length(given[name], unit) for name in within if name in given}
    faults = [
        Fault(f"{pointer}/{name}", "range", _out_of(within[name], inches, unit))
        for name, inches in read.items()
        if not within[name].hold(inches)
    ]
    if faults:
        raise BlockError(faults)
    return read


def _out_of(within: Limits, inches: float, unit: Unit) -> str:
    return f"expected {within.least:g} in to {within.most:g} in, got {spoken(inches, unit)}"


def _allowance(given: Any, unit: Unit) -> Allowance:
    if isinstance(given, dict):
        within = dict.fromkeys(("seam", "edge"), limits.NARROW)
        widths = _lengths(given, unit, "/allowance", within)
        seam = widths.get("seam", limits.default_seam(unit))
        return Allowance(seam, widths.get("edge", seam))
    width = _lengths({"allowance": given}, unit, "", {"allowance": limits.NARROW})["allowance"]
    return Allowance(width, width)


def _sheet(given: _Spec, unit: Unit) -> SheetSettings:
    faults: list[Fault] = []
    given = {"margin": limits.DEFAULT_MARGIN, "overlap": limits.DEFAULT_OVERLAP, **given}
    edges = _collect(
        faults,
        lambda: _lengths(
            given, unit, "/sheet", dict.fromkeys(("margin", "overlap"), limits.NARROW)
        ),
    )
    paper = _collect(faults, lambda: _paper(given, unit))
    roll = _collect(faults, lambda: _lengths(given, unit, "/sheet", {"roll": limits.ROLL_WIDTH}))
    if faults or edges is None or paper is None or roll is None:
        raise BlockError(faults)
    return SheetSettings(
        roll_width=roll.get("roll"),
        width=paper.width,
        height=paper.height,
        orientation=given.get("orientation", limits.DEFAULT_ORIENTATION),
        effort=given.get("effort", limits.DEFAULT_EFFORT),
        margin=edges["margin"],
        overlap=edges["overlap"],
        paper=paper.name,
        unit=unit,
    )


def _printer(given: _Spec | None, unit: Unit) -> Printer:
    """What the printer made of an inch, from either of the two test squares."""
    if given is None:
        return TRUE
    across, down = parse_length(given["across"], unit), parse_length(given["down"], unit)
    five = parse_length("5 cm")
    # What is nearer to 5 cm than to an inch was measured on the 5 cm square; its share of 5 cm is
    # what an inch comes out as.  Squares that can be corrected for are off by a tenth at most.
    if min(across, down) > (1 + five) / 2:
        across, down = across / five, down / five
    printer = Printer(across, down)
    if printer.faults():
        raise BlockError(printer.faults())
    return printer


def _paper(sheet: _Spec, unit: Unit) -> Paper:
    """The paper of a sheet: by name, or by its sides, which may stand in the sheet itself."""
    paper, pointer = sheet.get("paper", usual_paper(unit)), "/sheet/paper"
    if "width" in sheet:
        paper, pointer = sheet, "/sheet"
    if isinstance(paper, str):
        known = PAPERS[paper]
        return replace(known, name=paper_name(known.name))
    sides = _lengths(paper, unit, pointer, dict.fromkeys(("width", "height"), limits.PAPER_SIDE))
    return Paper("", sides["width"], sides["height"])


def usual_paper(unit: Unit) -> str:
    """The paper of a request that names none."""
    # Whoever works in inches prints in North America, as a rule.
    return "letter" if unit == "in" else "a4"


def paper_name(id: str) -> str:
    """A paper's id as people write it.

    >>> paper_name("a4"), paper_name("ansi-c"), paper_name("letter")
    ('A4', 'ANSI C', 'Letter')
    """
    # Series such as A4 or ANSI C are letters and numbers; all other names are words.
    return id.upper().replace("-", " ") if len(id) == 2 or "-" in id else id.capitalize()


def _plan(pressing: _Spec, deviation: _Spec, unit: Unit) -> PlanOptions:
    faults: list[Fault] = []
    kept = []
    for i, one in enumerate(pressing.get("keep", ())):
        # ``isdigit`` alone takes digits of every script, of which ``int`` reads only some.
        if one["step"].isascii() and one["step"].isdigit():
            kept.append(Kept(int(one["step"]), one["press"]))
        else:
            message = f"the steps of a block are '1', '2' and so on, not {one['step']!r}"
            faults.append(Fault(f"/pressing/keep/{i}/step", "unknown-step", message))
    off = _collect(
        faults,
        lambda: _lengths(
            {
                "cutting": limits.DEFAULT_CUTTING,
                "sewing": limits.DEFAULT_SEWING,
                **deviation,
            },
            unit,
            "/deviation",
            dict.fromkeys(("cutting", "sewing"), limits.DEVIATION),
        ),
    )
    if faults or off is None:
        raise BlockError(faults)
    return PlanOptions(
        tuple(kept), pressing.get("open_above"), cutting=off["cutting"], sewing=off["sewing"]
    )


def _quilt(given: _Spec, unit: Unit) -> Quilt:
    faults: list[Fault] = []

    def lengths(of: _Spec, pointer: str, within: Mapping[str, Limits]) -> dict[str, float]:
        return _collect(faults, lambda: _lengths(of, unit, pointer, within)) or {}

    size = lengths(given, "/quilt", dict.fromkeys(("width", "height"), limits.QUILT_SIDE))
    border, binding = given.get("border"), given.get("binding")
    found_border = found_binding = None
    if border is not None:
        wide = lengths(border, "/quilt/border", {"width": limits.EDGE_WIDTH})
        found_border = Border(
            wide.get("width", 1.0),  # without a width there is a fault, and this is not used
            border.get("fabric"),
            border.get("corners", limits.DEFAULT_BORDER_CORNERS),
        )
    if binding is not None:
        wide = lengths(
            {"width": limits.DEFAULT_BINDING, **binding},
            "/quilt/binding",
            {"width": limits.EDGE_WIDTH},
        )
        found_binding = Binding(wide.get("width", 1.0), binding.get("fabric"))
    if faults:
        raise BlockError(faults)
    sides = (size["width"], size["height"]) if size else None
    return Quilt(given.get("blocks", limits.DEFAULT_BLOCKS), sides, found_border, found_binding)


def _ruler(given: Any, unit: Unit) -> Ruler | None:
    """The ruler for rotary cuts: whole numbers of what sizes are written in, so that they can be.

    Raises:
        BlockError: at ``/rounding``: sizes could not be written to the step.
    """
    if given is None:
        return None
    step = _lengths({"rounding": given}, unit, "", {"rounding": limits.ROUNDING})["rounding"]
    finest = READ_TO[unit]
    steps = step * float(PER_INCH[unit] / finest)
    if abs(steps - round(steps)) > 1e-6:
        message = (
            f"sizes are written to {finest} {unit}; take a step that is a whole number of those"
        )
        raise BlockError([Fault("/rounding", "rounding", message)])
    return ruler(unit, step)


def _cloth(given: _Spec, unit: Unit, block: Block | None, quilt: Quilt) -> Cloth:
    usual = Cloth(width=limits.default_cloth(unit))
    width = _lengths(given, unit, "/cloth", {"width": limits.CLOTH_WIDTH}).get("width", usual.width)
    edges = [edge.fabric for edge in (quilt.border, quilt.binding) if edge is not None]
    known = {*edges, *(fabric.id for fabric in block.fabrics)} if block else set(edges)
    directional = given.get("directional", ())
    # Of a block that is faulty itself the fabrics are not known, and nothing is held against them.
    unknown = [
        Fault(f"/cloth/directional/{i}", "unknown-fabric", f"there is no fabric {id!r} here")
        for i, id in enumerate(directional)
        if block is not None and id not in known
    ]
    if unknown:
        raise BlockError(unknown)
    return Cloth(
        width=width,
        shrinkage=given.get("shrinkage", usual.shrinkage),
        spare=given.get("spare", usual.spare),
        directional=frozenset(directional),
    )
