"""The command line as a user meets it: bad input gives one clear error, exit code 2, no traces."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_sim.machine import machine_path

from ..shared.small_trial import edited

MACHINE = machine_path("grinder-slide").read_text(encoding="utf-8")
TRIAL = shipped_trial_path("standard").read_text(encoding="utf-8")
INERTIA = re.search(r"^rotor_inertia_kgm2.*$|^motor_inertia_kgm2.*$", MACHINE, re.M).group(0)


def changed(pattern: str, replacement: str, text: str = MACHINE) -> str:
    """A shipped file with one planted mistake; the pattern must occur."""
    result, count = re.subn(pattern, replacement, text, count=1, flags=re.M)
    assert count == 1, pattern
    return result


def key_of(line: str) -> str:
    return line.split("=")[0].strip()


BAD_MACHINES = {
    "wrong_unit": (changed(r"_kgm2 = ", "_gcm2 = "), ["_gcm2", "kgm2"]),
    "negative_inertia": (changed(r"(inertia_kgm2) = ", r"\1 = -"), ["inertia_kgm2", "-"]),
    "nan": (changed(r"(inertia_kgm2) = \S+", r"\1 = nan"), ["inertia_kgm2", "nan"]),
    "infinite": (changed(r"(rated_torque_nm) = \S+", r"\1 = inf"), ["rated_torque_nm", "inf"]),
    "string": (changed(r"(rated_torque_nm) = \S+", r'\1 = "ten"'), ["rated_torque_nm", "ten"]),
    "unknown_key": (changed(r"^\[drive\]", "[drive]\ncolour = 1"), ["colour"]),
    "unknown_table": (MACHINE + "\n[furnace]\nheat_w = 1.0\n", ["furnace"]),
    "missing_key": (changed(r"^rated_torque_nm.*\n", ""), ["rated_torque_nm"]),
    "missing_table": (changed(r"^\[motion\][^\[]*", ""), ["motion"]),
    "zero_tick": (changed(r"(control_tick_s) = \S+", r"\1 = 0.0"), ["control_tick_s"]),
    "odd_tick": (changed(r"(control_tick_s) = \S+", r"\1 = 0.3e-3"), ["control_tick_s", "whole"]),
    "no_toml": ("this is not = = toml", ["TOML"]),
    "empty": ("", ["empty"]),
    "a_trial": (TRIAL, ["trial"]),
}
BAD_TRIALS = {
    "unknown_condition": (
        changed(r'when = \["quiet"\]', 'when = ["qiuet"]', TRIAL), ["qiuet", "quiet"]),
    "unknown_state": (changed(r'to = "stop_axis"', 'to = "stop_axle"', TRIAL), ["stop_axle"]),
    "out_of_range": (changed(r"initial = 0, unit = \"rung\"", 'initial = 999, unit = "rung"',
                             TRIAL), ["999"]),
    "float_constant": (changed(r"(top_rung = \{ value = )127", r"\g<1>127.5", TRIAL), ["127.5"]),
    "division": (changed(r'"wait \+ 1"', '"wait / 2"', TRIAL), ["/"]),
    "duplicate_row": (changed(r'id = "cruise"', 'id = "fault"', TRIAL), ["fault", "second time"]),
    "overlap": (changed(r'unless = \["fault_present", "stop_demanded", "oscillating", '
                        r'"at_top_rung"\]',
                        'unless = ["fault_present", "stop_demanded", "oscillating"]', TRIAL),
                ["raise_gain"]),
    "gap": (changed(r'\[\[rows\]\]\nid = "abort"\n(?:.+\n)+', "", TRIAL), ["close_brake"]),
    "empty": ("", ["empty"]),
    "a_machine": (MACHINE, ["a machine description"]),
}  # fmt: skip


def run(capsys, *words):
    code = main([str(word) for word in words])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def assert_clear_error(code, out, err, *wanted):
    assert code == 2
    assert out == ""
    assert "Traceback" not in err
    for part in ("found:", "expected:", "remedy:"):
        assert part in err
    for pattern in wanted:
        assert re.search(pattern, err), f"{pattern!r} not in:\n{err}"


@pytest.mark.parametrize("case", BAD_MACHINES)
@pytest.mark.parametrize("command", ["rehearse", "export"])
def test_bad_machine(capsys, tmp_path, command, case):
    text, wanted = BAD_MACHINES[case]
    file = tmp_path / "axis.toml"
    file.write_text(text, encoding="utf-8")
    out = tmp_path / "out"
    assert_clear_error(*run(capsys, command, file, "--out", out), "axis.toml|grinder", *wanted)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["axis.toml"]


@pytest.mark.parametrize("case", BAD_TRIALS)
def test_bad_trial(capsys, tmp_path, case):
    text, wanted = BAD_TRIALS[case]
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    out = tmp_path / "out"
    result = run(capsys, "rehearse", "grinder-slide", "--trial", file, "--out", out)
    assert_clear_error(*result, "mine.toml", *wanted)
    assert not out.exists()


def make(kind: str, folder: Path) -> Path:
    """A path that is not a readable text file, of the given kind."""
    path = folder / "thing.toml"
    if kind == "folder":
        path.mkdir()
    elif kind == "binary":
        path.write_bytes(bytes(range(256)) * 8)
    elif kind == "not_utf8":
        path.write_bytes("name = 'größe'\n".encode("latin-1"))
    elif kind == "two_gigabytes":
        with path.open("wb") as stream:
            stream.truncate(2**31)
    return path


@pytest.mark.parametrize("kind", ["missing", "folder", "binary", "not_utf8", "two_gigabytes"])
@pytest.mark.parametrize(
    "words",
    [["rehearse"], ["export", "--out", "out"], ["check"], ["show"],
     ["rehearse", "kiln-shuttle", "--trial"]],
    ids=["rehearse", "export", "check", "show", "trial"],
)  # fmt: skip
def test_what_is_no_text_file(capsys, tmp_path, monkeypatch, words, kind):
    monkeypatch.chdir(tmp_path)
    path = make(kind, tmp_path)
    before = sorted(tmp_path.iterdir())
    assert_clear_error(*run(capsys, *words, path), "thing.toml")
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["rehearse", "kiln-shutle"], "did you mean kiln-shuttle"),
        (["check", "standrad"], "did you mean 'standard'"),
        (["check", "door-hoits"], "did you mean 'door-hoist'"),
        (["show", "nothing"], "standard"),
        (["show", "standrad"], "did you mean 'standard'"),
        (["prove", "kiln-shuttle"], "a machine"),
        (["rehearse", "kiln-shuttle", "--trial", "door-hoist"], "a machine"),
        (["rehearse", ""], "name"),
        (["rehearse", "kiln-shuttle", "--trial", "nothing"], "standard"),
    ],
)
def test_names_that_do_not_exist(capsys, words, wanted):
    assert_clear_error(*run(capsys, *words), wanted)


@pytest.mark.parametrize(
    "words",
    [
        ["rehearse", "kiln-shuttle", "--seed", "-1"],
        ["rehearse", "kiln-shuttle", "--seed", "one"],
        ["campaign", "--count", "0"],
        ["campaign", "--count", "1.5"],
        ["schema", "plant"],
        ["export", "kiln-shuttle"],
        ["fly"],
        [],
    ],
)
def test_bad_options(capsys, words):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    assert "usage:" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ([], "neither a machine nor --family"),
        (["grinder-slide", "--family", "own", "--axis-seed", "1"], "a machine and --family"),
        (["--family", "own"], "--family without"),
        (["grinder-slide", "--axis-seed", "1"], "--axis-seed without"),
    ],
)
def test_rehearse_takes_a_machine_or_a_drawn_axis(capsys, words, found):
    assert_clear_error(*run(capsys, "rehearse", *words), found)


@pytest.mark.parametrize("command", ["rehearse", "export"])
def test_output_that_cannot_be_written(capsys, tmp_path, command):
    file = tmp_path / "file"
    file.write_text("mine")
    for target in (file, file / "below"):
        assert_clear_error(*run(capsys, command, "grinder-slide", "--out", target), "file")
    assert file.read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file"]


def heed_interrupts():
    """A shell lets what it starts in the background ignore them, and so would the command."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def group_size(group):
    """How many processes a group has, as Linux lists them; 0 where there is no such list."""
    stats = (path.read_text() for path in Path("/proc").glob("[0-9]*/stat") if path.exists())
    with contextlib.suppress(OSError):
        return sum(text.rpartition(")")[2].split()[2] == str(group) for text in stats)
    return 0


