"""Runs as files, and trials that are too large to explore."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from gainwright.errors import InputError, Problem
from gainwright.language.expression import Binary, Operator, Reference
from gainwright.language.model import Kind, Row, Signal, State, Variable
from gainwright_codegen.host.compilation import CompilerLimit
from gainwright_codegen.host.sequencer import CompiledSequencer
from gainwright_proof.exploration import (
    HeldInputs,
    Limits,
    MachinesDifferError,
    Run,
    engine,
    exploration,
    explore,
    read_run,
    replay_run,
    run_text,
)
from gainwright_proof.exploration.shortened import shortened_trial
from gainwright_proof.verdict import HOLDS, Verdict

from ..shared.random_trials import counter_trial, trial_of
from ..shared.requirements import only

ASKED = ("result_with_onset_possible", "trial_ends", "waits_start_at_zero")
TRIAL = only(shortened_trial(100), ASKED)


@pytest.fixture(scope="module")
def explored():
    return explore(TRIAL)


def written(tmp_path, **changes):
    run = Run(TRIAL.name, TRIAL.digest, "some", "witness", (HeldInputs(3, rest()),))
    document = json.loads(run_text(run)) | changes
    path = tmp_path / "run.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def rest(**changes):
    return {signal.name: signal.low for signal in TRIAL.inputs} | changes


BAD_FILES = {
    "no run": ({"format": "else"}, "format"),
    "of another version": ({"version": 2}, "version"),
    "of another trial": ({"digest": "0" * 64}, "digest"),
    "without segments": ({"segments": 3}, "segments"),
    "without a subject": ({"subject": None}, "subject"),
    "too short a stretch": ({"segments": [{"ticks": 0, "inputs": rest()}]}, "segments, number 1"),
    "an input missing": ({"segments": [{"ticks": 1, "inputs": {}}]}, "segments, number 1"),
    "an input out of range": (
        {"segments": [{"ticks": 1, "inputs": rest(ring_level=65_536)}]},
        "segments, number 1, ring_level",
    ),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_bad_file_is_refused_with_the_place(name, tmp_path):
    changes, place = BAD_FILES[name]
    path = written(tmp_path, **changes)
    with pytest.raises(InputError) as caught:
        read_run(path, TRIAL)
    (problem,) = caught.value.problems
    assert (problem.file, problem.place) == (str(path), place)


def test_file_that_is_no_json(tmp_path):
    path = tmp_path / "run.json"
    path.write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match="a run that `gainwright prove` kept"):
        read_run(path, TRIAL)
    with pytest.raises(InputError, match=r"missing\.json"):
        read_run(tmp_path / "missing.json", TRIAL)


@pytest.mark.slow
def test_forced_inputs_cover_every_tick_of_every_input(explored):
    run = explored.runs["result_with_onset_possible"]
    columns = {signal.name: [] for signal in TRIAL.inputs}
    for start, stop, name, value in run.forced_inputs():
        assert len(columns[name]) == start
        columns[name] += [value] * (stop - start)
    by_tick = list(run.inputs_by_tick())
    assert columns == {name: [inputs[name] for inputs in by_tick] for name in columns}


def test_machines_that_part_ways_are_told_apart(monkeypatch):
    given = ("run_permit", "drive_ready", "feedback_valid", "inside_travel_window", "standstill")
    ready = rest(**dict.fromkeys(given, 1))
    inputs = (ready, {**ready, "start_request": 1})
    held = tuple(HeldInputs(1, one) for one in inputs)
    run = Run(TRIAL.name, TRIAL.digest, "some", "witness", held)
    replay_run(TRIAL, run)
    changed = replace(
        TRIAL, rows=tuple(replace(row, target="fault") if row.id == "start" else row
                          for row in TRIAL.rows)
    )  # fmt: skip
    monkeypatch.setattr(
        "gainwright_proof.exploration.replay.CompiledSequencer",
        lambda _: CompiledSequencer(changed),
    )
    with pytest.raises(MachinesDifferError, match=r"tick 2: .* took start to \('energise'"):
        replay_run(TRIAL, run)


@pytest.mark.slow
def test_too_many_states_leave_everything_unfinished_but_what_was_seen():
    exploration = explore(TRIAL, Limits(nodes=1000))
    assert not exploration.complete
    assert "the limit was reached after 1,000 reachable combinations" in exploration.stopped
    verdicts = {finding.subject: finding for finding in exploration.findings}
    assert verdicts["row/start"].verdict is Verdict.PROVED
    assert verdicts["trial_ends"].verdict is Verdict.UNFINISHED
    assert "Induction does not depend" in verdicts["trial_ends"].detail
    assert verdicts["result_with_onset_possible"].verdict is Verdict.UNFINISHED
    assert verdicts["single_hit/idle"].verdict is Verdict.UNFINISHED
    assert exploration.longest_run_ticks is None


@pytest.mark.slow
def test_a_violation_found_before_the_limit_counts():
    rows = tuple(
        replace(row, actions={}) if row.id == "torque_is_built_up" else row for row in TRIAL.rows
    )
    exploration = explore(replace(TRIAL, rows=rows), Limits(nodes=100))
    finding = next(f for f in exploration.findings if f.subject == "waits_start_at_zero")
    assert finding.verdict is Verdict.REFUTED


def test_too_many_codes():
    wide = [
        Variable(f"v{number}", Kind.INTEGER, -(2**31), 2**31 - 1, "", "", 0) for number in range(2)
    ]
    trial = counter_trial()
    exploration = explore(replace(trial, variables=(*trial.variables, *wide)))
    assert exploration.codes == 36 * 2**64
    assert "664,082,786,653,543,858,176 combinations" in exploration.stopped
    assert {finding.verdict for finding in exploration.findings} == {Verdict.UNFINISHED}


def test_too_many_ways_in_which_inputs_matter():
    wide = Signal("by", Kind.INTEGER, 0, 2**24, "", "")
    trial = counter_trial(inputs=(Signal("go", Kind.BOOLEAN, 0, 1, "", ""), wide))
    exploration = explore(trial)
    assert "16777217 values of the input by may matter" in exploration.stopped
    assert {finding.verdict for finding in exploration.findings} == {Verdict.UNFINISHED}


@pytest.mark.parametrize(
    ("limits", "told"),
    [
        (Limits(seconds=0.0), "the limit of 0 s of processor time was reached after"),
        (Limits(megabytes=0.0), "the limit of 0 MB was reached after"),
    ],
)
def test_time_and_memory_have_limits(limits, told, monkeypatch):
    monkeypatch.setattr(exploration, "_SLICE", 9)
    found = explore(counter_trial(), limits)
    assert found.stopped.startswith(told)
    verdicts = {finding.subject: finding.verdict for finding in found.findings}
    assert verdicts["single_hit/only"] is Verdict.UNFINISHED


def test_a_compiler_that_reaches_its_limit_leaves_everything_unfinished(monkeypatch):
    def ended(*_, **__):
        raise CompilerLimit([Problem("explorer.so", "", "no end after 9 s", "an end", "wait")])

    monkeypatch.setattr(engine, "compile_and_load", ended)
    found = explore(counter_trial(), premises=True, in_parts=False)
    assert found.stopped == "the compiler of the explorer was ended: no end after 9 s"
    findings = (*found.findings, *found.premises)
    assert {finding.verdict for finding in findings} == {Verdict.UNFINISHED}


@pytest.mark.slow
def test_progress_is_reported():
    seen = []
    trial = only(shortened_trial(10), ASKED)
    explore(trial, progress=lambda expanded, found: seen.append((expanded, found)))
    assert seen
    assert all(expanded <= found for expanded, found in seen)


def test_a_trial_of_almost_nothing():
    rows = (Row("rest", "only", (), (), "only", {}, ""),)
    trial = trial_of(states=(State("only", "", True, {}),), rows=rows)
    exploration = explore(trial)
    assert (exploration.figures.nodes, exploration.figures.edges) == (1, 1)
    assert {finding.verdict for finding in exploration.findings} <= HOLDS


def test_an_input_with_many_values_that_all_matter():
    """An assigned sum of an input and a variable: 19 values of the input, each for itself."""
    total = Binary(Operator.ADD, Reference("by"), Reference("count_up"))
    trial = counter_trial()
    rows = (replace(trial.rows[0], actions={"count_up": total}), trial.rows[1])
    exploration = explore(replace(trial, rows=rows))
    assert exploration.figures.nodes == 6
    assert exploration.figures.edges == 36
    assert exploration.saturating == ("count_up",)
