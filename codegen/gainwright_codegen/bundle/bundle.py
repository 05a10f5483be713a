"""What is in a bundle: every file of the export of a trial, for one machine or for none."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright.result_folder import SUMS_FILE
from gainwright.result_folder import checksums as folder_checksums
from gainwright_codegen.axis_c.layout import MachineTables
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.axis_c.text import machine_sources, only_with_tables
from gainwright_codegen.bundle.example_c import EXAMPLE_FILE, example_source
from gainwright_codegen.bundle.golden.axis_c import errors_part, ride_part
from gainwright_codegen.bundle.golden.crossings_c import crossings_part
from gainwright_codegen.bundle.golden.detector_c import detector_part
from gainwright_codegen.bundle.golden.evidence_c import evidence_part
from gainwright_codegen.bundle.golden.orders_c import orders_part
from gainwright_codegen.bundle.golden.rehearsal_c import rehearsal_part
from gainwright_codegen.bundle.golden.response_c import response_part
from gainwright_codegen.bundle.golden.rows_c import row_vectors, rows_part
from gainwright_codegen.bundle.golden.schedule_c import schedule_part
from gainwright_codegen.bundle.golden.search import Found, find_samples
from gainwright_codegen.bundle.golden.selftest_c import SELFTEST_FILE, SelfTestPart, selftest_source
from gainwright_codegen.bundle.golden.watch_c import watch_part
from gainwright_codegen.bundle.guide import build_files, guide
from gainwright_codegen.bundle.readme import readme
from gainwright_codegen.bundle.stamp import stamp_sources
from gainwright_codegen.c_text import (
    RUNTIME_VERSION,
    banner,
    identity,
    only_with_runtime,
    only_with_trial,
)
from gainwright_codegen.schedule_c.schedule import HEADER, StageSchedule, schedule_files
from gainwright_codegen.sources import (
    SEQUENCER_FILES,
    runtime_fingerprint,
    runtime_sources,
    trial_sources,
)


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
    stages: Sequence[StageTables] = (),
    evidence_digest: str = "",
    schedules: Sequence[StageSchedule] = (),
) -> Bundle:
    """Return the export of a trial.

    Args:
        trial: what is exported.
        machine: tables of the machine; without them only the sequencer is exported.
        stages: tables of the stages, those that ``machine`` was made of.
        evidence_digest: of matching evidence that all is proved; "" if there is none.
        schedules: gains over the position, of stages of ``machine``.

    Raises:
        InputError: C cannot hold the trial, or no compiler was found to search golden vectors.
    """
    identities = _identities(trial, machine)
    found = find_samples(trial)
    files = {name: _with_banner(name, text) for name, text in _runtime(machine).items()}
    files |= trial_sources(trial)
    files |= stamp_sources(evidence_digest, trial)
    if machine is not None:
        files |= machine_sources(machine)
    if machine is not None and schedules:
        tables = schedule_files(machine.name, identities, schedules)
        files |= tables | {HEADER: _with_banner(HEADER, tables[HEADER])}
    parts = _parts(trial, machine, stages, found, files)
    if machine is not None and schedules:
        parts.append(schedule_part(machine.name, schedules))
    if machine is not None:
        checks = _only_with_this_export(EXAMPLE_FILE, trial, machine)
        example = example_source(trial, machine, identities, "\n".join(checks))
        files[EXAMPLE_FILE] = example.encode("ascii")
    checks = _only_with_this_export(SELFTEST_FILE, trial, machine)
    files[SELFTEST_FILE] = selftest_source(parts, identities, checks).encode("ascii")
    if machine is not None:
        files |= build_files(identities, files)
        files["GUIDE.md"] = guide(trial, machine, stages, identities, schedules).encode("ascii")
    files["README.txt"] = readme(trial, machine, files, found.rows).encode("ascii")
    files[SUMS_FILE] = folder_checksums(files)
    return Bundle(dict(sorted(files.items())), found.rows)


def _only_with_this_export(name: str, trial: Trial, machine: MachineTables | None) -> list[str]:
    """Return lines that stop a compiler where a file stands among files of another export."""
    checks = [
        only_with_trial(name, trial.digest),
        only_with_runtime(name, runtime_fingerprint()),
    ]
    return checks if machine is None else [*checks, only_with_tables(name, machine)]


def _identities(trial: Trial, machine: MachineTables | None) -> list[str]:
    lines = [identity("Trial", trial.name, trial.digest)]
    if machine is not None:
        lines.append(identity("Machine", machine.name, machine.digest))
    return lines


def _parts(
    trial: Trial,
    machine: MachineTables | None,
    stages: Sequence[StageTables],
    found: Found,
    sources: Mapping[str, bytes],
) -> list[SelfTestPart]:
    reference = _reference(trial)
    vectors = row_vectors(trial, found.samples, reference, stages)
    name = machine.object if machine is not None else ""
    parts = [rows_part(trial, vectors, name)]
    if machine is not None:
        parts.append(errors_part(trial, name))
    if machine is not None and stages:
        ticks = machine.constants[0].value
        parts.append(detector_part(stages, name))
        parts.append(evidence_part(trial))
        parts.append(watch_part())
        parts.append(orders_part(name))
        # The model of the axis in Python has no loop response, which has a part of its own.
        response = stages[0].response
        if response is not None:
            parts.append(response_part(response, name))
            parts.append(crossings_part(response, name))
        else:
            parts.append(ride_part(trial, stages, vectors, ticks, reference, name))
        parts.append(rehearsal_part(trial, name, sources))
    return parts


def _reference(trial: Trial):  # type: ignore[no-untyped-def]
    # The reference needs a library that is slow to import.
    from gainwright.semantics.machine import ReferenceMachine

    return ReferenceMachine(trial)


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
    fingerprint = runtime_fingerprint()
    check = _SAME_VERSION.format(name=name, version=RUNTIME_VERSION, fingerprint=fingerprint)
    if name == _VERSION_FILE:
        text = text.replace(
            _VERSION, _VERSION + _FINGERPRINT.format(fingerprint=fingerprint).encode("ascii")
        )
    return b"\n".join([opening.encode("ascii"), text, check.encode("ascii")])


_VERSION_FILE = "gw_fixed.h"
_VERSION = f"#define GW_RUNTIME_VERSION {RUNTIME_VERSION}\n".encode("ascii")
_FINGERPRINT = """\
/* The first 32 bits of the digest of all static files: a changed byte is another version. */
#define GW_RUNTIME_FINGERPRINT {fingerprint}
"""
_SAME_VERSION = """\
/* Static files of different versions do not compile together. */
#ifdef GW_RUNTIME_VERSION
#if (GW_RUNTIME_VERSION != {version}) || (GW_RUNTIME_FINGERPRINT != {fingerprint})
#error "{name} and gw_fixed.h are of different versions: another version of the static files"
#endif
#endif
"""
