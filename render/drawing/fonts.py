"""The one typeface of every sheet, measured as it will be drawn.

Noto Sans comes with the package, so that a sheet looks the same on every
machine. Sizes and widths are in inches; a size is the height of the em.
"""

from __future__ import annotations

import hashlib
import os
import stat
import struct
import tempfile
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final, TypeAlias
from xml.sax.saxutils import escape

from fontTools.ttLib import TTFont

FAMILY: Final = "Noto Sans"

_FOLDER: Final = Path(__file__).absolute().parent / "typefaces"
_FILES: Final = {False: "NotoSans-Regular.ttf", True: "NotoSans-Bold.ttf"}
_REPLACEMENT: Final = "\ufffd"

_BOUNDS: Final = struct.Struct(">xxhhhh")
_Glyph: TypeAlias = tuple[float, float, float, float, float]

_SHORT: Final = 200
"""Characters; longer texts are measured anew each time, so that no text fills the memory."""


def printable(text: str) -> str:
    """Text as it can stand on a sheet and in XML.

    Line breaks and tabs become spaces, other control and format characters go, and
    what no file can hold (lone surrogates, noncharacters) becomes U+FFFD.
    """
    if text.isascii() and text.isprintable():
        return text
    kept = []
    # Composed (NFC), as the font has glyphs for letters with their accents.
    for character in unicodedata.normalize("NFC", text):
        category = unicodedata.category(character)
        if character in "\t\n\r\v\f\x85" or category in ("Zl", "Zp", "Zs"):
            kept.append(" ")
        elif category in ("Cc", "Cf"):
            continue
        # The last two code points of every plane are noncharacters (Unicode 23.7).
        elif category == "Cs" or (category == "Cn" and ord(character) & 0xFFFE == 0xFFFE):
            kept.append(_REPLACEMENT)
        else:
            kept.append(character)
    return "".join(kept)


def one_line(text: str) -> str:
    """Printable text, its spaces put together as an SVG viewer does it.

    That is ``xml:space="default"`` of SVG 1.1, section 10.15.

    >>> one_line(" two \\n words")
    'two words'
    """
    return " ".join(printable(text).split())


@dataclass(frozen=True, slots=True)
class _Face:
    """What text is measured by, in ems with y up.

    Attributes:
        glyphs: for each character the advance, left, bottom, right and top of its glyph.
        missing: the same of the empty box, which is drawn for what the face lacks.
    """

    ascent: float
    descent: float
    cap_height: float
    glyphs: Mapping[int, _Glyph]
    missing: _Glyph


@lru_cache(maxsize=2)
def _face(bold: bool) -> _Face:
    """A face, read whole: what is read later, bit by bit, two threads could read at once."""
    with TTFont(_FOLDER / _FILES[bold], lazy=True) as font:
        em = float(font["head"].unitsPerEm)
        advances, starts, shapes = font["hmtx"].metrics, font["loca"].locations, font.reader["glyf"]

        def measured(name: str) -> _Glyph:
            advance, number = advances[name][0] / em, font.getGlyphID(name)
            if starts[number] == starts[number + 1]:  # it has no ink
                return advance, 0.0, 0.0, 0.0, 0.0
            # The bounds stand at the start of a glyph's data (OpenType, glyf table).
            left, bottom, right, top = _BOUNDS.unpack_from(shapes, starts[number])
            return advance, left / em, bottom / em, right / em, top / em

        return _Face(
            font["hhea"].ascent / em,
            font["hhea"].descent / em,
            font["OS/2"].sCapHeight / em,
            {character: measured(name) for character, name in font.getBestCmap().items()},
            measured(".notdef"),
        )


def has_glyph(character: str, bold: bool = False) -> bool:
    """Whether the typeface holds the character."""
    return ord(character) in _face(bold).glyphs


def text_width(text: str, size: float, bold: bool = False) -> float:
    """How far a line of text advances, inches.

    >>> round(text_width("1 in", 1.0), 3)
    1.708
    """
    return size * _measured(text, bold)[0]


def text_ink(text: str, size: float, bold: bool = False) -> tuple[float, float, float, float]:
    """``(left, top, right, bottom)`` of the ink of a line of text, inches.

    They are measured from the start of the baseline, y down; all zero where there is no ink.
    """
    _, left, top, right, bottom = _measured(text, bold)
    return size * left, size * top, size * right, size * bottom


