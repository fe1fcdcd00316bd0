"""Sending a pattern's file: by itself or in a form (RFC 7578), and what comes back."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from shapely.geometry import Polygon
from werkzeug.test import TestResponse

from piecewright.service.pattern_files.limits import MOST_BYTES
from tests.service.http.test_problems import problem
from tests.service.pattern_files.draughtsmen import ReportLab, Svg
from tests.service.pattern_files.patterns import PATTERNS, draw

PDF, SVG = "application/pdf", "image/svg+xml"


def pier(program: type[ReportLab | Svg] = ReportLab) -> bytes:
    pen = program()
    for section in PATTERNS["pier"]:
        draw(pen, section)
    return pen.file()


def buoy(**drawn: Any) -> bytes:
    pen = ReportLab()
    draw(pen, PATTERNS["buoy"][0], **drawn)
    return pen.file()


def send(client: FlaskClient, file: bytes, choices: Any = None, type: str = PDF) -> TestResponse:
    parts: dict[str, Any] = {"file": (io.BytesIO(file), "pattern", type)}
    if choices is not None:
        parts["choices"] = json.dumps(choices)
    return client.post("/v1/readings", data=parts, content_type="multipart/form-data")


def reading(answer: TestResponse) -> dict[str, Any]:
    assert answer.status_code == 200, answer.text
    read: dict[str, Any] | None = answer.json
    assert read is not None
    return read


def test_a_file_may_be_the_body_itself(client: FlaskClient) -> None:
    for file, type in ((pier(), PDF), (pier(Svg), SVG)):
        read = reading(client.post("/v1/readings", data=file, content_type=type))
        assert [section["id"] for section in read["sections"]] == ["A", "B"]


def test_questions_are_answered_by_sending_the_options(client: FlaskClient) -> None:
    file = buoy(cut_line="none")
    read = reading(send(client, file))
    choices: dict[str, Any] = {}
    assert {question["code"] for question in read["questions"]} == {"allowance", "side"}
    for question in read["questions"]:
        choices.update(question["options"][0]["choices"])
    again = reading(send(client, file, choices))
    assert again["complete"]
    assert again["questions"] == []


def test_an_allowance_inside_the_outermost_line_is_taken_off(client: FlaskClient) -> None:
    inside = [{"section": "A", "width": "1/2 in", "inside": True}]
    read = reading(send(client, buoy(cut_line="none"), {"side": "face", "allowances": inside}))
    points = [p for piece in read["block"]["pieces"] for p in piece["outline"]]
    assert (min(points), max(points)) == ([1.7, 2.0], [5.7, 6.0])


def test_a_reading_is_a_block_for_any_other_request(client: FlaskClient) -> None:
    """Enlarged from 5 in to 10 in, its allowance stays 1/4 in."""
    block = reading(send(client, buoy(), {"side": "printed"}))["block"]
    asked = {"block": block, "finish": {"width": 10}}
    answer = client.post("/v1/foundation", json=asked).json
    assert answer is not None
    (section,) = answer["sections"]
    assert section["order"] == ["A1", "A2", "A3", "A4"]
    wide = [
        max(x for x, _ in section[of]) - min(x for x, _ in section[of]) for of in ("outline", "cut")
    ]
    assert wide == pytest.approx([10, 10.5], abs=0.004)


def test_the_printed_side_is_the_mirror_image_of_the_block(client: FlaskClient) -> None:
    printed, face = (
        reading(send(client, buoy(), {"side": side}))["block"]["pieces"]
        for side in ("printed", "face")
    )
    for one, other in zip(printed, face, strict=True):
        mirrored = Polygon([(8.5 - x, y) for x, y in other["outline"]])
        assert Polygon(one["outline"]).hausdorff_distance(mirrored) < 1e-5


def test_a_known_line_sets_the_scale(client: FlaskClient) -> None:
    known = {"sheet": 1, "start": [1.2, 1.5], "end": [6.2, 1.5], "length": 10}
    read = reading(send(client, buoy(), {"side": "face", "known": known}))
    assert read["scale"] == {"measured": 5.0, "said": 10.0, "from": "choices"}
    assert read["sections"][0]["allowance"] == pytest.approx(0.5, abs=0.002)
    points = [p for piece in read["block"]["pieces"] for p in piece["outline"]]
    assert max(x for x, _ in points) - min(x for x, _ in points) == pytest.approx(10, abs=0.005)


def test_a_test_square_that_is_not_as_large_as_it_says_is_asked(client: FlaskClient) -> None:
    pen = ReportLab()
    draw(pen, PATTERNS["buoy"][0])
    pen.line([(7, 9), (7.9, 9), (7.9, 9.9), (7, 9.9)], closed=True)
    pen.text((7.45, 9.45), "1 in", 0.12)
    file = pen.file()
    read = reading(send(client, file, {"side": "face"}))
    assert [question["code"] for question in read["questions"]] == ["scale"]
    square = reading(send(client, file, {"side": "face", "scale": "test-square"}))
    assert square["complete"]
    assert square["scale"]["from"] == "test-square"
    assert square["sections"][0]["allowance"] == pytest.approx(0.25 / 0.9, abs=0.002)
    page = reading(send(client, file, {"side": "face", "scale": "page"}))
    assert page["sections"][0]["allowance"] == pytest.approx(0.25, abs=0.002)


def test_lengths_are_in_the_unit_that_is_chosen(client: FlaskClient) -> None:
    read = reading(send(client, buoy(), {"unit": "mm", "side": "face"}))
    assert read["unit"] == read["block"]["unit"] == "mm"
    assert read["sections"][0]["allowance"] == pytest.approx(6.35, abs=0.05)


def test_a_number_may_be_given_for_a_patch(client: FlaskClient) -> None:
    pen = ReportLab()
    (section,) = PATTERNS["buoy"]
    draw(pen, section, written="-")
    numbers = [
        {"sheet": 1, "at": [at.x, at.y], "number": f"C{n}"}
        for n, at in enumerate((p.representative_point() for p in section.pieces), 1)
    ]
    read = reading(send(client, pen.file(), {"side": "face", "numbers": numbers}))
    assert read["complete"]
    assert [piece["id"] for piece in read["block"]["pieces"]] == ["C1", "C2", "C3", "C4"]


def test_choices_with_faults_are_refused_with_their_places(client: FlaskClient) -> None:
    choices = {"side": "left", "allowances": [{"width": "a bit"}], "colour": "red"}
    told = problem(send(client, buoy(), choices), 422, "invalid-setting")
    assert {error["pointer"] for error in told["errors"]} == {
        "/choices/side",
        "/choices/allowances/0/width",
        "/choices/colour",
    }


def test_a_file_that_cannot_be_read_says_why(client: FlaskClient) -> None:
    told = problem(client.post("/v1/readings", data=b"ahoy", content_type=PDF), 422, "invalid-file")
    assert [error["code"] for error in told["errors"]] == ["unreadable"]


def test_a_file_of_another_kind_is_refused(client: FlaskClient) -> None:
    answer = client.post("/v1/readings", data=b"ahoy", content_type="text/plain")
    problem(answer, 415, "unsupported-media-type")


@pytest.mark.parametrize(
    "parts",
    [
        {},
        {"choices": "{}"},
        {"file": "no file"},
        {"file": (io.BytesIO(b"%PDF"), "a.pdf", PDF), "sheet": "1"},
    ],
)
def test_a_form_has_a_file_and_choices(client: FlaskClient, parts: dict[str, Any]) -> None:
    answer = client.post("/v1/readings", data=parts, content_type="multipart/form-data")
    problem(answer, 400, "bad-request")


def test_choices_that_are_no_json_are_refused(client: FlaskClient) -> None:
    parts = {"file": (io.BytesIO(buoy()), "a.pdf", PDF), "choices": "{side: face}"}
    answer = client.post("/v1/readings", data=parts, content_type="multipart/form-data")
    problem(answer, 400, "bad-json")


def test_a_file_that_is_too_large_is_refused(client: FlaskClient) -> None:
    large = b"%PDF" + b" " * (MOST_BYTES + 2**21)
    problem(client.post("/v1/readings", data=large, content_type=PDF), 413, "too-large")


def test_what_was_read_is_shown_over_the_original(client: FlaskClient) -> None:
    for type, start in ((SVG, b"<?xml"), (PDF, b"%PDF")):
        sent = client.post("/v1/readings", data=buoy(), content_type=PDF, headers={"Accept": type})
        assert sent.status_code == 200
        assert sent.mimetype == type
        assert sent.data.startswith(start)
    drawn = client.post("/v1/readings", data=buoy(), content_type=PDF, headers={"Accept": SVG}).text
    for words in ("Patch A4", "Section A: 4 patches, allowance 1/4", "1. Are these the printed"):
        assert words in drawn
