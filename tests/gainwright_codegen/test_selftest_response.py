"""The self-test of an export that measures the loop response notices changes of the measurement."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.bundle.axis import axis_bundle
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.compilers import available
from ..shared.selftest_bench import SelfTestBench

pytestmark = [
    pytest.mark.slow,
    pytest.mark.usefixtures("scratch_cache"),
    pytest.mark.skipif(not available("gcc"), reason="gcc is not installed"),
]
CHANGES = (
    ("gw_loop_response.c", "response->periods", "response->again"),
    ("gw_loop_crossings.c", "* 32767", "* 20000"),
    ("gw_loop_crossings.c", "(int64_t)share * far", "(int64_t)share * at"),
    ("gw_loop_crossings.c", "(way <= most)", "(way < most)"),
    ("gw_loop_crossings.c", "(noise >= NOISE_OF_MEANS)", "(noise > NOISE_OF_MEANS)"),
    ("gw_loop_margins.c", "(line > settings->gap_from)", "(line >= settings->gap_from)"),
    ("gw_loop_margins.c", "(line < settings->gap_to)", "(line <= settings->gap_to)"),
    ("gw_loop_margins.c", "(is_in_gap(settings, line - 1) == 0)", "(1)"),
    ("gw_loop_margins.c", "(going != 0) &&", ""),
    ("gw_loop_margins.c", "(way <= (2 * GW_POSITION_MAX)) &&", ""),
    ("gw_loop_margins.c", "((again != 0) && (limit < before)) ? 2", "(again != 0) ? 2"),
    ("gw_loop_margins.c", "(response->agreeing > 0) && ((int64_t)gw", "((int64_t)gw"),
    ("gw_loop_margins.c", "(response->bent >= BENT_OFTEN) &&", ""),
    ("gw_loop_margins.c", ">= BENT_OFTEN) && (is_near(line, response->bent_line) != 0))",
     ">= BENT_OFTEN))"),
    ("gw_loop_margins.c", "(again != 0) ? SPREAD_AGAIN : SPREAD_USABLE", "SPREAD_AGAIN"),
    ("gw_loop_transform.c", "(square < SQUARE_LEAST)", "(square > SQUARE_LEAST)"),
    ("gw_loop_transform.c", "% half", "% (half + 1)"),
)  # fmt: skip
CONDITIONS = (
    ("(-GW_CONSTANT_MARGIN_RUNGS))", "(-GW_CONSTANT_MARGIN_RUNGS - 1))"),
    ("< (-GW_CONSTANT_MOST_RUNGS_APART)", "<= (-GW_CONSTANT_MOST_RUNGS_APART)"),
    (">= GW_CONSTANT_CLEAR_ANSWER)", "> GW_CONSTANT_CLEAR_ANSWER)"),
    (">= GW_CONSTANT_KEPT_SPEED_SHARE) && (input(inputs,\n            GW_INPUT_RING_LEVEL)",
     "> GW_CONSTANT_KEPT_SPEED_SHARE) && (input(inputs,\n            GW_INPUT_RING_LEVEL)"),
    (">= GW_CONSTANT_WEAK_BURST)", "> GW_CONSTANT_WEAK_BURST)"),
)  # fmt: skip


@pytest.fixture(scope="module")
def bench(scratch_cache, tmp_path_factory) -> SelfTestBench:
    trial = load_trial(shipped_trial_path("gentle"))
    files = axis_bundle(trial, axis_data(load_machine("glaze-gantry"))).files
    sources = {name: text for name, text in files.items() if name.endswith((".c", ".h"))}
    return SelfTestBench(sources, tmp_path_factory.mktemp("response"))


def test_the_sound_export_passes(bench):
    assert bench.verdict("gw_proof.c", (bench.folder / "gw_proof.c").read_text()) == ""


@pytest.mark.parametrize(("name", "sound", "broken"), CHANGES)
def test_a_change_is_noticed(bench, name, sound, broken):
    text = (bench.folder / name).read_text()
    assert sound in text
    assert "loop response" in bench.verdict(name, text.replace(sound, broken))


@pytest.mark.parametrize(("sound", "broken"), CONDITIONS)
def test_a_change_of_a_condition_is_noticed(bench, sound, broken):
    text = (bench.folder / "gw_trial.c").read_text()
    assert sound in text
    assert "around sample" in bench.verdict("gw_trial.c", text.replace(sound, broken, 1))
