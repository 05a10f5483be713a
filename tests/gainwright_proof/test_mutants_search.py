"""The arrays of the mutants' search do what the reference does, tick by tick."""

from __future__ import annotations

import random
import tomllib

import numpy as np
import pytest

from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine
from gainwright.semantics.monitor import Monitor, Snapshot
from gainwright_proof.mutants.array_code import ArrayCode
from gainwright_proof.mutants.array_machine import NO_ROW, ArrayMachine
from gainwright_proof.mutants.cascade import ORIGINAL_LIMITS, evidence
from gainwright_proof.mutants.corpus import Corpus
from gainwright_proof.mutants.exploring import Explorer, SearchLimits
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.holding import Holding
from gainwright_proof.mutants.input_choices import critical
from gainwright_proof.mutants.judging import Judge
from gainwright_proof.mutants.one_tick import OneTick
from gainwright_proof.mutants.watching import MutantWatch

from ..shared.explorer import cut_trial
from ..shared.small_trial import SMALL

SMALL_TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")
SHIPPED = load_trial(shipped_trial_path())
TRIALS = pytest.mark.parametrize("trial", [SMALL_TRIAL, SHIPPED], ids=["small", "shipped"])
LANES = 1500


def machine_of(trial: Trial) -> ArrayMachine:
    return ArrayMachine(trial, ArrayCode(trial))


def drawn(trial: Trial, count: int, seed: int):
    """Return states, variables and inputs, at ends and limits more often than elsewhere."""
    source = random.Random(seed)
    expressions = [c.expression for c in trial.conditions]

    def value(signal) -> int:
        if source.random() < 0.7:
            return source.choice([signal.low, signal.high, *critical(trial, signal, expressions)])
        return source.randint(signal.low, signal.high)

    columns = {
        s.name: np.array([value(s) for _ in range(count)])
        for s in (*trial.variables, *trial.inputs)
    }
    states = np.array([source.randrange(len(trial.states)) for _ in range(count)])
    return states, columns


@TRIALS
def test_ticks_and_outputs_are_those_of_the_reference(trial):
    machine, reference = machine_of(trial), ReferenceMachine(trial)
    states, values = drawn(trial, LANES, seed=1)
    ticked = machine.tick(states, values)
    outputs = machine.outputs(ticked.states, ticked.variables)
    for lane in range(LANES):
        variables = {v.name: int(values[v.name][lane]) for v in trial.variables}
        reference.restore(trial.states[states[lane]].name, variables)
        row = reference.tick({s.name: int(values[s.name][lane]) for s in trial.inputs})
        assert trial.rows[ticked.rows[lane]] == row
        assert trial.states[ticked.states[lane]].name == reference.state
        after = {name: int(column[lane]) for name, column in ticked.variables.items()}
        assert after == reference.variables
        assert {n: int(column[lane]) for n, column in outputs.items()} == reference.outputs()


@pytest.mark.parametrize("mutant_id", ["row_removed/raise", "literal_dropped/raise/loud"])
def test_no_row_where_the_reference_finds_none_or_two(mutant_id):
    (mutant,) = [m for m in mutants(SMALL_TRIAL) if m.id == mutant_id]
    trial = mutant.trial(SMALL_TRIAL)
    machine, reference = machine_of(trial), ReferenceMachine(trial)
    states, values = drawn(trial, 300, seed=2)
    rows = machine.tick(states, values).rows
    refused = 0
    for lane in range(300):
        variables = {v.name: int(values[v.name][lane]) for v in trial.variables}
        reference.restore(trial.states[states[lane]].name, variables)
        try:
            reference.tick({s.name: int(values[s.name][lane]) for s in trial.inputs})
            assert rows[lane] != NO_ROW
        except NotSingleHitError:
            refused += 1
            assert rows[lane] == NO_ROW
    assert refused > 10


def replayed(trial: Trial, corpus: Corpus, node: int) -> ReferenceMachine:
    reference = ReferenceMachine(trial)
    for inputs in corpus.inputs_to(node):
        reference.tick(inputs)
    return reference


@TRIALS
def test_the_inputs_to_a_moment_lead_there(trial):
    corpus = Explorer(trial, ArrayCode(trial), seed=3).explore(SearchLimits(120, 3000))
    source, long_runs = random.Random(4), 0
    for node in source.sample(range(len(corpus)), min(12, len(corpus))):
        ticks = int(corpus.ticks[corpus.path(node)].sum())
        long_runs += bool((corpus.ticks[corpus.path(node)] > 1).any())
        if ticks <= 30_000:
            reference = replayed(trial, corpus, node)
            assert trial.states[corpus.states[node]].name == reference.state
            assert reference.variables == {n: int(c[node]) for n, c in corpus.variables.items()}
    assert trial is SMALL_TRIAL or long_runs > 0


