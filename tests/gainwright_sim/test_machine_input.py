"""Bad machine descriptions: each gives errors that name file, key and remedy, all in one go."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright_sim.machine import load_machine

from .descriptions import CHAIN, EDITS, GOOD


def problems_of(path: Path) -> tuple:
    with pytest.raises(InputError) as caught:
        load_machine(path)
    for problem in caught.value.problems:
        assert problem.file == str(path)
        assert problem.found and problem.expected and problem.remedy
    return caught.value.problems


def edited(tmp_path: Path, text: str, *edits: tuple[str, str]) -> Path:
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "axis.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_texts_that_the_table_edits_are_good(tmp_path):
    assert load_machine(edited(tmp_path, GOOD)).chain.mass_count == 2
    assert load_machine(edited(tmp_path, CHAIN)).chain.mass_count == 2


@pytest.mark.parametrize("case", EDITS, ids=lambda case: case.replace(" ", "-"))
def test_one_slip_gives_a_message_with_key_and_remedy(tmp_path, case):
    text, old, new, place, remedy = EDITS[case]
    problems = problems_of(edited(tmp_path, text, (old, new)))
    matching = [p for p in problems if p.place == place]
    assert matching, [p.place for p in problems]
    assert remedy in matching[0].remedy + matching[0].expected


def test_a_table_that_is_a_number(tmp_path):
    path = tmp_path / "axis.toml"
    path.write_text("mechanics = 3\n" + GOOD.replace("[mechanics]", "[friction2]"))
    places = [problem.place for problem in problems_of(path)]
    assert "[mechanics]" in places and "friction2" in places


def test_all_problems_are_told_at_once(tmp_path):
    path = edited(
        tmp_path,
        GOOD,
        ("1.6e-3", "-1.6e-3"),
        ("gear_ratio", "gear_rato"),
        ("= 14.0", '= "14.0"'),
        ("jerk_m_per_s3 = 10.0", ""),
    )
    assert [problem.place for problem in problems_of(path)] == [  # in the order of the file
        "mechanics.motor_inertia_kgm2",
        "mechanics.gear_rato",
        "drive.rated_torque_nm",
        "motion.jerk_rad_per_s3",
    ]


CONTENTS = {
    "empty": (b"", "empty"),
    "white space only": (b" \n\t\n", "empty"),
    "comments only": (b"# nothing here\n", "nothing"),
    "binary": (b"\x7fELF\x00\x01\x02", "binary"),
    "not UTF-8": (b'format = 1\nname = "gr\xfcn"\n', "UTF-8"),
    "not TOML": (b"format: 1\nname: axis\n", "TOML"),
    "a number of thousands of digits": (b"format = 1" + b"0" * 9000 + b"\n", "TOML"),
    "brackets without end": (b"a = " + b"[" * 50_000, "TOML"),
    "larger than any description": (b"#" * 1_000_001, "1000001 bytes"),
}


@pytest.mark.parametrize("case", CONTENTS, ids=lambda case: case.replace(" ", "-"))
def test_files_that_are_no_description(tmp_path, case):
    content, word = CONTENTS[case]
    path = tmp_path / "axis.toml"
    path.write_bytes(content)
    text = "\n".join(str(problem) for problem in problems_of(path))
    assert word in text


def test_a_file_of_two_gigabytes_is_refused_unread(tmp_path):
    path = tmp_path / "axis.toml"
    with open(path, "wb") as file:
        file.truncate(2**31)  # sparse
    assert "2147483648 bytes" in problems_of(path)[0].found


def test_paths_that_are_no_file(tmp_path):
    assert "directory" in problems_of(tmp_path)[0].found
    (tmp_path / "axis.toml").write_text(GOOD)
    assert "axis.toml" in problems_of(tmp_path / "axes.toml")[0].remedy
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.toml")
        assert problems_of(tmp_path / "pipe.toml")


def test_an_unknown_shipped_name_suggests_the_nearest():
    with pytest.raises(InputError) as caught:
        load_machine("kiln-shutle")
    (problem,) = caught.value.problems
    assert problem.remedy == "did you mean kiln-shuttle?"
    assert "door-hoist" in problem.expected
