"""Geometry at its worst, as bodies of requests: it is answered, or refused with its faults told."""

from __future__ import annotations

import json
import math
import random
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from piecewright.patchwork.block.model import Block
from piecewright.patchwork.geometry import paths
from tests.patchwork.partitions import blocks

pytestmark = pytest.mark.long

SOME = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
FEW = settings(SOME, max_examples=12)

# Sizes from a rounding error to far beyond any quilt.
sizes = st.sampled_from([5e-324, 1e-12, 1e-6, 0.001, 1 / 3, 1.0, 6.5, 1e4, 1e9, 1e154, 1.7e308])
slight = st.sampled_from([0.0, 1e-15, 1e-12, 1e-9, 1e-6, 1e-4, 1e-3])


def answers_or_refuses(client: FlaskClient, body: str, to: str = "check") -> None:
    """RFC 9457 has a refusal be a problem; 503 would tell of a process that was ended."""
    answer = client.post(f"/v1/{to}", data=body, content_type="application/json")
    told = answer.json
    assert told is not None
    if answer.status_code != 200:
        assert answer.status_code in (400, 422), told
        assert answer.mimetype == "application/problem+json"
        assert told["detail"]
    if answer.status_code == 422:
        assert told["errors"]
        assert all(error["detail"] for error in told["errors"])


def block_of(*outlines: Any) -> str:
    pieces = [{"id": f"p{i}", "outline": outline} for i, outline in enumerate(outlines)]
    return json.dumps({"block": {"pieces": pieces}})


def path_block(path: str) -> str:
    return json.dumps({"block": {"pieces": [{"id": "sail", "path": path}]}})


@SOME
@given(width=sizes, height=sizes, to=st.sampled_from(["check", "templates"]))
def test_slivers(client: FlaskClient, width: float, height: float, to: str) -> None:
    answers_or_refuses(client, block_of([[0, 0], [width, 0], [width, height], [0, height]]), to)


@SOME
@given(st.lists(st.tuples(st.floats(0, 6), slight), min_size=1, max_size=8), slight)
def test_points_nearly_on_a_line(
    client: FlaskClient, along: list[tuple[float, float]], gap: float
) -> None:
    """Two pieces whose common edge has points beside it, and which nearly meet."""
    upper = [[0, 0], [6, 0], [6, 3], *([x, 3 + off] for x, off in sorted(along)[::-1]), [0, 3]]
    lower = [[0, 3 + gap], [6, 3 + gap], [6, 6], [0, 6]]
    answers_or_refuses(client, block_of(upper, lower))


@SOME
@given(st.lists(st.lists(st.tuples(slight, sizes), min_size=2, max_size=2), max_size=6))
def test_lines_that_nearly_meet(
    client: FlaskClient, lines: list[list[tuple[float, float]]]
) -> None:
    frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
    answers_or_refuses(client, json.dumps({"block": {"frame": frame, "lines": lines}}))


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999", "-1e999"])
def test_numbers_that_are_none_are_never_taken(client: FlaskClient, number: str) -> None:
    """RFC 8259, section 6, has no NaN and no Infinity; 1e999 is beyond IEEE 754 doubles."""
    body = block_of([[0, 0], [6, 0], [6, 6], [0, "X"]]).replace('"X"', number)
    answer = client.post("/v1/check", data=body, content_type="application/json")
    assert answer.status_code in (400, 422)
    assert answer.mimetype == "application/problem+json"


@pytest.mark.parametrize(
    "number", ["1e308", "-1e308", "1e-320", "9" * 400, "0." + "0" * 400 + "1", "1" + "0" * 5000]
)
@pytest.mark.parametrize("as_text", [False, True])
def test_numbers_of_any_length(client: FlaskClient, number: str, as_text: bool) -> None:
    written = json.dumps(number) if as_text else number
    body = block_of([[0, 0], [6, 0], [6, 6], [0, "X"]]).replace('"X"', written)
    answers_or_refuses(client, body)


def arcs(count: int) -> str:
    """A toothed edge of half circles along the bottom of a square."""
    step = 6 / count
    return f"M0 0H6V6{f'a{step / 2} {step / 2} 0 0 1 {-step} 0' * count}Z"


