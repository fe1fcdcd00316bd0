"""How many patterns are read right, asked and wrong: ``python -m bench.readings``.

Every pattern of the tests, drawn in every way by every program, and each PDF besides with its
page turned, cropped, and written anew by another program. *Right* is complete and true within
0.003 in, allowance included; *asked* has a question; *wrong* is complete and not true, which must
not be. It ends with 1 if any is.
"""

from __future__ import annotations

import io
import statistics
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator

import pikepdf
from pikepdf import Array
from shapely import affinity
from shapely.geometry import Polygon

from piecewright.patchwork.reading.choices import Choices
from piecewright.patchwork.reading.reading import read_pattern
from piecewright.patchwork.reading.results import Reading
from piecewright.service.pattern_files.files import read_file
from tests.service.pattern_files.draughtsmen import DRAUGHTSMEN, Draughtsman, Outlines
from tests.service.pattern_files.patterns import PATTERNS, WAYS, Pattern

PROGRAMS: tuple[type[Draughtsman], ...] = (*DRAUGHTSMEN, Outlines)

_TRUE = 0.003
_ALLOWANCE = 0.25


def main() -> int:
    outcomes: dict[str, Counter[str]] = {way: Counter() for way in WAYS}
    seconds: list[float] = []
    for way, name, file, kind, moved in _files():
        began = time.process_time()
        reading = read_pattern(read_file(file, kind).pages, Choices(side="face"))
        seconds.append(time.process_time() - began)
        outcomes[way][_outcome(reading, PATTERNS[name], moved)] += 1
    print("| drawn | right | asked | wrong |\n| --- | ---: | ---: | ---: |")
    whole: Counter[str] = Counter()
    for way, counted in outcomes.items():
        whole += counted
        print(f"| {way} | {counted['right']} | {counted['asked']} | {counted['wrong']} |")
    print(f"| all | {whole['right']} | {whole['asked']} | {whole['wrong']} |")
    print(f"\nmedian {statistics.median(seconds):.2f} s, longest {max(seconds):.2f} s of CPU")
    return int(whole["wrong"] > 0)


_Moved = Callable[[Polygon], Polygon]


def _files() -> Iterator[tuple[str, str, bytes, str, _Moved]]:
    """Ways, patterns, files, their media types, and where what was drawn has gone."""
    for way, draw in WAYS.items():
        for name, pattern in PATTERNS.items():
            for program in PROGRAMS:
                pen = program()
                draw(pen, pattern)
                file = pen.file()
                yield way, name, file, pen.media_type, lambda shape: shape
                if pen.media_type == "application/pdf":
                    for changed, moved in _changed(file):
                        yield way, name, changed, pen.media_type, moved


def _changed(file: bytes) -> Iterator[tuple[bytes, _Moved]]:
    """The same page turned upside down, cropped, and written anew."""
    with pikepdf.open(io.BytesIO(file)) as document:
        page = document.pages[0].obj
        page.Rotate = 180
        yield _saved(document), lambda shape: affinity.rotate(shape, 180, origin=(4.25, 5.5))
        page.Rotate = 0
        page.CropBox = Array([18, 18, 594, 774])
        yield _saved(document), lambda shape: affinity.translate(shape, -0.25, -0.25)
    with pikepdf.open(io.BytesIO(file)) as document:
        document.pages[0].contents_coalesce()
        out = io.BytesIO()
        document.save(out, compress_streams=True, linearize=True)
        yield out.getvalue(), lambda shape: shape


def _saved(document: pikepdf.Pdf) -> bytes:
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def _outcome(reading: Reading, pattern: Pattern, moved: _Moved) -> str:
    if not reading.is_complete:
        return "asked"
    found = {p.id: Polygon(p.outline) for s in reading.sections for p in s.pieces}
    true = {f"{s.id}{n}": moved(p) for s in pattern for n, p in enumerate(s.pieces, 1)}
    right = found.keys() == true.keys() and all(
        true[id].hausdorff_distance(found[id]) < _TRUE for id in true
    )
    right = right and all(
        s.allowance is not None and abs(s.allowance - _ALLOWANCE) < 0.01 for s in reading.sections
    )
    return "right" if right else "wrong"


if __name__ == "__main__":
    sys.exit(main())
