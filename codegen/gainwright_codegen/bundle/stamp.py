"""Which C a proof is about, and the stamp by which firmware knows that it carries that C."""

from __future__ import annotations

from pathlib import Path

from gainwright.errors import InputError, Problem
from gainwright.language.model import Trial
from gainwright_codegen.c_text import banner, comment
from gainwright_codegen.sources import runtime_sources, trial_sources

STAMP_HEADER, STAMP_SOURCE = "gw_proof.h", "gw_proof.c"
DIGEST_LENGTH = 64


def proved_sources(trial: Trial) -> dict[str, bytes]:
    """Return the C that a proof of a trial is about: all but tables of a machine and the stamp."""
    return runtime_sources() | trial_sources(trial)


def stamp_sources(evidence_digest: str, identities: list[str]) -> dict[str, bytes]:
    """Return ``gw_proof.*``; an empty digest says that no evidence was given.

    Args:
        evidence_digest: SHA-256 (hex) of the evidence document, or "".
        identities: what the export belongs to, for the banner.
    """
    meaning = (
        "SHA-256 of the evidence of the proof of this trial and this C (evidence.json)."
        if evidence_digest
        else "NOT PROVED: this export was made without evidence of a proof. The text is empty."
    )
    header = "\n".join(
        [
            banner("stamp of the proof.", identities),
            "#ifndef GW_PROOF_H\n#define GW_PROOF_H\n",
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


def check_exported_folder(folder: str | Path, trial: Trial) -> None:
    """Raise InputError with every file of an exported folder that is not the proved C.

    A static file opens with the comment that names its export; the rest must be equal byte by byte.
    """
    problems = []
    for name, wanted in sorted(proved_sources(trial).items()):
        path = Path(folder) / name
        try:
            found = path.read_bytes()
        except OSError as error:
            what = error.strerror or str(error)
        else:
            if found == wanted or _without_banner(found) == wanted:
                continue
            what = "other bytes than those that were proved"
        problems.append(
            Problem(
                str(path), "", what, "the C that the evidence is about", "export the trial again"
            )
        )
    if problems:
        raise InputError(problems)


def _without_banner(content: bytes) -> bytes:
    """Cut the one comment that an export puts before a static file."""
    end = content.find(b"*/\n\n")
    return content[end + 4 :] if content.startswith(b"/*") and end >= 0 else content
