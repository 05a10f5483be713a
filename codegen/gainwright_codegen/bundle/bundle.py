"""What is in a bundle: every file of the export of a trial, for one machine or for none."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright.result_folder import SUMS_FILE
from gainwright.result_folder import checksums as folder_checksums
from gainwright_codegen.axis_c.layout import MachineTables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.bundle.golden.scenario import checksums
from gainwright_codegen.bundle.golden.search import find_scenarios
from gainwright_codegen.bundle.golden.selftest_c import (
    SelfTestPart,
    selftest_source,
    sequencer_part,
)
from gainwright_codegen.bundle.readme import readme
from gainwright_codegen.bundle.stamp import stamp_sources
from gainwright_codegen.c_text import RUNTIME_VERSION, banner, identity
from gainwright_codegen.sources import SEQUENCER_FILES, runtime_sources, trial_sources


@dataclass(frozen=True, slots=True)
class Bundle:
    """The files of an export, complete, not yet written."""

    files: Mapping[str, bytes]
    """Content by name, sorted by name; ``SHA256SUMS`` lists all others."""
    rows_tested: tuple[str, ...]
    """Rows (ids) that the self-test takes."""

    @property
    def digest(self) -> str:
        """SHA-256 (hex) over ``SHA256SUMS``, and so over every file."""
        return hashlib.sha256(self.files[SUMS_FILE]).hexdigest()


def make_bundle(
    trial: Trial,
    machine: MachineTables | None = None,
    parts: Sequence[SelfTestPart] = (),
    evidence_digest: str = "",
) -> Bundle:
    """Return the export of a trial.

    Args:
        trial: what is exported.
        machine: tables of the machine; without them only the sequencer is exported.
        parts: further golden vectors for the self-test, besides those of the sequencer.
        evidence_digest: of matching evidence that all is proved; "" if there is none.

    Raises:
        InputError: C cannot hold the trial, or no compiler was found to search golden vectors.
    """
    identities = _identities(trial, machine)
    found = find_scenarios(trial)
    expected = _expected(trial, found.scenarios)
    all_parts = (sequencer_part(trial, found.scenarios, expected), *parts)
    files = {name: _with_banner(name, text) for name, text in _runtime(machine).items()}
    files |= trial_sources(trial)
    files |= stamp_sources(evidence_digest, identities)
    if machine is not None:
        files |= machine_sources(machine)
    files["gw_selftest.c"] = selftest_source(all_parts, identities).encode("ascii")
    files["README.txt"] = readme(trial, machine, files, found.rows).encode("ascii")
    files[SUMS_FILE] = folder_checksums(files)
    return Bundle(dict(sorted(files.items())), found.rows)


def _identities(trial: Trial, machine: MachineTables | None) -> list[str]:
    lines = [identity("Trial", trial.name, trial.digest)]
    if machine is not None:
        lines.append(identity("Machine", machine.name, machine.digest))
    return lines


def _expected(trial: Trial, scenarios) -> list[tuple[int, ...]]:  # type: ignore[no-untyped-def]
    """Return what the Python reference gives for each scenario."""
    # The reference needs a library that is slow to import.
    from gainwright.semantics.machine import ReferenceMachine

    reference = ReferenceMachine(trial)
    return [checksums(trial, reference, scenario) for scenario in scenarios]


def _runtime(machine: MachineTables | None) -> dict[str, bytes]:
    runtime = runtime_sources()
    if machine is None:
        return {name: runtime[name] for name in SEQUENCER_FILES}
    return runtime


def _with_banner(name: str, text: bytes) -> bytes:
    # No digest of trial or machine: these files are the same in every export.
    opening = banner(
        f"{name}, static file, version {RUNTIME_VERSION}; the same in every export.", ()
    )
    return opening.encode("ascii") + b"\n" + text