@pytest.mark.parametrize(
    "path",
    [
        arcs(40),
        arcs(3000),
        "M0 0" + "A1e308 1e308 0 1 1 6 6" * 50 + "Z",
        "M0 0A1e-308 1e-308 0 0 1 6 0V6H0Z",
        "M0 0A0 0 0 0 1 6 0V6H0Z",
        "M0 0A-3-3 1e300 0 1 6 0V6H0Z",
        "M0,0a3 3 0 016 0v6h-6z",  # flags without spaces, as SVG's grammar allows
        "M0-0L6-.0.0.0 6.6.6Z",
        "M0 0C1e300-1e300-1e300 1e300 6 0V6H0Z",
        "M0 0Q" + "9" * 2000 + " 3 6 0V6H0Z",
        "M0 0" + "T6 6" * 5000 + "Z",
        "M0 0" + "Z" * 20000,
        "M0 0L6e+00006 0L6 6Z",
        "M" + "0 " * 50001,
        "m" * 10000,
        "M0 0H6V6H0Z" * 2000,
        "M0 0L\u0663 0L3 3Z",  # an Arabic digit is none of SVG's
    ],
    ids=lambda path: path[:24],
)
def test_path_bombs(client: FlaskClient, path: str) -> None:
    answers_or_refuses(client, path_block(path))


@SOME
@given(
    st.text("MmLlHhVvCcSsQqTtAaZz0123456789.,-+eE \n", max_size=60).map(
        lambda rest: "M0 0H6V6" + rest
    )
)
def test_any_path(client: FlaskClient, path: str) -> None:
    answers_or_refuses(client, path_block(path))


def test_as_many_small_triangles_as_a_block_has_pieces_thrown_at_random(
    client: FlaskClient,
) -> None:
    """2,000 of them on 60 in, each lying on few others."""
    chance = random.Random(1852)
    middles = [(chance.uniform(0, 60), chance.uniform(0, 60)) for _ in range(2000)]
    thrown = [
        [[x + chance.uniform(-1, 1), y + chance.uniform(-1, 1)] for _ in range(3)]
        for x, y in middles
    ]
    answers_or_refuses(client, block_of(*thrown))


def test_as_many_large_triangles_thrown_on_one_heap(client: FlaskClient) -> None:
    """Some million pairs overlap: more than anybody can be told of."""
    chance = random.Random(1852)
    thrown = [[[chance.uniform(0, 60) for _ in "xy"] for _ in range(3)] for _ in range(2000)]
    body = block_of(*thrown)
    answer = client.post("/v1/check", data=body, content_type="application/json")
    assert answer.json is not None
    assert answer.status_code == 422
    assert len(answer.json["errors"]) == 2001
    assert answer.json["errors"][-1]["detail"].startswith("further pieces overlap")


def test_as_many_uneven_patches_as_a_block_has_pieces(client: FlaskClient) -> None:
    """50 by 40 patches that meet in corners moved at random: nothing is wrong with them."""
    chance = random.Random(1852)
    corner = [
        [[i + chance.uniform(-0.2, 0.2), j + chance.uniform(-0.2, 0.2)] for j in range(41)]
        for i in range(51)
    ]
    patches = [
        [corner[i][j], corner[i + 1][j], corner[i + 1][j + 1], corner[i][j + 1]]
        for i in range(50)
        for j in range(40)
    ]
    answer = client.post("/v1/check", data=block_of(*patches), content_type="application/json")
    assert answer.json is not None
    assert answer.status_code == 200, answer.json


@SOME
@given(st.integers(3, 60), slight, st.floats(0, math.tau))
def test_wheels_whose_blades_nearly_meet_in_a_point(
    client: FlaskClient, blades: int, off: float, turn: float
) -> None:
    rim = [
        [
            10 + 6 * math.cos(turn + math.tau * i / blades),
            10 + 6 * math.sin(turn + math.tau * i / blades),
        ]
        for i in range(blades)
    ]
    outlines = [[[10 + off * (i % 2), 10], rim[i], rim[(i + 1) % blades]] for i in range(blades)]
    answers_or_refuses(client, block_of(*outlines))


# --- edges along each other but for rounding --------------------------------------------------

WORK = ("check", "templates", "sewing-plan", "block-map", "cutting-list", "foundation")

works = st.sampled_from(WORK)
allowances = st.one_of(st.sampled_from([0, 0.01, 0.25, 1, 3]), st.floats(0, 3))
corners = st.sampled_from(["matched", "blunt", "full"])
turns = st.sampled_from([0.0, 1.0, math.sqrt(2), math.pi / 7])
spans = st.sampled_from([0.6, 6.0, 1000.0])
widths = st.sampled_from([6.0, 12.0])


