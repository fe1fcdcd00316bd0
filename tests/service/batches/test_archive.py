"""All documents of a batch together: a ZIP to hand out, a PDF for a print shop."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pypdf
from flask.testing import FlaskClient

from piecewright.service.batches.files import Files, item_key
from piecewright.service.batches.model import Batch, BatchItem
from piecewright.service.http.batches.archive import zipped
from piecewright.service.settings import Settings
from tests.service.batches.asking import (
    DEFAULTS,
    GUILD,
    Json,
    archived,
    do_all,
    posted,
    state,
)


def named(client: FlaskClient, settings: Settings, names: list[str]) -> Json:
    batch = posted(client, {"defaults": DEFAULTS, "items": [{"for": name} for name in names]})
    do_all(settings)
    return batch


def test_the_archive_has_a_file_for_each_name_and_an_index(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    do_all(settings)
    answer = client.get(batch["links"]["archive"])
    assert answer.mimetype == "application/zip"
    assert 'filename="Harbour sampler.zip"' in answer.headers["Content-Disposition"]
    archive = archived(client, batch)
    assert archive.namelist() == ["00 index.txt", "01 Ada.pdf", "02 Bente.pdf", "03 Carl.pdf"]
    items = state(client, batch)["items"]
    assert answer.headers["Sheets"] == str(sum(item["pages"] for item in items))
    for item, name in zip(items, archive.namelist()[1:], strict=True):
        alone = client.get(item["href"])
        assert archive.read(name) == alone.data
        assert alone.headers["Sheets"] == str(item["pages"])
    index = archive.read("00 index.txt").decode()
    assert index.splitlines()[0] == "Harbour sampler"
    assert "3 of 3 done, 0 failed" in index


def test_what_failed_stands_in_the_index_with_what_is_wrong(
    client: FlaskClient, settings: Settings
) -> None:
    items = [{"for": "Ada"}, {"for": "Bente", "finish": {"width": "wide"}}]
    batch = posted(client, {**GUILD, "items": items})
    do_all(settings)
    archive = archived(client, batch)
    assert archive.namelist() == ["00 index.txt", "01 Ada.pdf"]
    index = archive.read("00 index.txt").decode()
    assert "1 of 2 done, 1 failed" in index
    assert "02 Bente: failed." in index
    assert "/finish/width: " in index


WICKED = [
    "../../etc/passwd",
    "C:\\\\harbour\\\\kit",
    "Ada",
    "ada",
    "Ada",
    "",
    "...",
    "CON",
    "名前",
    "a" * 200,
    'x<y>|?*"z',
]


def test_names_are_safe_in_any_file_system_and_none_stands_twice(
    client: FlaskClient, settings: Settings
) -> None:
    names = archived(client, named(client, settings, WICKED)).namelist()
    assert len({name.casefold() for name in names}) == len(WICKED) + 1
    for number, name in enumerate(names):
        assert name.startswith(f"{number:02}")
        assert not set(name) & set('/\\\\:*?"<>|')
        assert Path(name).name == name
        assert len(name) <= 110
    assert names[9] == "09 名前.pdf"
    assert names[6] == "06.pdf"


def test_another_program_can_read_it(
    client: FlaskClient, settings: Settings, tmp_path: Path
) -> None:
    """Python's own ``zipfile`` wrote it; the system's ``unzip`` reads it, where there is one."""
    content = client.get(named(client, settings, WICKED)["links"]["archive"]).data
    (tmp_path / "kits.zip").write_bytes(content)
    listed = subprocess.run(
        [sys.executable, "-m", "zipfile", "--test", tmp_path / "kits.zip"],
        capture_output=True,
        check=True,
    )
    assert b"Done testing" in listed.stdout


def test_it_is_sent_piece_by_piece(tmp_path: Path) -> None:
    """No more than a piece of one document is in memory, however many there are."""
    files, size = Files(str(tmp_path)), 300_000
    items = tuple(BatchItem(n, 1, f"Maker {n}", "done", 1, 1, None) for n in range(1, 6))
    for item in items:
        files.write(item_key("b", item.number), bytes(size))
    batch = Batch("b", "Kits", "done", 9, 5, 5, 0, 0.0, 1.0, 2.0, items)
    pieces: Iterator[bytes] = zipped(batch, files)
    assert max(len(piece) for piece in pieces) < size / 2


def test_a_print_shop_gets_one_pdf_with_a_bookmark_for_each_name(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    do_all(settings)
    told = state(client, batch)
    for _ in range(2):  # it is put together once, and then kept
        answer = client.get(batch["links"]["archive"], headers={"Accept": "application/pdf"})
        assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
        pdf = pypdf.PdfReader(io.BytesIO(answer.data))
        assert len(pdf.pages) == sum(item["pages"] for item in told["items"])
        first, starts = 0, []
        for item in told["items"]:
            starts.append(first)
            first += item["pages"]
        tops = [mark for mark in pdf.outline if isinstance(mark, pypdf.generic.Destination)]
        assert [pdf.get_destination_page_number(mark) for mark in tops] == starts
        for mark, item in zip(tops, told["items"], strict=True):
            assert item["for"] in str(mark.title)


def test_there_is_nothing_to_print_where_nothing_is_done(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client, {"items": [{"block": "no-such-block"}]})
    do_all(settings)
    address = batch["links"]["archive"]
    assert archived(client, batch).namelist() == ["00 index.txt"]
    assert client.get(address, headers={"Accept": "application/pdf"}).status_code == 404
