"""The trials that come with the package."""

from __future__ import annotations

import tomllib
from pathlib import Path

from gainwright.described.nearest import suggestion
from gainwright.errors import input_error

_FOLDER = Path(__file__).parent.parent / "trials"


def shipped_trial_names() -> tuple[str, ...]:
    """Return the names of the shipped trials, sorted."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.toml")))


def shipped_trial_path(name: str = "standard") -> Path:
    """Return the file of a shipped trial; InputError if there is none of that name."""
    if name not in shipped_trial_names():
        raise input_error(
            name,
            "",
            "no shipped trial of that name",
            f"one of {', '.join(shipped_trial_names())}",
            suggestion(name, shipped_trial_names(), "give the path of a file"),
        )
    return _FOLDER / f"{name}.toml"


def shipped_trial_title(name: str) -> str:
    """Return the title of a shipped trial; the rest of its file is not looked at."""
    text = shipped_trial_path(name).read_text(encoding="utf-8")
    return str(tomllib.loads(text)["trial"]["title"])
