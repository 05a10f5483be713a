"""More conditions than an integer has bits: the C does as the reference."""

from __future__ import annotations

import random

import pytest

from gainwright.semantics.machine import ReferenceMachine
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.host.sequencer import CompiledSequencer

from ..shared.cases import cases
from ..shared.many_conditions import many_conditions

COUNTS = cases([1, 64, 128, 150], slow=[15, 31, 62, 63, 71, 127])


@pytest.mark.parametrize("count", COUNTS)
def test_compiled_and_reference_do_the_same(tmp_path, count):
    trial = many_conditions(tmp_path, count)
    machines = ReferenceMachine(trial), CompiledSequencer(trial)
    draw = random.Random(count)
    for _ in range(300):
        inputs = {"level": draw.choice([0, count - 1, count, draw.randrange(201)]), "stop": 0}
        first, second = (machine.conditions(inputs) for machine in machines)
        assert first == second
        assert sum(first.values()) == min(inputs["level"], count)
        assert machines[0].tick(inputs).id == machines[1].tick(inputs).id
        assert machines[0].variables == machines[1].variables
    assert machines[1].tick({"level": 0, "stop": 1}).id == "end"


@pytest.mark.parametrize("count", [3, 64, 100])
def test_conditions_as_one_number(tmp_path, count):
    trial = many_conditions(tmp_path, count)
    explorer = Explorer(trial)

    level, stop = (len(trial.variables) + k for k in range(2))
    explorer.put((*(variable.initial for variable in trial.variables), 0, 0))
    assert explorer.conditions_with({level: count, stop: 1}) == (1 << count + 1) - 1
    assert explorer.conditions_with({level: 0}) == 1, "the other input stays"
    assert explorer.conditions_with({level: 0, stop: 0}) == 0
