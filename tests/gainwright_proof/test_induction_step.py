"""The transition relation: exactly the ticks of the reference machine."""

from __future__ import annotations

import random
import tomllib

import pytest

from gainwright.language.load import trial_from_document
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Snapshot
from gainwright_proof.induction.fast_machine import FastMachine
from gainwright_proof.induction.script import Statement, script
from gainwright_proof.induction.solvers import SOLVERS
from gainwright_proof.induction.step import Frame, StepEncoding
from gainwright_proof.induction.text import conjunction, symbols_in

from ..shared.small_trial import SMALL
from .smt_values import proved, standard

SMALL_TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")


def _random_tick(machine: ReferenceMachine, source: random.Random):
    """Put the machine at a moment anywhere in the ranges; return that and inputs."""
    trial = machine.trial
    state = source.choice(trial.states).name
    picked = {}
    for signal in (*trial.variables, *trial.inputs):
        edges = [signal.low, signal.high, min(signal.low + 1, signal.high)]
        picked[signal.name] = source.choice([*edges, source.randint(signal.low, signal.high)])
    variables = {v.name: picked[v.name] for v in trial.variables}
    machine.restore(state, variables)
    return state, variables, {s.name: picked[s.name] for s in trial.inputs}


def _equations(step: StepEncoding, moment: Snapshot, after: bool) -> list[str]:
    values = {**moment.variables, **moment.outputs}
    signals = (*step.trial.variables, *step.trial.outputs)
    return [
        step.in_state(moment.state, after),
        *(
            f"(= {step.value(s.name, after)} {step.literal(s, values[s.name])})"
            for s in signals
            if s.name in values
        ),
    ]


def _before(step: StepEncoding, state: str, variables, inputs) -> Statement:
    known = _equations(step, Snapshot(state, variables, {}), False)
    known += [
        f"(= {step.value(s.name, False)} {step.literal(s, inputs[s.name])})"
        for s in step.trial.inputs
    ]
    return Statement("the moment before", conjunction(known))


@pytest.mark.parametrize("trial", [SMALL_TRIAL, standard()], ids=["small", "standard"])
def test_new_moment_is_that_of_the_reference(trial):
    source = random.Random(1)
    step, machine = StepEncoding(trial), ReferenceMachine(trial)
    for number in range(60):
        state, variables, inputs = _random_tick(machine, source)
        before = _before(step, state, variables, inputs)
        row = machine.tick(inputs)
        after = Snapshot(machine.state, dict(machine.variables), machine.outputs())
        claims = [*_equations(step, after, True), step.row(row), step.one_row]
        solver = sorted(SOLVERS)[number % len(SOLVERS)]
        whole = script(["T"], step.definitions, [before], Statement("", conjunction(claims)))
        assert proved(solver, whole), (number, row.id)
        # The same with the row known, and with a wrong claim.
        known_row = [*step.shared, *step.moment(False), *step.row_tick(row)]
        claims = [*_equations(step, after, True), step.row(row)]
        text = script(["T"], known_row, [before], Statement("", conjunction(claims)))
        assert proved(solver, text), (number, row.id)
        changed = dict(after.variables)
        name = source.choice(list(changed))
        signal = next(v for v in trial.variables if v.name == name)
        changed[name] = signal.low if changed[name] != signal.low else signal.high
        wrong = _equations(step, Snapshot(after.state, changed, {}), True)
        text = script(["T"], step.definitions, [before], Statement("", conjunction(wrong)))
        assert not proved(solver, text), (number, row.id)


@pytest.mark.parametrize("trial", [SMALL_TRIAL, standard()], ids=["small", "standard"])
def test_fast_machine_is_the_reference(trial):
    source = random.Random(2)
    fast, machine = FastMachine(trial), ReferenceMachine(trial)
    for _ in range(300):
        state, variables, inputs = _random_tick(machine, source)
        values = {**variables, **inputs}
        row = fast.row(state, values)
        assert machine.tick(inputs) is row
        assert fast.after(row, variables, values) == machine.variables


def test_chained_ticks_have_symbols_of_their_own():
    first = StepEncoding(SMALL_TRIAL, Frame("m0", "m1", "1"))
    second = StepEncoding(SMALL_TRIAL, Frame("m1", "m2", "2"))
    # Two ticks with the wish held: time has gone on by two unless it was loud.
    held = [f"in{k}.go" for k in (1, 2)] + [f"(not holds{k}.loud)" for k in (1, 2)]
    start = [
        "(= m0.state state.search)",
        "(= m0.time (_ bv0 32))",
    ]
    text = script(
        ["Two ticks."],
        [*first.definitions, *second.tick],
        [Statement("", conjunction([*held, *start]))],
        Statement("", "(= m2.time (_ bv2 32))"),
    )
    assert proved("z3", text)


def test_script_defines_all_it_uses_and_nothing_else():
    step = StepEncoding(standard())
    claim = Statement("a claim", "(not new.verified)")
    text = script(["Heading."], step.definitions, [Statement("one row", step.one_row)], claim)
    defined = [
        line.split()[1]
        for line in text.splitlines()
        if line.startswith(("(define-fun ", "(declare-const "))
    ]
    assert len(defined) == len(set(defined))
    used = symbols_in("\n".join(line for line in text.splitlines() if not line.startswith(";")))
    dotted = {symbol for symbol in used if "." in symbol}
    assert dotted <= set(defined)
    assert set(defined) <= used
    assert "in.start_request" in defined and "new.wait" not in defined
