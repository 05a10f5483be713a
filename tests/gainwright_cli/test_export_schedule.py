"""``gainwright export --schedule``: gains over the position in the bundle and its self-test."""

from __future__ import annotations

import argparse
import json
import subprocess

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.result_folder import listed_files, result_folder
from gainwright_cli.main import main
from gainwright_cli.proof_check import _check_exported
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_codegen.host import compile_program
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.cases import cases

TRIAL, MACHINE = load_trial(shipped_trial_path("loadside")), load_machine("kiln-shuttle")
AXIS = axis_data(MACHINE)
TABLES = axis_tables(TRIAL, AXIS)
POINTS = [
    {"position_m": place, "gain": TABLES[0].gains[rung]}
    for place, rung in ((-15.0, 40), (0.0, 35), (15.0, 20))
]
RUNGS = TABLES[0].ladder.raw
SOURCE = "gw_schedule_kiln_shuttle.c"


def record(folder, **changed):
    content = {
        "machine": MACHINE.name,
        "trial_digest": TRIAL.digest,
        "machine_digest": AXIS.digest,
        "schedule": {"load_position_gain": POINTS},
    }
    with result_folder(folder) as place:
        text = json.dumps(content | changed)
        (place / "everywhere.json").write_text(text, encoding="utf-8")
    return str(folder)


def export(capsys, *words):
    capsys.readouterr()
    code = main(["export", "kiln-shuttle", "--trial", "loadside", *words])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return code, out, " ".join(err.split())


@pytest.fixture(scope="module")
def bundle(tmp_path_factory):
    """The files of an export with gains over the position."""
    place = tmp_path_factory.mktemp("scheduled")
    words = ["--schedule", record(place / "record"), "--out", str(place / "c")]
    assert main(["export", "kiln-shuttle", "--trial", "loadside", *words]) == 0
    assert {SOURCE, "gw_schedule.h"} <= listed_files(place / "c").keys()
    return {path.name: path.read_bytes() for path in (place / "c").iterdir()}


def selftest(files, **changed):
    program = compile_program(files | changed, ("-O0", "-Wconversion", "-Werror"), "selftest")
    done = subprocess.run([program], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout


def test_self_test_make_and_guide_know_the_schedule(bundle):
    assert selftest(bundle) == (0, "PASS all; failures 0\n")
    assert SOURCE in bundle["Makefile"].decode() and SOURCE in bundle["CMakeLists.txt"].decode()
    guide = bundle["GUIDE.md"].decode()
    assert "## Gains over the position" in guide
    assert f"{POINTS[2]['gain']:.4g} 1/s at 15 m" in guide
    assert SOURCE in bundle["README.txt"].decode()


@pytest.mark.parametrize(
    ("file", "before", "after"),
    cases(
        [
            (SOURCE, b"-15000000, 0,", b"-15000000, 1,"),
            ("gw_schedule.h", b"position_um >= schedule->position_um[last]", b"0"),
        ],
        slow=[
            (SOURCE, str(RUNGS[35]).encode(), str(RUNGS[36]).encode()),
            ("gw_schedule.h", b"at += 1;", b"at += 2;"),
        ],
    ),
)
def test_self_test_notices_a_changed_schedule(bundle, file, before, after):
    assert bundle[file].count(before) == 1
    program = compile_program(
        bundle | {file: bundle[file].replace(before, after)},
        ("-O0", "-fsanitize=address"),
        "selftest",
    )
    done = subprocess.run([program], capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "gain over the position" in done.stdout or "AddressSanitizer" in done.stderr


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"machine": "door-hoist"}, "a record of door-hoist"),
        ({"trial_digest": "0" * 64}, "found: trial_digest 0000"),
        ({"machine_digest": "0" * 64}, "the same --trial and --after"),
        ({"schedule": {}}, "no gains over the position"),
        ({"parts": []}, "the folder of trial loadside inside it"),
        ({"schedule": {"load_position_gain": [POINTS[0], POINTS[0]]}}, "strictly rising"),
        ({"schedule": {"load_position_gain": POINTS[:1]}}, "two points or more"),
        (
            {"schedule": {"load_position_gain": [*POINTS[:2], POINTS[2] | {"gain": 1e-9}]}},
            "a gain from",
        ),
        ({"schedule": {"another_gain": POINTS}}, "make no table"),
    ],
)
def test_a_record_that_does_not_fit_is_refused(capsys, tmp_path, changed, said):
    folder = record(tmp_path / "record", **changed)
    code, out, err = export(capsys, "--schedule", folder, "--out", str(tmp_path / "c"))
    assert code == 2 and not out and said in err
    assert not (tmp_path / "c").exists()


@pytest.mark.slow
def test_export_after_a_record_starts_from_its_gains(capsys, tmp_path):
    stages = [{"stage": "speed_gain", "result": 14.8}]
    with result_folder(tmp_path / "before") as place:
        summary = {"machine": MACHINE.name, "trial": "complete", "stages": stages}
        (place / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    out = tmp_path / "c"
    words = ["--after", str(tmp_path / "before"), "--json", "--out", str(out)]
    code, said, _ = export(capsys, *words)
    assert code == 0
    assert json.loads(said)["machine_digest"] != AXIS.digest
    assert json.loads(said)["schedules"] == []
    assert "gw_schedule.h" not in listed_files(out)


def recheck(folder, schedule):
    """What `prove --recheck --exported` does with the folder, of an export without a stamp."""
    asked = argparse.Namespace(exported=str(folder), machine=None, after=None, schedule=schedule)
    _check_exported(asked, TRIAL, "")


@pytest.mark.slow
def test_an_exported_folder_is_compared_with_its_schedule(bundle, tmp_path):
    schedule = record(tmp_path / "record")
    for name, content in bundle.items():
        (tmp_path / name).write_bytes(content)
    recheck(tmp_path, schedule)
    with pytest.raises(InputError, match=SOURCE):
        recheck(tmp_path, None)
    (tmp_path / SOURCE).write_bytes(bundle[SOURCE].replace(b"0", b"1", 1))
    with pytest.raises(InputError, match=SOURCE):
        recheck(tmp_path, schedule)
