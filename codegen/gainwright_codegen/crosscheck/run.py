"""Cross-checks a bundle in a folder: every processor that is there, one after the other."""

from __future__ import annotations

import hashlib
import importlib.util
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from gainwright.errors import input_error
from gainwright_codegen.bundle.bundle import SUMS_FILE
from gainwright_codegen.c_text import filled
from gainwright_codegen.crosscheck import emulator, user_mode, workload
from gainwright_codegen.crosscheck.image import BENCH_FILE, SELF_TEST_FILE, Image, build_image
from gainwright_codegen.crosscheck.processor import Host
from gainwright_codegen.crosscheck.targets import TARGETS, ZIG, Target, UserTarget
from gainwright_codegen.host import compile_program
from gainwright_codegen.host.tool_run import run_tool

_HOST = "this computer"
_SELF_TEST_LIMIT_S = 60.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was found on one processor."""

    target: str
    missing: str = ""
    """Why it was not tried; then all else is empty."""
    failed_vectors: int = 0
    """Golden vectors of the self-test that came out otherwise than the Python reference."""
    digest: str = ""
    """Over every result and the memory of the axis."""
    printed: str = ""
    """Over every result as a number, where a program printed them."""
    axis_bytes: int = 0
    flash: tuple[tuple[str, int], ...] = ()
    """Bytes by C file; empty where they were not measured."""
    static_ram: int = 0
    helpers: tuple[str, ...] = ()
    """Functions that the compiler adds."""
    costs: workload.Costs | None = None


@dataclass(frozen=True, slots=True)
class Crosscheck:
    changed: tuple[str, ...]
    """Files that are not as exported."""
    outcomes: tuple[Outcome, ...]

    def is_identical(self, outcome: Outcome) -> bool:
        """Return whether a processor gives what the reference and this computer give."""
        here = self.outcomes[0]
        same = outcome.digest == here.digest if outcome.digest else outcome.printed == here.printed
        return outcome.failed_vectors == 0 and same

    @property
    def tried(self) -> tuple[Outcome, ...]:
        return tuple(outcome for outcome in self.outcomes if not outcome.missing)

    @property
    def identical(self) -> bool:
        """Whether all processors that were tried give the same."""
        return all(self.is_identical(outcome) for outcome in self.tried)


def crosscheck(
    directory: str | Path, targets: Iterable[Target | UserTarget] = TARGETS
) -> Crosscheck:
    """Build and run a bundle on this computer and on the targets.

    Raises:
        InputError: the folder holds no bundle with a machine, or its C does not compile.
    """
    with _workspace(Path(directory)) as (folder, names, changed):
        wanted = list(targets)
        if changed:
            _refuse_what_crashes(folder, names, changed)
        outcomes = [_on_host(folder, names, any(isinstance(t, UserTarget) for t in wanted))]
        outcomes += [_on_target(folder, names, target) for target in wanted]
    return Crosscheck(changed, tuple(outcomes))


@contextmanager
def _workspace(bundle: Path) -> Iterator[tuple[Path, list[str], tuple[str, ...]]]:
    """Yield a folder with the C of a bundle and the bench, the C files, and what was changed."""
    sums = _sums(bundle)
    with tempfile.TemporaryDirectory(prefix="gainwright-crosscheck-") as root:
        folder = Path(root)
        for name in sums:
            if name.endswith((".c", ".h")):
                (folder / name).write_bytes(_content(bundle, name))
        bench = Path(__file__).with_name(BENCH_FILE).read_text(encoding="ascii")
        (machine, *_) = machine_headers(sums)
        named = filled(bench, MACHINE=machine.removesuffix(".h"))
        (folder / BENCH_FILE).write_text(named, encoding="ascii")
        shutil.copy(Path(__file__).with_name(user_mode.PROGRAM_FILE), folder)
        changed = tuple(
            name
            for name, digest in sums.items()
            if hashlib.sha256(_content(bundle, name)).hexdigest() != digest
        )
        yield folder, [name for name in sums if name.endswith(".c")], changed


def _sums(bundle: Path) -> dict[str, str]:
    try:
        lines = (bundle / SUMS_FILE).read_text(encoding="ascii").splitlines()
        sums = {name: digest for digest, name in (line.split() for line in lines)}
    except (OSError, ValueError):
        sums = {}
    needed = {"gw_axis.c", SELF_TEST_FILE}
    machines = machine_headers(sums)
    if not needed <= sums.keys() or any("/" in name for name in sums) or not machines:
        raise input_error(
            bundle,
            SUMS_FILE,
            "no list of an export with a machine",
            f"what `gainwright export` writes for a machine, {', '.join(sorted(needed))} and more",
            "export the trial for a machine, and name that folder",
        )
    return sums


def machine_headers(names: Iterable[str]) -> list[str]:
    """Return the headers of machines among the files of a bundle."""
    return sorted(n for n in names if n.startswith("gw_machine_") and n.endswith(".h"))


def _content(bundle: Path, name: str) -> bytes:
    try:
        return (bundle / name).read_bytes()
    except OSError as error:
        raise input_error(
            bundle, name, error.strerror or "unreadable", "the file as exported", "export it again"
        ) from error


def _refuse_what_crashes(folder: Path, names: list[str], changed: Sequence[str]) -> None:
    """Run the self-test of a changed bundle apart: what crashes would take this process along."""
    headers = [path.name for path in folder.glob("*.h")]
    sources = {name: (folder / name).read_bytes() for name in (*headers, *names)}
    program = compile_program(sources, name="crosscheck-changed")
    run = run_tool([str(program)], folder, _SELF_TEST_LIMIT_S)
    if run.exit_code not in (0, 1):
        how = "does not end" if run.exit_code is None else f"crashes (exit code {run.exit_code})"
        raise input_error(
            "bundle",
            f"{', '.join(changed)}, not as exported",
            f"its self-test {how}",
            "C whose self-test passes, or says what failed",
            "undo the changes, or export the trial again",
        )


def _on_host(folder: Path, names: list[str], prints: bool) -> Outcome:
    headers = [path.name for path in sorted(folder.glob("*.h"))]
    units = [name for name in names if name != SELF_TEST_FILE]
    # The bench includes the self-test.
    host = Host(folder, [*headers, *units, BENCH_FILE, *_included(folder)])
    return Outcome(
        _HOST,
        failed_vectors=workload.failures(host),
        digest=workload.digest(host),
        printed=user_mode.on_host(folder, names).digest if prints else "",
        axis_bytes=workload.sizes(host).axis_bytes,
    )


def _included(folder: Path) -> list[str]:
    """Copy the self-test to a name that is not compiled by itself, as the bench includes it."""
    text = (folder / BENCH_FILE).read_text(encoding="ascii")
    included = SELF_TEST_FILE.replace(".c", ".inc")
    (folder / BENCH_FILE).write_text(text.replace(SELF_TEST_FILE, included), encoding="ascii")
    shutil.copy(folder / SELF_TEST_FILE, folder / included)
    return [included]


def _on_target(folder: Path, names: list[str], target: Target | UserTarget) -> Outcome:
    if isinstance(target, UserTarget):
        if missing := user_mode.missing(target):
            return Outcome(target.name, missing=missing)
        said = user_mode.on_target(folder, names, target)
        return Outcome(target.name, failed_vectors=said.failed_vectors, printed=said.digest)
    for package in (ZIG, emulator.PACKAGE) if target.compiler == ZIG else (emulator.PACKAGE,):
        if importlib.util.find_spec(package) is None:
            return Outcome(target.name, missing=f"the package {package} is not installed")
    if target.compiler != ZIG and shutil.which(target.compiler) is None:
        return Outcome(target.name, missing=f"{target.compiler} is not installed")
    image = build_image(folder, names, target)
    return _measured(image, emulator.Emulator(target, image.bench))


def _measured(image: Image, processor: emulator.Emulator) -> Outcome:
    failed, digest = workload.failures(processor), workload.digest(processor)
    return Outcome(
        image.target.name,
        failed_vectors=failed,
        digest=digest,
        axis_bytes=workload.sizes(processor).axis_bytes,
        flash=tuple(image.flash().items()),
        static_ram=image.static_ram(),
        helpers=image.helpers(),
        costs=workload.costs(processor),
    )
