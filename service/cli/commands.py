"""What each command does; each gives the exit code."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from piecewright.service.batches.run_workers import run_workers
from piecewright.service.batches.tables import WrongVersion
from piecewright.service.cli.exit_codes import FAULTY, GOOD, Misuse
from piecewright.service.cli.output import form_of, replace_file, to_stdout, write_answer
from piecewright.service.cli.request_body import block_body, reading_answers
from piecewright.service.http.keys import BadKeys, new_key
from piecewright.service.http.openapi.document import written
from piecewright.service.json_text import write_json
from piecewright.service.pattern_files.files import MEDIA_ENDINGS, read_file
from piecewright.service.requests.choices import read_choices
from piecewright.service.requests.parse import read_request
from piecewright.service.responses.answer import Form
from piecewright.service.responses.catalogue import block_answer, catalogue_answer
from piecewright.service.responses.check import check_answer
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.responses.reading import PICTURES, picture_answer, read_back
from piecewright.service.settings import MOST_PROCESSES, PREFIX, Settings


def print_printable(given: argparse.Namespace, settings: Settings) -> int:
    """Makes a printable of the command's name, as the interface would be asked for it."""
    printable = PRINTABLES[given.printable]
    form: Form = given.format or form_of(given.output, printable.forms)
    if given.page is not None and form != "svg":
        raise Misuse("--page goes with svg alone")
    asked = printable.read(given.body(given), settings)
    answer = printable.answer(asked, form, settings.max_sheets, given.page)
    write_answer(answer, given.output)
    return GOOD


def check(given: argparse.Namespace, settings: Settings) -> int:
    """Says what a good block is; what is wrong with another leaves as ``Refused``."""
    checked = check_answer(read_request(block_body(given), settings))
    if given.json:
        to_stdout(write_json(checked))
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


def read(given: argparse.Namespace, settings: Settings) -> int:
    """Reads a pattern's file back: the block goes to the output, questions to standard error."""
    ending = given.file.suffix.lower()
    media_type = next((t for t, e in MEDIA_ENDINGS.items() if e == ending), None)
    if media_type is None:
        raise Misuse(f"{given.file} should end in {' or '.join(MEDIA_ENDINGS.values())}")
    answers = reading_answers(given.answers)
    if given.unit is not None:
        answers["unit"] = given.unit
    choices, unit = read_choices(answers)
    file = read_file(given.file.read_bytes(), media_type)
    found = read_back(file.pages, choices, unit)
    if given.picture is not None:
        form = form_of(given.picture, PICTURES)
        write_answer(picture_answer(file, found, form), given.picture)
    for number, question in enumerate(found.questions, 1):
        print(f"{number}. {question.detail}", file=sys.stderr)
        for option in question.options:
            choice = write_json(option.value).decode().strip()
            print(f"   --answer '{choice}'  {option.detail}", file=sys.stderr)
    for caution in found.cautions:
        print(f"caution: {caution.detail}", file=sys.stderr)
    if not found.is_complete:
        return FAULTY
    content = write_json({"block": found.block}, indent=2)
    if given.output is None:
        to_stdout(content)
    else:
        replace_file(given.output, content)
    return GOOD


def blocks(given: argparse.Namespace, settings: Settings) -> int:
    """Lists the catalogue, or prints a block of it."""
    if given.id is not None:
        to_stdout(write_json(block_answer(given.id, given.unit), indent=2))
        return GOOD
    for entry in catalogue_answer(given.unit)["blocks"]:
        size = f"{entry['width']:g} x {entry['height']:g} {given.unit}"
        print(f"{entry['id']:<24} {entry['name']:<26} {size:<14} {entry['pieces']:>3} pieces")
    return GOOD


def serve(given: argparse.Namespace, settings: Settings) -> int:
    """Becomes the service's main process, and does not come back."""
    # An IPv6 address stands in brackets where a port follows (RFC 3986, 3.2.2).
    host = f"[{given.host}]" if ":" in given.host else given.host
    sys.stdout.flush()  # what is still in the buffer would be lost with this program
    os.execv(
        sys.executable,
        [
            *(sys.executable, "-m", "gunicorn"),
            *("--bind", f"{host}:{given.port}"),
            *(() if given.workers is None else ("--workers", str(given.workers))),
            *("--config", "python:piecewright.service.http.gunicorn_config"),
        ],
    )


def work(given: argparse.Namespace, settings: Settings) -> int:
    """Does the packets of batches until it is stopped."""
    if not 0 <= given.processes <= MOST_PROCESSES:
        raise Misuse(f"--processes is at most {MOST_PROCESSES}")
    try:
        run_workers(settings, given.processes)
    except WrongVersion as error:
        raise Misuse(str(error)) from None
    return GOOD


def keys(given: argparse.Namespace, settings: Settings) -> int:
    """Prints a new API key, and puts what it is known by into the file of keys."""
    if not settings.keys:
        raise Misuse(f"set {PREFIX}KEYS to the file that the keys are for")
    try:
        key = new_key(Path(settings.keys), given.name)
    except BadKeys as error:
        raise Misuse(str(error)) from None
    print(key)
    print(f"{given.name}: keep it, it is not shown again", file=sys.stderr)
    return GOOD


def openapi(given: argparse.Namespace, settings: Settings) -> int:
    """Writes the OpenAPI document of a service with these settings."""
    document = written(settings)
    if given.output is None:
        to_stdout(document)
    else:
        replace_file(given.output, document)
    return GOOD
