"""Writing a bundle: what is replaced, what is left alone, what is refused, and in which words."""

from __future__ import annotations

import dataclasses
import os
import sys
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.model import Condition, Kind, Signal, State, Variable
from gainwright.language.parse import parse
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_codegen.bundle.axis import check_export_folder, write_bundle
from gainwright_codegen.bundle.bundle import Bundle, make_bundle
from gainwright_codegen.trial_c.identifiers import check_exportable
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.bundles import write_standard_bundle
from ..shared.random_trials import counter_trial


@pytest.fixture(scope="module")
def bundle() -> Bundle:
    return make_bundle(counter_trial())


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_folders_are_made_and_nothing_else_is_left(bundle, tmp_path):
    write_bundle(bundle, tmp_path / "a" / "b")
    assert content(tmp_path / "a" / "b") == bundle.files


def test_an_earlier_export_is_replaced_and_other_files_stay(bundle, tmp_path):
    more = {**bundle.files, "gw_old.c": b"/* from an earlier version */\n"}
    write_bundle(dataclasses.replace(bundle, files=more), tmp_path)
    (tmp_path / "notes.txt").write_text("mine")
    write_bundle(bundle, tmp_path)
    assert content(tmp_path) == {**bundle.files, "notes.txt": b"mine"}


def test_an_exported_file_that_was_changed_is_noticed(bundle, tmp_path):
    write_bundle(bundle, tmp_path)
    (tmp_path / "gw_trial.c").write_text("edited")
    before = content(tmp_path)
    with pytest.raises(InputError, match=r"gw_trial\.c, changed since gainwright wrote it"):
        write_bundle(bundle, tmp_path)
    assert content(tmp_path) == before
    write_bundle(bundle, tmp_path, force=True)
    assert content(tmp_path) == bundle.files


@pytest.mark.parametrize(
    ("trial", "machine", "found"),
    [("gentle", "kiln-shuttle", "standard for kiln"), ("standard", "grinder-slide", "for kiln")],
)
def test_the_export_of_another_trial_or_machine_is_not_replaced(tmp_path, trial, machine, found):
    before = content(write_standard_bundle(tmp_path / "out"))
    other, axis = load_trial(shipped_trial_path(trial)), axis_data(load_machine(machine))
    with pytest.raises(InputError, match=f"an export of trial .*{found}.*"):
        check_export_folder(tmp_path / "out", other, axis)
    check_export_folder(tmp_path / "out", other, axis, force=True)
    assert content(tmp_path / "out") == before


def test_a_start_gain_that_no_signal_shows_is_refused():
    axis = axis_data(load_machine("kiln-shuttle"))
    tiny = dataclasses.replace(axis, start_settings={**axis.start_settings, "speed_gain": 3.5e-9})
    with pytest.raises(InputError, match=r"3\.5e-09 N m s/rad, 1\.52e-08 per unit"):
        axis_tables(load_trial(shipped_trial_path()), tiny)


def _file_instead_of_folder(path: Path) -> Path:
    path.write_text("a file")
    return path


def _file_as_parent(path: Path) -> Path:
    path.write_text("a file")
    return path / "below"


def _foreign_file(path: Path) -> Path:
    path.mkdir()
    (path / "README.txt").write_text("somebody else's")
    return path


def _foreign_folder(path: Path) -> Path:
    path.mkdir()
    (path / "gw_trial.c").mkdir()
    return path


def _foreign_sums(path: Path) -> Path:
    path.mkdir()
    (path / "SHA256SUMS").write_bytes(b"\xff\xfe\x00")
    return path


def _system_folder(path: Path) -> Path:
    return Path("/proc/gainwright-export")


def _read_only(path: Path) -> Path:
    path.mkdir(mode=0o555)
    return path


def _too_long(path: Path) -> Path:
    return path / ("x" * 300)


@pytest.mark.parametrize(
    ("prepare", "words"),
    [
        (_file_instead_of_folder, "a file"),
        (_file_as_parent, "Not a directory"),
        (_foreign_file, "README.txt, not written by gainwright"),
        (_foreign_folder, "gw_trial.c, not written by gainwright"),
        (_foreign_sums, "SHA256SUMS, not written by gainwright"),
        pytest.param(
            _system_folder,
            "/proc/gainwright-export",
            marks=pytest.mark.skipif(sys.platform != "linux", reason="/proc is Linux"),
        ),
        pytest.param(
            _read_only,
            "Permission denied",
            marks=pytest.mark.skipif(
                not hasattr(os, "geteuid") or os.geteuid() == 0,
                reason="the superuser writes anywhere",
            ),
        ),
        (_too_long, "too long"),
    ],
)
def test_folders_that_cannot_take_it(bundle, tmp_path, prepare, words):
    target = prepare(tmp_path / "out")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError) as caught:
        write_bundle(bundle, target)
    (problem,) = caught.value.problems
    assert words in str(problem) and str(target) in str(problem)
    assert problem.remedy and problem.expected
    assert sorted(tmp_path.rglob("*")) == before


def _boolean(name: str) -> Signal:
    return Signal(name, Kind.BOOLEAN, 0, 1, "", "")


def _variables(count: int) -> tuple[Variable, ...]:
    return tuple(Variable(f"v{k}", Kind.INTEGER, 0, 1, "", "", 0) for k in range(count))


_GOOD = counter_trial()
_ONLY = _GOOD.states[0]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"inputs": (*_GOOD.inputs, _boolean("Go"))}, "'Go' and 'go'"),
        ({"inputs": (*_GOOD.inputs, _boolean("count"))}, "does not use itself"),
        ({"inputs": (*_GOOD.inputs, _boolean("slots"))}, "does not use itself"),
        ({"inputs": (*_GOOD.inputs, _boolean("x" * 41))}, "at most 40"),
        ({"inputs": (*_GOOD.inputs, _boolean("größe"))}, "letters, digits"),
        ({"inputs": (*_GOOD.inputs, _boolean("3d"))}, "letters, digits"),
        ({"inputs": (*_GOOD.inputs, _boolean("a b"))}, "letters, digits"),
        ({"conditions": (Condition("bit", parse("true"), ""),)}, "does not use itself"),
        ({"states": (_ONLY, State("ONLY", "", True, {}))}, "'ONLY' and 'only'"),
        ({"variables": _variables(65)}, "65 variables"),
        ({"rows": _GOOD.rows * 40000}, "80000 rows"),
    ],
)
def test_trials_that_c_cannot_hold(changes, words):
    with pytest.raises(InputError, match=words):
        check_exportable(counter_trial(**changes))


def test_all_problems_at_once():
    with pytest.raises(InputError) as caught:
        check_exportable(counter_trial(inputs=(_boolean("count"),), variables=_variables(65)))
    assert len(caught.value.problems) == 2


def test_conditions_need_not_fit_one_word():
    many = tuple(Condition(f"c{k}", parse("true"), "") for k in range(65))
    check_exportable(counter_trial(conditions=(*_GOOD.conditions, *many)))