def test_the_search_takes_every_row_and_ends_at_the_top_of_the_ladder():
    explorer = Explorer(SHIPPED, ArrayCode(SHIPPED), seed=0)
    corpus = explorer.explore(ORIGINAL_LIMITS)
    assert explorer.rows_taken == set(range(len(SHIPPED.rows)))
    assert corpus.variables["gain_rung"].max() == SHIPPED.constant("top_rung")


def test_the_same_seed_gives_the_same_corpus():
    first, second = (
        Explorer(SHIPPED, ArrayCode(SHIPPED), seed=5).explore(SearchLimits(60, 3000))
        for _ in range(2)
    )
    assert (first.states == second.states).all()
    assert (first.parents == second.parents).all()
    for name in first.variables:
        assert (first.variables[name] == second.variables[name]).all()


def test_held_ticks_are_all_alike():
    """What is skipped takes the same row tick by tick, in the trial and its threshold mutants."""
    holding, machine = Holding(SHIPPED), machine_of(SHIPPED)
    states, values = drawn(SHIPPED, 4000, seed=6)
    values["wait"] = np.random.default_rng(7).integers(0, 3100, 4000)
    for name in ("run_permit", "drive_ready", "feedback_valid", "inside_travel_window"):
        values[name] = np.ones(4000, dtype=np.int64)  # or hardly any row waits
    ticked = machine.tick(states, values)
    variables = {v.name: values[v.name] for v in SHIPPED.variables}
    ticks, after = holding.extend(variables, ticked)
    changed = [m.trial(SHIPPED) for m in mutants(SHIPPED) if m.id.startswith("threshold_off/")]
    machines = [ReferenceMachine(t) for t in (SHIPPED, *changed[::8])]
    lanes = np.flatnonzero((ticks > 1) & (ticks < 500))
    assert len(lanes) > 20
    for lane in lanes[:20].tolist():
        inputs = {s.name: int(values[s.name][lane]) for s in SHIPPED.inputs}
        for reference in machines:
            reference.restore(
                SHIPPED.states[states[lane]].name, {n: int(c[lane]) for n, c in variables.items()}
            )
            rows = {reference.tick(inputs).id for _ in range(int(ticks[lane]))}
            assert len(rows) == 1
        machines[0].restore(
            SHIPPED.states[states[lane]].name, {n: int(c[lane]) for n, c in variables.items()}
        )
        for _ in range(int(ticks[lane])):
            machines[0].tick(inputs)
        assert machines[0].variables == {n: int(c[lane]) for n, c in after.items()}


@pytest.mark.parametrize("name", ["shipped", "cut"])
def test_no_false_alarm_about_a_trial_that_is_proved(name):
    trial = SHIPPED if name == "shipped" else cut_trial()
    code = ArrayCode(trial)
    watch = MutantWatch(ArrayMachine(trial, code), Judge(trial, code))
    Explorer(trial, code, seed=8, watcher=watch).explore(SearchLimits(200, 30_000))
    assert list(watch.broken) == []


def test_a_requirement_broken_in_one_tick_is_broken_in_the_reference():
    """The whole run, from power-on, under the monitor that judges tick by tick."""
    found = evidence(SHIPPED, seed=9)
    one_tick = OneTick(machine_of(SHIPPED), found.corpus, found.samples)
    rows = {row.id: number for number, row in enumerate(SHIPPED.rows)}
    source, confirmed = random.Random(10), 0
    everything = [m for m in mutants(SHIPPED) if not m.id.startswith(("row_removed", "literal"))]
    for mutant in source.sample(everything, 120):
        trial = mutant.trial(SHIPPED)
        code = ArrayCode(trial)
        machine = ArrayMachine(trial, code)
        lanes, ticked = one_tick.changed(machine, [rows[name] for name in mutant.rows])
        for requirement, sample in one_tick.broken(
            machine, Judge(trial, code), lanes, ticked
        ).items():
            node = int(found.samples.moments[sample])
            ticks = int(found.corpus.ticks[found.corpus.path(node)].sum())
            if ticks <= 900:
                last = {s.name: int(found.samples.values[s.name][sample]) for s in trial.inputs}
                assert requirement in run_violations(trial, found.corpus, node, last), mutant.id
                confirmed += 1
    assert confirmed > 10


def run_violations(trial: Trial, corpus: Corpus, node: int, last: dict[str, int]) -> set[str]:
    """Return what a run breaks in its last tick, and that it breaks nothing before."""
    reference = ReferenceMachine(trial)

    def snapshot() -> Snapshot:
        return Snapshot(reference.state, dict(reference.variables), reference.outputs())

    monitor = Monitor(trial, snapshot())
    for inputs in corpus.inputs_to(node):
        reference.tick(inputs)
        assert monitor.observe(inputs, snapshot()) == []
    reference.tick(last)
    return {violation.requirement_id for violation in monitor.observe(last, snapshot())}
