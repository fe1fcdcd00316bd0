"""The catalogue's data, measured with Shapely alone, and that the catalogue reads it so.

Here the files are read apart from ``patchwork``: outlines and arcs become
polygons by the centre of the circle, drawings by Shapely's ``polygonize``.
Counts of pieces are those in common use for each pattern.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import shapely
from shapely import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import nested
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.lengths import PER_INCH
from piecewright.patchwork.sewing.order import work_out_order

FOLDER = Path(catalogue.__file__).parent / "traditional"
FILES: dict[str, dict[str, Any]] = {
    path.stem: json.loads(path.read_text("utf-8")) for path in sorted(FOLDER.glob("*.json"))
}
IDS = sorted(FILES)

SNAP = 0.001
"""Inches; points given to six decimals are nearer to each other than this."""

SHAPES: dict[str, list[tuple[float, float]]] = {
    "flying-geese": [(0, 0), (6, 0), (6, 12), (0, 12)],
    "bear-paw": [(0, 0), (10.5, 0), (10.5, 10.5), (0, 10.5)],
    "cake-stand": [(0, 0), (10, 0), (10, 10), (0, 10)],
    "tumbling-blocks": [
        (x + 1.5 * math.sqrt(3), y)
        for x, y in [
            (3 * math.sin(math.radians(60 * k)), 3 - 3 * math.cos(math.radians(60 * k)))
            for k in range(6)
        ]
    ],
}
"""The outside of the blocks that are no square of 6, 9 or 12 in."""


# --- reading, apart from the code under test ---------------------------------------------


def _arc(
    p: tuple[float, float], q: tuple[float, float], radius: float, sweep: bool
) -> list[tuple[float, float]]:
    """Points of the shorter arc from ``p`` to ``q``, ``p`` not included."""
    half = math.dist(p, q) / 2
    rise = math.sqrt(radius**2 - half**2) * (1 if sweep else -1)
    ux, uy = (q[0] - p[0]) / (2 * half), (q[1] - p[1]) / (2 * half)
    centre = ((p[0] + q[0]) / 2 - rise * uy, (p[1] + q[1]) / 2 + rise * ux)
    first = math.atan2(p[1] - centre[1], p[0] - centre[0])
    span = 2 * math.asin(half / radius) * (1 if sweep else -1)
    count = 1024
    inner = [
        (centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a))
        for a in (first + span * k / count for k in range(1, count))
    ]
    return [*inner, q]


def _ring(piece: dict[str, Any]) -> list[tuple[float, float]]:
    if "outline" in piece:
        return [(x, y) for x, y in piece["outline"]]
    ring: list[tuple[float, float]] = []
    for command, text in re.findall(r"([MLHVAZ])([^A-Z]*)", piece["path"]):
        given = [float(n) for n in text.split()]
        if command in "ML":
            ring.append((given[0], given[1]))
        elif command == "H":
            ring.append((given[0], ring[-1][1]))
        elif command == "V":
            ring.append((ring[-1][0], given[0]))
        elif command == "A":
            assert (given[0], given[3]) == (given[1], 0), "circles, and their shorter arcs"
            ring += _arc(ring[-1], (given[5], given[6]), given[0], given[4] == 1)
    return ring[:-1] if ring[-1] == ring[0] else ring


def _in_reading_order(shape: Polygon) -> tuple[float, float]:
    return (round(shape.centroid.y, 2), round(shape.centroid.x, 2))


def shapes_of(id: str) -> dict[str, Polygon]:
    """The pieces of a block as polygons, by their id."""
    file = FILES[id]
    if "pieces" in file:
        return {piece["id"]: Polygon(_ring(piece)) for piece in file["pieces"]}
    frame = Polygon(file["frame"])
    cuts = [shapely.LineString(line) for line in file["lines"]]
    net = shapely.unary_union([frame.exterior, *cuts], grid_size=1e-5)
    parts = sorted(shapely.get_parts(shapely.polygonize([net])), key=_in_reading_order)
    return {f"p{i + 1}": part for i, part in enumerate(parts)}


def fabrics_of(id: str) -> dict[str, str]:
    """The fabric of each piece of a block, by the piece's id."""
    file = FILES[id]
    if "pieces" in file:
        return {piece["id"]: piece["fabric"] for piece in file["pieces"]}
    return {
        name: fill["fabric"]
        for name, shape in shapes_of(id).items()
        for fill in file["fills"]
        if shape.contains(shapely.Point(fill["at"]))
    }


