"""The evidence document: plain data with a documented, versioned form; same proof, same bytes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from gainwright.language.model import Trial
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.verdict import Finding, Trace

FORMAT = "gainwright-evidence"
VERSION = 1
DOCUMENT = "evidence.json"

ASSUMPTIONS = (
    "Inputs stay inside their declared ranges, and change only between ticks.",
    "The step function is called once per sequencer tick, and nobody else writes its memory.",
    "Compiler, processor and memory do what C99 says; integers have 32 bits in two's complement.",
    "The drive obeys the outputs: it gives torque only while torque_request is 1, closes the brake "
    "while brake_open is 0, and decelerates while motion_enable is 0.",
    "The times of the trial (brake, torque build-up) are at least those of the machine; "
    "`gainwright rehearse` and `export` refuse a machine for which they are not.",
    "What the detector reports is taken as an input that may have any value at any time: the proof "
    "says nothing about how well it detects. Campaigns do.",
    "The proof covers the trial and its C, not the drive, the wiring, the machine or the people.",
)
"""What the proof takes from the environment, in plain words."""


def evidence_document(
    trial: Trial,
    exported: Mapping[str, bytes],
    findings: Sequence[Finding],
    tools: Mapping[str, str],
    exploration: Mapping[str, int] | None = None,
    mutants: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the document.

    Args:
        trial: what was proved.
        exported: the C of the trial, by file name, that was explored and analysed.
        findings: of all methods.
        tools: version of each tool by name.
        exploration: counts of the exhaustive exploration, if it is complete.
        mutants: report of the mutants, if they were tried.
    """
    conclusions = conclude(findings)
    return {
        "format": FORMAT,
        "version": VERSION,
        "trial": {"name": trial.name, "digest": trial.digest},
        "exported": {
            "digest": exported_digest(exported),
            "files": {name: _sha256(exported[name]) for name in sorted(exported)},
        },
        "tools": dict(sorted(tools.items())),
        "counts": _counts(conclusions, findings),
        "exploration": None if exploration is None else dict(exploration),
        "verdicts": {item.subject: item.verdict.value for item in conclusions},
        "findings": [_finding(finding) for finding in findings],
        "obligations": {
            obligation.name: obligation.digest for obligation in obligations_of(findings)
        },
        "assumptions": list(ASSUMPTIONS),
        "mutants": None if mutants is None else dict(mutants),
    }


def obligations_of(findings: Iterable[Finding]) -> list[Any]:
    """Return every obligation once, sorted by name."""
    named = {o.name: o for finding in findings for o in finding.obligations}
    return [named[name] for name in sorted(named)]


def exported_digest(exported: Mapping[str, bytes]) -> str:
    """Return the SHA-256 (hex) over names and digests of the exported files, sorted by name."""
    lines = "".join(f"{_sha256(exported[name])}  {name}\n" for name in sorted(exported))
    return _sha256(lines.encode())


def document_text(document: Mapping[str, Any]) -> str:
    """Return the document as the text whose SHA-256 is the digest of the proof."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def document_digest(document: Mapping[str, Any]) -> str:
    """Return the digest (hex) that a proved export is stamped with."""
    return _sha256(document_text(document).encode())


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _counts(conclusions: Sequence[Any], findings: Sequence[Finding]) -> dict[str, int]:
    counts = {"subjects": len(conclusions), "findings": len(findings)}
    for conclusion in conclusions:
        key = conclusion.verdict.value.replace(" ", "_")
        counts[key] = counts.get(key, 0) + 1
    counts["proved_in_two_ways_or_more"] = sum(len(c.proved_by) >= 2 for c in conclusions)
    return counts


def _finding(finding: Finding) -> dict[str, Any]:
    result: dict[str, Any] = {
        "subject": finding.subject,
        "method": finding.method,
        "verdict": finding.verdict.value,
        "detail": finding.detail,
        "figures": dict(finding.figures),
        "obligations": [obligation.name for obligation in finding.obligations],
    }
    if finding.counterexample is not None:
        result["counterexample"] = trace_data(finding.counterexample)
    return result


def trace_data(trace: Trace) -> dict[str, Any]:
    """Return a trace as plain data; its ``inputs`` replay it."""
    return {
        "from_power_on": trace.from_power_on,
        "first": asdict(trace.first),
        "ticks": [
            {
                "inputs": dict(tick.inputs),
                "row": tick.row,
                "saturated": list(tick.saturated),
                "after": asdict(tick.after),
            }
            for tick in trace.ticks
        ],
    }
