"""Text measured as it is drawn, and the typeface found without the machine's own."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from piecewright.render.drawing import fonts
from tests.render.specimens import HEADING

ROOT = Path(__file__).resolve().parents[3]
TYPEFACES = Path(fonts.__file__).parent / "typefaces"


@pytest.mark.parametrize("text", ["cut 4", "Half-square triangle", "12 3/4 × 7 in", "Åse", "jgy"])
@pytest.mark.parametrize(("bold", "file"), [(False, "Regular"), (True, "Bold")])
def test_text_is_as_wide_and_high_as_freetype_measures_it(text: str, bold: bool, file: str) -> None:
    freetype = ImageFont.truetype(
        str(TYPEFACES / f"NotoSans-{file}.ttf"), 1000, layout_engine=ImageFont.Layout.BASIC
    )
    _, top, _, bottom = freetype.getbbox(text, anchor="ls")
    measured = fonts.text_ink(text, 1000, bold)
    assert (measured[1], measured[3]) == pytest.approx((top, bottom), abs=2)
    assert fonts.text_width(text, 1000, bold) == pytest.approx(freetype.getlength(text), rel=0.01)


def test_vertical_metrics_are_those_of_the_font() -> None:
    freetype = ImageFont.truetype(str(TYPEFACES / "NotoSans-Regular.ttf"), 1000)
    assert (fonts.ascent(1000), fonts.descent(1000)) == freetype.getmetrics()
    assert fonts.cap_height(1.0) == pytest.approx(0.714)


def test_licence_of_the_typeface_comes_with_it() -> None:
    licence = (TYPEFACES / "OFL.txt").read_text(encoding="utf-8")
    assert licence.startswith("Copyright 2015 Google LLC. All Rights Reserved.")
    assert "SIL OPEN FONT LICENSE Version 1.1 - 26 February 2007" in licence


@given(st.text(), st.floats(0.01, 2))
def test_any_text_can_be_measured(text: str, size: float) -> None:
    left, top, right, bottom = fonts.text_ink(text, size)
    assert left <= right
    assert top <= bottom
    assert fonts.text_width(text, size) >= 0


@given(st.text(max_size=30), st.integers(1, 40), st.booleans())
def test_text_of_any_length_is_as_wide_as_its_parts_together(
    text: str, times: int, bold: bool
) -> None:
    clean = fonts.printable(text)
    parts = sum(fonts.text_width(character, 1.0, bold) for character in clean)
    line = fonts.printable(clean * times)
    if len(line) == times * len(clean):  # no accents that join up
        assert fonts.text_width(line, 2.0, bold) == pytest.approx(2.0 * times * parts)


@pytest.mark.parametrize("character", ["布", "🧵", "\U0010fffd"])
def test_character_that_the_font_lacks_is_as_wide_as_its_empty_box(character: str) -> None:
    assert not fonts.has_glyph(character)
    assert fonts.text_width(character, 1.0) == pytest.approx(0.6)  # .notdef of Noto Sans


@pytest.mark.parametrize(
    ("raw", "clean"),
    [
        ("a\tb\r\nc", "a b  c"),
        ("a\x00\x1b\x7fb", "ab"),
        ("a\u202eb\u200bc", "abc"),
        ("\ud800", "\ufffd"),
        ("\uffff\ufffe", "\ufffd\ufffd"),
        ("e\u0301", "é"),
        ("<&>", "<&>"),
    ],
)
def test_text_is_made_fit_for_a_sheet_and_for_xml(raw: str, clean: str) -> None:
    assert fonts.printable(raw) == clean


# XML 1.0 (fifth edition), production 2: Char.
@given(st.text(st.characters(exclude_categories=[])))
def test_printable_text_is_all_xml_characters(text: str) -> None:
    for code in map(ord, fonts.printable(text)):
        assert 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or 0x10000 <= code <= 0x10FFFF


@given(st.text(), st.floats(0.2, 5))
def test_wrapped_lines_fit_and_lose_nothing(text: str, width: float) -> None:
    lines = fonts.wrapped(text, 0.1, width)
    assert all(fonts.text_width(line, 0.1) <= width or len(line) == 1 for line in lines)
    assert "".join(lines).replace(" ", "") == "".join(fonts.printable(text).split())


@given(st.text(), st.floats(0.2, 5))
def test_shortened_text_fits(text: str, width: float) -> None:
    assert fonts.text_width(fonts.shortened(text, 0.1, width), 0.1) <= width


def test_text_that_fits_is_not_shortened() -> None:
    assert fonts.shortened("Churn Dash", 0.1, 5.0) == "Churn Dash"


DRAW = """
import sys
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.specimens import HEADING, quarter_circle
sys.stdout.buffer.write(sheets_pdf(lay_out([quarter_circle("A", 4)], SheetSettings(), HEADING)))
"""


def test_bare_machine_draws_the_same_sheet(tmp_path: Path) -> None:
    """No home, no fonts configured, another order of hashing: the same bytes, no complaint."""
    assert HEADING.block
    sheets = []
    for seed, more in (
        ("1", {}),
        ("2", {"HOME": "/nonexistent", "FONTCONFIG_PATH": "/nonexistent"}),
    ):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TMPDIR": str(tmp_path), **more}
        environment.pop("XDG_CACHE_HOME", None)
        environment.pop("FONTCONFIG_FILE", None)
        run = subprocess.run(
            [sys.executable, "-c", DRAW], cwd=ROOT, env=environment, capture_output=True, check=True
        )
        assert run.stderr == b""
        sheets.append(run.stdout)
    assert sheets[0].startswith(b"%PDF-")
    assert sheets[0] == sheets[1]


def test_folder_that_others_can_write_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setenv("FONTCONFIG_FILE", "")
    folder = tmp_path / f"piecewright-fonts-{os.getuid()}"
    folder.mkdir()
    folder.chmod(0o777)
    fonts.use_own_typeface()
    used = Path(os.environ["FONTCONFIG_FILE"])
    assert used.parent != folder
    assert str(TYPEFACES) in used.read_text(encoding="utf-8")


def test_threads_that_measure_at_once_find_the_same() -> None:
    fonts._face.cache_clear()
    fonts._measure_short.cache_clear()
    text = "".join(map(chr, range(0x21, 0x7F)))
    with ThreadPoolExecutor(8) as threads:
        widths = set(threads.map(lambda _: fonts.text_width(text, 1.0), range(8)))
    assert len(widths) == 1
