"""Evidence: conclusions over methods, the document and its schema, tampered folders."""

from __future__ import annotations

import dataclasses
import json

import jsonschema
import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.evidence.conclusion import conclude, exit_code, required_subjects
from gainwright_proof.evidence.document import (
    document_digest,
    evidence_document,
    exported_digest,
)
from gainwright_proof.evidence.folder import check_belongs, read_evidence, write_evidence
from gainwright_proof.evidence.schema import evidence_schema
from gainwright_proof.methods import EXPLORATION, INDUCTION, RANKING, SPIN, family, is_known
from gainwright_proof.replay import replay
from gainwright_proof.verdict import Finding, Obligation, Verdict

TRIAL = load_trial(shipped_trial_path("standard"))
EXPORTED = {"gw_trial.c": b"int x;\n", "gw_trial.h": b"extern int x;\n"}
OBLIGATION = Obligation.of("single_hit/idle", "(set-logic QF_BV)\n(assert false)\n(check-sat)\n")


def finding(subject, verdict, method="induction", **more):
    return Finding(subject, method, verdict, "because", **more)


PROVED = finding("a", Verdict.PROVED, obligations=(OBLIGATION,), figures={"longest_ticks": 7})


def document(findings=(PROVED,), trial=TRIAL, exported=EXPORTED):
    return evidence_document(trial, exported, findings, {"solver": "1.2"})


@pytest.mark.parametrize(
    ("verdicts", "wanted"),
    [
        ((Verdict.PROVED, Verdict.REFUTED), Verdict.REFUTED),
        ((Verdict.PROVED, Verdict.NOT_RUN), Verdict.PROVED),
        ((Verdict.UNFINISHED, Verdict.PROVED), Verdict.PROVED),
        ((Verdict.UNFINISHED, Verdict.NOT_RUN), Verdict.UNFINISHED),
        ((Verdict.NOT_RUN,), Verdict.NOT_RUN),
        ((Verdict.UNFINISHED, Verdict.REFUTED), Verdict.REFUTED),
    ],
)
def test_one_verdict_over_all_methods(verdicts, wanted):
    found = [finding("a", verdict, f"method {k}") for k, verdict in enumerate(verdicts)]
    (conclusion,) = conclude(found)
    assert conclusion.verdict is wanted
    proving = tuple(f"method {k}" for k, v in enumerate(verdicts) if v is Verdict.PROVED)
    assert conclusion.proved_by == proving


@pytest.mark.parametrize(
    ("verdicts", "code"),
    [
        ((Verdict.PROVED, Verdict.PROVED), 0),
        ((Verdict.PROVED, Verdict.REFUTED), 1),
        ((Verdict.UNFINISHED, Verdict.REFUTED), 1),
        ((Verdict.PROVED, Verdict.UNFINISHED), 3),
        ((Verdict.PROVED, Verdict.NOT_RUN), 3),
        ((), 3),
    ],
)
def test_exit_code_is_zero_only_when_all_is_proved(verdicts, code):
    found = [finding(f"subject {k}", verdict) for k, verdict in enumerate(verdicts)]
    assert exit_code(conclude(found)) == code


@pytest.mark.parametrize(
    ("extra", "code"),
    [(Verdict.NOT_RUN, 0), (Verdict.UNFINISHED, 3), (Verdict.REFUTED, 1), (Verdict.PROVED, 0)],
)
def test_missing_tool_matters_only_where_a_proof_is_required(extra, code):
    found = [finding(subject, Verdict.PROVED) for subject in sorted(required_subjects(TRIAL))]
    conclusions = conclude([*found, finding("c_source/step", extra)])
    assert exit_code(conclusions, required_subjects(TRIAL)) == code
    left_out = [finding(subject, Verdict.NOT_RUN) for subject in sorted(required_subjects(TRIAL))]
    assert exit_code(conclude([*left_out[:1], *found[1:]]), required_subjects(TRIAL)) == 3


def test_document_keeps_its_schema_and_the_schema_can_fail():
    schema = evidence_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    trace = replay(TRIAL, [{signal.name: signal.low for signal in TRIAL.inputs}])
    refuted = finding("b", Verdict.REFUTED, counterexample=trace)
    data = json.loads(json.dumps(document((PROVED, refuted))))
    jsonschema.validate(data, schema)
    assert data["verdicts"] == {"a": "proved", "b": "refuted"}
    for key in data:
        broken = {name: value for name, value in data.items() if name != key}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(broken, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**data, "verdicts": {"a": "perhaps"}}, schema)


