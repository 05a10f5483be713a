"""The exported folder: compiles cleanly, tests itself, says what it is, is the same every time."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.bundle.axis import axis_bundle
from gainwright_codegen.bundle.bundle import Bundle, make_bundle
from gainwright_codegen.bundle.golden.search import find_samples
from gainwright_codegen.bundle.readme import sequencer_bytes
from gainwright_codegen.c_text import CAUTION, RUNTIME_VERSION
from gainwright_codegen.host import compile_program
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.bundles import MACHINE, digest_of_tables, standard_bundle
from ..shared.compilers import SANITIZED, available, compiler_parameters
from ..shared.random_trials import counter_trial
from ..shared.selftest_bench import SelfTestBench

STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")
QUICK = ("-O0",)
"""For what runs once: optimising takes longer."""
pytestmark = pytest.mark.usefixtures("scratch_cache")


@pytest.fixture(scope="module")
def bundle() -> Bundle:
    return standard_bundle()


def selftest(bundle: Bundle, flags: tuple[str, ...] = (), **changed: bytes) -> tuple[int, str]:
    """Compile and run the self-test; return exit code and output."""
    program = compile_program({**bundle.files, **changed}, flags, "selftest")
    result = subprocess.run([program], capture_output=True, text=True, check=False)
    return result.returncode, result.stdout


@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig", slow=("clang",)))
def test_compiles_without_warning_and_the_self_test_passes(monkeypatch, bundle, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    code, output = selftest(bundle, STRICT)
    assert code == 0, output
    assert output == "PASS all; failures 0\n"


@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", slow=("clang",)))
def test_the_self_test_has_no_undefined_behaviour(monkeypatch, bundle, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    code, output = selftest(bundle, ("-O0", "-fsanitize=address", *SANITIZED))
    assert code == 0, output


def test_the_self_test_takes_every_row(bundle):
    trial = load_trial(shipped_trial_path())
    assert bundle.rows_tested == tuple(row.id for row in trial.rows)


def test_the_self_test_is_short(bundle):
    """It must fit the flash of the target beside the code that it tests.

    On a Cortex-M4 60 kB of source are 11.4 KiB by gcc -O2, of 16 (`complete` 15.6, `gentle` 14.0).
    """
    assert len(bundle.files["gw_selftest.c"]) < 62_000


@pytest.fixture(scope="module")
def bench(bundle, tmp_path_factory) -> SelfTestBench:
    sources = {k: v for k, v in bundle.files.items() if k.endswith((".c", ".h"))}
    return SelfTestBench(sources, tmp_path_factory.mktemp("bench"))


def _changed(bundle: Bundle, name: str, pattern: str, replacement: str, number: int = 0) -> bytes:
    text = bundle.files[name].decode()
    match = list(re.finditer(pattern, text))[number]
    return (text[: match.start()] + match.expand(replacement) + text[match.end() :]).encode()


@pytest.mark.skipif(not available("gcc"), reason="gcc is not installed")
@pytest.mark.parametrize(
    ("name", "pattern", "replacement", "number"),
    [
        # Another target, cube, action, range, threshold, output of a state.
        ("gw_trial.c", r"\.target = GW_STATE_\w+", ".target = GW_STATE_FAULT", 0),
        ("gw_trial.c", r"GW_WHEN\(BIT_\w+", "GW_WHEN(0U", 5),
        ("gw_trial.c", r"GW_UNLESS\(BIT_\w+ \| ", "GW_UNLESS(", 0),
        ("gw_trial.c", r"\.action = ACTION_\w+", ".action = ACTION_NONE", 1),
        ("gw_trial.c", r"GAIN_RUNG\] >> 7U", "GAIN_RUNG] >> 6U", 0),
        ("gw_trial.h", r"BURST_THRESHOLD INT32_C\(256\)", "BURST_THRESHOLD INT32_C(257)", 0),
        ("gw_trial.c", r"    TORQUE_REQUEST_ON,", "    0U,", 0),
        ("gw_trial.c", r"\+ INT32_C\(1\)", "+ INT32_C(2)", 0),
        ("gw_sequencer.c", r"hits != 1U", "hits == 1U", 0),
        # Sixteen gains, one gain, one coefficient.
        ("gw_machine_kiln_shuttle.c", r"UINT32_C\((\d+)\d\)", r"UINT32_C(\g<1>0)", 3),
        ("gw_machine_kiln_shuttle.c", r"\{0x(\w+)3U", r"{0x\g<1>2U", 0),
        ("gw_machine_kiln_shuttle.c", r"INT32_C\(-(\d+)\)", r"INT32_C(-\g<1>1)", 0),
        ("gw_detector_tick.h", r"ticks >= \(uint32_t\)settings", "ticks > (uint32_t)settings", 0),
        # The rehearsal on another axis.
        ("gw_selftest.c", r"gw_stage_gain\(stage, 0\) \* 7\)", "gw_stage_gain(stage, 0) * 8)", 0),
    ],
)
def test_the_self_test_notices_a_change(bundle, bench, name, pattern, replacement, number):
    changed = _changed(bundle, name, pattern, replacement, number)
    assert changed != bundle.files[name]
    assert "FAIL" in bench.verdict(name, changed.decode())


@pytest.mark.skipif(not available("gcc"), reason="gcc is not installed")
def test_the_bench_passes_what_is_sound_and_knows_what_a_header_changes(bundle, bench):
    for name in ("gw_trial.c", "gw_trial.h", "gw_fixed.h"):
        assert bench.verdict(name, bundle.files[name].decode()) == ""
    assert bench.verdict("gw_select.h", "#error") == "does not compile"
    assert bench.verdict("gw_trial.c", bundle.files["gw_trial.c"].decode()) == ""


def said_by_another_process(expression: str) -> str:
    """Return what an expression of the bundles that tests share is, where hashes are others."""
    script = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parents[2])!r})\n"
        f"from tests.shared import bundles\nprint({expression})\n"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "1"}
    command = [sys.executable, "-c", script]
    result = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    return result.stdout.strip()


def test_same_tables_in_another_process():
    assert said_by_another_process("bundles.digest_of_tables()") == digest_of_tables()


@pytest.mark.slow
def test_same_bytes_in_another_process(bundle):
    assert said_by_another_process("bundles.standard_bundle().digest") == bundle.digest


def test_sums_are_those_of_the_files(bundle):
    listed = dict(
        reversed(line.split("  ")) for line in bundle.files["SHA256SUMS"].decode().splitlines()
    )
    assert listed == {
        name: hashlib.sha256(content).hexdigest()
        for name, content in bundle.files.items()
        if name != "SHA256SUMS"
    }


def test_every_file_carries_cautions_and_digests_and_no_trace_of_this_computer(bundle):
    trial, machine = load_trial(shipped_trial_path()), axis_data(load_machine(MACHINE))
    trial_line = f"Trial {trial.name}, SHA-256 {trial.digest}"
    machine_line = f"Machine {machine.name}, SHA-256 {machine.digest}"
    static = runtime_sources()
    for name, content in bundle.files.items():
        text = content.decode("ascii")
        assert str(Path.home()) not in text and os.sep + "tmp" not in text
        if name == "SHA256SUMS":
            continue
        flat = " ".join(word for word in text.split() if word != "*")
        assert CAUTION in flat, name
        if name not in static:
            assert trial_line in flat or name.startswith("gw_machine"), name
            assert machine_line in flat or name.startswith(("gw_trial", "gw_proof")), name


def test_static_files_are_the_same_in_every_export(bundle):
    """A team reviews and qualifies them once, by a version that the compiler compares."""
    other = make_bundle(counter_trial()).files
    for name in runtime_sources():
        assert other.get(name, bundle.files[name]) == bundle.files[name]
        assert f"static file, version {RUNTIME_VERSION};".encode() in bundle.files[name]
    fixed = bundle.files["gw_fixed.h"]
    assert f"#define GW_RUNTIME_VERSION {RUNTIME_VERSION}\n".encode() in fixed


@pytest.mark.slow
def test_machines_share_all_but_their_own_tables(bundle):
    """Of what firmware needs, as the guide says."""
    other = axis_data(load_machine("grinder-slide"))
    ours, others = bundle.files, axis_bundle(load_trial(shipped_trial_path()), other).files
    same = {name for name in ours if others.get(name) == ours[name]}
    assert {name for name in {*ours, *others} - same if not name.startswith("gw_machine_")} == {
        "CMakeLists.txt", "GUIDE.md", "Makefile", "README.txt", "SHA256SUMS",
        "gw_example.c", "gw_selftest.c",
    }  # fmt: skip


@pytest.mark.parametrize("name", ["standard", "complete", "counter"])
def test_the_read_me_says_how_large_the_sequencer_is(name):
    trial = counter_trial() if name == "counter" else load_trial(shipped_trial_path(name))
    exported = make_bundle(trial) if name == "counter" else None
    sources = dict(exported.files) if exported else runtime_sources() | trial_sources(trial)
    size = sequencer_bytes(trial)
    # No member is wider or narrower on a computer of 64 bits.
    holds = f"typedef char holds[(sizeof(gw_sequencer) == {size}) ? 1 : -1];"
    main = f'#include "gw_sequencer.h"\n{holds}\nint main(void) {{ return sizeof(holds) != 1; }}\n'
    kept = {n: text for n, text in sources.items() if n.endswith(".h")}
    compile_program({**kept, "size.c": main.encode()}, QUICK, "size")
    if exported:
        assert f"gw_sequencer takes {size} bytes" in exported.files["README.txt"].decode()


def test_the_self_test_rehearses_a_whole_trial(bundle):
    """From the start request to an end; a trial that does not end is said to be cut off."""
    text = bundle.files["gw_selftest.c"].decode()
    assert "Rehearsal: one whole trial with the invented drive" in text


@pytest.mark.parametrize(
    ("name", "pattern", "replacement"),
    [
        ("gw_trial.h", r"(#define GW_TRIAL_FINGERPRINT) \w+", r"\1 1U"),
        ("gw_machine_kiln_shuttle.h", r"(GW_TRIAL_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_machine_kiln_shuttle.h", r"(#define \w+_FINGERPRINT) \w+", r"\1 1U"),
        ("gw_machine_kiln_shuttle.h", r"(#define \w+_TABLES_FINGERPRINT) \w+", r"\1 1U"),
        ("gw_machine_kiln_shuttle.c", r"(\w+_TABLES_FINGERPRINT !=) \w+", r"\1 1U"),
        # An older self-test, example or stamp of the same trial.
        ("gw_selftest.c", r"(GW_RUNTIME_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_selftest.c", r"(SHUTTLE_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_selftest.c", r"(TABLES_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_example.c", r"(GW_RUNTIME_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_example.c", r"(TABLES_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_proof.h", r"(GW_RUNTIME_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_machine_kiln_shuttle.c", r"(GW_TRIAL_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_trial.c", r"(GW_TRIAL_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_proof.h", r"(GW_TRIAL_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_selftest.c", r"(GW_TRIAL_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_example.c", r"(GW_TRIAL_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_evidence.c", r"(GW_RUNTIME_VERSION !=) \d+", r"\1 1"),
        ("gw_evidence.c", r"(GW_RUNTIME_FINGERPRINT !=) \w+", r"\1 1U"),
        ("gw_fixed.h", r"(#define GW_RUNTIME_FINGERPRINT) \w+", r"\1 1U"),
        ("gw_watch.h", r"(GW_RUNTIME_VERSION !=) \d+", r"\1 1"),
        ("gw_machine_kiln_shuttle.h", r"(GW_RUNTIME_VERSION !=) \d+", r"\1 1"),
        ("gw_trial.h", r"(#define GW_TRIAL_RUNTIME_VERSION) \d+", r"\1 1"),
        ("gw_fixed.h", r"(#define GW_RUNTIME_VERSION) \d+", r"\1 1"),
        ("gw_machine_kiln_shuttle.h", r"(SHUTTLE_CONTROL_TICKS) \d+", r"\1 6554"),
        ("gw_machine_kiln_shuttle.h", r"(SHUTTLE_CONTROL_TICKS) \d+", r"\1 0"),
    ],
)
def test_a_mixed_set_of_files_does_not_compile(bundle, name, pattern, replacement):
    changed = _changed(bundle, name, pattern, replacement)
    with pytest.raises(
        InputError, match=r"different exports|another (export|version)|cannot be counted"
    ):
        selftest(bundle, ("-fsyntax-only",), **{name: changed})


@pytest.mark.skipif(not available("g++"), reason="g++ is not installed")
def test_headers_serve_c_plus_plus(bundle, tmp_path):
    for name, content in bundle.files.items():
        (tmp_path / name).write_bytes(content)
    call = (
        '#include "gw_machine_kiln_shuttle.h"\n'
        "int main() { static gw_axis a; gw_axis_init(&a, &gw_machine_kiln_shuttle); return 0; }\n"
    )
    (tmp_path / "use.cpp").write_text(call)
    units = sorted(name for name in bundle.files if name.endswith(".c") and "selftest" not in name)
    command = ["gcc", "-c", "-std=c99", *QUICK, *units]
    subprocess.run(command, cwd=tmp_path, check=True)
    objects = [name.replace(".c", ".o") for name in units]
    link = ["g++", "-std=c++11", "-Wall", "-Wextra", "-Werror", "use.cpp", *objects, "-o", "use"]
    subprocess.run(link, cwd=tmp_path, check=True)
    subprocess.run([tmp_path / "use"], check=True)


def test_numbers_of_the_machine_are_constants_of_the_preprocessor(bundle):
    text = bundle.files["gw_machine_kiln_shuttle.h"].decode()
    for line in (
        "#define GW_KILN_SHUTTLE_RATED_TORQUE_UNM INT32_C(48000000)",
        "#define GW_KILN_SHUTTLE_TOP_SPEED_URAD_PER_S INT32_C(209000000)",
        "#define GW_KILN_SHUTTLE_CONTROL_TICK_NS INT32_C(125000)",
    ):
        assert line in text
    (bits,) = re.findall(r"SHUTTLE_SPEED_GAIN_FRACTION_BITS (\d+)", text)
    tables = bundle.files["gw_machine_kiln_shuttle.c"].decode()
    (stated,) = re.findall(r"gain of each rung: Q\d+\.(\d+)", " ".join(tables.split()))
    assert bits == stated


def test_the_read_me_fits_a_terminal(bundle):
    assert max(map(len, bundle.files["README.txt"].decode().splitlines())) <= 100


def _code(text: str) -> str:
    """C text without comments and strings."""
    without_comments = re.sub(r"/\*.*?\*/", " ", text, flags=re.DOTALL)
    return re.sub(r'"(\\.|[^"\\])*"', '""', without_comments)


def test_no_floating_point_no_heap_no_library(bundle):
    forbidden = r"\b(float|double|malloc|calloc|realloc|free|alloca|memcpy|memset|goto|setjmp)\b"
    for name, content in bundle.files.items():
        if name.endswith((".c", ".h")):
            code = _code(content.decode())
            assert not re.search(forbidden, code), name
            assert not re.search(r"\b\d+\.\d|\b\d+[eE]\d", code), name
            if name not in ("gw_selftest.c", "gw_example.c"):
                assert set(re.findall(r"#include <(.*?)>", code)) <= {"stdint.h"}, name


@pytest.mark.skipif(not available("gcc"), reason="gcc is not installed")
def test_no_recursion(bundle, tmp_path):
    """The graph of calls, as gcc writes it, has no circle."""
    for name, content in bundle.files.items():
        (tmp_path / name).write_bytes(content)
    units = [name for name in bundle.files if name.endswith(".c")]
    command = ["gcc", "-std=c99", "-O0", "-fcallgraph-info", "-c", *units]
    subprocess.run(command, cwd=tmp_path, check=True)
    calls: dict[str, set[str]] = {}
    for graph in tmp_path.glob("*.ci"):
        pattern = r'edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"'
        for caller, callee in re.findall(pattern, graph.read_text()):
            calls.setdefault(caller, set()).add(callee)
    assert "gw_sequencer_step" in calls
    depth: dict[str, int] = {}

    def visit(function: str, path: tuple[str, ...]) -> int:
        assert function not in path, f"recursion: {path}"
        if function not in depth:
            inner = [visit(called, (*path, function)) for called in calls.get(function, ())]
            depth[function] = 1 + max(inner, default=0)
        return depth[function]

    assert max(visit(function, ()) for function in calls) > 3


def test_sequencer_alone_without_a_machine():
    bundle = make_bundle(counter_trial())
    assert not {"gw_machine.h", "gw_axis.c", "gw_detector.c"} & set(bundle.files)
    code, output = selftest(bundle, STRICT)
    assert code == 0, output
    assert bundle.rows_tested == ("count", "rest")
    assert "gw_sequencer_step" in bundle.files["README.txt"].decode()


def test_names_in_the_read_me_are_those_of_the_code(bundle):
    code = "".join(bundle.files[name].decode() for name in bundle.files if name.endswith(".h"))
    named = set(re.findall(r"\b(?:gw_\w+|GW_\w+)\b(?!\.)", bundle.files["README.txt"].decode()))
    named -= {"gw_selftest"}
    assert named and all(re.search(rf"\b{name}\b", code) for name in named), named


@pytest.mark.slow
def test_search_depends_on_nothing_but_trial_and_seed():
    trial = load_trial(shipped_trial_path())
    found = [find_samples(trial, seed) for seed in (5, 5, 6)]
    assert found[0] == found[1] != found[2]


@pytest.mark.slow
def test_guide_speaks_of_what_only_some_trials_ask_for():
    axis = axis_data(load_machine(MACHINE))
    texts = {
        name: axis_bundle(load_trial(shipped_trial_path(name)), axis).files["GUIDE.md"].decode()
        for name in ("standard", "complete", "gentle", "loadside")
    }
    assert "## Position step" in texts["complete"] and "128 x swinging" in texts["complete"]
    assert "## Position step" not in texts["standard"]
    assert "`cruise_share` / 256" in texts["gentle"]
    assert "## Cruise speed" not in texts["standard"]
    assert "## Shaking the load" in texts["loadside"]
    assert "## Position loop over the load" not in texts["complete"]
