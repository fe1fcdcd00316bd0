"""The request that a command line stands for, as the interface takes it.

It is that of the file, or of the block alone, with the options put in, which win over the file's.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from piecewright.service.cli.exit_codes import Misuse
from piecewright.service.json_text import NotJson, read_json


def reading_answers(given: Sequence[str]) -> dict[str, Any]:
    """Answers to the questions of a reading, those of a list put together.

    Args:
        given: each a JSON object, or the name of a file with one.
    """
    answers: dict[str, Any] = {}
    for one in given:
        text = one.encode() if one.lstrip().startswith("{") else Path(one).read_bytes()
        try:
            value = read_json(text)
        except NotJson as error:
            raise Misuse(f"--answer: {error}") from None
        if not isinstance(value, dict):
            raise Misuse("--answer takes a JSON object")
        for name, answer in value.items():
            known = answers.get(name)
            both = isinstance(known, list) and isinstance(answer, list)
            answers[name] = known + answer if both else answer
    return answers


def block_body(given: argparse.Namespace) -> Any:
    """The request: that of the file, or of the block alone, with the options put in."""
    body = _source(given.block)
    # A block has no field of that name, so that a whole request is known by it.
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
        own = _fields(body.get("sheet"))
        # A sheet has one size; that of the command line takes the place of whichever the file has.
        if given.paper is not None or given.roll is not None:
            sizes = ("paper", "width", "height", "roll")
            own = {name: value for name, value in own.items() if name not in sizes}
        body["sheet"] = {**own, **chosen}
    return body


def _put(body: dict[str, Any], name: str, options: dict[str, Any]) -> None:
    """Puts those options that the command line has into one object of a request."""
    merged = _merged(body.get(name), options)
    if merged is not None:
        body[name] = merged


def _merged(before: Any, options: dict[str, Any]) -> dict[str, Any] | None:
    """An object of a request with those options that the command line has; None if it has none."""
    chosen = _given(options)
    return {**_fields(before), **chosen} if chosen else None


def _fields(value: Any) -> dict[str, Any]:
    """The fields of an object; none of what ought to be one and is not.

    Whatever is wrong with a file's request is for those to find who read it.
    """
    return value if isinstance(value, dict) else {}


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
        raise Misuse("-: standard input is closed")
    raw = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    try:
        return read_json(raw)
    except NotJson as error:
        raise Misuse(f"{name}: {error}") from None


def _as_seam(allowance: Any) -> dict[str, Any]:
    """A request's allowance as an object; a length alone is for seams."""
    if allowance is None:
        return {}
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
    # Before the x of a size there is a number; a word may have an x as well.
    if by and any(c.isdigit() for c in width):
        return {"width": width.strip(), "height": height.strip()}
    return None


def foundation_body(given: argparse.Namespace) -> Any:
    """A request with the options that only foundations have, put in."""
    body = block_body(given)
    _put(body, "foundation", {"mirrored": given.mirrored, "line_weight": given.line_weight})
    return body


def packet_body(given: argparse.Namespace) -> Any:
    """A request for a packet, whose parts take the options of a cutting list too."""
    body = quilt_body(given)
    return {**body, **_given({"parts": given.parts, "for": given.maker})}


def file_body(given: argparse.Namespace) -> Any:
    """The request of a file as it is."""
    return _read(given.file)


def quilt_body(given: argparse.Namespace) -> Any:
    """A request with the options that only a cutting list has, put in."""
    body = block_body(given)
    own = _fields(body.get("quilt"))
    border = {
        "width": given.border,
        "fabric": given.border_fabric,
        "corners": "mitred" if given.mitred else None,
    }
    binding = {"width": given.binding, "fabric": given.binding_fabric}
    quilt = {
        "blocks": given.blocks,
        **({} if given.quilt is None else _sides(given.quilt)),
        "border": _merged(own.get("border"), border),
        "binding": _merged(own.get("binding"), binding),
    }
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


def sewn_body(given: argparse.Namespace) -> Any:
    """A request with the options of what rests on a sewing plan, put in."""
    body = block_body(given)
    keep = None
    if given.keep is not None:
        pairs = [text.partition("=") for text in given.keep]
        keep = [{"step": step.strip(), "press": press.strip()} for step, _, press in pairs]
    _put(body, "pressing", {"open_above": given.open_above, "keep": keep})
    _put(body, "deviation", {"cutting": given.cutting, "sewing": given.sewing})
    return body
