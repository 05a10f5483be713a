"""The shipped trial, explored as a whole: counts, verdicts, coverage, speed."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from gainwright.language.attainable import Attainable
from gainwright.language.load import load_trial
from gainwright.language.scope import Bounds
from gainwright.language.shipped import shipped_trial_path
from gainwright.language.single_hit_solver import solved_faults
from gainwright.language.table_fault import DeadRow
from gainwright_codegen.host.sequencer import CompiledSequencer
from gainwright_proof.exploration import confirms, explore, replay_run
from gainwright_proof.verdict import HOLDS, Verdict
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rig.run import Override

pytestmark = pytest.mark.slow

NODES_BY_STATE = {
    "idle": 2, "energise": 101, "open_brake": 1001, "approach": 10_001, "move": 3_201_279,
    "hear_own_noise": 769_280, "pulse": 1280, "detect": 1_921_280, "back_off": 900_450,
    "verify_move": 6_752_700, "verify_noise": 1_622_700, "verify_pulse": 2700,
    "verify_detect": 4_052_700, "stop_axis": 478_238, "close_brake": 48_441, "finished": 226,
    "noise_limited": 224, "aborted": 28, "fault": 14,
}  # fmt: skip
"""Each factor is explained below, so that a change of the trial can be told from an error."""


@pytest.fixture(scope="module")
def explored():
    trial = load_trial(shipped_trial_path())
    explore(trial)  # compiles, if that was not done before
    start = time.process_time()
    exploration = explore(trial)
    return trial, exploration, time.process_time() - start


def test_counts(explored):
    _, exploration, _ = explored
    figures = exploration.figures
    assert exploration.nodes_by_state == NODES_BY_STATE
    assert figures.nodes == 19_762_645
    assert figures.edges == 248_308_965
    assert figures.held == figures.expanded == 483_018
    assert figures.walked >= figures.nodes - figures.held
    assert figures.depth == 12_305


def test_counts_follow_from_times_and_ladder(explored):
    """Rungs 0 to 127, two directions, repeats, ticks 0 to the longest wait; 112 lowered rungs."""
    trial, exploration, _ = explored
    rungs = trial.constant("top_rung") + 1
    lowered = rungs - trial.constant("margin_rungs")
    waits = {name: trial.constant(f"{name}_timeout_ticks") + 1 for name in
             ("approach", "move", "noise", "listen", "back_off")}  # fmt: skip
    counts = exploration.nodes_by_state
    assert counts["approach"] == waits["approach"]
    # The last repeat may be tried twice.
    tried = rungs * 2 * (trial.constant("most_repeats") + 2)
    assert counts["pulse"] == tried
    # The first move goes to the upper end: only after a turn can rung 0 be on its way down.
    assert counts["move"] == tried * waits["move"] - 1
    assert counts["hear_own_noise"] == tried * waits["noise"]
    assert counts["detect"] == tried * waits["listen"]
    # Limits by onset, by noise, and the quiet top rung.
    limits = 2 * lowered + 1
    assert counts["back_off"] == limits * 2 * waits["back_off"]
    checks = limits * 2 * 2 * (trial.constant("most_repeats")
                               - trial.constant("repeats_before_verification") + 2)  # fmt: skip
    assert counts["verify_pulse"] == checks
    assert counts["verify_move"] == checks * waits["move"]
    assert counts["verify_noise"] == checks * waits["noise"]
    assert counts["verify_detect"] == checks * waits["listen"]
    # With and without the request released; the quiet top rung ends as finished.
    assert (counts["finished"], counts["noise_limited"]) == (2 * (lowered + 1), 2 * lowered)


def test_everything_is_proved_and_in_time(explored):
    trial, exploration, seconds = explored
    assert exploration.complete
    tested = {f.subject for f in exploration.findings if f.verdict is not Verdict.PROVED}
    assert tested == {"exported_code_one_step"}
    assert {finding.verdict for finding in exploration.findings} <= HOLDS
    subjects = [finding.subject for finding in exploration.findings]
    assert len(subjects) == len(set(subjects))
    assert set(subjects) >= {requirement.id for requirement in trial.requirements}
    assert set(subjects) >= {f"single_hit/{state.name}" for state in trial.states}
    assert set(subjects) >= {f"row/{row.id}" for row in trial.rows}
    assert seconds < 60


def test_longest_times_are_those_that_the_requirements_allow(explored):
    """The bounds in the file are sharp: for each of these some inputs need just as long."""
    trial, exploration, _ = explored
    within = {requirement.id: requirement.within_ticks for requirement in trial.requirements}
    found = {finding.subject: finding.figures.get("longest_ticks")
             for finding in exploration.findings}  # fmt: skip
    for name in ("stop_is_bounded", "energise_ends", "approach_ends", "move_ends",
                 "listening_ends", "noise_hearing_ends", "back_off_ends",
                 "sinking_axis_is_caught", "pulse_ends",
                 "permit_loss_withdraws_torque", "window_left_stops_the_axis"):  # fmt: skip
        assert found[name] == within[name], name
    # That of the trial as a whole is not: not every rung can take all repeats.
    assert exploration.longest_run_ticks == found["trial_ends"] == 2_979_076 < within["trial_ends"]


NEVER_MET = {
    # In close_brake noise_found stands only beside verified, and did_not_stop never does.
    ("finish_below_noise", "result_verified"),
    ("axis_ran_on", "result_verified"),
}
"""Conditions that no reachable tick leaves to decide alone, though values of variables could."""


def flipped(row, name):
    when = [n for n in row.when if n != name] + [name] * (name in row.unless)
    unless = [n for n in row.unless if n != name] + [name] * (name in row.when)
    return replace(row, id=f"{row.id} {name}", when=tuple(when), unless=tuple(unless))


def test_mcdc_of_the_tables(explored):
    """Each row is taken, and each of its conditions alone has kept it from being taken.

    That is the independence of MC/DC (DO-178C 2011, level A; ISO 26262-6:2018) for a row as a
    conjunction: n + 1 cases for n conditions. A condition that the others of its row already
    decide, for all values of inputs and variables, cannot vary alone (DO-178C: coupled).
    """
    trial, exploration, _ = explored
    signals = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
    attainable = Attainable({c.name: c for c in trial.conditions}, signals)
    assert all(exploration.ticks_by_row[row.id] > 0 for row in trial.rows)
    never_alone = {
        (row.id, name): flipped(row, name)
        for row in trial.rows
        for name, alone in exploration.single_misses[row.id].items()
        if not alone
    }
    dead = {f.row.id for f in solved_faults([*never_alone.values()], attainable)
            if isinstance(f, DeadRow)}  # fmt: skip
    met = {key for key, row in never_alone.items() if row.id not in dead}
    # Rows from several states have the state in their id.
    assert {(row.partition("@")[0], name) for row, name in met} == NEVER_MET
    for row in trial.rows:
        assert set(exploration.single_misses[row.id]) == {*row.when, *row.unless}


def test_witnesses_replay_in_reference_and_compiled_code(explored):
    trial, exploration, _ = explored
    assert set(exploration.runs) == {
        "result_with_onset_possible",
        "result_without_onset_possible",
        "result_below_noise_possible",
    }
    for run in exploration.runs.values():
        assert confirms(trial, run, replay_run(trial, run))


def test_witness_goes_the_same_way_on_the_rig(explored):
    """A rehearsal with the inputs forced takes the rows of the replay, whatever its axis does."""
    trial, exploration, _ = explored
    run = exploration.runs["result_with_onset_possible"]
    machine = CompiledSequencer(trial)
    numbers = {row.id: number for number, row in enumerate(trial.rows)}
    rows = [numbers[machine.tick(inputs).id] for inputs in run.inputs_by_tick()]
    overrides = [Override(*stretch) for stretch in run.forced_inputs()]
    bench = Bench(trial, load_machine("grinder-slide"))
    rehearsal = rehearse(bench, seed=1, overrides=overrides, exact_ticks=run.ticks)
    log = rehearsal.log
    assert np.array_equal(log.row, rows)
    assert trial.states[log.state[run.ticks - 1]].name == "finished"


def test_no_assignment_leaves_its_range(explored):
    _, exploration, _ = explored
    assert exploration.saturating == ()


def test_same_result_twice(explored):
    trial, exploration, _ = explored
    assert explore(trial) == exploration


def test_memory_is_modest(explored):
    figures = explored[1].figures
    assert figures.bytes < 300e6
