"""The guide of a bundle, its example, and its make and CMake files."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.bundle.guide import FIGURES, MEANT

from ..shared.bundles import write_standard_bundle
from ..shared.compilers import available

pytestmark = pytest.mark.usefixtures("scratch_cache")


@pytest.fixture(scope="module")
def folder(scratch_cache, tmp_path_factory):
    place = tmp_path_factory.mktemp("guide") / "bundle"
    return write_standard_bundle(place)


def check_output(text: str) -> None:
    assert "PASS" in text
    (said,) = re.findall(r"(\d+) ticks, code (\d+), end reason (\d+).*fault 0", text)
    # The invented drive has a limit: the trial finds it, or what noise allows, and verifies.
    assert int(said[0]) > 10_000 and int(said[2]) in (1, 2), said


@pytest.mark.skipif(shutil.which("make") is None, reason="make is not installed")
@pytest.mark.skipif(not available("gcc"), reason="gcc is not installed")
def test_make_builds_and_runs_self_test_and_example(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "made")
    flags = "CFLAGS=-std=c99 -O1 -Wall -Wextra -Wconversion -pedantic -Werror"
    done = subprocess.run(
        ["make", "CC=gcc", flags],
        cwd=tmp_path / "made",
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    check_output(done.stdout)


@pytest.mark.skipif(shutil.which("cmake") is None, reason="cmake is not installed")
@pytest.mark.skipif(shutil.which("ctest") is None, reason="ctest is not installed")
@pytest.mark.slow
def test_cmake_builds_and_runs_self_test_and_example(folder, tmp_path):
    build = str(tmp_path / "build")
    for command in (["cmake", "-S", str(folder), "-B", build], ["cmake", "--build", build]):
        subprocess.run(command, capture_output=True, check=True)
    done = subprocess.run(
        ["ctest", "--test-dir", build, "--verbose"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
    check_output(done.stdout)


def test_the_guide_names_what_the_code_has(folder):
    guide = (folder / "GUIDE.md").read_text()
    code = "".join(path.read_text() for path in folder.glob("*.[ch]"))
    for name in re.findall(r"\b(?:gw_\w+|GW_\w*[A-Z])\b(?!\.)", guide):
        assert name in code, name
    for heading in ("Blocks", "Times", "Inputs", "Outputs", "Motion", "Gains", "Faults", "Build",
                    "What it costs", "Checklist", "Deviations"):  # fmt: skip
        assert f"\n## {heading}" in guide
    inputs = {signal.name for signal in load_trial(shipped_trial_path()).inputs}
    assert inputs & MEANT.keys()
    assert all(f"`{name}`" in guide for name in inputs)
    assert all(name in guide for name in FIGURES)
