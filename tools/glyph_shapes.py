"""Writes the table of figures by which numbers without text are known: reading/glyph_shapes.py.

``python -m tools.glyph_shapes TYPEFACE.ttf …`` prints it. The typefaces are to be of different
kinds: without serifs, with them, bold, and of one width.
"""

from __future__ import annotations

import string
import sys

import shapely
from fontTools.pens.qu2cuPen import Qu2CuPen
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from shapely.geometry import Polygon

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.reading.glyphs import code_of, shape_of

CHARACTERS = string.digits + string.ascii_uppercase


def main(typefaces: list[str]) -> None:
    print('"""Figures of a few typefaces on a grid: made by ``tools.glyph_shapes``."""\n')
    print("from __future__ import annotations\n\nfrom typing import Final\n")
    print("COLUMNS: Final = 12\nROWS: Final = 16\n")
    print("SHAPES: Final[dict[str, tuple[tuple[str, float, int], ...]]] = {")
    fonts = [TTFont(name) for name in typefaces]
    for character in CHARACTERS:
        print(f'    "{character}": (')
        for font in fonts:
            cells, aspect, holes = shape_of(_figure(font, character))
            print(f'        ("{code_of(cells)}", {aspect:.3f}, {holes}),')
        print("    ),")
    print("}")
    print('"""By character, for each typeface: cells as hexadecimal digits, row by row; width by')
    print('height; and how many holes."""')


def _figure(font: TTFont, character: str) -> Polygon:
    glyphs = font.getGlyphSet()
    # Curves of either kind of typeface as cubics, and those as chords.
    pen = DecomposingRecordingPen(glyphs)
    glyphs[font.getBestCmap()[ord(character)]].draw(Qu2CuPen(pen, 0.1, all_cubic=True))
    rings: list[list[Point]] = []
    for operator, points in pen.value:
        if operator == "moveTo":
            rings.append([points[0]])
        elif operator == "lineTo":
            rings[-1].append(points[0])
        elif operator == "curveTo":
            rings[-1] += paths.flatten(paths.Curve(rings[-1][-1], *points), 2.0)
    # y goes up in a typeface, and down on a page.
    shapes = [Polygon([(x, -y) for x, y in ring]).buffer(0) for ring in rings if len(ring) > 2]
    whole: shapely.Geometry = shapes[0]
    for shape in shapes[1:]:
        whole = shapely.symmetric_difference(whole, shape)
    return max(polygons(whole), key=lambda part: part.area)


if __name__ == "__main__":
    main(sys.argv[1:])
