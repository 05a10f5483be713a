"""Which C a proof is about, and the stamp by which firmware knows that it carries that C."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from gainwright.errors import InputError, Problem
from gainwright.language.model import Trial
from gainwright_codegen.c_text import (
    banner,
    comment,
    identity,
    only_with_runtime,
    only_with_trial,
)
from gainwright_codegen.sources import runtime_fingerprint, runtime_sources, trial_sources

STAMP_HEADER, STAMP_SOURCE = "gw_proof.h", "gw_proof.c"
DIGEST_LENGTH = 64


def proved_sources(trial: Trial) -> dict[str, bytes]:
    """Return the C that a proof of a trial is about: all but tables of a machine and the stamp."""
    return runtime_sources() | trial_sources(trial)


def stamp_sources(evidence_digest: str, trial: Trial) -> dict[str, bytes]:
    """Return ``gw_proof.*``; an empty digest says that no evidence was given.

    The same for all machines: a proof is about none.

    Args:
        evidence_digest: SHA-256 (hex) of the evidence document, or "".
        trial: what was proved; its header has to be there.
    """
    identities = [identity("Trial", trial.name, trial.digest)]
    meaning = (
        "SHA-256 of the evidence of the proof of this trial and this C (evidence.json)."
        if evidence_digest
        else "NOT PROVED: this export was made without evidence of a proof. The text is empty."
    )
    header = "\n".join(
        [
            banner("stamp of the proof.", identities),
            "#ifndef GW_PROOF_H\n#define GW_PROOF_H\n",
            '#include "gw_trial.h"\n',
            only_with_trial(STAMP_HEADER, trial.digest),
            only_with_runtime(STAMP_HEADER, runtime_fingerprint()) + "\n",
            comment(meaning),
            f'#define GW_PROOF_DIGEST "{evidence_digest}"\n',
            comment("The same as a constant that firmware can read out."),
            f"extern const char gw_proof_digest[{DIGEST_LENGTH + 1}];\n",
            "#endif\n",
        ]
    )
    source = "\n".join(
        [
            banner("stamp of the proof.", identities),
            f'#include "{STAMP_HEADER}"\n',
            f"const char gw_proof_digest[{DIGEST_LENGTH + 1}] = GW_PROOF_DIGEST;\n",
        ]
    )
    return {STAMP_HEADER: header.encode("ascii"), STAMP_SOURCE: source.encode("ascii")}


def check_exported_folder(folder: str | Path, wanted: Mapping[str, bytes]) -> None:
    """Raise InputError with every file of a folder that is not, byte for byte, the export.

    Args:
        folder: what somebody says was exported.
        wanted: every file that the exporter writes, ``SHA256SUMS`` among them.

    What would be compiled with the rest, or builds it, is named too.
    """
    place = Path(folder)
    problems = [
        Problem(str(place / name), "", what, "the bytes that the exporter writes",
                "export the trial again into a new folder, with this evidence")
        for name in sorted(wanted)
        if (what := _wrong_file(place / name, wanted[name]))
    ]  # fmt: skip
    problems += [
        Problem(str(path), "", "a file that is no part of the export", "exported files only",
                "move it to another folder")
        for path in sorted(place.rglob("*"))
        if _is_built(path) and path.relative_to(place).as_posix() not in wanted
    ]  # fmt: skip
    if problems:
        raise InputError(problems)


_SOURCES = frozenset((".c", ".h", ".i", ".s", ".inc", ".cc", ".cpp", ".cxx", ".hh", ".hpp"))
_BUILDERS = frozenset(("makefile", "gnumakefile"))


def _is_built(path: Path) -> bool:
    """Return whether a compiler or make reads a file; some file systems do not see its case."""
    return path.suffix.lower() in _SOURCES or path.name.lower() in _BUILDERS


def _wrong_file(path: Path, wanted: bytes) -> str:
    """Return what is wrong with a file; empty if nothing is."""
    try:
        found = path.read_bytes()
    except OSError as error:
        return error.strerror or str(error)
    if found == wanted:
        return ""
    lines = zip(found.splitlines(), wanted.splitlines(), strict=False)
    number = next((k for k, (a, b) in enumerate(lines, 1) if a != b), None)
    return "another length" if number is None else f"other bytes, first in line {number}"
