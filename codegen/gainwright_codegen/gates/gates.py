"""Runs the gates, each in a copy of the bundle, and says of each what came out."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from gainwright.errors import input_error
from gainwright_codegen.c_text import filled
from gainwright_codegen.gates import misra
from gainwright_codegen.host.tool_run import LIMIT_S, ToolRun, run_tool

FUZZ_SECONDS = 60
_STRICT = ("-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Wundef", "-Werror")
_SANITIZED = ("-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
_FUZZ = Path(__file__).with_name("fuzz.c")
_ROUNDS_PER_SECOND = 200
_MCDC_CLANG, _NEWEST_CLANG = 18, 30


@dataclass(frozen=True, slots=True)
class Gate:
    name: str
    verdict: str
    """``passed``, ``failed``, ``not installed`` or ``unfinished``."""
    detail: str = ""


def run_gates(
    bundle: str | Path, fuzz_seconds: int = FUZZ_SECONDS, fuzz_runs: int = 0
) -> list[Gate]:
    """Run every gate on an exported folder.

    Args:
        bundle: the folder.
        fuzz_seconds: how long both ticks are fuzzed.
        fuzz_runs: if not 0, so many runs instead: the same ones each time.

    Raises:
        InputError: the folder holds no bundle with a machine.
    """
    with tempfile.TemporaryDirectory(prefix="gainwright-gates-") as root:
        folder = Path(root) / "bundle"
        bench = _Bench(_copied(Path(bundle), folder))
        return [
            *bench.compilers(),
            *bench.analysers(),
            *bench.sanitized(),
            *bench.fuzzed(fuzz_seconds, fuzz_runs),
            *bench.coverage(),
        ]


def lines(gates: Sequence[Gate]) -> list[str]:
    """Return a line per gate."""
    return [f"{g.verdict:14} {g.name}{': ' + g.detail if g.detail else ''}" for g in gates]


def exit_code(gates: Sequence[Gate]) -> int:
    """Return 0 if all pass, 1 if one fails, 3 if one was not tried or has no end."""
    verdicts = {gate.verdict for gate in gates}
    return 1 if "failed" in verdicts else 0 if verdicts <= {"passed"} else 3


def _copied(bundle: Path, folder: Path) -> Path:
    machines = sorted(bundle.glob("gw_machine_*.h"))
    if not machines or not (bundle / "gw_selftest.c").is_file():
        raise input_error(
            bundle,
            "",
            "no export with a machine",
            "a folder that `gainwright export` wrote for a machine",
            "export the trial for a machine, and name that folder",
        )
    folder.mkdir()
    for path in bundle.glob("*.[ch]"):
        shutil.copy(path, folder)
    text = filled(_FUZZ.read_text(encoding="ascii"), MACHINE=machines[0].stem)
    (folder / "fuzz.c").write_text(text, encoding="ascii")
    return folder


class _Bench:
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        names = sorted(path.name for path in folder.glob("gw_*.c"))
        self._firmware = [n for n in names if n not in ("gw_selftest.c", "gw_example.c")]
        self._all = names
        # What a trial without a loop response carries of it, no linker keeps.
        text = (folder / "gw_trial.h").read_text(encoding="ascii")
        self._has_response = "#define GW_HAS_LOOP_RESPONSE 1" in text

    def _run(self, name: str, *commands: Sequence[str], limit_s: float = LIMIT_S) -> Gate:
        """Run commands one after the other; the first that fails decides."""
        for command in commands:
            if shutil.which(command[0]) is None and not command[0].startswith("./"):
                return Gate(name, "not installed", command[0])
            done = self._tool(command, limit_s)
            if done.exit_code is None:
                return Gate(name, "unfinished", f"{command[0]}: no end after {limit_s:g} s")
            if done.exit_code != 0:
                return Gate(name, "failed", _first_complaint(done.output))
        return Gate(name, "passed")

    def _tool(self, command: Sequence[str], limit_s: float = LIMIT_S) -> ToolRun:
        # Sanitizers reserve far more memory than they use.
        return run_tool(command, self._folder, limit_s, memory_mb=None)

    def compilers(self) -> Iterator[Gate]:
        for compiler in ("gcc", "clang"):
            for standard in ("c99", "c11"):
                command = [compiler, f"-std={standard}", "-O2", *_STRICT, "-c", *self._all]
                yield self._run(f"{compiler} {standard}, warnings as errors", command)
        headers = "".join(f'#include "{p.name}"\n' for p in sorted(self._folder.glob("gw_*.h")))
        (self._folder / "headers.cpp").write_text(headers + "int main() { return 0; }\n")
        flags = ("-Wall", "-Wextra", "-Werror", "-c", "headers.cpp")
        for compiler in ("g++", "clang++"):
            yield self._run(f"{compiler} c++11, all headers", [compiler, "-std=c++11", *flags])

    def analysers(self) -> Iterator[Gate]:
        yield self._run(
            "gcc -fanalyzer", ["gcc", "-std=c99", "-O1", "-fanalyzer", "-Werror", "-c", *self._all]
        )
        yield self._misra()
        # Parameters of one kind side by side: fixed-point signals are all int32_t. An int8_t is a
        # number here, never a character.
        checks = (
            "-*,clang-analyzer-*,bugprone-*,cert-*,-bugprone-easily-swappable-parameters,"
            "-bugprone-signed-char-misuse,-cert-str34-c"
        )
        yield self._run(
            "clang-tidy",
            ["clang-tidy", "--quiet", "--warnings-as-errors=*", f"--checks={checks}",
             *self._firmware, "--", "-std=c99"],
        )  # fmt: skip

    def _misra(self) -> Gate:
        """Deviations from advisory rules are told, those from required ones fail."""
        name = "cppcheck with MISRA C:2012"
        path, missing = misra.checker()
        if missing:
            return Gate(name, "not installed", missing)
        (self._folder / "stdint.cfg").write_text(misra.LIBRARY, encoding="ascii")
        done = self._tool([path, *misra.FLAGS, *self._firmware])
        if done.exit_code is None:
            return Gate(name, "unfinished", f"{path}: no end after {LIMIT_S:g} s")
        bad, deviations = misra.judge(done.output)
        if done.exit_code != 0 or bad:
            return Gate(name, "failed", bad[0] if bad else _first_complaint(done.output))
        return Gate(name, "passed", f"advisory, with reasons in the guide: {deviations}")

    def sanitized(self) -> Iterator[Gate]:
        for compiler in ("gcc", "clang"):
            yield self._run(
                f"{compiler}, self-test and example under ASan and UBSan",
                [compiler, *_SANITIZED, *self._firmware, "gw_selftest.c", "-o", "selftest"],
                ["./selftest"],
                [compiler, *_SANITIZED, "-DGW_EXAMPLE_MAIN", *self._firmware, "gw_example.c",
                 "-o", "example"],
                ["./example"],
            )  # fmt: skip

    def fuzzed(self, seconds: int, runs: int = 0) -> Iterator[Gate]:
        flags = ("-g", "-O1", "-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all")
        made = self._run("", ["clang", *flags, *self._firmware, "fuzz.c", "-o", "fuzz"])
        name = f"fuzzing of both ticks, {f'{runs} runs' if runs else f'{seconds} s'}"
        if made.verdict == "passed":
            bound = f"-runs={runs}" if runs else f"-max_total_time={seconds}"
            arguments = (bound, "-seed=1", "-max_len=4096")
            yield self._run(name, ["./fuzz", *arguments], limit_s=seconds + LIMIT_S)
            return
        missing = made.detail if made.verdict == "not installed" else "the fuzzer of clang"
        yield Gate(name, "not installed", missing)
        rounds = runs or max(1, seconds * _ROUNDS_PER_SECOND)
        yield self._run(
            f"drawn calls of both ticks instead, {rounds} rounds, seed 1",
            ["gcc", *_SANITIZED, "-DGW_DRAWN", *self._firmware, "fuzz.c", "-o", "drawn"],
            ["./drawn", str(rounds)],
            limit_s=seconds + LIMIT_S,
        )

    def coverage(self) -> Iterator[Gate]:
        clang, suffix = _mcdc_compiler()
        if not clang:
            yield Gate("MC/DC by the self-test", "not installed", f"clang {_MCDC_CLANG} or newer")
        else:
            yield self._mcdc(clang, suffix)
        yield self._branches()

    def _mcdc(self, clang: str, suffix: str) -> Gate:
        """Every condition of a decision is seen to decide alone, in runtime and tables."""
        flags = ("-O0", "-fprofile-instr-generate", "-fcoverage-mapping", "-fcoverage-mcdc")
        made = self._run(
            "MC/DC by the self-test",
            [clang, *flags, *self._firmware, "gw_selftest.c", "-o", "mcdc"],
            ["./mcdc"],
            [f"llvm-profdata{suffix}", "merge", "default.profraw", "-o", "profile"],
        )
        if made.verdict != "passed":
            return made
        command = [f"llvm-cov{suffix}", "export", "-format=text", "-summary-only",
                   "-instr-profile=profile", "./mcdc", *self._firmware]  # fmt: skip
        said = self._tool(command).output
        counts = {
            Path(file["filename"]).name: file["summary"]["mcdc"]
            for file in json.loads(said)["data"][0]["files"]
            if self._has_response or "gw_loop_" not in file["filename"]
        }
        missed = [
            f"{name} {part['covered']} of {part['count']}"
            for name, part in sorted(counts.items())
            if part["covered"] != part["count"]
        ]
        total = sum(part["count"] for part in counts.values())
        detail = ", ".join(missed) or f"{total} of {total} conditions"
        return Gate(made.name, "failed" if missed else "passed", detail)

    def _branches(self) -> Gate:
        """Line and branch coverage of what firmware carries, by gcov; told, no bound."""
        name = "lines and branches by the self-test"
        if shutil.which("gcov") is None:
            return Gate(name, "not installed", "gcov")
        made = self._run(
            name,
            ["gcc", "-O0", "--coverage", *self._firmware, "gw_selftest.c", "-o", "covered"],
            ["./covered"],
        )
        if made.verdict != "passed":
            return made
        notes = sorted(path.name for path in self._folder.glob("covered-gw_*.gcda"))
        notes = [n for n in notes if "selftest" not in n]
        return Gate(name, "passed", _summed(self._tool(["gcov", "-b", *notes]).output))


def _first_complaint(said: str) -> str:
    """Return the line of an output that says what is wrong, if there is one."""
    lines = said.strip().splitlines() or ["no output"]
    telling = [n for n in lines if re.search(r"error|warning|SUMMARY|FAIL", n)]
    return (telling or lines)[0][:200]


def _summed(said: str) -> str:
    """Return the sums of what gcov says of each file."""
    sums = {"Lines executed": [0.0, 0], "Taken at least once": [0.0, 0]}
    files = list[str]()
    for file, block in re.findall(r"File '([^']+)'\n(.*?)(?:\n\n|\Z)", said, flags=re.DOTALL):
        pairs = re.findall(r"(Lines executed|Taken at least once):([\d.]+)% of (\d+)", block)
        for what, share, count in pairs:
            sums[what][0] += float(share) * int(count) / 100.0
            sums[what][1] += int(count)
        shares = "/".join(f"{float(share):.0f}" for _, share, _ in pairs)
        files.append(f"{Path(file).name} {shares}")
    lines, branches = (100.0 * part / max(whole, 1) for part, whole in sums.values())
    return f"{lines:.1f} % of lines, {branches:.1f} % of branches ({', '.join(files)})"


def _mcdc_compiler() -> tuple[str, str]:
    """Return the newest clang that knows MC/DC, and the suffix of its tools, or nothing."""
    for number in range(_NEWEST_CLANG, _MCDC_CLANG - 1, -1):
        if shutil.which(f"clang-{number}") and shutil.which(f"llvm-cov-{number}"):
            return f"clang-{number}", f"-{number}"
    found = re.search(r"version (\d+)", _version("clang"))
    if found and int(found[1]) >= _MCDC_CLANG and shutil.which("llvm-cov"):
        return "clang", ""
    return "", ""


def _version(tool: str) -> str:
    if shutil.which(tool) is None:
        return ""
    return run_tool([tool, "--version"], Path.cwd(), LIMIT_S).output
