"""Bad trial files: every problem at once, each with file, place, finding and remedy."""

from __future__ import annotations

import os

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path

from ..shared.small_trial import SMALL, edited
from .trial_mistakes import CASES, EXTRA_EDITS, FOLLOW_UPS


@pytest.mark.parametrize("case", CASES)
def test_one_mistake_is_reported_in_its_place(case, tmp_path):
    old, new, place, found, advice = CASES[case]
    file = tmp_path / "bad.toml"
    file.write_text(edited((old, new), *EXTRA_EDITS.get(case, [])), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_trial(file)
    problems = caught.value.problems
    fitting = [
        problem
        for problem in problems
        if place in problem.place
        and found in problem.found
        and advice in f"{problem.expected} {problem.remedy}"
    ]
    assert fitting, str(caught.value)
    for problem in problems:
        assert problem.file == str(file)
        assert all((problem.place, problem.found, problem.expected, problem.remedy))
    assert "Traceback" not in str(caught.value)


@pytest.mark.parametrize("case", sorted(CASES.keys() - FOLLOW_UPS))
def test_one_mistake_is_few_problems(case, tmp_path):
    old, new, *_ = CASES[case]
    file = tmp_path / "bad.toml"
    file.write_text(edited((old, new), *EXTRA_EDITS.get(case, [])), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_trial(file)
    assert len(caught.value.problems) <= 2, str(caught.value)


def test_all_mistakes_are_reported_in_one_go(tmp_path):
    file = tmp_path / "bad.toml"
    cases = ["decimal number", "unknown condition", "division", "unknown hazard", "ratio of one"]
    file.write_text(edited(*(CASES[case][:2] for case in cases)), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_trial(file)
    text = str(caught.value)
    for case in cases:
        assert CASES[case][3] in text


def test_the_small_trial_itself_is_good(tmp_path):
    file = tmp_path / "good.toml"
    file.write_text(SMALL, encoding="utf-8")
    assert [row.id for row in load_trial(file).rows][:2] == ["begin", "stay"]


def _bytes_file(content: bytes):
    def make(folder):
        path = folder / "trial.toml"
        path.write_bytes(content)
        return path

    return make


def _fifo(folder):
    path = folder / "pipe"
    os.mkfifo(path)
    return path


FILES = {
    "empty": (_bytes_file(b""), "empty"),
    "blank": (_bytes_file(b" \n\n"), "empty"),
    "binary": (_bytes_file(b"\x7fELF\x00\x01\x02"), "binary"),
    "not UTF-8": (_bytes_file(b'[trial]\nname = "\xff"'), "UTF-8"),
    "no TOML": (_bytes_file(b"[trial\nname = 3"), "TOML"),
    "key twice": (_bytes_file(b"[trial]\nname = 1\nname = 2"), "TOML"),
    "nested too deep": (_bytes_file(b"a = " + b"[" * 100_000), "TOML"),
    "huge number": (_bytes_file(b"a = " + b"9" * 20_000), "TOML"),
    "huge": (_bytes_file(b"#" * 3_000_000), "bytes"),
    "missing": (lambda folder: folder / "nothing.toml", "no such file"),
    "directory": (lambda folder: folder, "directory"),
    "pipe": (_fifo, "file"),
    "NUL in the path": (lambda folder: folder / "a\0b", "read"),
    "name too long": (lambda folder: folder / ("a" * 5000), "read"),
}


@pytest.mark.parametrize("case", FILES)
def test_unreadable_files(case, tmp_path):
    make, said = FILES[case]
    path = make(tmp_path)
    with pytest.raises(InputError) as caught:
        load_trial(path)
    (problem,) = caught.value.problems
    assert problem.file == str(path)
    assert said in f"{problem.found} {problem.expected}"
    assert problem.remedy


def test_unknown_shipped_trial():
    with pytest.raises(InputError, match="standard"):
        shipped_trial_path("stanard")
