"""An answer: the bytes that are sent, in one of the forms that answers are to be had in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

Form: TypeAlias = Literal["json", "pdf", "svg", "zip"]

FORMS: Final[tuple[Form, ...]] = get_args(Form)

JSON: Final = "application/json"
PDF: Final = "application/pdf"
SVG: Final = "image/svg+xml"
ZIP: Final = "application/zip"

MEDIA_TYPES: Final[dict[Form, str]] = {"json": JSON, "pdf": PDF, "svg": SVG, "zip": ZIP}


SHEETS: Final = "Sheets"
"""The field of an HTTP answer that says how many sheets there are."""


class NoSuchSheet(Exception):
    """A sheet was asked for by a number that no sheet has."""


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer in the form asked for.

    Attributes:
        name: a file name for it, without its ending; as its author writes the block's name.
        sheets: how many sheets what is answered has; None where none were laid out.
    """

    form: Form
    content: bytes
    name: str
    sheets: int | None = None

    @property
    def media_type(self) -> str:
        return MEDIA_TYPES[self.form]


_LONGEST_STEM: Final = 100
"""Characters; a longer name is cut, as most file systems take some 255 bytes."""


def file_name(answer: Answer) -> str:
    """The answer's name as a file name that any system takes.

    >>> file_name(Answer("pdf", b"", "Fish/Chips: a block"))
    'Fish Chips a block.pdf'
    """
    return f"{file_stem(answer.name, 'templates')}.{answer.form}"


def file_stem(name: str, otherwise: str) -> str:
    """A name as a file name without its ending; ``otherwise`` if nothing is left of it.

    >>> file_stem("Spring class.", "batch"), file_stem("...", "batch")
    ('Spring class', 'batch')
    """
    kept = re.sub(r"[\x00-\x1f\x7f-\x9f/\\:*?\"<>|]+", " ", name)
    # Windows takes no name that ends in a dot or a space, and one that starts with a dot is hidden.
    return " ".join(kept.split()).strip(". ")[:_LONGEST_STEM].rstrip(". ") or otherwise
