"""The kinds of problem that the service answers with (RFC 9457), and what each of them means.

The JSON object that reports one is made in ``responses.problem``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.faults import Fault

MEDIA_TYPE: Final = "application/problem+json"

MOST_ERRORS: Final = 5000
"""Faults that a problem lists; more would serve nobody."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of problem.

    Attributes:
        id: the last part of its ``type``, ``/problems/<id>``.
        about: what it means and what to do, a paragraph for the page of that address.
    """

    id: str
    status: int
    title: str
    about: str


BAD_JSON: Final = Kind(
    "bad-json",
    400,
    "The request is not JSON",
    "The body could not be read as JSON (RFC 8259) in UTF-8. The detail says where. Mind that "
    "JSON has no comments, no trailing commas, no NaN and no Infinity, and that a field may stand "
    "only once in an object.",
)
BAD_REQUEST: Final = Kind(
    "bad-request",
    400,
    "The request cannot be understood",
    "Something about the request other than its body is wrong, such as a query parameter that is "
    "not known here. The detail says what.",
)
UNAUTHORIZED: Final = Kind(
    "unauthorized",
    401,
    "An API key is needed",
    "This service knows its users by API keys. Send yours as `Authorization: Bearer <key>`; "
    "whoever runs the service hands keys out.",
)
NOT_FOUND: Final = Kind(
    "not-found",
    404,
    "There is nothing here",
    "The address leads nowhere: no such page, no such block in the catalogue, no such sheet, or no "
    "batch of yours: one that has expired is gone.",
)
METHOD_NOT_ALLOWED: Final = Kind(
    "method-not-allowed",
    405,
    "This address takes another method",
    "The field Allow of the answer names the methods that the address takes.",
)
NOT_ACCEPTABLE: Final = Kind(
    "not-acceptable",
    406,
    "There is no answer in a form that you accept",
    "The field Accept of the request names only forms that this address does not have. The detail "
    "names those that it has.",
)
CONFLICT: Final = Kind(
    "conflict",
    409,
    "That cannot be done as things stand",
    "What was asked for does not go with the state of the batch, such as the archive of one that "
    "has not ended; or its Idempotency-Key was used before for another request. The detail says "
    "which.",
)
NOT_MADE: Final = Kind(
    "not-made",
    410,
    "This could not be made, and will not be",
    "What was asked for was tried and given up for good; the detail says why. Do not ask again. "
    "All packets of a batch in one PDF are such a thing: the PDFs of its packets, and the ZIP of "
    "them, are there all the same.",
)
TOO_LARGE: Final = Kind(
    "too-large",
    413,
    "The request is too large",
    "The body is larger than this service reads. A block of 2,000 pieces fits by far: look for "
    "coordinates with needless decimals.",
)
UNSUPPORTED_MEDIA_TYPE: Final = Kind(
    "unsupported-media-type",
    415,
    "The request must be JSON",
    "Send the body with Content-Type: application/json and without Content-Encoding.",
)
INVALID_BLOCK: Final = Kind(
    "invalid-block",
    422,
    "The block cannot be made as it is",
    "The request is JSON, but the block that it describes has faults. `errors` lists every one: "
    "`pointer` leads to it in the request, `code` is a fixed word for programs, `detail` says "
    "what is wrong and what to do, and `at` is the place on the block, in the request's unit.",
)
INVALID_FILE: Final = Kind(
    "invalid-file",
    422,
    "The file cannot be read",
    "The file is damaged, is locked, is not what its type says, or holds far more than a pattern "
    "does. The detail says which, and what to do. Nothing of it was kept.",
)
INVALID_SETTING: Final = Kind(
    "invalid-setting",
    422,
    "A setting cannot be used as it is",
    "The request is JSON and nothing was found wrong with its block, but another field has a "
    "fault: one that is not known, not of the right type, or out of its range. `errors` lists "
    "every one with a `pointer` to it.",
)
TOO_MANY_REQUESTS: Final = Kind(
    "too-many-requests",
    429,
    "You ask too often",
    "This service limits how many requests a minute it answers to one user. Wait as many seconds "
    "as Retry-After says.",
)
INTERNAL_ERROR: Final = Kind(
    "internal-error",
    500,
    "Something went wrong in the service",
    "This is a defect of Piecewright, not of your request. Report it with the request and the "
    "X-Request-Id of the answer, by which its cause can be found in the service's log.",
)
UNAVAILABLE: Final = Kind(
    "unavailable",
    503,
    "The service cannot do its work now",
    "It runs, but cannot draw: every desk is taken (come back after as many seconds as Retry-After "
    "says), or something that it needs is missing, which its log names.",
)
TOO_LONG: Final = Kind(
    "too-long",
    503,
    "This took too long",
    "Drawing the answer was stopped at the time limit of this service. Sending the same request "
    "again will not help: ask for fewer pieces, simpler outlines, larger sheets or a smaller "
    "finished size.",
)
TOO_MUCH: Final = Kind(
    "too-much",
    503,
    "This was too much for one answer",
    "Drawing the answer needed more memory than this service gives to one, or ended the process "
    "that drew it. Sending the same request again will hardly help: ask for fewer pieces or parts, "
    "simpler outlines, or a smaller finished size. Whoever runs the service finds the cause in its "
    "log by the X-Request-Id of the answer.",
)

NO_ROOM: Final = Kind(
    "no-room",
    507,
    "There is no room to keep this",
    "This service keeps so many batches of one user, and so many bytes of their documents; an item "
    "of a batch that is beyond them fails with this. DELETE "
    "batches that you need no longer, twice if they have not ended (once to stop one, once to "
    "remove it), or wait until the oldest lapses, in as many seconds as Retry-After says. Then "
    "send the request again.",
)

KINDS: Final = {
    kind.id: kind
    for kind in (
        BAD_JSON,
        BAD_REQUEST,
        UNAUTHORIZED,
        NOT_FOUND,
        METHOD_NOT_ALLOWED,
        NOT_ACCEPTABLE,
        CONFLICT,
        NOT_MADE,
        TOO_LARGE,
        UNSUPPORTED_MEDIA_TYPE,
        INVALID_BLOCK,
        INVALID_FILE,
        INVALID_SETTING,
        TOO_MANY_REQUESTS,
        INTERNAL_ERROR,
        UNAVAILABLE,
        TOO_LONG,
        TOO_MUCH,
        NO_ROOM,
    )
}


class Problem(Exception):
    """Something is wrong with a request; the answer is of this kind.

    Attributes:
        retry_after: seconds after which it may be sent again; None where that is not known.
    """

    def __init__(self, kind: Kind, detail: str, retry_after: int | None = None) -> None:
        super().__init__(detail)
        self.kind, self.detail, self.retry_after = kind, detail, retry_after


def refused_kind(faults: Sequence[Fault]) -> Kind:
    """Whether a file or the block is at fault, or nothing but settings."""
    if any(f.pointer == "/file" for f in faults):
        return INVALID_FILE
    of_block = any(f.pointer == "/block" or f.pointer.startswith("/block/") for f in faults)
    return INVALID_BLOCK if of_block else INVALID_SETTING


def faults_in_words(faults: Sequence[Fault]) -> str:
    """How many faults there are, for the problem's detail."""
    if len(faults) == 1:
        return sentence(faults[0].detail)
    listed = f", of which the first {MOST_ERRORS} are told" if len(faults) > MOST_ERRORS else ""
    return f"There are {len(faults)} faults{listed}; see errors."


def sentence(words: str) -> str:
    """The words with a capital and a full stop.

    >>> sentence("did you mean 'finish'?"), sentence("the body is empty")
    ("Did you mean 'finish'?", 'The body is empty.')
    """
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "?", "!")) else ".")