# A shell shows both as 130; which it is depends on what the interpreter was doing.
INTERRUPTED = (130, -signal.SIGINT)


def begun(folder, *words):
    """The command in a process group of its own."""
    program = (
        "import sys; from gainwright_cli.main import main; import gainwright_sim.campaign.run;"
        "print('ready', file=sys.stderr, flush=True); sys.exit(main(sys.argv[1:]))"
    )
    return subprocess.Popen(
        [sys.executable, "-c", program, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, cwd=folder, start_new_session=True, preexec_fn=heed_interrupts,
    )  # fmt: skip


def begun_campaign(folder, workers):
    """A campaign of many minutes whose workers, if it has any, are there."""
    words = ["campaign", "--count", "5000", "--workers", workers, "--out", "record"]
    process = begun(folder, *words)
    assert process.stderr.readline() == "ready\n"
    wanted = 1 if workers == "1" or sys.platform != "linux" else 1 + int(workers)
    while sys.platform == "linux" and group_size(process.pid) < wanted:
        assert process.poll() is None
        time.sleep(0.02)
    time.sleep(0.5)
    return process


def any_left(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize("workers", ["1", pytest.param("2", marks=pytest.mark.slow)])
def test_interrupt_in_mid_campaign_leaves_nothing(tmp_path, workers):
    process = begun_campaign(tmp_path, workers)
    try:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    finally:
        process.kill()  # a campaign of hours must not outlive a test that was interrupted itself
    assert process.returncode in INTERRUPTED, err
    assert "Traceback" not in err
    assert "interrupted" in err
    assert out == ""
    assert not list(tmp_path.iterdir())
    assert not any_left(process.pid), "a worker goes on without the command"


def test_interrupt_in_a_proof_ends_it_with_a_word_and_its_tools_with_it(tmp_path):
    process = begun(tmp_path, "prove", "gentle", "--out", "evidence")
    try:
        while not process.stderr.readline().endswith("...\n"):
            assert process.poll() is None
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    finally:
        process.kill()
    assert process.returncode in INTERRUPTED, err
    assert "interrupted; nothing was written" in err and "Traceback" not in err
    assert out == "" and not list(tmp_path.iterdir())
    while any_left(process.pid):  # as below: a tool that stays is a test that never ends
        time.sleep(0.05)


@pytest.mark.slow
def test_workers_do_not_outlive_a_campaign_that_was_killed(tmp_path):
    process = begun_campaign(tmp_path, "2")
    process.kill()
    process.communicate()
    # As long as it takes; a worker that stays is a test that never ends, which a reader notices.
    while any_left(process.pid):
        time.sleep(0.05)


def test_interrupt_while_the_record_is_written_leaves_nothing(capsys, tmp_path, monkeypatch):
    from gainwright_sim.rehearsal import record

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(record, "save_picture", interrupted)
    code, out, err = run(capsys, "rehearse", "grinder-slide", "--out", tmp_path / "out")
    assert (code, out) == (130, "")
    assert "interrupted" in err
    assert not list(tmp_path.iterdir())


def test_json_is_json_and_piped_text_is_plain(capsys, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    code, out, _ = run(capsys, "rehearse", "grinder-slide", "--json")
    assert code == 0
    assert json.loads(out)["outcome"] == "finished"
    code, out, _ = run(capsys, "rehearse", "grinder-slide")
    assert code == 0
    assert "\x1b" not in out
    assert "not a safety function" in " ".join(out.split())


def test_schema_and_check_of_shipped_files(capsys):
    for kind in ("trial", "machine", "evidence"):
        code, out, _ = run(capsys, "schema", kind)
        assert code == 0
        assert json.loads(out)["$schema"].startswith("https://json-schema.org/")
    for name, kind in (("standard", "trial"), ("door-hoist", "machine")):
        code, out, _ = run(capsys, "check", name, "--json")
        assert (code, json.loads(out)["kind"]) == (0, kind)


def test_a_file_of_the_other_kind_is_one_sentence(capsys, tmp_path):
    trial, machine = str(shipped_trial_path()), str(machine_path("door-hoist"))
    out = str(tmp_path / "out")
    for words in (
        ("rehearse", trial, "--out", out),
        ("export", trial, "--out", out),
        ("rehearse", "door-hoist", "--trial", machine, "--out", out),
        ("show", machine),
        ("prove", machine),
    ):
        code, _, err = run(capsys, *words)
        assert code == 2
        found, expected = "a trial specification", "a machine description"
        if machine in words:
            found, expected = expected, found
        assert f"found:    {found}\n" in err and f"expected: {expected}\n" in err
        assert err.count("found:") == 1
        assert not Path(out).exists()


def test_check_takes_more_conditions_than_a_word_has_bits(capsys, tmp_path):
    """The exported C holds any number of them."""
    inputs = "".join(f'i{k} = {{ kind = "boolean", meaning = "x" }}\n' for k in range(70))
    conditions = "".join(f'c{k} = {{ holds = "i{k}", meaning = "x" }}\n' for k in range(70))
    names = ["wanted", *(f"c{k}" for k in range(70))]
    stay = '[[rows]]\nid = "stay"\nfrom = "rest"\nunless = ["wanted"]\nwhy = "Not asked for."\n'
    rows = "".join(
        f'[[rows]]\nid = "r{k}"\nfrom = "rest"\nwhen = ["c{k}"]\n'
        f'unless = {names[: k + 1]}\nwhy = "x"\n'
        for k in range(70)
    )
    file = tmp_path / "many.toml"
    file.write_text(
        edited(
            ("[variables]\n", inputs + "\n[variables]\n"),
            ("[states.rest]\n", conditions + "\n[states.rest]\n"),
            (stay, rows + stay.replace('["wanted"]', f"{names}")),
        ),
        encoding="utf-8",
    )
    code, _, err = run(capsys, "check", str(file))
    assert (code, err) == (0, "")


@pytest.mark.skipif(os.name != "posix", reason="a pipe that closes early is a POSIX matter")
def test_reader_that_leaves_early_is_no_error():
    done = subprocess.run(
        f"{sys.executable} -m gainwright_cli.main show | head -1",
        shell=True, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.stderr == ""


def test_a_folder_does_not_hide_what_is_shipped(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "gentle").mkdir()
    (tmp_path / "door-hoist").mkdir()
    code, out, _ = run(capsys, "show", "gentle", "--state", "idle")
    assert code == 0
    assert "State idle" in out
    for name, kind in (("gentle", "trial"), ("door-hoist", "machine")):
        code, out, _ = run(capsys, "check", name)
        assert code == 0 and f"valid {kind}" in out
