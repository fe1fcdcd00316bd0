"""Sheets as SVG documents, read back with an XML parser."""

from __future__ import annotations

import re
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.lengths import Unit
from piecewright.render.drawing.linekinds import LINE_KINDS
from piecewright.render.drawing.marks import Text, drawn
from piecewright.render.output.svg import canvas_svg, sheet_svg
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from tests.render.sheets.bare import window_on_sheet
from tests.render.specimens import HEADING, paper, plain, quarter_circle

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def read(svg: str) -> Element:
    return ElementTree.fromstring(svg.encode("utf-8"))


def letter_sheet(unit: Unit = "in") -> Element:
    (page,) = lay_out([quarter_circle("A", 4)], paper("letter"), HEADING)
    return read(sheet_svg(page, unit))


def paths_of(root: Element, kind: str) -> list[str]:
    return [path.attrib["d"] for path in root.findall(f".//{SVG}g[@class='{kind}']/{SVG}path")]


# SVG 2, section 8.2: with such a viewBox, one user unit is one unit of width and height.
@pytest.mark.parametrize(
    ("unit", "width", "height", "box"),
    [
        ("in", "8.5in", "11in", "0 0 8.5 11"),
        ("mm", "215.9mm", "279.4mm", "0 0 215.9 279.4"),
        ("cm", "215.9mm", "279.4mm", "0 0 215.9 279.4"),
    ],
)
def test_user_unit_is_an_inch_or_a_millimetre(
    unit: Unit, width: str, height: str, box: str
) -> None:
    root = letter_sheet(unit)
    assert (root.attrib["width"], root.attrib["height"]) == (width, height)
    assert root.attrib["viewBox"] == box


@pytest.mark.parametrize(("unit", "per_inch"), [("in", 1.0), ("mm", 25.4)])
def test_test_square_measures_true(unit: Unit, per_inch: float) -> None:
    inch, five = (
        [float(n) for n in NUMBER.findall(d)]
        for d in paths_of(letter_sheet(unit), "test-square")[:2]
    )
    for corners, side in ((inch, 1.0), (five, 5 / 2.54)):
        assert max(corners[::2]) - min(corners[::2]) == pytest.approx(side * per_inch, abs=1e-4)
        assert max(corners[1::2]) - min(corners[1::2]) == pytest.approx(side * per_inch, abs=1e-4)


def test_curves_stay_curves() -> None:
    (outline,) = paths_of(letter_sheet(), "cutting-line")
    assert outline.count("C") == 4  # a quarter turn in arcs of 22.5 degrees
    assert outline.endswith("Z")


def test_text_stays_text() -> None:
    message = [text.text for text in letter_sheet().iter(f"{SVG}text")]
    assert {"A", "cut 4", "1 in", "5 cm", "Churn Dash"} <= set(message)


def test_groups_are_named_by_line_kind() -> None:
    root = letter_sheet()
    classes = {group.attrib["class"] for group in root.iter(f"{SVG}g")}
    kinds = {"cutting-line", "sewing-line", "grain", "match-point", "label", "test-square"}
    assert kinds <= classes <= {*LINE_KINDS, "drawing", "sheet"}


def test_line_weights_do_not_depend_on_the_unit() -> None:
    inches, metric = (
        float(
            letter_sheet(unit)
            .findall(f".//{SVG}g[@class='cutting-line']")[0]
            .attrib["stroke-width"]
        )
        for unit in ("in", "mm")
    )
    assert inches * 72 == pytest.approx(0.9, abs=0.001)
    assert metric / 25.4 * 72 == pytest.approx(0.9, abs=0.001)


def test_document_has_title_and_description() -> None:
    (page, *_) = lay_out([plain("A", 14, 10)], paper("letter", "portrait"), HEADING)
    root = read(sheet_svg(page))
    assert root.findtext(f"{SVG}title") == "Churn Dash: Cutting templates, page 1 of 2"
    assert root.findtext(f"{SVG}desc") == "Template A"


def test_document_stands_alone() -> None:
    root = letter_sheet()
    names = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert names <= {
        *("svg", "title", "desc", "defs", "clipPath", "rect", "g", "path", "circle", "text"),
    }
    for element in root.iter():
        for name, value in element.attrib.items():
            assert not name.startswith("on")
            assert "href" not in name
            assert "url(" not in value or value == "url(#window)"


def test_tile_is_clipped_to_its_window() -> None:
    page, *_ = lay_out([plain("A", 14, 10)], paper("letter", "portrait"), HEADING)
    root = read(sheet_svg(page))
    (path,) = root.findall(f"./{SVG}defs/{SVG}clipPath/{SVG}path")
    corners = [tuple(map(float, p.split(","))) for p in path.attrib["d"][1:-1].split("L")]
    (placed,) = page.items
    assert Polygon(corners).hausdorff_distance(window_on_sheet(placed)) < 0.01
    (group,) = root.findall(f"./{SVG}g[@class='drawing']")
    assert group.attrib["clip-path"] == "url(#window)"


def test_numbers_are_short_and_never_minus_zero() -> None:
    page, *_ = lay_out([quarter_circle("A", 14)], paper("letter"), HEADING)
    for unit, decimals in (("in", 5), ("mm", 4)):
        for d in read(sheet_svg(page, unit)).iter(f"{SVG}path"):  # type: ignore[arg-type]
            for number in NUMBER.findall(d.attrib["d"]):
                assert "e" not in number
                assert number != "-0"
                assert len(number.partition(".")[2]) <= decimals


@settings(deadline=None)
@given(st.text(st.characters(exclude_categories=[]), max_size=60))
def test_any_text_gives_valid_xml(text: str) -> None:
    drawing = drawn(text, text, text, [Text(text, (0, 0), 0.2), *plain("A", 3, 3).marks])
    heading = Heading(text, text, text, text, text)
    (page,) = lay_out([drawing], paper("tabloid"), heading)
    read(sheet_svg(page))


def test_canvas_shows_every_drawing_whole() -> None:
    drawings = [quarter_circle("A", 14), plain("B", 30, 2), plain("C", 3, 3)]
    root = read(canvas_svg(drawings, HEADING))
    assert len(root.findall(f"./{SVG}g[@class='drawing']")) == 3
    assert len(paths_of(root, "cutting-line")) == 3
    assert len(paths_of(root, "test-square")) == 2
    assert not root.findall(f".//{SVG}clipPath")
    width = float(root.attrib["width"].removesuffix("in"))
    assert width >= 30
    message = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    assert "page" not in message
    assert "Churn Dash" in message