def _outside(id: str) -> Polygon:
    if id in SHAPES:
        return Polygon(SHAPES[id])
    whole = shapely.unary_union([s.buffer(SNAP / 2) for s in shapes_of(id).values()])
    size = round(whole.bounds[2], 1)
    assert size in (6, 9, 12)
    return shapely.box(0, 0, size, size)


# --- the files ----------------------------------------------------------------------------


def test_the_catalogue_has_at_least_26_blocks() -> None:
    assert len(FILES) >= 26


@pytest.mark.parametrize("id", IDS)
def test_a_file_is_named_after_its_block_and_says_what_it_is(id: str) -> None:
    file = FILES[id]
    assert file["id"] == id
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", id)
    assert file["name"]
    assert file["unit"] in PER_INCH
    assert re.fullmatch(r"[A-Z][^.!?]+\.", file["about"]), "one plain sentence"


def test_no_two_blocks_have_the_same_name() -> None:
    assert len({file["name"] for file in FILES.values()}) == len(FILES)


@pytest.mark.parametrize("id", IDS)
def test_every_piece_has_a_fabric_of_the_block_and_every_fabric_a_piece(id: str) -> None:
    fabrics = FILES[id]["fabrics"]
    assert all(re.fullmatch(r"#[0-9a-f]{6}", fabric["colour"]) for fabric in fabrics)
    assert set(fabrics_of(id)) == set(shapes_of(id))
    assert set(fabrics_of(id).values()) == {fabric["id"] for fabric in fabrics}
    assert len({fabric["name"] for fabric in fabrics}) == len(fabrics)


@pytest.mark.parametrize("id", [id for id in IDS if "fills" in FILES[id]])
def test_every_fill_of_a_drawing_lies_in_a_piece_of_its_own(id: str) -> None:
    for fill in FILES[id]["fills"]:
        dot = shapely.Point(fill["at"])
        [shape] = [s for s in shapes_of(id).values() if s.contains(dot)]
        assert shape.boundary.distance(dot) > 0.02
    assert len(FILES[id]["fills"]) == len(shapes_of(id))


@pytest.mark.parametrize("id", [id for id in IDS if "pieces" in FILES[id]])
def test_piece_ids_are_unique_and_short_enough_for_a_label(id: str) -> None:
    ids = [piece["id"] for piece in FILES[id]["pieces"]]
    assert len(set(ids)) == len(ids)
    assert max(map(len, ids)) <= 12


# --- geometry -----------------------------------------------------------------------------


@pytest.mark.parametrize("id", IDS)
def test_every_piece_is_a_simple_shape(id: str) -> None:
    for shape in shapes_of(id).values():
        assert shape.is_valid
        assert not shape.interiors
        assert shape.area > 0.2


@pytest.mark.parametrize("id", IDS)
def test_the_pieces_cover_the_block_exactly_once(id: str) -> None:
    shapes = list(shapes_of(id).values())
    whole = shapely.unary_union([shape.buffer(SNAP / 2, join_style="mitre") for shape in shapes])
    whole = whole.buffer(-SNAP / 2, join_style="mitre")
    assert isinstance(whole, Polygon)
    assert not whole.interiors
    assert sum(shape.area for shape in shapes) == pytest.approx(whole.area, abs=2e-4)
    if id == "hexagon-rosette":
        assert whole.area == pytest.approx(7 * 1.5 * math.sqrt(3) * 2**2, abs=1e-4)
        assert len(shapely.get_coordinates(whole.simplify(SNAP))) - 1 == 18
    else:
        assert whole.symmetric_difference(_outside(id)).area < 2e-4


@pytest.mark.parametrize("id", IDS)
def test_no_two_pieces_overlap(id: str) -> None:
    shapes = list(shapes_of(id).values())
    for i, shape in enumerate(shapes):
        for other in shapes[i + 1 :]:
            assert shape.intersection(other).area < 1e-4


# --- the order of sewing ------------------------------------------------------------------


def _leaves(joins: Any) -> Iterator[str]:
    if isinstance(joins, str):
        yield joins
    else:
        first, second = joins
        yield from _leaves(first)
        yield from _leaves(second)


