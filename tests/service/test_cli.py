"""The command line: exit codes, what it writes where, and that it answers as the service does."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pypdf
import pytest
from flask.testing import FlaskClient

from piecewright.service.cli import FAULTY, GOOD, MISUSED, main
from piecewright.service.http.openapi import document as openapi
from piecewright.service.http.openapi.examples import HARBOUR_QUILT
from tests.service.asking import GUNICORN, TWO_SQUARES, templates
from tests.service.pattern_files.draughtsmen import Svg
from tests.service.pattern_files.patterns import PATTERNS, draw

BLOCK = {**TWO_SQUARES, "unit": "in"}


@pytest.fixture
def block(tmp_path: Path) -> str:
    file = tmp_path / "block.json"
    file.write_text(json.dumps(BLOCK), "utf-8")
    return str(file)


def written(tmp_path: Path, *arguments: str, ending: str = "json") -> bytes:
    out = tmp_path / f"out.{ending}"
    assert main(["templates", *arguments, "-o", str(out)]) == GOOD
    return out.read_bytes()


@pytest.mark.parametrize(
    ("ending", "form", "start"),
    [
        ("pdf", "application/pdf", b"%PDF"),
        ("svg", "image/svg+xml", b"<?xml"),
        ("zip", "application/zip", b"PK"),
        ("json", "application/json", b"{"),
    ],
)
def test_it_writes_what_the_service_answers(
    client: FlaskClient, tmp_path: Path, block: str, ending: str, form: str, start: bytes
) -> None:
    made = written(tmp_path, block, ending=ending)
    assert made.startswith(start)
    assert made == templates(client, {"block": BLOCK}, form).data


@pytest.mark.parametrize(
    ("options", "fields"),
    [
        (["--finish", "12in"], {"finish": {"width": "12in"}}),
        (["--finish", "12in x 9in"], {"finish": {"width": "12in", "height": "9in"}}),
        (["--finish", "12", "--finish-height", "9"], {"finish": {"width": 12, "height": 9}}),
        (["--finish-width", "12in"], {"finish": {"width": "12in"}}),
        (["--finish-height", "9"], {"finish": {"height": "9"}}),
        (["--finish-width=12", "--finish-height=9"], {"finish": {"width": 12, "height": 9}}),
        (["--scale", "2"], {"finish": {"scale": 2}}),
        (["--unit", "cm"], {"unit": "cm"}),
        (["--allowance", "3/8in"], {"allowance": "3/8in"}),
        (["--edge-allowance", "1in"], {"allowance": {"edge": "1in"}}),
        (
            ["--allowance", "3/8in", "--edge-allowance", "1in"],
            {"allowance": {"seam": "3/8in", "edge": "1in"}},
        ),
        (["--corners", "full"], {"corners": "full"}),
        (["--paper", "A4"], {"sheet": {"paper": "a4"}}),
        (["--paper", "9in x 12in"], {"sheet": {"paper": {"width": "9in", "height": "12in"}}}),
        (["--roll", "24in"], {"sheet": {"roll": "24in"}}),
        (["--printer", "0.98", "1.01"], {"printer": {"across": 0.98, "down": 1.01}}),
        (
            ["--orientation=landscape", "--margin=1/2in", "--overlap=0"],
            {"sheet": {"orientation": "landscape", "margin": "1/2in", "overlap": 0}},
        ),
    ],
)
def test_each_option_is_a_field_of_the_request(
    client: FlaskClient, tmp_path: Path, block: str, options: list[str], fields: dict[str, Any]
) -> None:
    answer = templates(client, {"block": BLOCK, **fields})
    assert written(tmp_path, block, *options) == answer.data
    assert answer.status_code == 200


def test_options_win_over_a_whole_request(client: FlaskClient, tmp_path: Path) -> None:
    file = tmp_path / "request.json"
    request = {
        "block": "pinwheel",
        "finish": {"scale": 3},
        "allowance": {"seam": "3/8", "edge": 1},
        "sheet": {"width": 9, "height": 12, "margin": 0},
    }
    file.write_text(json.dumps(request), "utf-8")
    wanted = {
        **request,
        "finish": {"width": 10},
        "allowance": {"seam": "3/8", "edge": 2},
        "sheet": {"paper": "a3", "margin": 0},
    }
    options = ["--finish-width=10", "--edge-allowance=2", "--paper=a3"]
    assert written(tmp_path, str(file), *options) == templates(client, wanted).data


def test_the_plan_of_a_quilt_is_that_of_the_service(client: FlaskClient, tmp_path: Path) -> None:
    file, out = tmp_path / "quilt.json", tmp_path / "plan.pdf"
    file.write_text(json.dumps(HARBOUR_QUILT.body), "utf-8")
    assert main(["quilt-plan", str(file), "-o", str(out)]) == GOOD
    answer = client.post(
        "/v1/quilt-plan", json=HARBOUR_QUILT.body, headers={"Accept": "application/pdf"}
    )
    assert out.read_bytes() == answer.data


@pytest.mark.parametrize("command", ["packet", "quilt-plan"])
def test_a_form_that_a_thing_does_not_come_in_ends_with_2(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, block: str, command: str
) -> None:
    ending = {"packet": "svg", "quilt-plan": "txt"}[command]
    out = tmp_path / f"out.{ending}"
    assert main([command, block, "-o", str(out)]) == MISUSED
    assert "should end in .json" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize("name", ["nosuch", "nine-patch", "nosuch.json"])
def test_a_quilt_that_is_no_file_ends_with_2(capsys: pytest.CaptureFixture[str], name: str) -> None:
    assert main(["quilt-plan", name]) == MISUSED
    assert capsys.readouterr().err == f"piecewright: {name}: No such file or directory\n"


@pytest.mark.parametrize(
    ("command", "message"),
    [
        ("templates - <&-", "-: standard input is closed"),
        ("templates nine-patch > /dev/full", "standard output: No space left on device"),
        (
            "templates nine-patch --format pdf -o /dev/full",
            "/dev/full: No space left on device",
        ),
    ],
)
def test_what_cannot_be_read_or_written_is_named(command: str, message: str) -> None:
    done = subprocess.run(
        ["sh", "-c", f'"{sys.executable}" -m piecewright.service.cli {command}'],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (MISUSED, f"piecewright: {message}\n")


def test_one_sheet_of_an_svg(client: FlaskClient, tmp_path: Path, block: str) -> None:
    made = written(tmp_path, block, "--page", "1", ending="svg")
    assert made == templates(client, {"block": BLOCK}, "image/svg+xml", "?page=1").data
    assert main(["templates", block, "--page", "99", "-o", str(tmp_path / "a.svg")]) == MISUSED
    assert main(["templates", block, "--page", "1", "-o", str(tmp_path / "a.pdf")]) == MISUSED


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    out = tmp_path / "star.pdf"
    out.write_bytes(b"old")
    out.chmod(0o640)
    assert main(["templates", "pinwheel", "-o", str(out)]) == GOOD
    assert len(pypdf.PdfReader(io.BytesIO(out.read_bytes())).pages) >= 1
    assert out.stat().st_mode & 0o777 == 0o640
    assert [file.name for file in tmp_path.iterdir()] == ["star.pdf"]


def test_a_new_file_has_the_usual_permissions(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        written(tmp_path, "pinwheel")
    finally:
        os.umask(before)
    assert (tmp_path / "out.json").stat().st_mode & 0o777 == 0o640


def test_faults_are_told_a_line_each_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, out = tmp_path / "torn.json", tmp_path / "torn.pdf"
    frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
    file.write_text(json.dumps({"frame": frame, "lines": [[[0, 3], [2, 3]]]}), "utf-8")
    out.write_bytes(b"old")
    assert main(["templates", str(file), "--margin", "4in", "-o", str(out)]) == FAULTY
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert any(line.startswith("/block/lines/0: at (2, 3) in: ") for line in lines)
    assert any(line.startswith("/sheet/margin: ") for line in lines)
    assert out.read_bytes() == b"old"


def test_check_tells_the_size_and_cautions(capsys: pytest.CaptureFixture[str], block: str) -> None:
    assert main(["check", block, "--unit", "in", "--allowance", "2in"]) == GOOD
    message = capsys.readouterr().out
    assert message.startswith("2 pieces, finished 4.5 x 3 in\n")
    assert "caution: /block/pieces/1: at (" in message


def test_check_can_print_the_answer(
    client: FlaskClient, capsys: pytest.CaptureFixture[str], block: str
) -> None:
    assert main(["check", block, "--json"]) == GOOD
    assert (
        json.loads(capsys.readouterr().out) == client.post("/v1/check", json={"block": BLOCK}).json
    )


def test_blocks_are_listed_and_printed(
    client: FlaskClient, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["blocks", "--unit", "cm"]) == GOOD
    assert "sawtooth-star" in (listed := capsys.readouterr().out)
    assert "30.48 x 30.48 cm" in listed
    assert main(["blocks", "pinwheel"]) == GOOD
    assert json.loads(capsys.readouterr().out) == client.get("/v1/blocks/pinwheel").json


def test_openapi_is_printed(capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["openapi"]) == GOOD
    assert capfdbinary.readouterr().out == openapi.written()


@pytest.mark.parametrize(
    "arguments",
    [
        ["templates", "no-such-file.json", "-o", "out.pdf"],
        ["templates", "pinwheel", "-o", "out.doc"],
        ["templates", "pinwheel", "-o", "no-such-folder/out.pdf"],
        ["blocks", "pinwhel"],
    ],
)
def test_what_cannot_be_done_ends_with_2(
    arguments: list[str],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == MISUSED
    message = capsys.readouterr().err
    assert message.startswith("piecewright: ")
    assert message.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments", [[], ["iron"], ["templates"], ["check", "pinwheel", "--fast"]]
)
def test_a_command_that_is_none_ends_with_2(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == MISUSED


def test_a_file_that_is_not_json_ends_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "block.json"
    file.write_text("{pieces}")
    assert main(["check", str(file)]) == MISUSED
    assert "line 1" in capsys.readouterr().err


def test_an_unknown_block_is_a_fault(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "pinwhel"]) == FAULTY
    assert "did you mean 'pinwheel'?" in capsys.readouterr().err


def test_a_limit_of_the_environment_holds(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PIECEWRIGHT_MAX_SHEETS", "1")
    arguments = ["templates", "pinwheel", "--finish-width", "60", "-o", str(tmp_path / "a.pdf")]
    assert main(arguments) == FAULTY
    assert "/sheet: " in capsys.readouterr().err
    monkeypatch.setenv("PIECEWRIGHT_MAX_SHEETS", "none")
    assert main(arguments) == MISUSED


def test_serve_starts_gunicorn(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr(os, "execv", lambda path, arguments: started.append(arguments))
    main(["serve", "--host", "::1", "--port", "9000", "--workers", "3"])
    (command,) = started
    assert command[1:3] == ["-m", "gunicorn"]
    assert command[command.index("--bind") + 1] == "[::1]:9000"
    assert command[command.index("--workers") + 1] == "3"
    assert command[command.index("--config") + 1] == GUNICORN[-1]


def test_it_runs_as_a_program_in_a_pipe() -> None:
    command = [sys.executable, "-m", "piecewright.service.cli", "check", "-"]
    done = subprocess.run(
        command, input=json.dumps(BLOCK), capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (GOOD, "")
    assert done.stdout.startswith("2 pieces")


def test_a_pattern_is_read_back_and_its_questions_are_answered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pen = Svg()
    draw(pen, PATTERNS["buoy"][0], cut_line="none")
    file, block = tmp_path / "buoy.svg", tmp_path / "block.json"
    file.write_bytes(pen.file())
    assert main(["read", str(file), "-o", str(block)]) == FAULTY
    assert not block.exists()
    asked = capsys.readouterr().err
    answers = [line.split("'")[1] for line in asked.splitlines() if "--answer" in line]
    assert len(answers) == 4  # two questions, with two answers each
    chosen = [word for answer in answers[::2] for word in ("--answer", answer)]
    picture = tmp_path / "seen.pdf"
    command = ["read", str(file), *chosen, "--picture", str(picture), "-o", str(block)]
    assert main(command) == GOOD
    assert picture.read_bytes().startswith(b"%PDF")
    assert main(["check", str(block)]) == GOOD
    assert "4 pieces, finished 5 x 5 in" in capsys.readouterr().out


def test_a_file_that_is_no_pattern_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "pattern.pdf"
    file.write_bytes(b"ahoy")
    assert main(["read", str(file)]) == FAULTY
    assert "/file: this PDF is damaged" in capsys.readouterr().err
    assert main(["read", str(tmp_path / "pattern.doc")]) == MISUSED