def _measured(text: str, bold: bool) -> tuple[float, float, float, float, float]:
    return _measure_short(text, bold) if len(text) <= _SHORT else _measure(text, bold)


def _measure(text: str, bold: bool) -> tuple[float, float, float, float, float]:
    """Advance, and left, top, right and bottom of the ink, in ems with y down."""
    at = 0.0
    left, low, right, high = float("inf"), float("inf"), float("-inf"), float("-inf")
    face = _face(bold)
    for character in printable(text):
        advance, x0, y0, x1, y1 = face.glyphs.get(ord(character), face.missing)
        if x1 > x0:
            left, right = min(left, at + x0), max(right, at + x1)
            low, high = min(low, y0), max(high, y1)
        at += advance
    if left > right:
        return at, 0.0, 0.0, 0.0, 0.0
    return at, left, -high, right, -low


_measure_short = lru_cache(maxsize=8192)(_measure)


def ascent(size: float, bold: bool = False) -> float:
    """How far the font reaches above the baseline, inches."""
    return size * _face(bold).ascent


def descent(size: float, bold: bool = False) -> float:
    """How far the font reaches below the baseline, inches (positive)."""
    return -size * _face(bold).descent


def cap_height(size: float, bold: bool = False) -> float:
    """Height of a capital letter, inches."""
    return size * _face(bold).cap_height


def shortened(text: str, size: float, width: float, bold: bool = False) -> str:
    """The text, or as much of its start as fits in ``width`` with an ellipsis after it."""
    text = printable(text)
    if text_width(text, size, bold) <= width:
        return text
    # Widths of characters add up, as kerning is not reckoned with: one pass is enough.
    room = width - text_width("…", size, bold)
    kept = 0
    for character in text:
        room -= text_width(character, size, bold)
        if room < 0:
            break
        kept += 1
    return text[:kept].rstrip() + "…"


def wrapped(text: str, size: float, width: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than ``width``, broken at spaces.

    A word that is wider than a line is broken where the line ends. No line is
    empty, save that text without a word gives no line.
    """
    lines: list[str] = []
    line = ""
    for word in printable(text).split():
        longer = f"{line} {word}" if line else word
        if text_width(longer, size, bold) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while text_width(line, size, bold) > width and len(line) > 1:
            # At least one character to a line, or it would never end.
            fits = 1
            used = text_width(line[0], size, bold)
            while used + (step := text_width(line[fits], size, bold)) <= width:
                used += step
                fits += 1
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line] if line else lines


def use_own_typeface() -> None:
    """Let fontconfig know this package's typeface and no other of the machine.

    It must be called before anything draws text, as fontconfig reads its
    configuration once. That file and its cache lie in a folder of the system's
    temporary directory that only this user can write, so no home is needed.
    """
    folder = _private_folder()
    text = (
        '<?xml version="1.0"?>\n'
        '<!DOCTYPE fontconfig SYSTEM "fonts.dtd">\n'
        "<fontconfig>\n"
        f"  <dir>{escape(str(_FOLDER))}</dir>\n"
        f"  <cachedir>{escape(str(folder))}</cachedir>\n"
        "</fontconfig>\n"
    )
    name = f"fonts-{hashlib.sha256(text.encode()).hexdigest()[:16]}.conf"
    path = folder / name
    if not path.exists() or path.read_text(encoding="utf-8") != text:
        # Written aside and put in place at once: another process may be reading it.
        handle, draft = tempfile.mkstemp(dir=folder)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(draft, path)
    os.environ["FONTCONFIG_FILE"] = str(path)
    os.environ.pop("FONTCONFIG_SYSROOT", None)


def _private_folder() -> Path:
    """A folder of this user's own; a fresh one if the usual name is taken by somebody else."""
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"piecewright-fonts-{user}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        # In a folder that all may write to, somebody else may have made this one or a link to it,
        # and could change what fontconfig reads.
        about = folder.lstat()
        theirs = hasattr(os, "getuid") and about.st_uid != user
        if stat.S_ISDIR(about.st_mode) and not theirs and not about.st_mode & 0o022:
            return folder
    except OSError:
        pass
    return Path(tempfile.mkdtemp(prefix="piecewright-fonts-"))
