"""Documents in a local folder, and in a store of objects that fsspec brings along.

``memory://`` stands for object stores: it has keys and no folders, as they do. No server
that speaks S3 was at hand to test with.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from piecewright.service.batches.files import Files
from piecewright.service.settings import Settings
from tests.service.batches.asking import client_of, do_all, every_item_once, kept_in, many, posted


@pytest.fixture(params=["local", "file", "memory"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    return {
        "local": str(tmp_path / "documents"),
        "file": f"file://{tmp_path}/documents",
        "memory": f"memory://{tmp_path.name}/documents",
    }[request.param]


def test_what_is_written_is_read(place: str) -> None:
    files = Files(place)
    files.write("b/00001.pdf", b"first")
    files.write("b/00001.pdf", b"second")
    assert files.read("b/00001.pdf") == b"second"
    with Files(place).open("b/00001.pdf") as document:
        assert document.read(3) == b"sec"


def test_a_batchs_documents_are_removed_together(place: str) -> None:
    files = Files(place)
    for key in ("b/00001.pdf", "b/collated.pdf", "c/00001.pdf"):
        files.write(key, b"x")
    files.remove("b/00001.pdf")
    files.remove("b/00001.pdf")
    files.remove_all("b")
    files.remove_all("b")
    files.remove_all("never")
    for key in ("b/00001.pdf", "b/collated.pdf"):
        with pytest.raises(FileNotFoundError):
            files.read(key)
    assert files.read("c/00001.pdf") == b"x"


def test_nothing_half_written_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> int:
        with path.open("wb") as file:
            file.write(content[:2])
        raise OSError(28, "No space left on device")

    files = Files(str(tmp_path))
    files.write("b/00001.pdf", b"whole")
    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space"):
        files.write("b/00001.pdf", b"another")
    with pytest.raises(OSError, match="No space"):
        files.write("b/00002.pdf", b"another")
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["00001.pdf"]
    assert files.read("b/00001.pdf") == b"whole"


def test_a_batch_whose_documents_are_kept_elsewhere(tmp_path: Path) -> None:
    settings: Settings = kept_in(tmp_path, files=f"memory://{tmp_path.name}/kits")
    client = client_of(settings)
    batch = posted(client, many(slow=0))
    do_all(settings)
    every_item_once(client, batch)
    assert client.delete(batch["links"]["self"]).status_code == 204
    with pytest.raises(FileNotFoundError):
        Files(settings.files).read(f"{batch['id']}/00001.pdf")


def test_removing_goes_on_when_another_removes_and_writes_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = Files(str(tmp_path))
    for number in range(1, 6):
        files.write(f"b/{number:05}.pdf", b"x")
    unlink, rmdir = os.unlink, os.rmdir
    late = iter(["b/00007.pdf"])

    def unlink_after_another(path: str, *, dir_fd: int | None = None) -> None:
        unlink(path, dir_fd=dir_fd)
        unlink(path, dir_fd=dir_fd)

    def rmdir_after_another(path: str, *, dir_fd: int | None = None) -> None:
        for key in late:
            files.write(key, b"x")
        rmdir(path, dir_fd=dir_fd)

    with monkeypatch.context() as patched:
        patched.setattr(os, "unlink", unlink_after_another)
        patched.setattr(os, "rmdir", rmdir_after_another)
        files.remove_all("b")
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_removed_is_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: str, *, dir_fd: int | None = None) -> None:
        raise PermissionError(13, "Permission denied", path)

    files = Files(str(tmp_path))
    files.write("b/00001.pdf", b"x")
    with monkeypatch.context() as patched:
        patched.setattr(os, "unlink", refuse)
        with pytest.raises(PermissionError):
            files.remove_all("b")


def test_folders_are_known_and_for_how_long_nothing_was_written(place: str) -> None:
    files = Files(place)
    assert files.folders() == []
    assert files.unchanged_for("never") == 0
    for key in ("b/00001.pdf", "b/00002.pdf", "c/00001.pdf"):
        files.write(key, b"x")
    assert sorted(files.folders()) == ["b", "c"]
    assert 0 <= files.unchanged_for("b") < 3600
    files.remove_all("b")
    assert files.folders() == ["c"]
