"""Names as people write them: ``Sawtooth Star`` for ``sawtooth-star``, ``A 4`` for ``a4``."""

from __future__ import annotations

import unicodedata


def bare(name: str) -> str:
    """The letters and digits of a name in one case: alike for all ways of writing it.

    >>> bare("Drunkard's Path"), bare("drunkards-path"), bare(" ANSI  C")
    ('drunkardspath', 'drunkardspath', 'ansic')
    """
    # NFKC first: full-width letters and ligatures stand for plain ones.
    plain = unicodedata.normalize("NFKC", name).casefold()
    return "".join(character for character in plain if character.isalnum())
