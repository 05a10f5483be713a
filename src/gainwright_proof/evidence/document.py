"""The evidence document: plain data with a documented, versioned form; same proof, same bytes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from gainwright.language.model import Trial
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.evidence.overview import overview
from gainwright_proof.verdict import Finding, Trace

FORMAT = "gainwright-evidence"
VERSION = 3
DOCUMENT = "evidence.json"

ASSUMPTIONS = (
    "Inputs change only between ticks. One outside its declared range is taken as the nearest "
    "value of the range.",
    "Ticks on time: gw_axis_sequencer_tick is called once per sequencer tick (tick_us) and "
    "gw_axis_control_tick once per control tick; every time of the trial is counted in ticks. "
    "Nobody else writes the memory of the axis.",
    "Watchdog: if ticks stop, no code runs that could ask for rest. The drive's watchdog must take "
    "torque away and close the brake by itself.",
    "Stuck or frozen inputs: an input may have any value at any time, so a frozen one starts "
    "nothing that is forbidden. A position that freezes while feedback_valid stays 1 is noticed "
    "by still_ticks only, which the drive has gw_watch count; an input that is not connected "
    "notices nothing.",
    "Brake feedback: the trial waits for times, not for a switch. A brake that does not close, or "
    "not in time, is not noticed by it.",
    "Negative return code of gw_axis_sequencer_tick: the outputs then ask for nothing and every "
    "tick returns it again until gw_axis_init. The caller must act on these outputs, must not go "
    "on with older ones, and must not reset before the cause is known.",
    "Compiler and target: exploration ran code of this computer's compiler. Compiler, processor "
    "and memory of the target do what C99 says; integers have 32 bits in two's complement. The "
    "self-test must be run on the target.",
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
    rows_noticed: Mapping[str, Sequence[str]] | None = None,
) -> dict[str, Any]:
    """Return the document.

    Args:
        trial: what was proved.
        exported: the C of the trial, by file name, that was explored and analysed.
        findings: of all methods.
        tools: version of each tool by name.
        exploration: counts of the exhaustive exploration, if it is complete.
        mutants: report of the mutants, if they were tried.
        rows_noticed: rows that each requirement constrains, by these mutants.
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
        "counts": counts_of(conclusions, findings),
        "exploration": None if exploration is None else dict(exploration),
        "one_way": one_way(conclusions),
        "verdicts": {item.subject: item.verdict.value for item in conclusions},
        "requirements": [line.as_json() for line in overview(trial, findings, rows_noticed)],
        "findings": [finding_data(finding) for finding in findings],
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


def counts_of(conclusions: Sequence[Any], findings: Sequence[Finding]) -> dict[str, int]:
    """Return how many subjects there are of each verdict, and how many are proved in two ways."""
    counts = {"subjects": len(conclusions), "findings": len(findings)}
    for conclusion in conclusions:
        key = conclusion.verdict.value.replace(" ", "_")
        counts[key] = counts.get(key, 0) + 1
    counts["proved_in_two_ways_or_more"] = sum(len(c.proved_by) >= 2 for c in conclusions)
    return counts


def one_way(conclusions: Iterable[Any]) -> list[str]:
    """Return the subjects that one method alone proved: none else would notice its mistake."""
    return sorted(c.subject for c in conclusions if len(c.proved_by) == 1)


def finding_data(finding: Finding) -> dict[str, Any]:
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
