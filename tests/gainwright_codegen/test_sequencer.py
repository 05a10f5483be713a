"""The compiled sequencer and the Python reference do the same, tick by tick."""

from __future__ import annotations

import dataclasses
import functools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from gainwright.language.load import load_trial
from gainwright.language.model import Condition, Kind, Row, Signal, Trial, Variable
from gainwright.language.parse import parse
from gainwright.language.shipped import shipped_trial_path
from gainwright.semantics.machine import ReferenceMachine
from gainwright_codegen.bundle.golden.domain import input_domain, variable_domain
from gainwright_codegen.host.sequencer import CompiledSequencer, SequencerError

from ..shared.compilers import SANITIZED, compiler_parameters
from ..shared.random_trees import values_of
from ..shared.random_trials import counter_trial, trials

STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")
STANDARD = load_trial(shipped_trial_path())


def assert_alike(compiled: CompiledSequencer, reference: ReferenceMachine) -> None:
    assert compiled.state == reference.state
    assert compiled.variables == reference.variables
    assert compiled.saturated == reference.saturated
    assert compiled.outputs() == reference.outputs()


def tick_both(compiled, reference, inputs: dict[str, int]) -> Row:
    assert compiled.conditions(inputs) == reference.conditions(inputs)
    row = reference.tick(inputs)
    assert compiled.tick(inputs) is row
    assert_alike(compiled, reference)
    return row


def sampled(signals: tuple[Signal, ...], domain) -> st.SearchStrategy[dict[str, int]]:
    """Values at the constants of the trial more often than anywhere else in the range."""
    return st.fixed_dictionaries(
        {
            signal.name: st.one_of(st.sampled_from(values), values_of(signal))
            for signal, values in zip(signals, domain, strict=True)
        }
    )


INPUTS = sampled(STANDARD.inputs, input_domain(STANDARD))
VARIABLES = sampled(STANDARD.variables, variable_domain(STANDARD))


@functools.cache
def standard_machines() -> tuple[CompiledSequencer, ReferenceMachine]:
    """Made once: an example begins by resetting them."""
    return CompiledSequencer(STANDARD, STRICT), ReferenceMachine(STANDARD)


class StandardTrial(RuleBasedStateMachine):
    """Random inputs seldom leave the first states, so the machine may also leap anywhere."""

    def __init__(self) -> None:
        super().__init__()
        self.compiled, self.reference = standard_machines()
        for machine in (self.compiled, self.reference):
            machine.reset()
        self.inputs = {signal.name: signal.low for signal in STANDARD.inputs}

    @initialize()
    def begin(self) -> None:
        assert_alike(self.compiled, self.reference)

    @rule(inputs=INPUTS)
    def tick(self, inputs: dict[str, int]) -> None:
        self.inputs = inputs
        tick_both(self.compiled, self.reference, inputs)

    @rule(ticks=st.integers(2, 60))
    def hold(self, ticks: int) -> None:
        for _ in range(ticks):
            tick_both(self.compiled, self.reference, self.inputs)

    @rule(data=st.data())
    def change_one_input(self, data) -> None:
        signal = data.draw(st.sampled_from(STANDARD.inputs))
        self.inputs = {**self.inputs, signal.name: data.draw(values_of(signal))}
        tick_both(self.compiled, self.reference, self.inputs)

    @precondition(lambda self: self.reference.state in ("idle", "finished", "aborted", "fault"))
    @rule(state=st.sampled_from([state.name for state in STANDARD.states]), variables=VARIABLES)
    def leap(self, state: str, variables: dict[str, int]) -> None:
        for machine in (self.compiled, self.reference):
            machine.restore(state, variables)
        assert_alike(self.compiled, self.reference)


StandardTrial.TestCase.settings = settings(
    max_examples=20, stateful_step_count=40, deadline=None, print_blob=True
)
TestStandardTrial = StandardTrial.TestCase


def walk_alike(trial: Trial, data, flags: tuple[str, ...]) -> None:
    compiled, reference = CompiledSequencer(trial, flags), ReferenceMachine(trial)
    assert_alike(compiled, reference)
    inputs = st.fixed_dictionaries({signal.name: values_of(signal) for signal in trial.inputs})
    for valuation in data.draw(st.lists(inputs, min_size=5, max_size=25)):
        tick_both(compiled, reference, valuation)
    compiled.reset()
    reference.reset()
    assert_alike(compiled, reference)


_RANDOM = settings(
    max_examples=10,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    print_blob=True,
)


@pytest.mark.usefixtures("scratch_cache")
@_RANDOM
@given(trials(), st.data())
def test_random_trials_are_alike_and_compile_without_warning(trial, data):
    walk_alike(trial, data, (*STRICT, "-DGW_WITH_NAMES"))


