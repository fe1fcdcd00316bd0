"""SVG files: how large they are (SVG 2, 8.9), and files that would do harm."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from piecewright.patchwork.reading.choices import Choices
from piecewright.patchwork.reading.page import Page
from piecewright.patchwork.reading.reading import read_pattern
from piecewright.service.pattern_files.files import read_file
from piecewright.service.pattern_files.limits import PatternFileError
from piecewright.service.pattern_files.svg import svg_as_pdf
from tests.service.pattern_files.draughtsmen import Svg
from tests.service.pattern_files.patterns import PATTERNS, draw

NAMESPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def pier() -> bytes:
    pen = Svg()
    for section in PATTERNS["pier"]:
        draw(pen, section)
    return pen.file()


def svg(inner: str) -> bytes:
    return f'<svg {NAMESPACES} width="9in" height="9in" viewBox="0 0 9 9">{inner}</svg>'.encode()


def pages_of(data: bytes) -> Sequence[Page]:
    return read_file(data, Svg.media_type).pages


def refused(data: bytes) -> str:
    with pytest.raises(PatternFileError) as error:
        svg_as_pdf(data)
    return error.value.code


def test_a_drawing_without_a_size_on_paper_has_no_scale() -> None:
    data = pier().replace(b'width="215.9mm" height="279.4mm" ', b"")
    reading = read_pattern(pages_of(data), Choices(side="face"))
    assert [question.code for question in reading.questions] == ["scale"]
    assert reading.scale.origin is None


def test_what_is_used_again_is_read_where_it_is() -> None:
    drawn = pier().decode()
    start = drawn.index("<polyline")
    inner = drawn[start:].removesuffix("</svg>")
    used = (
        drawn[:start]
        + f'<defs><g id="pier">{inner}</g></defs>'
        + '<use href="#pier" xlink:href="#pier" x="10" y="5"/></svg>'
    )
    data = used.replace('xmlns="http://www.w3.org/2000/svg"', NAMESPACES).encode()
    reading = read_pattern(pages_of(data), Choices(side="face"))
    assert reading.is_complete
    left = min(x for s in reading.sections for p in s.pieces for x, _ in p.outline)
    assert left == pytest.approx(1 + 10 / 25.4, abs=0.002)


def test_repetitions_of_repetitions_are_refused() -> None:
    groups = "".join(
        f'<g id="g{k}">' + f'<use href="#g{k - 1}"/>' * 10 + "</g>" for k in range(1, 9)
    )
    assert refused(svg(f'<path id="g0" d="M0 0L1 1"/>{groups}')) == "too-much"


def test_an_element_that_repeats_itself_is_refused() -> None:
    assert refused(svg('<g id="a"><use href="#a"/></g>')) == "too-deep"


def test_elements_nested_too_deep_are_refused() -> None:
    assert refused(svg("<g>" * 300 + "</g>" * 300)) == "too-deep"


def test_entities_are_refused() -> None:
    bomb = b'<!DOCTYPE svg [<!ENTITY a "ahoy"><!ENTITY b "&a;&a;">]>' + svg("<text>&b;</text>")
    assert refused(bomb) == "entities"


def test_nothing_is_fetched(tmp_path_factory: pytest.TempPathFactory) -> None:
    secret = tmp_path_factory.mktemp("hold") / "secret.svg"
    secret.write_bytes(svg('<path d="M1 1L8 8" stroke="black"/>'))
    pages = pages_of(svg(f'<image xlink:href="{secret.as_uri()}" width="9" height="9"/>'))
    assert [page.marks for page in pages] == [()]


@pytest.mark.parametrize("data", [b"", b"<svg", b"<html/>", b"\x00\x01", b"ahoy"])
def test_what_is_no_svg_is_refused(data: bytes) -> None:
    assert refused(data) == "unreadable"
