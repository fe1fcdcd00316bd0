"""The command line ``piecewright``: the functions of the HTTP interface, for scripts.

It ends with 0 if all went well, 1 if the block or a setting has faults (each a line on
standard error: pointer, place, what is wrong), 2 if the command cannot be understood or a
file cannot be read or written.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.lengths import UNITS, Unit, in_unit
from piecewright.service import VERSION
from piecewright.service.batches.tables import WrongVersion
from piecewright.service.batches.workers import MOST_PROCESSES, run_workers
from piecewright.service.http.keys import BadKeys, new_key
from piecewright.service.http.openapi import document as openapi
from piecewright.service.json_text import NotJson, read_json, write_json
from piecewright.service.requests import limits
from piecewright.service.requests.parse import Refused, Request, read_request
from piecewright.service.requests.schemas import CORNERS, ORIENTATIONS, PACKET_PARTS
from piecewright.service.responses.answer import Answer, Form, NoSuchSheet
from piecewright.service.responses.catalogue import NoSuchBlock, block_answer, catalogue_answer
from piecewright.service.responses.check import check_answer
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import PREFIX, Settings

GOOD, FAULTY, MISUSED = 0, 1, 2


class _Misuse(Exception):
    """The command cannot be carried out; the message says why."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Carries out a command line and gives the exit code."""
    given = _parser().parse_args(arguments)
    try:
        settings = Settings.from_environment()
    except ValueError as error:
        print(f"piecewright: {error}", file=sys.stderr)
        return MISUSED
    try:
        code: int = given.run(given, settings)
    except Refused as error:
        for fault in error.faults:
            print(_line(fault, error.unit), file=sys.stderr)
        return FAULTY
    except BrokenPipeError:
        # Whoever read the output has left, as ``head`` does; that is no fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD
    except OSError as error:
        # A write names no file; then it is where the output goes.
        where = error.filename or getattr(given, "output", None) or "standard output"
        print(f"piecewright: {where}: {error.strerror}", file=sys.stderr)
        return MISUSED
    except (_Misuse, NoSuchBlock, NoSuchSheet) as error:
        print(f"piecewright: {error}", file=sys.stderr)
        return MISUSED
    return code


def _line(fault: Fault, unit: Unit) -> str:
    place = ""
    if fault.at is not None:
        x, y = (in_unit(c, unit) for c in fault.at)
        place = f"at ({x:g}, {y:g}) {unit}: "
    return f"{fault.pointer or '/'}: {place}{fault.detail}"


# --- commands --------------------------------------------------------------------------------


def _print(given: argparse.Namespace, settings: Settings) -> int:
    """Makes a printable of the command's name, as the interface would be asked for it."""
    printable = PRINTABLES[given.printable]
    form: Form = given.format or _form_of(given.output, printable.forms)
    if given.page is not None and form != "svg":
        raise _Misuse("--page goes with svg alone")
    asked = printable.read(given.body(given), settings)
    answer = printable.answer(asked, form, settings.max_sheets, given.page)
    _write(answer, given.output)
    return GOOD


def _foundation_body(given: argparse.Namespace) -> Any:
    body = _body(given)
    _put(body, "foundation", {"mirrored": given.mirrored, "line_weight": given.line_weight})
    return body


def _packet_body(given: argparse.Namespace) -> Any:
    body = _quilt_body(given)
    return {**body, **_given({"parts": given.parts, "for": given.maker})}


def _file_body(given: argparse.Namespace) -> Any:
    return _read(given.file)


def _quilt_body(given: argparse.Namespace) -> Any:
    """A request with the options that only a cutting list has put in."""
    body = _body(given)
    own = body.get("quilt")
    own = dict(own) if isinstance(own, dict) else {}
    quilt = {"blocks": given.blocks}
    if given.quilt is not None:
        quilt.update(_sides(given.quilt))
    for name, options in (
        (
            "border",
            {
                "width": given.border,
                "fabric": given.border_fabric,
                "corners": "mitred" if given.mitred else None,
            },
        ),
        ("binding", {"width": given.binding, "fabric": given.binding_fabric}),
    ):
        if chosen := _given(options):
            before = own.get(name)
            quilt[name] = {**(before if isinstance(before, dict) else {}), **chosen}
    cloth = {
        "width": given.cloth_width,
        "shrinkage": given.shrinkage,
        "spare": given.spare,
        "directional": given.directional,
    }
    _put(body, "quilt", quilt)
    _put(body, "cloth", cloth)
    return body