def test_written_evidence_is_read_back_whole_and_twice_the_same_bytes(tmp_path):
    for place in ("one", "two"):
        write_evidence(tmp_path / place, document(), (PROVED,), {"a/b": "{}\n"})
    contents = [
        {p.relative_to(tmp_path / place): p.read_bytes()
         for p in sorted((tmp_path / place).rglob("*")) if p.is_file()}
        for place in ("one", "two")
    ]  # fmt: skip
    assert contents[0] == contents[1]
    evidence = read_evidence(tmp_path / "one")
    assert evidence.digest == document_digest(document())
    assert evidence.obligations == (OBLIGATION,)
    check_belongs(tmp_path / "one", evidence, TRIAL, EXPORTED)
    assert (tmp_path / "one" / "counterexamples" / "a-b.json").exists()


def tampered_obligation(folder):
    path = folder / "obligations" / "single_hit" / "idle.smt2"
    path.write_text(path.read_text().replace("false", "true"))


def missing_obligation(folder):
    (folder / "obligations" / "single_hit" / "idle.smt2").unlink()


def added_obligation(folder):
    (folder / "obligations" / "mine.smt2").write_text("(check-sat)\n")


def other_version(folder):
    path = folder / "evidence.json"
    path.write_text(path.read_text().replace('"version": 3', '"version": 99'))


def no_json(folder):
    (folder / "evidence.json").write_text("proved, believe me")


def other_json(folder):
    (folder / "evidence.json").write_text("[1, 2]")


def missing_part(folder):
    path = folder / "evidence.json"
    data = json.loads(path.read_text())
    del data["verdicts"]
    path.write_text(json.dumps(data))


def no_document(folder):
    (folder / "evidence.json").unlink()


@pytest.mark.parametrize(
    ("damage", "wanted"),
    [
        (tampered_obligation, r"idle\.smt2: SHA-256"),
        (missing_obligation, r"idle\.smt2"),
        (added_obligation, r"mine\.smt2[\s\S]*not listed"),
        (other_version, "version 99"),
        (no_json, "no JSON"),
        (other_json, "another kind of JSON"),
        (missing_part, "verdicts[\\s\\S]*missing"),
        (no_document, r"evidence\.json"),
    ],
)
def test_damaged_evidence_is_refused_with_its_place(tmp_path, damage, wanted):
    write_evidence(tmp_path / "evidence", document(), (PROVED,), {})
    damage(tmp_path / "evidence")
    with pytest.raises(InputError, match=wanted):
        read_evidence(tmp_path / "evidence")


def test_evidence_of_another_trial_or_other_c_is_refused(tmp_path):
    write_evidence(tmp_path / "evidence", document(), (PROVED,), {})
    evidence = read_evidence(tmp_path / "evidence")
    other = dataclasses.replace(TRIAL, digest="0" * 64)
    with pytest.raises(InputError, match=r"trial\.digest") as caught:
        check_belongs(tmp_path / "evidence", evidence, other, {**EXPORTED, "gw_trial.c": b"int y;"})
    assert {problem.place for problem in caught.value.problems} == {
        "trial.digest", "exported.digest", "exported.files",
    }  # fmt: skip


def test_digest_of_exported_files_sees_names_and_bytes_but_not_their_order():
    assert exported_digest(EXPORTED) == exported_digest(dict(reversed(EXPORTED.items())))
    assert exported_digest(EXPORTED) != exported_digest({**EXPORTED, "gw_trial.c": b"int x; \n"})
    renamed = {"a.c": EXPORTED["gw_trial.c"], "gw_trial.h": EXPORTED["gw_trial.h"]}
    assert exported_digest(EXPORTED) != exported_digest(renamed)


@pytest.mark.parametrize(
    ("method", "wanted"),
    [
        ("exhaustive exploration of the compiled C", EXPLORATION),
        ("induction (z3 4.15.1)", INDUCTION),
        ("ranking argument; unrolling from power-on (z3 4.15.1)", RANKING),
        ("z3 4.15.1", "z3"),
        ("model checking of the Promela export (spin 6.5.2), waits shortened in wait", SPIN),
    ],
)
def test_methods_are_known_whatever_the_version_of_their_tools(method, wanted):
    assert family(method) == wanted
    assert is_known(method)


@pytest.mark.parametrize("method", ["by hand", "z3 of old", "inductions (z3)", "", "spin 6.5.2"])
def test_methods_that_no_proof_has_are_not_known(method):
    assert not is_known(method)
