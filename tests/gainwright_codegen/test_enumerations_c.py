"""Named values in the exported C: an enum of their own, the same behaviour, no name twice."""

from __future__ import annotations

import random

import pytest

from gainwright.errors import InputError
from gainwright.semantics.machine import ReferenceMachine
from gainwright_codegen.host import compile_shared
from gainwright_codegen.host.sequencer import CompiledSequencer
from gainwright_codegen.sources import sequencer_sources, trial_sources

from ..gainwright.test_enumerations import load

SEED = 20261126
STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")


def test_compiled_and_reference_do_the_same():
    trial = load()
    compiled, reference = CompiledSequencer(trial), ReferenceMachine(trial)
    draw = random.Random(SEED)
    seen = set()
    for _ in range(2000):
        inputs = {"go": int(draw.random() < 0.9), "level": draw.choice((0, 50, 51, 0, 0))}
        assert compiled.tick(inputs) is reference.tick(inputs)
        assert compiled.variables == reference.variables
        assert compiled.outputs() == reference.outputs()
        seen.add(reference.variables["why"])
    assert seen == {0, 1, 2}


def test_the_header_names_the_values():
    """Firmware can compare an output with them; a wrong number would not compile."""
    check = (
        '#include "gw_trial.h"\n'
        "typedef char reasons[GW_REASON_NOT_ENDED == 0 && GW_REASON_TIME_OVER == 2 ? 1 : -1];\n"
        "typedef char colours[GW_COLOUR_RED == 1 && GW_COLOUR_COUNT == 2 ? 1 : -1];\n"
        "reasons *gw_a; colours *gw_b; gw_reason_value gw_c = GW_REASON_ONSET_HEARD;\n"
    )
    compile_shared({**sequencer_sources(load()), "check.c": check}, STRICT, name="enumerations")
    header = trial_sources(load())["gw_trial.h"].decode("ascii")
    assert "the search took too long. Give it more patience." in header
    with pytest.raises(InputError):
        wrong = check.replace("GW_COLOUR_RED == 1", "GW_COLOUR_RED == 0")
        compile_shared({**sequencer_sources(load()), "check.c": wrong}, STRICT, name="wrong")


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ((("[enumerations.reason]", "[enumerations.state]"), ('of = "reason"', 'of = "state"'),
          ("time_over = {", "rest = {"), ("why == time_over", "why == rest"),
          ("why < time_over", "why < rest"), ('actions.why = "time_over"', 'actions.why = "rest"')),
         "GW_STATE_REST, which the exported C has already"),
        ((("red = {", "count = {"), ("then red", "then count")), "the name 'count'"),
        ((("red = {", f"{'r' * 58} = {{"), ("then red", f"then {'r' * 58}")), "at most"),
    ],
)  # fmt: skip
def test_names_that_c_has_already(edits, words):
    with pytest.raises(InputError, match=words):
        trial_sources(load(*edits))
