"""The stamp of a proof: only matching evidence that all is proved gives one."""

from __future__ import annotations

import re

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_codegen.bundle.stamp import check_exported_folder, proved_sources, stamp_sources
from gainwright_codegen.host import compile_shared, load_library
from gainwright_proof.evidence.document import document_digest, evidence_document
from gainwright_proof.evidence.folder import write_evidence
from gainwright_proof.verdict import Finding, Verdict

TRIAL = load_trial(shipped_trial_path("standard"))


def evidence(verdict=Verdict.PROVED, exported=None):
    findings = (Finding("everything", "by hand", verdict, "for this test"),)
    document = evidence_document(TRIAL, exported or proved_sources(TRIAL), findings, {})
    return document, findings


def export(tmp_path, capsys, document, findings):
    write_evidence(tmp_path / "evidence", document, findings, {})
    out = tmp_path / "out"
    words = ["export", "grinder-slide", "--out", out, "--evidence", tmp_path / "evidence"]
    code = main([str(word) for word in words])
    return code, capsys.readouterr().err, out


def test_matching_evidence_stamps_header_and_constant(tmp_path, capsys):
    document, findings = evidence()
    code, _, out = export(tmp_path, capsys, document, findings)
    assert code == 0
    digest = document_digest(document)
    assert f'#define GW_PROOF_DIGEST "{digest}"' in (out / "gw_proof.h").read_text()
    check_exported_folder(out, TRIAL)


@pytest.mark.parametrize("verdict", [Verdict.REFUTED, Verdict.UNFINISHED, Verdict.NOT_RUN])
def test_evidence_with_anything_open_stamps_nothing(tmp_path, capsys, verdict):
    code, err, out = export(tmp_path, capsys, *evidence(verdict))
    assert code == 2
    assert f"everything ({verdict.value})" in err
    assert not out.exists()


def test_evidence_of_other_c_stamps_nothing(tmp_path, capsys):
    other = proved_sources(TRIAL) | {"gw_sequencer.c": b"/* something else */\n"}
    code, err, out = export(tmp_path, capsys, *evidence(exported=other))
    assert code == 2
    assert "exported.digest" in err
    assert not out.exists()


def test_exported_folder_with_one_changed_byte_is_named(tmp_path, capsys):
    _, _, out = export(tmp_path, capsys, *evidence())
    for name in ("gw_trial.c", "gw_detector.c"):
        original = (out / name).read_bytes()
        place = original.rindex(b";")
        (out / name).write_bytes(original[:place] + b" " + original[place:])
        with pytest.raises(InputError, match=re.escape(name)):
            check_exported_folder(out, TRIAL)
        (out / name).write_bytes(original)
    (out / "gw_axis.c").unlink()
    with pytest.raises(InputError, match="gw_axis"):
        check_exported_folder(out, TRIAL)


@pytest.mark.parametrize("digest", ["", "5a" * 32])
def test_firmware_can_read_the_constant(digest):
    library = compile_shared(stamp_sources(digest, ["Trial of a test"]), name="stamp")
    ffi, loaded = load_library(library, "extern const char gw_proof_digest[65];")
    assert ffi.string(loaded.gw_proof_digest).decode() == digest
