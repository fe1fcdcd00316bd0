"""The field Content-Disposition: under which name a document is saved."""

from __future__ import annotations

import re
import unicodedata
from urllib.parse import quote


def content_disposition(disposition: str, name: str) -> str:
    r"""The field Content-Disposition: the name in ASCII, and as it is (RFC 6266, RFC 8187).

    >>> content_disposition("inline", "Fünf.pdf")
    'inline; filename="Funf.pdf"; filename*=UTF-8\'\'F%C3%BCnf.pdf'
    """
    stem, dot, ending = name.rpartition(".")
    plain = unicodedata.normalize("NFKD", stem).encode("ascii", "ignore").decode()
    plain = " ".join(re.sub(r"[^\w .,()+-]", " ", plain).split()) or "templates"
    return f"{disposition}; filename=\"{plain}{dot}{ending}\"; filename*=UTF-8''{quote(name)}"
