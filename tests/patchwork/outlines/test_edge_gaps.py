"""How far points are from straight and curved edges, against Shapely's distances."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.geometry.path_arrays import chains
from piecewright.patchwork.outlines.edge_gaps import EdgeGaps

FINE = 2e-5


@pytest.mark.parametrize("name", ["drunkards-path-four", "orange-peel", "ohio-star"])
def test_a_point_is_as_near_to_an_edge_as_shapely_says(name: str) -> None:
    seams = planar_map([p.outline for p in catalogue.load(name).pieces])
    along = chains([edge.segment for edge in seams.edges], FINE)
    owner = np.repeat(np.arange(len(seams.edges)), np.diff(along.starts))
    lines = np.asarray(shapely.linestrings(along.points, indices=owner))
    gaps = EdgeGaps(along, lines, FINE)
    rng = np.random.default_rng(1)
    size = along.points.max()
    places = np.repeat(rng.uniform(-0.1 * size, 1.1 * size, (40, 2)), len(lines), axis=0)
    edges = np.tile(np.arange(len(lines)), 40)
    exactly = shapely.distance(shapely.points(places), lines[edges])
    least, most = gaps.bounds(places, edges)
    assert (least <= exactly + 1e-9).all()
    assert (exactly <= most + 1e-9).all()
    within = float(np.median(exactly))
    close = gaps.close(places, edges, within)
    assert (close == (exactly <= within)).all()
    surely = gaps.surely_close(places, edges, within)
    assert not (surely & ~close).any()
    assert surely.sum() > 0.9 * close.sum()
    assert gaps.exactly(places, edges) == pytest.approx(exactly)
    assert not len(gaps.exactly(places[:0], edges[:0]))
