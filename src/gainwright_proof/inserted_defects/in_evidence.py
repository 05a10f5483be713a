"""Forged evidence and changed exports: nothing of it may be stamped or found whole."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from gainwright.errors import InputError
from gainwright_codegen.bundle.bundle import make_bundle
from gainwright_codegen.bundle.stamp import check_exported_folder, proved_sources
from gainwright_proof.c_checks.report import SUBJECT
from gainwright_proof.c_checks.restated import restated
from gainwright_proof.evidence.check import (
    check_against,
    check_document,
    check_obligations,
    check_stamps,
    stated_findings,
)
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.evidence.document import (
    counts_of,
    evidence_document,
    finding_data,
    obligations_of,
    one_way,
)
from gainwright_proof.evidence.folder import Evidence, check_belongs
from gainwright_proof.evidence.overview import overview
from gainwright_proof.exploration.subjects import SPECIFIED_TWICE, TRANSLATION
from gainwright_proof.inserted_defects.defect import InsertedDefect
from gainwright_proof.inserted_defects.small import small_document, small_trial
from gainwright_proof.methods import (
    ABSTRACT_INTERPRETATION,
    EXPLORATION,
    MODEL_CHECKING,
    SANITIZERS,
    SPIN,
)
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.report import Judged, MutantReport, Outcome, Stage
from gainwright_proof.proving import Again, prove_again
from gainwright_proof.verdict import Finding, Obligation, Verdict

Change = Callable[[dict[str, Any]], None]
_INDUCTION = "induction (of an inserted defect)"
_DIGEST = "5a" * 32


@cache
def _again() -> Again:
    again = prove_again(small_trial(), small_document(), induction=False)
    obligation = Obligation.of("single_hit/idle", "(assert false)\n(check-sat)\n")
    extra = Finding("single_hit/idle", _INDUCTION, Verdict.PROVED, "", obligations=(obligation,))
    # What a stamp asks for besides, and takes minutes, stands here as if it had been found.
    stated = [Finding(TRANSLATION, _INDUCTION, Verdict.TESTED, "")]
    stated += [Finding(subject, _INDUCTION, Verdict.NOT_RUN, "") for subject in SPECIFIED_TWICE]
    return replace(again, findings=(*again.findings, extra, *stated))


def sound_document() -> dict[str, Any]:
    """Return the document of a proof that holds."""
    again = _again()
    exported = proved_sources(small_trial())
    document = evidence_document(
        small_trial(), exported, again.findings, {"tool": "1"}, again.exploration
    )
    return json.loads(json.dumps(document))  # type: ignore[no-any-return]


@cache
def _report() -> MutantReport:
    """What a report on mutants would be if one requirement caught all but one."""
    first, *others = mutants(small_trial())
    by = (small_trial().requirements[0].id,)
    judged = (Judged(other, Outcome.CAUGHT, Stage.COMPARED, by) for other in others)
    return MutantReport(
        small_trial(), (Judged(first, Outcome.SURVIVED, Stage.EXPLORED), *judged), ()
    )


def document_with_mutants() -> dict[str, Any]:
    """Return the document of a proof that holds, with a report on mutants."""
    document, report = sound_document(), _report()
    document["mutants"] = json.loads(json.dumps(report.as_json()))
    for line in document["requirements"]:
        line["rows"] = list(report.rows_noticed().get(line["requirement"], ()))
    return document


def refusals(document: Mapping[str, Any], obligations: tuple[Obligation, ...]) -> tuple[str, ...]:
    """Return what an export says against a document; empty if it would be stamped."""
    evidence = Evidence(document, "", obligations)
    again = _again()
    try:
        check_belongs("evidence", evidence, small_trial(), proved_sources(small_trial()))
        conclusions = check_document("evidence", evidence, small_trial())
        check_stamps("evidence", conclusions, small_trial())
        check_against("evidence", evidence, again.findings, again.exploration)
        check_obligations("evidence", evidence, obligations_of(again.findings))
    except InputError as error:
        return tuple(f"evidence, {p.place or Path(p.file).name}" for p in error.problems)
    return ()


def _forged(
    name: str, change: Change, make: Callable[[], dict[str, Any]] = sound_document
) -> InsertedDefect:
    def judge() -> tuple[str, ...]:
        document = make()
        change(document)
        return refusals(document, tuple(obligations_of(_again().findings)))

    return InsertedDefect(name, "evidence", "evidence.json", judge)


def _other_obligation() -> tuple[str, ...]:
    forged = Obligation.of("single_hit/idle", "(assert (not true))\n(check-sat)\n")
    document = sound_document()
    document["obligations"][forged.name] = forged.digest
    return refusals(document, (forged,))


def _believed(document: dict[str, Any]) -> None:
    document.update(findings=[], verdicts={"nothing": "proved"}, obligations={}, requirements=[])


def _subject(document: dict[str, Any], subject: str) -> list[dict[str, Any]]:
    return [f for f in document["findings"] if f["subject"] == subject]


def _forget(document: dict[str, Any]) -> None:
    """Leave out a requirement wherever it stands."""
    name = "gain_raised_only_after_quiet"
    gone = _subject(document, name)
    document["findings"] = [f for f in document["findings"] if f not in gone]
    document["requirements"] = [r for r in document["requirements"] if r["requirement"] != name]
    del document["verdicts"][name]
    document["counts"]["findings"] -= len(gone)
    document["counts"]["subjects"] -= 1
    document["counts"]["proved"] -= 1


def _verdict_of_refuted(document: dict[str, Any]) -> None:
    document["findings"][0]["verdict"] = "refuted"


def _another_count(document: dict[str, Any]) -> None:
    document["exploration"]["reachable_states"] += 1


def _other_method(document: dict[str, Any]) -> None:
    document["findings"][0]["method"] = "by hand"


def _derived(document: dict[str, Any]) -> None:
    """Bring what follows from the findings in line with them, as a careful forger does."""
    findings = stated_findings(document)
    conclusions = conclude(findings)
    lines = overview(small_trial(), findings)
    document.update(
        verdicts={item.subject: item.verdict.value for item in conclusions},
        counts=counts_of(conclusions, findings),
        one_way=one_way(conclusions),
        requirements=[line.as_json() for line in lines],
    )


def _another_way(method: str) -> Change:
    """Prove everything once more, by a method that did nothing."""

    def change(document: dict[str, Any]) -> None:
        document["findings"] += [{**f, "method": method} for f in document["findings"]]
        _derived(document)

    return change


_OF_C_SOURCE = (
    ("reset_as_specified", MODEL_CHECKING),
    ("gw_sequencer", ABSTRACT_INTERPRETATION),
    ("sanitized_runs", SANITIZERS),
)


def of_c_source(subject: str, method: str, **changed: str) -> Change:
    """Add what a tool for C would say of the sequencer, with something changed."""

    def change(document: dict[str, Any]) -> None:
        stated = Finding(f"{SUBJECT}/{subject}", f"{method} (1)", Verdict.PROVED, "")
        made = next(f for f in restated(stated) if f.subject == stated.subject)
        document["findings"].append({**finding_data(made), **changed})
        _derived(document)

    return change


def _unheard(document: dict[str, Any]) -> None:
    """Leave out all that one method says."""
    gone = document["findings"][-1]["method"]
    document["findings"] = [f for f in document["findings"] if f["method"] != gone]
    _derived(document)


def _survivor_gone(document: dict[str, Any]) -> None:
    """Leave out a mutant that nothing catches, in list and counts."""
    (entry,) = [e for e in document["mutants"]["mutants"] if e["outcome"] == "survived"]
    document["mutants"]["mutants"].remove(entry)
    document["mutants"]["counts"][entry["id"].split("/")[0]]["survived"] -= 1


def _survivor_caught(document: dict[str, Any]) -> None:
    """Say of a mutant that it is caught, in list and counts, by nothing."""
    (entry,) = [e for e in document["mutants"]["mutants"] if e["outcome"] == "survived"]
    entry["outcome"] = "caught"
    counts = document["mutants"]["counts"][entry["id"].split("/")[0]]
    counts.update(survived=counts["survived"] - 1, caught=counts["caught"] + 1)


def _other_rows(document: dict[str, Any]) -> None:
    document["requirements"][-1]["rows"] = [small_trial().rows[0].id]


def _assumptions_gone(document: dict[str, Any]) -> None:
    document["assumptions"] = document["assumptions"][:1]


def _premise_seen(document: dict[str, Any]) -> None:
    document["requirements"][0]["premise"] = "vacuous"


def _shadowed(document: dict[str, Any]) -> None:
    """Put a finding that says more before the true one, which is found again."""
    first = document["findings"][0]
    document["findings"].insert(0, {**first, "detail": "Whatever the inputs do, for ever."})
    _derived(document)


def _praised(document: dict[str, Any]) -> None:
    document["safe"] = "proved"


def _praised_finding(document: dict[str, Any]) -> None:
    document["findings"][0]["reviewed"] = "yes"


def _renamed(document: dict[str, Any]) -> None:
    document["trial"]["name"] = "another"


def _other_file(document: dict[str, Any]) -> None:
    document["exported"]["files"]["gw_trial.c"] = _DIGEST


def _empty_counterexample(document: dict[str, Any]) -> None:
    document["findings"][0]["counterexample"] = {"ticks": []}


def _one_way_none(document: dict[str, Any]) -> None:
    document["one_way"] = []


def _all_conditions_alone(document: dict[str, Any]) -> None:
    exploration = document["exploration"]
    exploration["row_conditions_deciding_alone"] = exploration["row_conditions"] + 1


def _other_detail(document: dict[str, Any]) -> None:
    document["findings"][0]["detail"] = "Whatever the inputs do, for ever."


def _other_hazard(document: dict[str, Any]) -> None:
    document["requirements"][0]["hazard"] = "none"


@cache
def _files() -> dict[str, bytes]:
    return dict(make_bundle(small_trial(), evidence_digest=_DIGEST).files)


def _changed_folder(name: str, change: Callable[[dict[str, bytes]], None]) -> InsertedDefect:
    def judge() -> tuple[str, ...]:
        files = dict(_files())
        change(files)
        with tempfile.TemporaryDirectory() as folder:
            for file, content in files.items():
                (Path(folder) / file).write_bytes(content)
            try:
                check_exported_folder(folder, _files())
            except InputError as error:
                return tuple(f"folder, {Path(problem.file).name}" for problem in error.problems)
        return ()

    return InsertedDefect(name, "exported folder", "recheck --exported", judge)


def _put(file: str, found: bytes, broken: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        if found not in files[file]:
            raise LookupError(f"{file} has no {found!r}")
        files[file] = files[file].replace(found, broken, 1)

    return change


def _smuggled(files: dict[str, bytes]) -> None:
    files["gw_sequencer.c"] = b"/* */ int smuggled;\n" + files["gw_sequencer.c"]


def _added(name: str, content: bytes = b"int more;\n") -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[name] = content

    return change


def _exchanged(files: dict[str, bytes]) -> None:
    first, second = "gw_trial.c", "gw_sequencer.c"
    files[first], files[second] = files[second], files[first]


IN_EVIDENCE: tuple[InsertedDefect, ...] = (
    _forged("no finding, and the verdict 'nothing: proved'", _believed),
    _forged("a requirement left out everywhere", _forget),
    _forged("a refuted finding under a verdict 'proved'", _verdict_of_refuted),
    _forged("other counts of the exploration", _another_count),
    _forged("a method of another name", _other_method),
    _forged("everything proved once more by a method of another name", _another_way("by hand")),
    _forged("everything proved once more by an older version", _another_way(f"{EXPLORATION} (1)")),
    _forged("a method that is not heard, in all that follows", _unheard),
    _forged("a mutant that gets through, left out", _survivor_gone, document_with_mutants),
    _forged("a mutant that nothing caught, as caught", _survivor_caught, document_with_mutants),
    _forged("rows that no mutant showed", _other_rows, document_with_mutants),
    _forged("rows of mutants that were not tried", _other_rows),
    _forged("assumptions left out", _assumptions_gone),
    _forged("another premise in the table", _premise_seen),
    _forged("a finding that says more, before the true one", _shadowed),
    _forged("a verdict of its own", _praised),
    _forged("a word of praise in a finding", _praised_finding),
    _forged("another name of the trial", _renamed),
    _forged("another digest of one exported file", _other_file),
    _forged("a counterexample to what is called proved", _empty_counterexample),
    _forged("nothing that one method alone proved", _one_way_none),
    _forged("more conditions deciding alone than there are", _all_conditions_alone),
    _forged("another detail of what was found", _other_detail),
    _forged("another hazard of a requirement", _other_hazard),
    _forged("everything proved once more by a model checker of C",
            _another_way(f"{MODEL_CHECKING} (of an inserted defect)")),
    _forged("everything proved once more by the second checker",
            _another_way(f"{SPIN} (of an inserted defect)")),
    _forged("words that no model checker of C writes",
            of_c_source("reset_as_specified", MODEL_CHECKING, detail="Safe in all that it does.")),
    _forged("words that no abstract interpreter writes",
            of_c_source("gw_sequencer", ABSTRACT_INTERPRETATION, detail="No alarm.")),
    _forged("random runs called a proof",
            of_c_source("sanitized_runs", SANITIZERS, verdict="proved")),
    InsertedDefect("another obligation, with its digest", "evidence", "obligations",
                   _other_obligation),
    _changed_folder("code smuggled into the banner", _smuggled),
    _changed_folder("the stamp set to zeros",
                    _put("gw_proof.h", _DIGEST.encode(), b"0" * 64)),
    _changed_folder("another README", _put("README.txt", b"NOT", b"NOW")),
    _changed_folder("another list of sums", _put("SHA256SUMS", b"a", b"b")),
    _changed_folder("one more C file", _added("gw_more.c")),
    _changed_folder("one more file of assembly", _added("gw_more.S")),
    _changed_folder("a file that some file systems take for another", _added("GW_TRIAL.C")),
    _changed_folder("a makefile that goes before the exported one",
                    _added("GNUmakefile", b"CFLAGS = -Dconst=\n")),
    _changed_folder("a standard header beside the code",
                    _added("stdint.h", b"typedef short int32_t;\n")),
    _changed_folder("other ends of lines",
                    _put("gw_trial.c", b"\n", b"\r\n")),
    _changed_folder("two files exchanged", _exchanged),
)  # fmt: skip


def control() -> tuple[str, ...]:
    """Return what is said against sound evidence: must be nothing."""
    obligations = tuple(obligations_of(_again().findings))
    made = [sound_document(), document_with_mutants()]
    for subject, method in _OF_C_SOURCE:
        document = sound_document()
        of_c_source(subject, method)(document)
        made.append(document)
    return tuple(said for document in made for said in refusals(document, obligations))