def _sides(text: str) -> dict[str, str]:
    """``48in x 60in`` as a width and a height."""
    width, _, height = text.replace("×", "x").partition("x")
    return {"width": width.strip(), "height": height.strip()}


def _sewn_body(given: argparse.Namespace) -> Any:
    """A request with the options of what rests on a sewing plan put in."""
    body = _body(given)
    keep = None
    if given.keep is not None:
        pairs = [text.partition("=") for text in given.keep]
        keep = [{"step": step.strip(), "press": press.strip()} for step, _, press in pairs]
    _put(body, "pressing", {"open_above": given.open_above, "keep": keep})
    _put(body, "deviation", {"cutting": given.cutting, "sewing": given.sewing})
    return body


def _check(given: argparse.Namespace, settings: Settings) -> int:
    checked = check_answer(_request(given, settings))
    if given.json:
        _to_stdout(write_json(checked))
        return GOOD
    unit = checked["unit"]
    count = len(checked["pieces"])
    print(
        f"{count} piece{'' if count == 1 else 's'}, "
        f"finished {checked['width']:g} x {checked['height']:g} {unit}"
    )
    for caution in checked["cautions"]:
        x, y = caution.get("at", (None, None))
        place = "" if x is None else f"at ({x:g}, {y:g}) {unit}: "
        print(f"caution: {caution['pointer']}: {place}{caution['detail']}")
    return GOOD


def _blocks(given: argparse.Namespace, settings: Settings) -> int:
    if given.id is not None:
        _to_stdout(write_json(block_answer(given.id, given.unit), indent=2))
        return GOOD
    for entry in catalogue_answer(given.unit)["blocks"]:
        size = f"{entry['width']:g} x {entry['height']:g} {given.unit}"
        print(f"{entry['id']:<24} {entry['name']:<26} {size:<14} {entry['pieces']:>3} pieces")
    return GOOD


def _serve(given: argparse.Namespace, settings: Settings) -> int:
    host = f"[{given.host}]" if ":" in given.host else given.host
    sys.stdout.flush()
    os.execv(
        sys.executable,
        [
            *(sys.executable, "-m", "gunicorn"),
            *("--bind", f"{host}:{given.port}"),
            *(() if given.workers is None else ("--workers", str(given.workers))),
            *("--config", "python:piecewright.service.http.gunicorn_config"),
        ],
    )


def _work(given: argparse.Namespace, settings: Settings) -> int:
    if not 0 <= given.processes <= MOST_PROCESSES:
        raise _Misuse(f"--processes is at most {MOST_PROCESSES}")
    try:
        run_workers(settings, given.processes)
    except WrongVersion as error:
        raise _Misuse(str(error)) from None
    return GOOD


def _keys(given: argparse.Namespace, settings: Settings) -> int:
    if not settings.keys:
        raise _Misuse(f"set {PREFIX}KEYS to the file that the keys are for")
    try:
        key = new_key(Path(settings.keys), given.name)
    except BadKeys as error:
        raise _Misuse(str(error)) from None
    print(key)
    print(f"{given.name}: keep it, it is not shown again", file=sys.stderr)
    return GOOD


def _openapi(given: argparse.Namespace, settings: Settings) -> int:
    document = openapi.written(settings)
    if given.output is None:
        _to_stdout(document)
    else:
        _replace(given.output, document)
    return GOOD


# --- what comes in ---------------------------------------------------------------------------


def _request(given: argparse.Namespace, settings: Settings) -> Request:
    """What the command line asks for, as the interface would be asked."""
    return read_request(_body(given), settings)