def _sewn(joins: Any, shapes: dict[str, Polygon]) -> Polygon:
    """The unit that ``joins`` makes; each join in it is looked at.

    Two units share one connected line when what lies within a thread's width of
    both is one strip, without a hole, and longer than it is wide.
    """
    if isinstance(joins, str):
        return shapes[joins]
    first, second = (_sewn(unit, shapes) for unit in joins)
    seam = first.buffer(SNAP, join_style="mitre").intersection(
        second.buffer(SNAP, join_style="mitre")
    )
    message = " + ".join("(" + " ".join(_leaves(unit)) + ")" for unit in joins)
    assert isinstance(seam, Polygon), f"{message}: not one line"
    assert not seam.interiors, f"{message}: the seam is closed round"
    assert seam.area / (2 * SNAP) > 0.25, f"{message}: meet at a point only"
    unit = first.buffer(SNAP / 2, join_style="mitre").union(
        second.buffer(SNAP / 2, join_style="mitre")
    )
    unit = unit.buffer(-SNAP / 2, join_style="mitre")
    assert isinstance(unit, Polygon), f"{message}: not one piece of cloth"
    assert not unit.interiors, f"{message}: a hole"
    return unit


WITH_JOINS = [id for id in IDS if "joins" in FILES[id]]


TRADITIONAL_ORDERS = {
    "eight-point-star": "quarters with their squares and triangles: each is set in while the unit "
    "is small",
    "hexagon-rosette": "petal after petal round the centre, as it is pieced by hand",
    "orange-peel": "all peels before the corners, so that one kind of curve is sewn at a time",
}
"""Blocks that are sewn otherwise than would be worked out, and why (common practice)."""


def test_an_order_is_given_only_where_tradition_wants_another() -> None:
    assert set(WITH_JOINS) == set(TRADITIONAL_ORDERS)


@pytest.mark.parametrize("id", IDS)
def test_every_join_that_is_worked_out_is_along_one_connected_line(id: str) -> None:
    block = catalogue.load(id)
    seams = planar_map([piece.outline for piece in block.pieces])
    ids = [piece.id for piece in block.pieces]
    _sewn(nested(work_out_order(seams, ids).order, ids), shapes_of(id))


@pytest.mark.parametrize("id", WITH_JOINS)
def test_joins_name_every_piece_once(id: str) -> None:
    assert Counter(_leaves(FILES[id]["joins"])) == Counter(list(shapes_of(id)))


@pytest.mark.parametrize("id", WITH_JOINS)
def test_every_join_is_along_one_connected_line(id: str) -> None:
    _sewn(FILES[id]["joins"], shapes_of(id))


# --- facts of the trade (common practice) -------------------------------------------------

PIECES = {
    "attic-windows": 3,
    "birds-in-the-air": 6 + 3 + 1,
    "bear-paw": 4 * (1 + 1 + 4 * 2) + 4 + 1,
    "bow-tie": 5,
    "bright-hopes": 5,
    "cake-stand": 1 + 6 * 2 + 2 + 2 * (1 + 2) + 1,
    "churn-dash": 4 * 2 + 4 * 2 + 1,
    "courthouse-steps": 1 + 3 * 4,
    "drunkards-path": 2,
    "drunkards-path-four": 4 * 2,
    "dutchmans-puzzle": 8 * 3,
    "economy": 1 + 4 + 4,
    "eight-point-star": 8 + 4 + 4,
    "flying-geese": 4 * 3,
    "grandmothers-fan": 6 + 2,
    "friendship-star": 5 + 4 * 2,
    "half-square-triangle": 2,
    "hexagon-rosette": 7,
    "hourglass": 4,
    "kaleidoscope": 8 + 4,
    "log-cabin": 1 + 4 * 4,
    "maple-leaf": 3 + 4 * 2 + 1 + 3,
    "nine-patch": 9,
    "nine-patch-star": 9 + 16 + 8,
    "off-centre-log-cabin": 1 + 3 * 4,
    "ohio-star": 5 + 4 * 4,
    "orange-peel": 4 + 1 + 4,
    "pineapple": 1 + 5 * (4 + 4),
    "pinwheel": 4 * 2,
    "rail-fence": 4 * 4,
    "roman-stripe": 4 + 1,
    "sailboat": 4 * 2 + 2 + 5 + 1,
    "sawtooth-star": 1 + 4 + 4 * 3,
    "shoo-fly": 5 + 4 * 2,
    "snail-trail": 4 + 4 * 4,
    "spools": 5,
    "storm-at-sea": 9 + 2 * 5 + 5,
    "triangle-in-a-square": 3,
    "tumbling-blocks": 3,
    "wonky-star": 5 + 4 * 3,
}


