"""The commands and their options."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from piecewright.patchwork.lengths import UNITS
from piecewright.service import VERSION
from piecewright.service.cli import commands
from piecewright.service.cli.request_body import (
    block_body,
    file_body,
    foundation_body,
    packet_body,
    quilt_body,
    sewn_body,
)
from piecewright.service.requests import limits
from piecewright.service.requests.schemas import CORNERS, ORIENTATIONS, PACKET_PARTS
from piecewright.service.responses.printables import PRINTABLES


def parser() -> argparse.ArgumentParser:
    """The parser of the whole command line: what it gives has ``run``, one of ``commands``."""
    top = argparse.ArgumentParser(
        prog="piecewright",
        description="True-scale cutting templates for patchwork blocks.",
        epilog="It ends with 0 if all went well, 1 for a block or setting with faults, 2 if the "
        "command cannot be carried out.",
    )
    top.add_argument("--version", action="version", version=f"piecewright {VERSION}")
    subcommands = top.add_subparsers(required=True, metavar="COMMAND")

    templates = _add_printable(subcommands, "templates", block_body, "make cutting templates")
    _add_request(templates)

    cutting = _add_printable(
        subcommands, "cutting-list", quilt_body, "say what to cut, and what to buy"
    )
    _add_request(cutting)
    _add_quilt(cutting)

    packet = _add_printable(
        subcommands, "packet", packet_body, "make all that a maker needs, as one document"
    )
    _add_request(packet)
    _add_quilt(packet)
    packet.add_argument(
        "--parts",
        nargs="+",
        choices=PACKET_PARTS,
        help="what of it all is wanted (all but foundation)",
    )
    packet.add_argument("--for", dest="maker", metavar="NAME", help="the name on every sheet")

    foundation = _add_printable(
        subcommands, "foundation", foundation_body, "make foundation sections to sew on"
    )
    _add_request(foundation)
    foundation.add_argument(
        "--mirrored",
        action=argparse.BooleanOptionalAction,
        help="mirror images of the face (the default), or as seen from the face",
    )
    foundation.add_argument(
        "--line-weight",
        type=float,
        metavar="POINTS",
        help=f"width of the sewing lines {_usual(limits.DEFAULT_LINE_WEIGHT)}",
    )

    for name, message in (
        ("sewing-plan", "say in which order to sew, and how to press"),
        ("block-map", "draw the block at its finished size"),
    ):
        sewn = _add_printable(subcommands, name, sewn_body, message)
        _add_request(sewn)
        _add_pressing(sewn)

    quilt = _add_printable(
        subcommands, "quilt-plan", file_body, "share out a group quilt, and plan its pressing"
    )
    quilt.add_argument(
        "file", metavar="FILE", help="a JSON file with a whole request, or - for standard input"
    )

    check = subcommands.add_parser("check", help="say what is wrong with a block")
    _add_request(check)
    check.add_argument("--json", action="store_true", help="print the whole answer as JSON")
    check.set_defaults(run=commands.check)

    read = subcommands.add_parser("read", help="read a pattern of your own back into geometry")
    read.add_argument("file", type=Path, metavar="FILE", help="a PDF or SVG")
    read.add_argument(
        "--answer",
        dest="answers",
        action="append",
        default=[],
        metavar="JSON",
        help="an answer to a question, as its options have it; or a file of them",
    )
    read.add_argument("--unit", choices=UNITS, help="of lengths")
    read.add_argument(
        "--picture",
        type=Path,
        metavar="FILE",
        help="show what was read over the original: .svg or .pdf",
    )
    read.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="write the block to a file, as JSON"
    )
    read.set_defaults(run=commands.read)

    blocks = subcommands.add_parser("blocks", help="list the catalogue, or print a block of it")
    blocks.add_argument("id", nargs="?", metavar="ID", help="of the block to print as JSON")
    blocks.add_argument("--unit", choices=UNITS, default="in")
    blocks.set_defaults(run=commands.blocks)

    serve = subcommands.add_parser("serve", help="serve the HTTP interface")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    serve.add_argument("--port", type=int, default=8000, help="(%(default)s)")
    serve.add_argument("--workers", type=int, help="processes (WEB_CONCURRENCY, or else 2)")
    serve.set_defaults(run=commands.serve)

    work = subcommands.add_parser(
        "work",
        help="do the packets of batches, from the broker that is set or for the service's own "
        "data folder, until it is stopped",
    )
    work.add_argument(
        "--processes", type=int, default=0, metavar="N", help="one for each core if left out"
    )
    work.set_defaults(run=commands.work)

    keys = subcommands.add_parser("keys", help="give somebody an API key")
    keys.add_argument("name", metavar="NAME", help="whose key it is")
    keys.set_defaults(run=commands.keys)

    document = subcommands.add_parser("openapi", help="print the OpenAPI document")
    document.add_argument("-o", "--output", type=Path, metavar="FILE", help="write it to a file")
    document.set_defaults(run=commands.openapi)
    return top


def _add_printable(
    subcommands: Any, name: str, body: Callable[[argparse.Namespace], Any], message: str
) -> argparse.ArgumentParser:
    """A command that makes a printable, with the options of where it goes and in which form.

    Args:
        body: the request, as the interface takes it, that a command line stands for.
    """
    parser: argparse.ArgumentParser = subcommands.add_parser(name, help=message)
    forms = PRINTABLES[name].forms
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="its ending says the form: "
        + ", ".join(f".{form}" for form in forms)
        + "; standard output if left out",
    )
    parser.add_argument("--format", choices=forms, help="the form, whatever the file's ending")
    if "svg" in forms:
        parser.add_argument("--page", type=int, metavar="N", help="with svg: sheet N alone")
    parser.set_defaults(run=commands.print_printable, printable=name, body=body, page=None)
    return parser


def _usual(default: float | str, metric: str = "") -> str:
    """What holds if an option is left out, as help says it; a length as it is typed, without a
    space, which a shell would take for the end of it.

    Args:
        metric: what holds instead where the unit is cm or mm.

    >>> _usual("1/4 in", "0.75 cm")
    '(1/4in; 0.75cm where the unit is cm or mm)'
    """
    other = f"; {metric.replace(' ', '')} where the unit is cm or mm" if metric else ""
    return f"({str(default).replace(' in', 'in')}{other})"


def _add_pressing(parser: argparse.ArgumentParser) -> None:
    """The options that plans for sewing have besides."""
    parser.add_argument(
        "--open-above", type=int, metavar="LAYERS", help="press open where more would lie"
    )
    parser.add_argument(
        "--keep",
        action="append",
        metavar="STEP=WAY",
        help="press a step 'first', 'second' or 'open', such as 3=second; repeat",
    )
    parser.add_argument(
        "--cutting", metavar="LENGTH", help=f"how far off cuts are {_usual(limits.DEFAULT_CUTTING)}"
    )
    parser.add_argument(
        "--sewing", metavar="LENGTH", help=f"how far off seams are {_usual(limits.DEFAULT_SEWING)}"
    )


def _add_quilt(parser: argparse.ArgumentParser) -> None:
    """The options that a cutting list has besides."""
    parser.add_argument(
        "--blocks", type=int, metavar="N", help=f"how many blocks {_usual(limits.DEFAULT_BLOCKS)}"
    )
    parser.add_argument("--quilt", metavar="SIZE", help="'48in x 60in', without its border")
    parser.add_argument("--border", metavar="LENGTH", help="its finished width")
    parser.add_argument("--border-fabric", metavar="FABRIC")
    parser.add_argument("--mitred", action="store_true", help="mitre the border's corners")
    parser.add_argument("--binding", metavar="LENGTH", help="width of its strips, such as 2-1/2in")
    parser.add_argument("--binding-fabric", metavar="FABRIC")
    parser.add_argument(
        "--cloth-width",
        metavar="LENGTH",
        help=f"usable width of cloth {_usual(limits.DEFAULT_CLOTH, limits.METRIC_CLOTH)}",
    )
    parser.add_argument(
        "--shrinkage", type=float, metavar="PERCENT", help=_usual(limits.DEFAULT_SHRINKAGE)
    )
    parser.add_argument("--spare", type=float, metavar="PERCENT", help=_usual(limits.DEFAULT_SPARE))
    parser.add_argument(
        "--directional", action="append", metavar="FABRIC", help="its print runs one way; repeat"
    )


def _add_request(parser: argparse.ArgumentParser) -> None:
    """The options that a request's fields have; they win over those of the file."""
    parser.add_argument(
        "block",
        metavar="BLOCK",
        help="a JSON file with a block or a whole request, - for standard input, or the id of a "
        "block of the catalogue",
    )
    parser.add_argument("--unit", metavar="UNIT", help="in, cm or mm; of lengths that name none")
    parser.add_argument("--finish", metavar="SIZE", help="finished width, or '12in x 9in'")
    parser.add_argument("--finish-width", metavar="LENGTH", help="finished width, such as 12in")
    parser.add_argument("--finish-height", metavar="LENGTH", help="finished height")
    parser.add_argument("--scale", type=float, metavar="TIMES", help="times the drawn size")
    parser.add_argument(
        "--allowance",
        metavar="LENGTH",
        help=f"seam allowance {_usual(limits.DEFAULT_SEAM, limits.METRIC_SEAM)}",
    )
    parser.add_argument("--edge-allowance", metavar="LENGTH", help="at the edge of the block")
    parser.add_argument("--corners", choices=CORNERS)
    parser.add_argument("--paper", metavar="PAPER", help="a4, letter, …, or '9in x 12in'")
    parser.add_argument("--roll", metavar="LENGTH", help="width of paper from a roll, such as 24in")
    parser.add_argument(
        "--printer",
        nargs=2,
        metavar=("ACROSS", "DOWN"),
        help="what the printed 1 in (or 5 cm) test square measured, to correct for it",
    )
    parser.add_argument("--orientation", choices=ORIENTATIONS)
    parser.add_argument(
        "--margin",
        metavar="LENGTH",
        help=f"what the printer leaves blank {_usual(limits.DEFAULT_MARGIN)}",
    )
    parser.add_argument(
        "--overlap", metavar="LENGTH", help=f"of tiled templates {_usual(limits.DEFAULT_OVERLAP)}"
    )
