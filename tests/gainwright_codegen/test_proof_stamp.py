"""The stamp of a proof: only evidence that holds against the trial gives one, in whole folders."""

from __future__ import annotations

import json
import re
import runpy
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.result_folder import SUMS_FILE, checksums
from gainwright_cli.main import main
from gainwright_codegen.bundle.stamp import check_exported_folder, proved_sources, stamp_sources
from gainwright_codegen.host import compile_shared, load_library
from gainwright_codegen.sources import trial_sources
from gainwright_proof.evidence.check import stated_findings
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.evidence.document import counts_of, evidence_document, one_way
from gainwright_proof.exploration.subjects import AGREEMENT, SPECIFIED_TWICE
from gainwright_proof.induction.prove import SEARCHER
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.induction.terms import StepTerms
from gainwright_proof.induction.translation import translation_finding
from gainwright_proof.inserted_defects.small import small_document
from gainwright_proof.methods import MODEL_CHECKING, SPIN
from gainwright_proof.verdict import Finding, Verdict

pytestmark = pytest.mark.slow

_FILES = runpy.run_path(str(Path(__file__).parents[1] / "shared" / "trial_text.py"))
DIVISOR = 8
"""Of the times: less is explored, but an axis can still be served within them."""


MISSING = [
    Finding(subject, MODEL_CHECKING, Verdict.NOT_RUN, "Missing.") for subject in SPECIFIED_TWICE
]


class TranslationAlone:
    def __init__(self, trial, *_):
        self.trial = trial

    def go_on(self, standing):
        assert standing == self.trial

    def findings(self):
        step = StepEncoding(self.trial)
        return (translation_finding(step, StepTerms(step), SEARCHER.title()),)

    def end(self):
        pass


@pytest.fixture(scope="module")
def proved(tmp_path_factory):
    """A trial with a short ladder, its evidence, and its stamped export.

    Explored and read twice as always. Of induction only the check of the translation is run, and
    checkers of C count as missing: they take minutes, and a stamp does not look at how they do.
    """
    folder = tmp_path_factory.mktemp("stamped")
    (folder / "short.toml").write_text(_FILES["toml_text"](small_document(DIVISOR)))
    trial = str(folder / "short.toml")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("gainwright_proof.proving.BesideExploration", TranslationAlone)
        patch.setattr("gainwright_proof.proving.check_sources", lambda *_, **__: MISSING)
        patch.setattr("gainwright_proof.proving.second_checker", lambda *_: [])
        assert main(["prove", trial, "--out", str(folder / "evidence")]) == 0
    assert export(folder, folder / "evidence", folder / "out") == 0
    return folder


def export(folder, evidence, out):
    words = ["export", "grinder-slide", "--out", out, "--evidence", evidence]
    return main([*map(str, words), "--trial", str(folder / "short.toml")])


def recheck(folder, evidence, out):
    words = ["prove", folder / "short.toml", "--recheck", evidence, "--exported", out]
    return main([str(word) for word in words])


def copied(folder, tmp_path, name):
    for path in sorted((folder / name).rglob("*")):
        if path.is_file():
            target = tmp_path / name / path.relative_to(folder / name)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(path.read_bytes())
    return tmp_path / name


def written(folder, change):
    """Change the document of an evidence folder; the list of sums is made to fit."""
    path = folder / "evidence.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    change(document)
    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    path.write_text(text, encoding="utf-8")
    summed(folder)


def summed(folder):
    files = {p.relative_to(folder).as_posix(): p.read_bytes()
             for p in folder.rglob("*") if p.is_file()}  # fmt: skip
    (folder / SUMS_FILE).write_bytes(checksums(files))


def test_quick_evidence_stamps_nothing(proved, tmp_path, capsys):
    trial, evidence = str(proved / "short.toml"), str(tmp_path / "evidence")
    assert main(["prove", trial, "--quick", "--out", evidence]) == 0
    told = capsys.readouterr().out
    assert "cannot stamp an export, for: " in told and "(not run)" in told
    assert export(proved, evidence, tmp_path / "out") == 2
    assert not (tmp_path / "out").exists()


def test_stamp_is_in_header_and_constant_and_the_folder_is_whole(proved, capsys):
    digest = re.search(r'GW_PROOF_DIGEST "([0-9a-f]{64})"', (proved / "out/gw_proof.h").read_text())
    assert digest is not None
    assert recheck(proved, proved / "evidence", proved / "out") == 0
    assert "byte for byte" in capsys.readouterr().out


def forget_everything(document):
    document.update(findings=[], verdicts={"nothing": "proved"}, obligations={}, requirements=[])
    document["counts"] = {"subjects": 0, "findings": 0, "proved_in_two_ways_or_more": 0}


def believe_me(document):
    document["verdicts"] = dict.fromkeys(document["verdicts"], "proved")
    document["findings"][0]["verdict"] = "refuted"


def one_requirement_less(document):
    subject = "gain_raised_only_after_quiet"
    document["findings"] = [f for f in document["findings"] if f["subject"] != subject]
    document["verdicts"].pop(subject)
    document["requirements"] = [r for r in document["requirements"] if r["requirement"] != subject]
    document["counts"]["subjects"] -= 1
    document["counts"]["proved"] -= 1
    document["counts"]["findings"] -= 1


def other_figures(document):
    document["exploration"]["reachable_states"] += 1


def by_hand(document):
    document["findings"][0]["method"] = "by hand"


def no_assumptions(document):
    document["assumptions"] = []