@pytest.mark.parametrize(("id", "count"), PIECES.items())
def test_a_block_has_as_many_pieces_as_its_pattern(id: str, count: int) -> None:
    assert len(shapes_of(id)) == count


def _areas(id: str, *names: str) -> list[float]:
    shapes = shapes_of(id)
    return [shapes[name].area for name in names]


def test_the_diamonds_of_the_eight_point_star_are_alike_and_of_45_degrees() -> None:
    side = 12 / (2 + math.sqrt(2))
    diamonds = _areas("eight-point-star", *(f"d{k}" for k in range(1, 9)))
    assert diamonds == pytest.approx([side**2 * math.sin(math.radians(45))] * 8, abs=1e-4)
    assert _areas("eight-point-star", "nw", "n") == pytest.approx([side**2, side**2 / 2], abs=1e-4)


def test_the_drunkards_path_pie_is_a_true_quarter_disc() -> None:
    assert _areas("drunkards-path", "pie") == pytest.approx([math.pi * 4**2 / 4], abs=1e-3)


def test_the_blades_of_the_fan_are_alike() -> None:
    blade = math.pi * (7.5**2 - 2.25**2) / 24
    names = [f"blade{k}" for k in range(1, 7)]
    assert _areas("grandmothers-fan", *names) == pytest.approx([blade] * 6, abs=1e-3)


def test_each_round_of_the_economy_block_doubles_what_is_inside_it() -> None:
    assert _areas("economy", "centre", "in-n", "out-nw") == pytest.approx([36, 9, 18])


def test_the_three_faces_of_a_tumbling_block_are_diamonds_of_60_degrees() -> None:
    faces = [shape.area for shape in shapes_of("tumbling-blocks").values()]
    assert faces == pytest.approx([3**2 * math.sin(math.radians(60))] * 3, abs=1e-4)


def test_the_rails_are_of_four_widths() -> None:
    widths = Counter(round(s.area / 6, 3) for s in shapes_of("rail-fence").values())
    assert widths == {0.75: 4, 1.25: 4, 1.75: 4, 2.25: 4}


def test_the_off_centre_log_cabin_has_its_hearth_off_the_middle() -> None:
    centre = shapes_of("off-centre-log-cabin")["centre"].centroid
    assert (centre.x, centre.y) == pytest.approx((6, 3))


# --- the catalogue ------------------------------------------------------------------------


def test_entries_list_every_block_by_id() -> None:
    assert [entry.id for entry in catalogue.entries()] == IDS


def test_an_entry_tells_name_size_and_number_of_pieces() -> None:
    for entry in catalogue.entries():
        file, shapes = FILES[entry.id], shapes_of(entry.id)
        left, top, right, bottom = shapely.total_bounds(list(shapes.values()))
        assert (entry.name, entry.about) == (file["name"], file["about"])
        assert (entry.width, entry.height) == pytest.approx((right - left, bottom - top), abs=1e-4)
        assert entry.pieces == len(shapes)


@pytest.mark.parametrize("id", IDS)
def test_a_loaded_block_has_the_shapes_and_fabrics_of_its_file(id: str) -> None:
    block = catalogue.load(id)
    shapes = shapes_of(id)
    assert [piece.id for piece in block.pieces] == list(shapes)
    assert {piece.id: piece.fabric for piece in block.pieces} == fabrics_of(id)
    for piece in block.pieces:
        read = Polygon(paths.ring(piece.outline, 1e-5))
        assert read.symmetric_difference(shapes[piece.id]).area < 2e-3


@pytest.mark.parametrize("id", ["no-such-block", "", "../catalogue", "Log-Cabin"])
def test_an_unknown_id_is_a_key_error(id: str) -> None:
    with pytest.raises(KeyError):
        catalogue.load(id)
