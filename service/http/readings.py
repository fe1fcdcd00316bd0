"""The address at which a pattern's file is read back into geometry."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from flask import Blueprint, Response, request
from werkzeug.datastructures import FileStorage

from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.http.negotiation import preferred_form
from piecewright.service.pattern_files.files import READERS
from piecewright.service.pattern_files.limits import MOST_BYTES
from piecewright.service.problems import BAD_REQUEST, UNSUPPORTED_MEDIA_TYPE, Problem
from piecewright.service.responses.reading import PICTURES

MULTIPART: Final = "multipart/form-data"

_LARGEST_CHOICES: Final = 2**20
"""Bytes: far more than two thousand numbers with their places take."""


def add_readings(api: Blueprint, answer: Callable[[Task], Response]) -> None:
    """Add the address to an interface.

    Args:
        answer: has a task done and sends what comes of it.
    """

    @api.post("/v1/readings")
    def read_pattern() -> Response:
        form = preferred_form(("json", *PICTURES))
        # Files are larger than any JSON; the limit is that of this address alone.
        request.max_content_length = MOST_BYTES + _LARGEST_CHOICES
        request.max_form_memory_size = _LARGEST_CHOICES
        if request.mimetype == MULTIPART:
            data, media_type, choices = _parts()
        else:
            data, media_type, choices = request.get_data(cache=False), request.mimetype, b"{}"
            # A body that comes in chunks is cut off at the limit: only one more read says so (413).
            request.stream.read(1)
        if media_type not in READERS:
            sent = media_type or "no type"
            message = f"The file came as {sent!r:.80}; send {' or '.join(READERS)}."
            raise Problem(UNSUPPORTED_MEDIA_TYPE, message)
        return answer(Task("readings", data, form, None, media_type, choices))


def _parts() -> tuple[bytes, str, bytes]:
    """The file, its type and the choices of a form (RFC 7578).

    Raises:
        Problem: it has other parts, or no file.
    """
    known = {"file": request.files, "choices": request.form}
    for name in (*request.files, *request.form):
        if name not in known:
            message = f"There is no part {name!r:.60} here; the parts are 'file' and 'choices'."
            raise Problem(BAD_REQUEST, message)
    files, choices = request.files.getlist("file"), request.form.getlist("choices")
    # Whoever sends choices as a file of JSON, as command lines do, means the same.
    choices += [one.read().decode("utf-8", "replace") for one in request.files.getlist("choices")]
    if len(files) != 1 or len(choices) > 1:
        message = "Send one part 'file', and at most one part 'choices' with JSON."
        raise Problem(BAD_REQUEST, message)
    file: FileStorage = files[0]
    return file.read(), file.mimetype, (choices[0] if choices else "{}").encode()
