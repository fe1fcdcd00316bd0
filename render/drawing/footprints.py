"""What of a sheet a drawing covers, for those who lay drawings beside each other."""

from __future__ import annotations

import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.drawing.marks import Drawing, Mark, Stroke
from piecewright.render.drawing.shapes import box_polygon, mark_shape


def turns_freely(drawing: Drawing) -> bool:
    """Whether a drawing is a thing to cut out, which may lie any way on the paper.

    All else is there to be read.
    """
    return any(m.kind == "cutting-line" for m in drawing.marks)


def footprint(drawing: Drawing) -> BaseGeometry:
    """The region that a drawing covers, in its own coordinates.

    For a thing to cut out that is the inside of its cutting lines with what stands outside
    them; for anything else its box.
    """
    if not turns_freely(drawing):
        return box_polygon(drawing.box)
    cut = overlaid(
        shapely.union_all,
        [
            polygon_of(m.segments).buffer(PENS[m.kind].half, join_style="mitre")
            for m in drawing.marks
            if isinstance(m, Stroke) and m.kind == "cutting-line" and m.closed
        ],
        on_block=False,
    )
    # Most marks lie inside the cutting line; only what does not makes the region larger.
    inks = (_ink(m) for m in drawing.marks)
    # Labels may stand beside what is cut out, with a leader; they need their place too.
    outside = [ink for ink in inks if not cut.covers(ink)]
    covered: BaseGeometry = overlaid(shapely.union_all, [cut, *outside], on_block=False)
    return covered


def _ink(mark: Mark) -> BaseGeometry:
    """A mark with the width of its line; of a filled path its border, which is around it all."""
    if isinstance(mark, Stroke) and mark.segments:
        points = [*paths.ring(mark.segments), mark.segments[-1].end]
        return LineString(points).buffer(PENS[mark.kind].half)
    return mark_shape(mark)
