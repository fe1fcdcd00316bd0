"""Path data: every command of SVG 2 (section 9.3), read and written.

The reference is the text of SVG 2: 9.3.3 to 9.3.8 for the commands, 9.3.9 for the grammar,
appendix B.2 for arcs.  Tables give path data and the edges it stands for.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Outline, Segment
from piecewright.patchwork.geometry.svg_path import LONGEST, PathDataError, parse, written
from piecewright.patchwork.geometry.vectors import Point

Words: TypeAlias = tuple[float, ...]
"""A segment as plain numbers, for comparison within rounding."""


def words(outline: Outline) -> list[Words]:
    found: list[Words] = []
    for s in outline:
        inner = (*s.handle1, *s.handle2) if isinstance(s, Curve) else ()
        found.append((*s.start, *inner, *s.end))
    return found


def same(one: Outline, other: Outline, within: float = 1e-9) -> bool:
    return [len(w) for w in words(one)] == [len(w) for w in words(other)] and all(
        math.dist(a, b) <= within for a, b in zip(words(one), words(other), strict=True)
    )


def quadratic(start: Point, handle: Point, end: Point) -> Curve:
    """A quadratic Bézier raised to a cubic: its handles are two thirds of the way to the one."""
    one, two = (((p[0] + 2 * handle[0]) / 3, (p[1] + 2 * handle[1]) / 3) for p in (start, end))
    return Curve(start, one, two, end)


SQUARE = paths.polygon([(0, 0), (4, 0), (4, 3), (0, 3)])


@pytest.mark.parametrize(
    "data",
    [
        "M0 0 L4 0 L4 3 L0 3 Z",
        "M 0 0 L 4 0 L 4 3 L 0 3 Z",
        "M0,0L4,0L4,3L0,3z",
        "M0 0 4 0 4 3 0 3Z",
        "m0 0 4 0 0 3-4 0z",
        "M0 0 L4 0 4 3 0 3Z",
        "M0 0 l4 0 0 3 -4 0z",
        "M0 0 H4 V3 H0 Z",
        "M0 0 h4 v3 h-4 z",
        "M0 0H4V3H0V0Z",
        "M0 0 L4 0 L4 3 L0 3 L0 0 Z",
        "M0 0 L4 0 L4 3 L0 3 L0 0",
        "M0 0 L4 0 L4 0 L4 3 L0 3 Z",
        "\n M0 0\tL4 0\r\n L4 3,\n 0 3 Z \n",
        "M0.0.0L4.0.0L4.0 3.0L.0 3.0Z",
        "M-0-0L+4+0L4e0 3E0L0 30e-1Z",
        "M00 000L04 0L004 03L0 3.Z",
        "M0 0 L4.e0 0 L4 3 L0 3Z Z",
    ],
)
def test_a_square_in_every_spelling(data: str) -> None:
    assert parse(data) == SQUARE


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        # Cubics; S takes the last handle's mirror image (9.3.6).
        ("M0 0 C0 2 4 2 4 0 Z", [Curve((0, 0), (0, 2), (4, 2), (4, 0))]),
        ("M0 0 c0 2 4 2 4 0 z", [Curve((0, 0), (0, 2), (4, 2), (4, 0))]),
        ("m1 1 c0 2 4 2 4 0 z", [Curve((1, 1), (1, 3), (5, 3), (5, 1))]),
        (
            "M0 0 C0 2 4 2 4 0 S8 1 8 0 Z",
            [Curve((0, 0), (0, 2), (4, 2), (4, 0)), Curve((4, 0), (4, -2), (8, 1), (8, 0))],
        ),
        (
            "M0 0 c0 2 4 2 4 0 s4 1 4 0 z",
            [Curve((0, 0), (0, 2), (4, 2), (4, 0)), Curve((4, 0), (4, -2), (8, 1), (8, 0))],
        ),
        (
            "M0 0 C0 2 4 2 4 0 4-2 8 1 8 0 Z",
            [Curve((0, 0), (0, 2), (4, 2), (4, 0)), Curve((4, 0), (4, -2), (8, 1), (8, 0))],
        ),
        # Without a cubic before it, S starts without a handle.
        ("M0 0 S4 2 4 0 Z", [Curve((0, 0), (0, 0), (4, 2), (4, 0))]),
        (
            "M0 0 Q2 3 4 0 S8 1 8 0 Z",
            [quadratic((0, 0), (2, 3), (4, 0)), Curve((4, 0), (4, 0), (8, 1), (8, 0))],
        ),
        (
            "M0 0 S4 2 4 0 8 2 8 0 Z",
            [Curve((0, 0), (0, 0), (4, 2), (4, 0)), Curve((4, 0), (4, -2), (8, 2), (8, 0))],
        ),
        # Quadratics; T takes the last handle's mirror image, again and again (9.3.7).
        ("M0 0 Q2 3 4 0 Z", [quadratic((0, 0), (2, 3), (4, 0))]),
        ("M0 0 q2 3 4 0 z", [quadratic((0, 0), (2, 3), (4, 0))]),
        (
            "M0 0 Q2 3 4 0 T8 0 12 0 Z",
            [
                quadratic((0, 0), (2, 3), (4, 0)),
                quadratic((4, 0), (6, -3), (8, 0)),
                quadratic((8, 0), (10, 3), (12, 0)),
            ],
        ),
        (
            "M0 0 q2 3 4 0 t4 0 4 0 z",
            [
                quadratic((0, 0), (2, 3), (4, 0)),
                quadratic((4, 0), (6, -3), (8, 0)),
                quadratic((8, 0), (10, 3), (12, 0)),
            ],
        ),
        ("M0 0 T4 0 Z", [quadratic((0, 0), (0, 0), (4, 0))]),
        (
            "M0 0 C0 2 4 2 4 0 T8 0 Z",
            [Curve((0, 0), (0, 2), (4, 2), (4, 0)), quadratic((4, 0), (4, 0), (8, 0))],
        ),
    ],
)
def test_curves_and_their_smooth_followers(data: str, expected: list[Segment]) -> None:
    closing = Line(expected[-1].end, expected[0].start)
    assert same(parse(data), (*expected, closing))


@pytest.mark.parametrize(
    "data",
    [
        "M0 0 L3 0 A3 3 0 0 1 0 3 Z",
        "M0 0 h3 a3 3 0 0 1-3 3 z",
        "M0 0H3A3,3,0,0,1,0,3Z",
        "M0 0 L3 0 A3 3 0 010 3Z",
        "M0 0 l3 0a3 3 0 01-3 3z",
        "M0 0 L3 0 A3 3 45 0 1 0 3Z",
        "M0 0 L3 0 A-3 3 0 0 1 0 3Z",
        "M0 0 L3 0 A3\n3\n0\n0\n1\n0\n3 Z",
        "M0 0 L3 0 A03 3. 0 0 1 00 3Z",
    ],
)
def test_a_quarter_circle_in_every_spelling(data: str) -> None:
    outline = parse(data)
    assert outline[0] == Line((0, 0), (3, 0))
    assert outline[-1] == Line((0, 3), (0, 0))
    for segment in outline[1:-1]:
        assert isinstance(segment, Curve)
        for t in (0, 0.25, 0.5, 0.75, 1):
            x, y = paths.point_at(segment, t)
            assert math.hypot(x, y) == pytest.approx(3, abs=1e-6)
            assert min(x, y) > -1e-9
    assert paths.area(outline) == pytest.approx(math.pi * 9 / 4, abs=1e-5)


def test_arcs_follow_each_other_without_their_letter() -> None:
    circle = parse("M3 0 a3 3 0 0 1 -3 3 3 3 0 0 1 -3 -3 3 3 0 1 1 6 0z")
    assert paths.area(circle) == pytest.approx(9 * math.pi, abs=1e-4)


def test_flags_choose_the_arc() -> None:
    # From (0, 0) to (2, 0) with radius 2: chord area by r²/2 (angle - sin angle).
    small = 2 * (math.pi / 3 - math.sin(math.pi / 3))
    large = 4 * math.pi - small
    for flags, area in {"0 1": small, "0 0": -small, "1 1": large, "1 0": -large}.items():
        outline = parse(f"M0 0 A2 2 0 {flags} 2 0Z")
        assert paths.area(outline) == pytest.approx(area, abs=1e-5)


@pytest.mark.parametrize(
    ("data", "area"),
    [
        ("M0 0 A0 3 0 0 1 4 0 L4 4 Z", 8),
        ("M0 0 L4 0 A1 1 0 0 0 4 0 L4 4 Z", 8),
    ],
)
def test_an_arc_without_radius_is_a_line_and_without_length_nothing(data: str, area: float) -> None:
    assert same(parse(data), paths.polygon([(0, 0), (4, 0), (4, 4)]))
    assert paths.area(parse(data)) == area


# --- absolute and relative ----------------------------------------------------------------

numbers = st.integers(-400, 400).map(lambda n: n / 16)  # sums of sixteenths are exact
spots = st.tuples(numbers, numbers)


@st.composite
def drawn(draw: st.DrawFn) -> tuple[str, str, list[Segment]]:
    """One path in absolute and in relative commands, and the edges it stands for."""
    start = at = draw(spots)
    absolute, relative, edges = [f"M{at[0]} {at[1]}"], [f"m{at[0]},{at[1]}"], list[Segment]()
    mirror: tuple[str, Point] = ("", at)

    def say(letter: str, *given: Point) -> None:
        absolute.append(letter + " ".join(f"{x},{y}" for x, y in given))
        relative.append(letter.lower() + " ".join(f"{x - at[0]} {y - at[1]}" for x, y in given))

    for letter in draw(st.lists(st.sampled_from("LHVCSQT"), min_size=1, max_size=8)):
        p, q, end = draw(spots), draw(spots), draw(spots)
        family, last = mirror
        back = (2 * at[0] - last[0], 2 * at[1] - last[1])
        mirror = ("", at)
        if letter in "HV":
            end = (end[0], at[1]) if letter == "H" else (at[0], end[1])
            k = 0 if letter == "H" else 1
            absolute.append(f"{letter}{end[k]}")
            relative.append(f"{letter.lower()}{end[k] - at[k]}")
            edges.append(Line(at, end))
        elif letter == "L":
            say(letter, end)
            edges.append(Line(at, end))
        elif letter in "CS":
            p = p if letter == "C" else back if family == "cubic" else at
            say(letter, *([p] if letter == "C" else []), q, end)
            edges.append(Curve(at, p, q, end))
            mirror = ("cubic", q)
        else:
            p = p if letter == "Q" else back if family == "quadratic" else at
            say(letter, *([p] if letter == "Q" else []), end)
            edges.append(quadratic(at, p, end))
            mirror = ("quadratic", p)
        at = end
    edges.append(Line(at, start))
    return (
        " ".join([*absolute, "Z"]),
        "".join([*relative, "z"]),
        [e for e in edges if isinstance(e, Curve) or e.start != e.end],
    )


@settings(deadline=None)
@given(drawn())
def test_absolute_and_relative_commands_draw_the_same(
    path: tuple[str, str, list[Segment]],
) -> None:
    absolute, relative, edges = path
    assert same(parse(absolute), tuple(edges))
    assert same(parse(relative), tuple(edges))


@settings(deadline=None)
@given(
    spots,
    spots,
    st.integers(0, 40),
    st.integers(0, 40),
    st.integers(-360, 360),
    st.sampled_from(["0 0", "0 1", "1 0", "1 1", "00", "01", "10", "11"]),
)
def test_absolute_and_relative_arcs_are_the_same(
    start: Point, end: Point, rx: int, ry: int, rotation: int, flags: str
) -> None:
    moved = (end[0] - start[0], end[1] - start[1])
    one = parse(f"M{start[0]} {start[1]}A{rx} {ry} {rotation} {flags} {end[0]} {end[1]}Z")
    other = parse(f"m{start[0]} {start[1]}a{rx},{ry},{rotation},{flags},{moved[0]},{moved[1]}z")
    assert same(one, other)
    large, sweep = flags[0] == "1", flags[-1] == "1"
    arc = paths.arc(start, rx, ry, rotation, large, sweep, end)
    assert one[: len(arc)] == arc
    assert len(one) == len(arc) + (start != end)


# --- what is no piece ---------------------------------------------------------------------


@pytest.mark.parametrize("data", ["M0 0 L4 0 L4 3", "M0 0 L4 0 L4 3 L0 0.01", "M1 1 C0 2 4 2 4 0"])
def test_a_path_that_is_not_closed(data: str) -> None:
    with pytest.raises(PathDataError, match="not closed"):
        parse(data)


@pytest.mark.parametrize("data", ["M2 3", "M2 3 Z", "M2 3 L2 3 Z", "m2 3 h0 v0 z"])
def test_a_path_that_goes_nowhere_has_no_edges(data: str) -> None:
    assert parse(data) == ()


@pytest.mark.parametrize(
    "data",
    [
        "M0 0 L4 0 L4 3 Z M5 5 L6 5 L6 6 Z",
        "M0 0 L4 0 L4 3 Z m1 1 l1 0 0 1 z",
        "M0 0 L4 0 L4 3 Z L2 1 L1 2 Z",
        "M0 0 L4 0 L4 3 L0 0 M1 1 L2 1 L2 2 Z",
        "M0 0 L4 0 L4 3 Z M0 0",
        "M0 0 M1 1 L4 0 L4 3 Z",
    ],
)
def test_a_path_of_two_subpaths(data: str) -> None:
    with pytest.raises(PathDataError, match="second"):
        parse(data)


@pytest.mark.parametrize(
    "data",
    [
        "",
        "   ",
        "Z",
        "L4 0 L4 3 Z",
        "0 0 4 0 4 3",
        "M",
        "M0",
        "M0 0 L",
        "M0 0 L4",
        "M0 0 L4 0 4 Z",
        "M0 0 H Z",
        "M0 0 C1 1 2 2 Z",
        "M0 0 Q1 1 2 Z",
        "M0 0 A3 3 0 0 1 4 Z",
        "M0 0 A3 3 0 2 1 4 0 Z",
        "M0 0 A3 3 0 0.5 1 4 0 Z",
        "M0 0 L4 0 L4 3 Z 5 5",
        "M0 0 L4 0 L4 3 Z x",
        "M0 0 R4 0 4 3 Z",
        "M0 0 B4 0 L4 3 Z",
        "M0 0 L4 0 L4 3 # Z",
        "M0 0 L4;0 L4 3 Z",
        "M0 0 Lnan 0 L4 3 Z",
        "M0 0 Linf 0 L4 3 Z",
        "M0 0 L1e400 0 L4 3 Z",
        "M0 0 L- 0 L4 3 Z",
        "M0 0 L4 0x L4 3 Z",
        "M0 0 L٤ 0 L4 3 Z",
        "<path d='M0 0'/>",
        "hello",
    ],
)
def test_garbage_is_told_and_not_guessed_at(data: str) -> None:
    with pytest.raises(PathDataError, match=r"cannot read|not closed|too large"):
        parse(data)


def test_path_data_beyond_the_limit_is_not_read() -> None:
    data = "M0 0 L4 0 L4 3" + " " * LONGEST + "Z"
    with pytest.raises(PathDataError, match=f"{LONGEST}"):
        parse(data)


soup = st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789.,-+e \n", max_size=40)


@settings(max_examples=150, deadline=None)
@given(st.one_of(soup, soup.map(lambda s: f"M0 0{s}Z"), st.text(max_size=40)))
def test_any_text_is_one_closed_outline_or_a_path_data_error(data: str) -> None:
    try:
        outline = parse(data)
    except PathDataError:
        return
    for before, after in zip(outline, [*outline[1:], *outline[:1]], strict=True):
        assert before.end == after.start
    assert all(math.isfinite(c) for s in words(outline) for c in s)


# --- writing ------------------------------------------------------------------------------

decimals = st.integers(-9_999_999, 9_999_999).map(lambda n: n / 1e6)
corners = st.tuples(decimals, decimals)


@st.composite
def outlines(draw: st.DrawFn) -> Outline:
    ring = draw(st.lists(corners, min_size=2, max_size=9, unique=True))
    edges: list[Segment] = []
    for p, q in zip(ring, [*ring[1:], ring[0]], strict=True):
        handles = draw(st.none() | st.tuples(corners, corners))
        edges.append(Line(p, q) if handles is None else Curve(p, *handles, q))
    return tuple(edges)


@settings(deadline=None)
@given(outlines())
def test_a_written_outline_is_read_back_exactly(outline: Outline) -> None:
    assert parse(written(outline)) == outline


@settings(deadline=None)
@given(outlines(), st.sampled_from([2.54, 25.4, 72.0]))
def test_an_outline_is_written_in_another_unit(outline: Outline, per_inch: float) -> None:
    read = parse(written(outline, per_inch))
    assume(len(read) == len(outline))  # edges shorter than a millionth vanish
    back = tuple(paths.stretched(s, 1 / per_inch, 1 / per_inch) for s in read)
    assert same(back, outline, 2e-6)


@settings(deadline=None)
@given(outlines(), st.integers(1, 5))
def test_no_more_decimals_are_written_than_asked_for(outline: Outline, places: int) -> None:
    text = written(outline, decimals=places)
    numbers = text.translate(str.maketrans("MLCZ", "    ")).split()
    assert all(len(n.partition(".")[2]) <= places for n in numbers)
    assert not any(n == "-0" or n.endswith(".") or "e" in n for n in numbers)


def test_written_path_data_is_plain() -> None:
    outline = (Line((0, 0), (3.5, 0)), Curve((3.5, 0), (4, 1), (3, 2.25), (0, 1 / 3)))
    text = written((*outline, Line((0, 1 / 3), (0, 0))))
    assert text == "M0 0 L3.5 0 C4 1 3 2.25 0 0.333333 L0 0 Z"
