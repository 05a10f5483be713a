"""An installation brings a C compiler only where it is asked for, and the README asks only then."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMPILERS = {"ziglang"}
"""Packages that are a compiler."""


def packages(requirements: list[str]) -> set[str]:
    """Names of packages, those behind extras of our own included."""
    found = set()
    for requirement in requirements:
        name, extras = re.match(r"([\w.-]+)(?:\[([\w, -]+)\])?", requirement).groups()
        found.add(name)
        for extra in (extras or "").split(",") if name == PROJECT["name"] else ():
            found |= packages(PROJECT["optional-dependencies"][extra.strip()])
    return found


def test_no_compiler_comes_by_default():
    assert not COMPILERS & packages(PROJECT["dependencies"])
    assert not COMPILERS & packages(PROJECT["optional-dependencies"]["proof"])


def test_a_compiler_comes_where_it_is_asked_for():
    for extra in ("compiler", "crosscheck", "test"):
        assert packages(PROJECT["optional-dependencies"][extra]) >= COMPILERS


def asked_for(path: Path) -> str:
    """What the README's command installs where the programs of one folder are all there is."""
    command = re.search(r"<!-- main job -->\n```\n(.*)\n```", README)[1]
    what = re.search(r"pip install --quiet (\S.*?) && ", command)[1]
    shell = shutil.which("sh")
    done = subprocess.run(
        [shell, "-c", f"printf %s {what}"],
        capture_output=True, text=True, check=True, env={**os.environ, "PATH": str(path)},
    )  # fmt: skip
    return done.stdout


@pytest.mark.parametrize(("names", "wanted"), [((), ".[compiler]"), (("cc",), ".")])
def test_the_readme_asks_for_a_compiler_where_there_is_none(names, wanted, tmp_path):
    for name in names:
        (tmp_path / name).write_text("#!/bin/sh\n", encoding="ascii")
        (tmp_path / name).chmod(0o755)
    assert asked_for(tmp_path) == wanted
