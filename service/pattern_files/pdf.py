"""A PDF that a person sends, made safe and read page by page.

pikepdf looks through the file before PDFium sees it, for PDFium draws a form that draws itself
without end. It also knows what PDFium's objects do not tell: layers that are switched off
(optional content, ISO 32000-2, 8.11) and how large a unit of a page is (``UserUnit``, 14.11.2).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

import pikepdf
import pypdfium2 as pdfium
from pikepdf import Name

from piecewright.patchwork.reading.page import Page
from piecewright.service.pattern_files.limits import (
    DEEPEST,
    LARGEST_SIDE,
    MOST_CONTENT,
    MOST_PAGES,
    PatternFileError,
)
from piecewright.service.pattern_files.pdf_marks import page_of

_HIDDEN: Final = "/OFF"

_DRAWS: Final = re.compile(rb"/([^\s/<>\[\](){}%]+)\s+Do\b")
"""The operator that draws a form, after its name."""

_ESCAPED: Final = re.compile(rb"#([0-9a-fA-F]{2})")

_UNREADABLE: Final = "this PDF is damaged, or is none; open it where you can, and save it anew"


def pages_of_pdf(data: bytes) -> list[Page]:
    """What stands on the pages of a PDF.

    Raises:
        PatternFileError: it cannot be read, or has more in it than is read.
    """
    try:
        with pikepdf.open(io.BytesIO(data)) as document:
            units = _checked(document)
            if _hide_layers(document):
                out = io.BytesIO()
                document.save(out)
                data = out.getvalue()
    except pikepdf.PasswordError:
        message = "this PDF is locked with a password; save it without one"
        raise PatternFileError("encrypted", message) from None
    except (pikepdf.PdfError, pikepdf.DataDecodingError, ValueError, RecursionError) as error:
        raise PatternFileError("unreadable", _UNREADABLE) from error
    try:
        opened = pdfium.PdfDocument(data)
    except pdfium.PdfiumError as error:
        raise PatternFileError("unreadable", _UNREADABLE) from error
    try:
        return [page_of(opened, i + 1, unit) for i, unit in enumerate(units)]
    finally:
        opened.close()


def _checked(document: pikepdf.Pdf) -> list[float]:
    """The unit of each page, in 1/72 in, once it is sure that all of them can be read.

    Raises:
        PatternFileError: there are too many, or one is too large or holds too much.
    """
    count = len(document.pages)
    if not 1 <= count <= MOST_PAGES:
        message = f"this PDF has {count} pages; 1 to {MOST_PAGES} are read"
        raise PatternFileError("too-many-pages", message)
    units = []
    content = 0
    for number, page in enumerate(document.pages, 1):
        unit = float(page.obj.get("/UserUnit", 1))
        box = [float(side) for side in page.cropbox]
        longest = max(abs(box[2] - box[0]), abs(box[3] - box[1])) * unit / 72
        if not 0 < longest <= LARGEST_SIDE:
            message = f"page {number} is {longest:,.0f} in long; at most {LARGEST_SIDE} in are read"
            raise PatternFileError("too-large", message)
        content += _content_of(page.obj, number)
        if content > MOST_CONTENT:
            message = "the pages hold far more drawing than a pattern has; send fewer of them"
            raise PatternFileError("too-much", message)
        units.append(unit)
    return units


def _content_of(page: Any, number: int) -> int:
    """Bytes of a page's drawing, forms counted each time that they are drawn.

    A form may draw a form, and so on, each twice: what is drawn then doubles with each.

    Raises:
        PatternFileError: forms are nested too deep, or in a circle.
    """
    sizes: dict[tuple[int, int], int] = {}
    under_way: set[tuple[int, int]] = set()

    def size_of(holder: Any, streams: Sequence[Any], depth: int) -> int:
        if depth > DEEPEST:
            message = (
                f"on page {number} drawings are nested more than {DEEPEST} deep, or in a circle; "
                "print the page to a PDF anew and send that"
            )
            raise PatternFileError("too-deep", message)
        contents = [_unpacked(stream) for stream in streams]
        total = sum(map(len, contents))
        if total > MOST_CONTENT:
            message = "the file holds far more drawing than a pattern has"
            raise PatternFileError("too-much", message)
        for form in _drawn(holder, contents, page):
            key = form.objgen
            if key in under_way:
                message = f"on page {number} a drawing draws itself; save the page anew"
                raise PatternFileError("too-deep", message)
            if key not in sizes:
                under_way.add(key)
                sizes[key] = size_of(form, [form], depth + 1)
                under_way.discard(key)
            total += sizes[key]
        return total

    own = page.get("/Contents")
    streams = list(own) if isinstance(own, pikepdf.Array) else [own] if own is not None else []
    return size_of(page, [s for s in streams if isinstance(s, pikepdf.Stream)], 0)


def _drawn(holder: Any, contents: Iterable[bytes], page: Any) -> Iterator[Any]:
    """The forms that a page or a form with some contents draws, each as often as it does."""
    # A name that a form's own resources do not have is looked for in those of its page.
    own = dict(_named_forms(holder))
    known = dict(_named_forms(page)) | own
    names = [_plain(name) for content in contents for name in _DRAWS.findall(content)]
    yield from (known[name] for name in names if name in known)
    # Whatever else it may draw, in a way that is not seen here, counts once.
    yield from (form for name, form in own.items() if name not in names)


def _plain(name: bytes) -> str:
    """A name without the escapes that it may be written with (ISO 32000-2, 7.3.5)."""
    plain = _ESCAPED.sub(lambda found: bytes([int(found[1], 16)]), name)
    return "/" + plain.decode("utf-8", "replace")


def _unpacked(stream: Any) -> bytes:
    """A stream as it is before it is packed; the memory of the process bounds what that takes."""
    try:
        data: bytes = stream.read_bytes()
    except (pikepdf.PdfError, pikepdf.DataDecodingError):
        return b""  # PDFium will draw what it can of it
    return data


def _forms(holder: Any) -> Iterator[Any]:
    for _, form in _named_forms(holder):
        yield form


def _named_forms(holder: Any) -> Iterator[tuple[str, Any]]:
    resources = holder.get("/Resources")
    found = resources.get("/XObject") if isinstance(resources, pikepdf.Dictionary) else None
    if not isinstance(found, pikepdf.Dictionary):
        return
    for name, form in found.items():
        if isinstance(form, pikepdf.Stream) and form.get("/Subtype") == Name.Form:
            yield name, form


# --- layers ------------------------------------------------------------------------------------


def _hide_layers(document: pikepdf.Pdf) -> bool:
    """Take out what stands on layers that are switched off; whether there was any."""
    hidden = _hidden_layers(document)
    if not hidden:
        return False
    done: set[tuple[int, int]] = set()
    for page in document.pages:
        page.obj.Contents = document.make_stream(_without(page.obj, page, hidden))
        stack = list(_forms(page.obj))
        while stack:
            form = stack.pop()
            if form.objgen in done:
                continue
            done.add(form.objgen)
            stack += _forms(form)
            form.write(_without(form, form, hidden))
    return True


def _hidden_layers(document: pikepdf.Pdf) -> set[tuple[int, int]]:
    """The layers (optional content groups) that are not shown when the file is opened."""
    properties = document.Root.get("/OCProperties")
    if not isinstance(properties, pikepdf.Dictionary):
        return set()
    default = properties.get("/D", pikepdf.Dictionary())
    groups = {group.objgen for group in properties.get("/OCGs", ())}
    off = {group.objgen for group in default.get("/OFF", ())}
    if default.get("/BaseState") == Name(_HIDDEN):
        return groups - {group.objgen for group in default.get("/ON", ())}
    return off


def _is_hidden(layer: Any, hidden: set[tuple[int, int]]) -> bool:
    """Whether a layer, or a membership of several (8.11.2.2), is not shown."""
    if not isinstance(layer, pikepdf.Dictionary | pikepdf.Stream):
        return False
    if layer.get("/Type") != Name.OCMD:
        return layer.objgen in hidden
    groups = layer.get("/OCGs", pikepdf.Array())
    members = list(groups) if isinstance(groups, pikepdf.Array) else [groups]
    shown = [group.objgen not in hidden for group in members]
    policy = str(layer.get("/P", "/AnyOn"))
    rule = {
        "/AllOn": all(shown),
        "/AnyOff": not all(shown),
        "/AllOff": not any(shown),
    }
    return bool(shown) and not rule.get(policy, any(shown))


def _without(holder: Any, content: Any, hidden: set[tuple[int, int]]) -> bytes:
    """A content stream without what stands on hidden layers."""
    resources = holder.get("/Resources", pikepdf.Dictionary())
    layers = resources.get("/Properties", pikepdf.Dictionary())
    forms = resources.get("/XObject", pikepdf.Dictionary())
    kept: list[Any] = []
    open_: list[bool] = []  # for each marked content that is open, whether it is hidden
    for instruction in pikepdf.parse_content_stream(content):
        operands, name = instruction.operands, str(instruction.operator)
        if name in ("BDC", "BMC"):
            open_.append(
                name == "BDC"
                and operands[0] == Name.OC
                and isinstance(operands[1], pikepdf.Name)
                and _is_hidden(layers.get(str(operands[1])), hidden)
            )
        elif name == "EMC" and open_:
            open_.pop()
        elif any(open_) and name in _PAINTS:
            if name in _PATHS:
                kept.append(pikepdf.ContentStreamInstruction([], pikepdf.Operator("n")))
            continue
        elif name == "Do" and _is_hidden(_layer_of(forms.get(str(operands[0]))), hidden):
            continue
        kept.append(instruction)
    return pikepdf.unparse_content_stream(kept)


def _layer_of(form: Any) -> Any:
    return form.get("/OC") if isinstance(form, pikepdf.Stream) else None


_PATHS: Final[Sequence[str]] = ("S", "s", "f", "F", "f*", "B", "B*", "b", "b*")
_PAINTS: Final = frozenset((*_PATHS, "Do", "sh", "Tj", "TJ", "'", '"', "BI", "ID", "EI"))
"""What leaves ink. All else on a hidden layer, a font or a clip, still counts for what follows."""