def _body(given: argparse.Namespace) -> Any:
    """The request: that of the file, or of the block alone, with the options put in."""
    body = _source(given.block)
    body = dict(body) if isinstance(body, dict) and "block" in body else {"block": body}
    if given.unit is not None:
        body["unit"] = given.unit
    finish = {
        "width": given.finish_width,
        "height": given.finish_height,
        "scale": given.scale,
    }
    if chosen := _finish(given.finish) | _given(finish):
        body["finish"] = chosen  # in place of the file's: width and scale do not go together
    if given.edge_allowance is not None:
        seam = {} if given.allowance is None else {"seam": given.allowance}
        body["allowance"] = {
            **_as_seam(body.get("allowance")),
            **seam,
            "edge": given.edge_allowance,
        }
    elif given.allowance is not None:
        body["allowance"] = given.allowance
    if given.corners is not None:
        body["corners"] = given.corners
    if given.printer is not None:
        body["printer"] = dict(zip(("across", "down"), given.printer, strict=True))
    sheet = {
        "paper": _paper(given.paper),
        "roll": given.roll,
        "orientation": given.orientation,
        "margin": given.margin,
        "overlap": given.overlap,
    }
    if chosen := _given(sheet):
        own = body.get("sheet")
        own = dict(own) if isinstance(own, dict) else {}
        if given.paper is not None or given.roll is not None:
            sizes = ("paper", "width", "height", "roll")
            own = {name: value for name, value in own.items() if name not in sizes}
        body["sheet"] = {**own, **chosen}
    return body


def _put(body: dict[str, Any], name: str, options: dict[str, Any]) -> None:
    """Puts those options that the command line has into one object of a request."""
    if chosen := _given(options):
        own = body.get(name)
        body[name] = {**(own if isinstance(own, dict) else {}), **chosen}


def _given(options: dict[str, Any]) -> dict[str, Any]:
    """The options that the command line has."""
    return {name: value for name, value in options.items() if value is not None}


def _source(name: str) -> Any:
    """The JSON of a file, or of standard input for ``-``; or the id of a catalogue block."""
    if name == "-" or Path(name).suffix.lower() == ".json" or Path(name).exists():
        return _read(name)
    return name


def _read(name: str) -> Any:
    """The JSON of a file, or of standard input for ``-``."""
    if name == "-" and sys.stdin is None:
        raise _Misuse("-: standard input is closed")
    raw = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    try:
        return read_json(raw)
    except NotJson as error:
        raise _Misuse(f"{name}: {error}") from None


def _as_seam(allowance: Any) -> dict[str, Any]:
    """A request's allowance as an object; a length alone is for seams."""
    if allowance is None:
        return {"seam": limits.DEFAULT_SEAM}
    return allowance if isinstance(allowance, dict) else {"seam": allowance}


def _finish(text: str | None) -> dict[str, str]:
    """``12in`` is a width; ``12in x 9in`` is a width and a height."""
    if text is None:
        return {}
    return _width_by_height(text) or {"width": text}


def _paper(text: str | None) -> Any:
    """A paper's name in any case, or its size: ``9in x 12in``."""
    if text is None:
        return None
    return _width_by_height(text) or text.lower()


def _width_by_height(text: str) -> dict[str, str] | None:
    width, by, height = text.replace("×", "x").partition("x")
    if by and any(c.isdigit() for c in width):
        return {"width": width.strip(), "height": height.strip()}
    return None


# --- what goes out ---------------------------------------------------------------------------


def _form_of(output: Path | None, forms: Sequence[Form]) -> Form:
    if output is None:
        return "json"
    ending = output.suffix.lower().removeprefix(".")
    for form in forms:
        if ending == form:
            return form
    raise _Misuse(f"{output} should end in {', '.join('.' + form for form in forms)}")


def _write(answer: Answer, output: Path | None) -> None:
    if output is None:
        _to_stdout(answer.content)
    else:
        _replace(output, answer.content)


def _to_stdout(content: bytes) -> None:
    sys.stdout.flush()
    sys.stdout.buffer.write(content)
    sys.stdout.buffer.flush()