def asked_of(block: dict[str, Any], **settings: Any) -> str:
    """A request on paper that has room for all of a block."""
    paper = {"width": 40, "height": 40}
    return json.dumps({"block": block, "sheet": {"paper": paper}, **settings})


def turned(outline: Any, turn: float, size: float) -> list[list[float]]:
    cos, sin = size * math.cos(turn), size * math.sin(turn)
    return [[x * cos - y * sin, x * sin + y * cos] for x, y in outline]


def nudged(outline: list[list[float]], chance: random.Random, by: float) -> list[list[float]]:
    """Each coordinate moved up or down: to the next number that a double can be, or by up to so
    many inches."""
    if not by:
        return [[math.nextafter(c, chance.choice([-1e9, 1e9])) for c in p] for p in outline]
    return [[c + chance.uniform(-by, by) for c in p] for p in outline]


@FEW
@given(
    blocks(),
    st.randoms(use_true_random=False),
    st.tuples(turns, spans, slight, widths),
    works,
    allowances,
    corners,
)
def test_pieces_whose_common_edges_differ_in_their_last_digits(
    client: FlaskClient,
    block: Block,
    chance: random.Random,
    lies: tuple[float, float, float, float],
    to: str,
    allowance: float,
    corners: str,
) -> None:
    turn, span, by, width = lies
    rings = [turned(paths.ring(p.outline), turn, span / 6) for p in block.pieces]
    pieces = [
        {"id": piece.id, "outline": nudged(ring, chance, by)}
        for piece, ring in zip(block.pieces, rings, strict=True)
    ]
    asked = asked_of(
        {"pieces": pieces}, finish={"width": width}, allowance=allowance, corners=corners
    )
    answers_or_refuses(client, asked, to)


@FEW
@given(st.floats(0.005, 1), st.floats(0, 1.5), st.floats(0.1, 2.5), turns, works, allowances)
def test_a_piece_that_fills_a_bay_wider_than_its_mouth(
    client: FlaskClient,
    mouth: float,
    wider: float,
    depth: float,
    turn: float,
    to: str,
    allowance: float,
) -> None:
    half, end = mouth / 2, (mouth + wider) / 2
    bay = [[3 - half, 3], [3 - half, 3 - depth / 2], [3 - end, 3 - depth / 2], [3 - end, 3 - depth]]
    bay += [[6 - x, y] for x, y in reversed(bay)]
    upper = turned([[0, 0], [6, 0], [6, 3], *reversed(bay), [0, 3]], turn, 1.0)
    lower = turned([[0, 3], *bay, [6, 3], [6, 6], [0, 6]], turn, 1.0)
    pieces = [{"id": "quay", "outline": upper}, {"id": "basin", "outline": lower}]
    answers_or_refuses(client, asked_of({"pieces": pieces}, allowance=allowance), to)


@FEW
@given(st.floats(0.01, 3), st.integers(1, 8), st.floats(0.02, 2), slight, works, allowances)
def test_curves_that_run_along_each_other(
    client: FlaskClient,
    high: float,
    waves: int,
    apart: float,
    off: float,
    to: str,
    allowance: float,
) -> None:
    s = 6 / waves
    there = f"c{s / 3} {high} {2 * s / 3} {-high} {s} 0" * waves
    back = f"c{-s / 3} {-high - off} {-2 * s / 3} {high - off} {-s} 0" * waves
    paths_ = [
        f"M0 0H6V3{back}Z",
        f"M0 3{there}V{3 + apart}{back}Z",
        f"M0 {3 + apart}{there}V12H0Z",
    ]
    pieces = [{"id": f"wave{i}", "path": path} for i, path in enumerate(paths_)]
    answers_or_refuses(client, asked_of({"pieces": pieces}, allowance=allowance), to)


def test_two_pieces_beside_each_other_that_lie_apart_from_the_rest(client: FlaskClient) -> None:
    """The point that stands for both together lies on the edge between them."""
    answer = client.post(
        "/v1/check",
        data=block_of(*([[x, 0], [x + 1, 0], [x + 1, 1], [x, 1]] for x in (0, 1, 2, 5, 6))),
        content_type="application/json",
    )
    assert answer.json is not None
    assert answer.status_code == 422
    (error,) = answer.json["errors"]
    assert error["code"] == "apart"
    assert error["pointer"] in ("/block/pieces/3", "/block/pieces/4")