@pytest.mark.usefixtures("scratch_cache", "undefined_behaviour_ends_the_run")
@_RANDOM
@given(trials(), st.data())
def test_random_trials_have_no_undefined_behaviour(trial, data):
    walk_alike(trial, data, SANITIZED)


@pytest.mark.usefixtures("scratch_cache")
@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig"))
def test_standard_trial_compiles_without_warning(monkeypatch, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    for names in ((), ("-DGW_WITH_NAMES",)):
        assert CompiledSequencer(STANDARD, (*STRICT, *names)).state == STANDARD.initial_state


def test_assignment_reads_old_values_and_stops_at_the_range():
    machine = CompiledSequencer(counter_trial())
    assert machine.variables == {"count_up": 1, "previous": 0}
    machine.tick({"go": 1, "by": 9})
    assert machine.variables == {"count_up": 5, "previous": 1}
    assert machine.saturated == {"count_up"}
    machine.tick({"go": 1, "by": -9})
    assert machine.variables == {"count_up": 0, "previous": 5}
    machine.tick({"go": 0, "by": 3})
    assert machine.variables == {"count_up": 0, "previous": 5} and not machine.saturated


@pytest.mark.parametrize(
    ("given_inputs", "same_as"),
    [
        ({"go": 2, "by": 1}, {"go": 1, "by": 1}),
        ({"go": -7, "by": 1}, {"go": 0, "by": 1}),
        ({"go": 1, "by": 2**31 - 1}, {"go": 1, "by": 9}),
        ({"go": 1, "by": -(2**31)}, {"go": 1, "by": -9}),
    ],
)
def test_input_outside_its_range_counts_as_the_nearest_inside(given_inputs, same_as):
    one, other = CompiledSequencer(counter_trial()), CompiledSequencer(counter_trial())
    assert one.tick(given_inputs) is not None
    other.tick(same_as)
    assert one.variables == other.variables and one.saturated == other.saturated


def _rows(*cubes: tuple[tuple[str, ...], tuple[str, ...]]) -> tuple[Row, ...]:
    return tuple(
        Row(f"r{k}", "only", when, unless, "only", {"count_up": parse("2")}, "")
        for k, (when, unless) in enumerate(cubes)
    )


@pytest.mark.parametrize(
    ("rows", "go", "code"),
    [
        (_rows((("told",), ())), 0, -1),
        (_rows(((), ("told",))), 1, -1),
        (_rows((("told",), ()), ((), ())), 1, -2),
        (_rows(((), ()), ((), ()), ((), ())), 0, -2),
    ],
)
def test_table_that_is_not_single_hit_is_refused_and_nothing_changes(rows, go, code):
    machine = CompiledSequencer(counter_trial(rows=rows))
    before = (machine.state, machine.variables, machine.saturated)
    with pytest.raises(SequencerError) as caught:
        machine.tick({"go": go, "by": 0})
    assert caught.value.code == code
    assert (machine.state, machine.variables, machine.saturated) == before


@pytest.mark.parametrize(
    ("state", "count"), [(1, 1), (-1, 1), (2**31 - 1, 1), (-(2**31), 1), (0, 6), (0, -1)]
)
def test_damaged_memory_is_refused_and_outputs_ask_for_nothing(state, count):
    machine = CompiledSequencer(counter_trial(), SANITIZED if _gcc() else ())
    machine._sequencer.state = state
    machine._sequencer.variables[0] = count
    inputs = machine._ffi.new("int32_t[]", [1, 1])
    assert machine._library.gw_sequencer_step(machine._sequencer, inputs) == -3
    assert (machine._sequencer.state, machine._sequencer.variables[0]) == (state, count)
    assert machine.outputs() == {"shown": 0}


def _gcc() -> bool:
    from ..shared.compilers import available

    return available("gcc")


@pytest.mark.parametrize("count", [32, 33, 64])
def test_as_many_variables_and_conditions_as_fit(count):
    variables = tuple(Variable(f"v{k}", Kind.INTEGER, 0, k, "", "", 0) for k in range(count))
    conditions = tuple(Condition(f"c{k}", parse(f"v{k} == {k}"), "") for k in range(count))
    last = f"c{count - 1}"
    row = Row("up", "only", (), (last,), "only", {v.name: parse(str(99)) for v in variables}, "")
    done = dataclasses.replace(row, id="done", when=(last,), unless=(), actions={})
    trial = counter_trial(variables=variables, conditions=conditions, outputs=(), rows=(done, row))
    machine, reference = CompiledSequencer(trial, STRICT), ReferenceMachine(trial)
    assert tick_both(machine, reference, {"go": 0, "by": 0}) is row
    assert machine.saturated == {variable.name for variable in variables}
    assert tick_both(machine, reference, {"go": 0, "by": 0}) is done
