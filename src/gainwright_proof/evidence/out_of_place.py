"""What no proof writes into a document: other keys, findings twice, methods beyond their reach.

What is found again is held against a finding by subject and method, so that of two with the same
only one would be looked at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from gainwright.language.model import RequirementKind, Trial
from gainwright_proof.c_checks.report import SUBJECT
from gainwright_proof.c_checks.restated import is_own_text
from gainwright_proof.evidence.schema import evidence_schema
from gainwright_proof.exploration.subjects import AGREEMENT, AS_SPECIFIED, PREMISE
from gainwright_proof.methods import OF_C_SOURCE, SPIN, family
from gainwright_proof.verdict import Finding, Verdict

_OF_SPIN = ("single_hit/", "row/", f"{PREMISE}/")
_TIMED = frozenset((RequirementKind.BOUNDED, RequirementKind.RESPONSE))


def faults_of_findings(
    document: Mapping[str, Any], findings: Sequence[Finding], trial: Trial
) -> Iterator[str]:
    """Yield what is out of place in a document, whatever else it says."""
    schema = evidence_schema()
    yield from _unknown_keys("the document", document, schema)
    for entry in document["findings"]:
        about = schema["properties"]["findings"]["items"]
        yield from _unknown_keys(f"the finding of {entry['subject']}", entry, about)
        if "counterexample" in entry and entry["verdict"] != Verdict.REFUTED.value:
            yield f"a counterexample to {entry['subject']}, which is not refuted"
    for (subject, method), count in Counter((f.subject, f.method) for f in findings).items():
        if count > 1:
            yield f"{subject} {count} times by the same method ({method})"
    for finding in findings:
        if _is_beyond(finding, trial):
            yield f"{finding.subject} by a method that does not look at it ({finding.method})"
        elif not is_own_text(finding):
            yield f"{finding.subject} in words that are not those of its method ({finding.method})"


def _unknown_keys(where: str, entry: Mapping[str, Any], schema: Mapping[str, Any]) -> Iterator[str]:
    for key in sorted(entry.keys() - schema["properties"].keys()):
        yield f"the key {key!r} in {where}"


def _is_beyond(finding: Finding, trial: Trial) -> bool:
    """Return whether a method that is not asked again whenever evidence is read says too much."""
    subject = finding.subject
    if family(finding.method) in OF_C_SOURCE:
        return subject != AS_SPECIFIED and not subject.startswith(f"{SUBJECT}/")
    if family(finding.method) == SPIN:
        untimed = {r.id for r in trial.requirements if r.kind not in _TIMED}
        return subject != AGREEMENT and subject not in untimed and not subject.startswith(_OF_SPIN)
    return False
