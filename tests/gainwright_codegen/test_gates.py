"""The gates of a bundle: what is sound passes, what is broken is named, what is missing is said."""

from __future__ import annotations

import shutil

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.bundle.axis import axis_bundle, write_bundle
from gainwright_codegen.gates import misra
from gainwright_codegen.gates.gates import Gate, _Bench, _copied, exit_code, lines, run_gates
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.bundles import write_standard_bundle
from ..shared.compilers import available

pytestmark = pytest.mark.usefixtures("scratch_cache")


@pytest.fixture(scope="module")
def folder(scratch_cache, tmp_path_factory):
    place = tmp_path_factory.mktemp("gates") / "bundle"
    return write_standard_bundle(place)


def altered(folder, target, name: str, old: str, new: str) -> _Bench:
    shutil.copytree(folder, target / "altered")
    path = target / "altered" / name
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    return _Bench(_copied(target / "altered", target / "copy"))


@pytest.mark.skipif(not available("gcc"), reason="gcc is not installed")
def test_a_warning_fails_the_compiler_gates(monkeypatch, folder, tmp_path):
    sound = "int32_t torque = 0;"
    bench = altered(folder, tmp_path, "gw_pulse.h", sound, sound + " int32_t unused = 1;")
    monkeypatch.setattr(shutil, "which", lambda name: name if name == "gcc" else None)
    gates = [gate for gate in bench.compilers() if gate.verdict != "not installed"]
    assert {gate.verdict for gate in gates} == {"failed"}
    assert "unused" in gates[0].detail


@pytest.mark.slow
@pytest.mark.skipif(not available("gcc"), reason="gcc is not installed")
def test_an_index_out_of_bounds_is_found_by_calls_of_both_ticks(folder, tmp_path):
    bench = altered(folder, tmp_path, "gw_sequencer.c", "  taken = next;", "  taken = next + 9999;")
    (gate,) = [gate for gate in bench.fuzzed(4, 3000) if gate.verdict != "not installed"]
    assert gate.verdict == "failed" and gate.detail


@pytest.mark.slow
@pytest.mark.skipif(not misra.checker()[0], reason=misra.checker()[1])
def test_a_required_rule_of_misra_is_not_let_pass(folder, tmp_path):
    sound = "    const uint64_t factor = UINT64_C(1) << bits;"
    broken = "    const int64_t factor = INT64_C(1) << bits;"
    bench = altered(folder, tmp_path, "gw_fixed.h", sound, broken)
    gate = bench._misra()
    assert gate.verdict == "failed" and "10.1" in gate.detail


def test_rules_with_a_reason_are_counted_and_others_named():
    said = "".join(
        f"gw_axis.c:{line}:5: style: misra violation [misra-c2012-{rule}]\n"
        for line, rule in ((7, "15.5"), (8, "15.5"), (9, "11.4"), (10, "10.1"))
    )
    said += "gw_axis.c:11:5: style: The scope can be reduced. [variableScope]\n"
    bad, deviations = misra.judge(said)
    assert bad == ["gw_axis.c:10 misra-c2012-10.1", "gw_axis.c:11 variableScope"]
    assert deviations == "11.4 (1), 15.5 (2)"


def test_what_is_missing_is_said_and_decides_the_exit_code(monkeypatch, folder, tmp_path):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    monkeypatch.setattr(misra, "checker", lambda: ("", "cppcheck"))
    bench = _Bench(_copied(folder, tmp_path / "copy"))
    gates = [*bench.compilers(), *bench.analysers(), *bench.sanitized(), *bench.coverage()]
    assert {gate.verdict for gate in gates} == {"not installed"}
    assert exit_code(gates) == 3
    assert exit_code([*gates, Gate("one", "failed")]) == 1
    assert exit_code([Gate("one", "passed")]) == 0
    assert lines([Gate("one", "failed", "why")]) == ["failed         one: why"]


def test_a_folder_without_a_bundle_is_refused(tmp_path):
    with pytest.raises(InputError, match="gainwright export"):
        run_gates(tmp_path)


@pytest.mark.slow
def test_the_shipped_export_passes_every_gate_that_is_installed(folder):
    gates = run_gates(folder, fuzz_runs=3000)
    assert exit_code(gates) in (0, 3), lines(gates)
    assert sum(gate.verdict == "passed" for gate in gates) >= 5


@pytest.mark.slow
def test_the_self_test_lets_every_condition_of_the_loop_response_decide_alone(tmp_path):
    trial = load_trial(shipped_trial_path("gentle"))
    write_bundle(axis_bundle(trial, axis_data(load_machine("glaze-gantry"))), tmp_path / "bundle")
    bench = _Bench(_copied(tmp_path / "bundle", tmp_path / "copy"))
    for gate in (next(bench.compilers()), next(bench.coverage())):
        assert gate.verdict in ("passed", "not installed"), gate.detail


def test_a_tool_without_an_end_is_ended_and_leaves_its_gate_unfinished(folder, tmp_path):
    bench = _Bench(_copied(folder, tmp_path / "copy"))
    (tmp_path / "copy" / "endless").write_text("#!/bin/sh\nwhile true; do :; done\n")
    (tmp_path / "copy" / "endless").chmod(0o755)
    gate = bench._run("one", ["./endless"], limit_s=0.3)
    assert (gate.verdict, gate.detail) == ("unfinished", "./endless: no end after 0.3 s")
    assert exit_code([gate]) == 3