def odd_verdict(document):
    document["findings"][0]["verdict"] = "surely"


@pytest.mark.parametrize(
    "change",
    [forget_everything, believe_me, one_requirement_less, other_figures, by_hand, no_assumptions,
     odd_verdict],
)  # fmt: skip
def test_evidence_that_says_more_than_was_found_stamps_nothing(proved, tmp_path, capsys, change):
    evidence = copied(proved, tmp_path, "evidence")
    written(evidence, change)
    assert export(proved, evidence, tmp_path / "out") == 2
    assert "evidence" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def with_finding(document, trial, finding):
    """Add a finding of a tool that did not run, and all that follows from it."""
    entry = {**document["findings"][0], "subject": finding.subject, "method": finding.method}
    entry |= {"verdict": finding.verdict.value, "detail": finding.detail}
    document["findings"].append({**entry, "figures": dict(finding.figures), "obligations": []})
    findings = stated_findings(document)
    conclusions = conclude(findings)
    document["verdicts"] = {item.subject: item.verdict.value for item in conclusions}
    document["counts"] = counts_of(conclusions, findings)
    document["one_way"] = one_way(conclusions)


def test_a_forged_finding_of_the_second_checker(proved, tmp_path, capsys):
    """Its count is held against the exploration. What nothing here gives again is said to be so."""
    trial = load_trial(proved / "short.toml")

    def stamped(name, stored):
        finding = Finding(AGREEMENT, SPIN, Verdict.PROVED, "", figures={"stored_states": stored})
        evidence = copied(proved, tmp_path / name, "evidence")
        written(evidence, lambda document: with_finding(document, trial, finding))
        code = export(proved, evidence, tmp_path / name / "out")
        return code, capsys.readouterr()

    code, said = stamped("wrong", 12345)
    assert code == 2 and not (tmp_path / "wrong" / "out").exists()
    counted = re.search(r"(\d+), as the exploration counts", said.err)
    assert "12345 states" in said.err and counted is not None
    code, said = stamped("right", int(counted[1]))
    assert code == 0
    assert f"taken as the evidence says: {SPIN}" in " ".join(said.out.split())
    assert f"--recheck {tmp_path / 'right' / 'evidence'}" in said.out


def test_good_evidence_with_digests_of_another_trial_pasted_stamps_nothing(
    proved, tmp_path, capsys
):
    """The other trial has the same names, and goes from the first search move to a raised gain."""
    document = small_document(DIVISOR)
    (row,) = [r for r in document["rows"] if r["id"] == "raise_gain"]
    row["actions"]["gain_rung"] = "gain_rung + 2"
    (tmp_path / "short.toml").write_text(_FILES["toml_text"](document))
    trial = load_trial(tmp_path / "short.toml")
    own = evidence_document(trial, proved_sources(trial), [], {})
    evidence = copied(proved, tmp_path, "evidence")
    written(evidence, lambda good: good.update(trial=own["trial"], exported=own["exported"]))
    assert export(tmp_path, evidence, tmp_path / "out") == 2
    assert "gain_raised_only_after_quiet" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def smuggled_into_the_banner(out):
    path = out / "gw_axis.c"
    path.write_bytes(b"int smuggled;\n" + path.read_bytes())


def changed(name, found, put):
    def change(out):
        path = out / name
        text = path.read_text()
        assert text.count(found) >= 1
        path.write_text(text.replace(found, put, 1))

    return change


def zero_stamp(out):
    for name in ("gw_proof.h", "README.txt"):
        path = out / name
        path.write_text(re.sub(r"[0-9a-f]{64}", "0" * 64, path.read_text()))


def added_file(out):
    (out / "gw_more.c").write_text("int more;\n")


def sums_fit_again(damage):
    def change(out):
        damage(out)
        summed(out)

    return change


DAMAGES = {
    "banner": smuggled_into_the_banner,
    "machine": changed("gw_machine_grinder_slide.c", "0", "1"),
    "trial": changed("gw_trial.c", "0", "1"),
    "stamp": zero_stamp,
    "readme": changed("README.txt", "NOT", "NOW"),
    "sums": changed(SUMS_FILE, "0", "1"),
    "added": added_file,
    "selftest": changed("gw_selftest.c", "1", "2"),
    "machine, sums made to fit": sums_fit_again(changed("gw_machine_grinder_slide.c", "0", "1")),
}


@pytest.mark.parametrize("name", DAMAGES)
def test_exported_folder_that_is_not_the_export_is_refused(proved, tmp_path, capsys, name):
    out = copied(proved, tmp_path, "out")
    DAMAGES[name](out)
    assert recheck(proved, proved / "evidence", out) == 2
    err = capsys.readouterr().err
    assert "the bytes that the exporter writes" in err or "no part of the export" in err


def test_missing_file_and_line_are_named(tmp_path):
    (tmp_path / "a.c").write_bytes(b"one\ntwo\n")
    with pytest.raises(InputError, match=r"first in line 2") as caught:
        check_exported_folder(tmp_path, {"a.c": b"one\nTWO\n", "b.c": b""})
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("digest", ["", "5a" * 32])
def test_firmware_can_read_the_constant(digest):
    trial = load_trial(shipped_trial_path())
    sources = trial_sources(trial) | stamp_sources(digest, trial)
    del sources["gw_trial.c"]
    library = compile_shared(sources, name="stamp")
    ffi, loaded = load_library(library, "extern const char gw_proof_digest[65];")
    assert ffi.string(loaded.gw_proof_digest).decode() == digest
