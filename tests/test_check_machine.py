"""What is said to somebody whose machine lacks something."""

import subprocess
import sys
from pathlib import Path

import pytest

from tools.check_machine import CAIRO_LIBRARIES, Lack, lacks, message

SCRIPT = Path(__file__).parent.parent / "tools" / "check_machine.py"


def packages(found: list[Lack]) -> list[str]:
    return [lack.package for lack in found]


def test_a_machine_that_has_everything_lacks_nothing() -> None:
    assert lacks((3, 11), lambda _: True, lambda _: True) == []


@pytest.mark.parametrize("name", CAIRO_LIBRARIES)
def test_cairo_under_any_of_its_names_is_enough(name: str) -> None:
    assert lacks((3, 13), lambda _: True, lambda library: library == name) == []


def test_without_cairo_its_package_is_named() -> None:
    assert packages(lacks((3, 11), lambda _: True, lambda _: False)) == ["libcairo2"]


@pytest.mark.parametrize("module", ["venv", "ensurepip"])
def test_without_either_half_of_venv_its_package_is_named(module: str) -> None:
    assert packages(lacks((3, 11), lambda name: name != module, lambda _: True)) == ["python3-venv"]


def test_an_older_python_is_named_with_the_one_that_is_needed() -> None:
    (lack,) = lacks((3, 10), lambda _: True, lambda _: True)
    assert "3.11 or later" in lack.what
    assert "3.10" in lack.what


def test_all_lacks_are_told_at_once_with_one_line_that_installs_them() -> None:
    text = message(lacks((3, 9), lambda _: False, lambda _: False), has_apt=True)
    assert "sudo apt-get install python3 python3-venv libcairo2" in text


def test_where_there_is_no_apt_the_line_is_not_given() -> None:
    text = message([Lack("the cairo graphics library", "libcairo2")], has_apt=False)
    assert "libcairo2" in text
    assert "apt-get" not in text


def test_the_script_is_silent_on_a_machine_that_can_run_these_tests() -> None:
    done = subprocess.run([sys.executable, SCRIPT], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