def _replace(path: Path, content: bytes) -> None:
    """Writes a file whole or not at all."""
    if path.exists() and not path.is_file():
        path.write_bytes(content)  # a device or a pipe cannot be replaced
        return
    target = path.resolve()
    handle, draft = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(draft, target.stat().st_mode & 0o777 if target.exists() else _usual_mode())
        os.replace(draft, target)
    except BaseException:
        os.unlink(draft)
        raise


def _usual_mode() -> int:
    """What a new file may be used for: a draft is its owner's alone."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


# --- the command line ------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="piecewright",
        description="True-scale cutting templates for patchwork blocks.",
        epilog="It ends with 0 if all went well, 1 for a block or setting with faults, 2 if the "
        "command cannot be carried out.",
    )
    parser.add_argument("--version", action="version", version=f"piecewright {VERSION}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    templates = _add_printable(commands, "templates", _body, "make cutting templates")
    _add_request(templates)

    cutting = _add_printable(
        commands, "cutting-list", _quilt_body, "say what to cut, and what to buy"
    )
    _add_request(cutting)
    _add_quilt(cutting)

    packet = _add_printable(
        commands, "packet", _packet_body, "make all that a maker needs, as one document"
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
        commands, "foundation", _foundation_body, "make foundation sections to sew on"
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
        sewn = _add_printable(commands, name, _sewn_body, message)
        _add_request(sewn)
        _add_pressing(sewn)

    quilt = _add_printable(
        commands, "quilt-plan", _file_body, "share out a group quilt, and plan its pressing"
    )
    quilt.add_argument(
        "file", metavar="FILE", help="a JSON file with a whole request, or - for standard input"
    )

    check = commands.add_parser("check", help="say what is wrong with a block")
    _add_request(check)
    check.add_argument("--json", action="store_true", help="print the whole answer as JSON")
    check.set_defaults(run=_check)

    blocks = commands.add_parser("blocks", help="list the catalogue, or print a block of it")
    blocks.add_argument("id", nargs="?", metavar="ID", help="of the block to print as JSON")
    blocks.add_argument("--unit", choices=UNITS, default="in")
    blocks.set_defaults(run=_blocks)

    serve = commands.add_parser("serve", help="serve the HTTP interface")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    serve.add_argument("--port", type=int, default=8000, help="(%(default)s)")
    serve.add_argument("--workers", type=int, help="processes (WEB_CONCURRENCY, or else 2)")
    serve.set_defaults(run=_serve)

    work = commands.add_parser(
        "work",
        help="do the packets of batches, from the broker that is set or for the service's own "
        "data folder, until it is stopped",
    )
    work.add_argument(
        "--processes", type=int, default=0, metavar="N", help="one for each core if left out"
    )
    work.set_defaults(run=_work)

    keys = commands.add_parser("keys", help="give somebody an API key")
    keys.add_argument("name", metavar="NAME", help="whose key it is")
    keys.set_defaults(run=_keys)

    document = commands.add_parser("openapi", help="print the OpenAPI document")
    document.add_argument("-o", "--output", type=Path, metavar="FILE", help="write it to a file")
    document.set_defaults(run=_openapi)
    return parser


def _add_printable(
    commands: Any, name: str, body: Callable[[argparse.Namespace], Any], message: str
) -> argparse.ArgumentParser:
    """A command that makes a printable, with the options of where it goes and in which form.

    Args:
        body: the request, as the interface takes it, that a command line stands for.
    """
    parser: argparse.ArgumentParser = commands.add_parser(name, help=message)
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
    parser.set_defaults(run=_print, printable=name, body=body, page=None)
    return parser


def _usual(default: float | str) -> str:
    """What holds if an option is left out, as help says it; a length as it is typed, without a
    space, which a shell would take for the end of it.

    >>> _usual("1/4 in")
    '(1/4in)'
    """
    return f"({default})".replace(" in)", "in)")


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
        help=f"usable width of cloth {_usual(limits.DEFAULT_CLOTH)}",
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
        "--allowance", metavar="LENGTH", help=f"seam allowance {_usual(limits.DEFAULT_SEAM)}"
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


if __name__ == "__main__":
    raise SystemExit(main())
