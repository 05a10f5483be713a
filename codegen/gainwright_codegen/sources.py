"""Which C files make up what: the static runtime, and what is generated from a trial."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from pathlib import Path

from gainwright.errors import input_error
from gainwright.language.model import Trial
from gainwright_codegen.c_text import fingerprint
from gainwright_codegen.host import read_sources
from gainwright_codegen.trial_c.header import trial_header
from gainwright_codegen.trial_c.identifiers import check_exportable, constant, enumerators
from gainwright_codegen.trial_c.source import trial_source

RUNTIME_DIRECTORY = Path(__file__).parent / "runtime"
SEQUENCER_FILES = ("gw_fixed.h", "gw_select.h", "gw_table.h", "gw_sequencer.h", "gw_sequencer.c")
"""Static files that a trial without a machine needs."""
LONGEST_IDENTIFIER = 63
"""C99 tells names apart by 63 characters (5.2.4.1)."""


def runtime_sources() -> dict[str, bytes]:
    """Return every static C file by its name."""
    return read_sources(RUNTIME_DIRECTORY, "*.h", "*.c")


def runtime_fingerprint() -> str:
    """Return the first 32 bits of the digest of all static files, as the preprocessor has it."""
    digest = hashlib.sha256()
    for name, text in sorted(runtime_sources().items()):
        digest.update(f"{name} {len(text)}\n".encode("ascii") + text)
    return fingerprint(digest.hexdigest())


def trial_sources(trial: Trial) -> dict[str, bytes]:
    """Return the files generated from a trial.

    Raises:
        InputError: the trial has names or sizes that C cannot hold.
    """
    check_exportable(trial)
    _check_enumerators(trial)
    return {
        "gw_trial.h": trial_header(trial).encode("ascii"),
        "gw_trial.c": trial_source(trial).encode("ascii"),
    }


def _check_enumerators(trial: Trial) -> None:
    """Refuse named values whose enumerator is a name that the other C has already."""
    others = [trial_header(replace(trial, enumerations=())).encode("ascii")]
    taken = set(re.findall(rb"\bGW_[A-Z0-9_]+", b"".join([*others, *runtime_sources().values()])))
    taken |= {f"GW_{prefix}_COUNT".encode() for prefix in enumerators(trial)}
    for prefix, names in enumerators(trial).items():
        for name in names:
            enumerator = constant(prefix, name)
            problem = ""
            if enumerator.encode() in taken:
                problem = "which the exported C has already"
            elif len(enumerator) > LONGEST_IDENTIFIER:
                problem = f"which has {len(enumerator)} characters"
            if problem:
                raise input_error(
                    trial.name,
                    f"[enumerations.{prefix.lower()}] {name}",
                    f"the C name {enumerator}, {problem}",
                    f"a name of its own, at most {LONGEST_IDENTIFIER} characters",
                    "rename the enumeration or the value",
                )
            taken.add(enumerator.encode())


def sequencer_sources(trial: Trial) -> dict[str, bytes]:
    """Return the static and generated files that the sequencer of a trial needs."""
    runtime = runtime_sources()
    return {name: runtime[name] for name in SEQUENCER_FILES} | trial_sources(trial)
