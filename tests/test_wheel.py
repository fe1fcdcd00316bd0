"""What an installed Piecewright puts beside other people's packages: one name, and all of it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The names of the files of a wheel that is built from the repository as it stands."""
    folder = tmp_path_factory.mktemp("wheel")
    # The set-up of the development environment brings what builds wheels: nothing is fetched.
    build = (
        "import sys; from setuptools import build_meta; print(build_meta.build_wheel(sys.argv[1]))"
    )
    copy = folder / "piecewright"
    tracked = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout.decode()
    for name in filter(None, tracked.split("\0")):
        source, target = ROOT / name, copy / name
        if not source.exists():
            continue  # removed, and not committed yet
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_symlink():
            target.symlink_to(source.readlink())
        else:
            target.write_bytes(source.read_bytes())
    subprocess.run(
        [sys.executable, "-c", build, str(folder)], cwd=copy, capture_output=True, check=True
    )
    (built,) = folder.glob("*.whl")
    with ZipFile(built) as archive:
        return archive.namelist()


def test_a_wheel_brings_one_name(wheel: list[str]) -> None:
    tops = {name.split("/")[0] for name in wheel}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"piecewright"}


def test_a_wheel_has_every_module_and_all_data(wheel: list[str]) -> None:
    package = ROOT / "piecewright"
    expected = {
        path.relative_to(ROOT).as_posix()
        for part in ("patchwork", "render", "service")
        for path in (package / part).rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    }
    assert len(expected) > 150
    assert expected - set(wheel) == set()
