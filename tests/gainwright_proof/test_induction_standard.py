"""The shipped trial: everything proved, with the numbers that follow from its constants."""

from __future__ import annotations

from functools import cache

import pytest

from gainwright.language.model import RequirementKind
from gainwright_proof.exploration.subjects import TRANSLATION
from gainwright_proof.induction.prove import SmtProof, prove, recheck
from gainwright_proof.verdict import Verdict

from .smt_values import standard

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("smt_standard")]


@cache
def _proof() -> SmtProof:
    return prove(standard())


def test_every_requirement_and_table_is_proved():
    reachable = {r.id for r in standard().requirements if r.kind is RequirementKind.REACHABLE}
    findings = {f.subject: f for f in _proof().findings}
    assert set(findings) >= {r.id for r in standard().requirements}
    assert set(findings) >= {f"single_hit/{state.name}" for state in standard().states}
    for subject, finding in findings.items():
        wanted = Verdict.NOT_RUN if subject in reachable else Verdict.PROVED
        # The translation is compared with the reference in many ticks, which proves nothing.
        wanted = Verdict.TESTED if subject == TRANSLATION else wanted
        assert finding.verdict is wanted, f"{subject}: {finding.detail}"


def test_times_that_ranks_show_lie_between_the_longest_course_and_what_is_asked():
    c = standard().constant
    move, listen = c("move_timeout_ticks") + 1, c("listen_timeout_ticks") + 1
    noise = c("noise_timeout_ticks") + 1
    one_pulse = move + noise + 1 + listen
    # At each rung the pulse and all its repeats, and then a move whose noise is cut off once more.
    one_rung = (c("most_repeats") + 1) * one_pulse + move + noise
    # Two directions, each with what is left of the repeats.
    repeats = c("most_repeats") + 1 - c("repeats_before_verification")
    one_attempt = c("back_off_timeout_ticks") + 1 + 2 * (repeats * one_pulse + move + noise)
    longest = (
        c("torque_build_up_ticks") + 1
        + c("open_brake_timeout_ticks") + 1
        + c("approach_timeout_ticks") + 1
        + (c("top_rung") + 1) * one_rung
        + c("verification_attempts") * one_attempt
        + c("stop_timeout_ticks") + 1 + c("brake_close_ticks") + 1
    )  # fmt: skip
    asked = {r.id: r.within_ticks for r in standard().requirements}
    figures = {f.subject: f.figures.get("longest_ticks") for f in _proof().findings}
    # The last attempt ends before its last listening, or in a result.
    assert longest - listen - 1 <= figures["trial_ends"] <= asked["trial_ends"]
    assert figures["trial_comes_to_an_end"] == figures["trial_ends"]
    assert figures["end_stays_reachable"] == figures["trial_ends"]
    assert figures["move_ends"] == move
    assert figures["listening_ends"] == listen


def test_names_of_obligations_are_paths_and_unique():
    names = [o.name for o in _proof().obligations]
    assert names == sorted(set(names))
    for name in names:
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789_/")
        # No name is a folder of another, so that all can be files.
        assert not any(other.startswith(name + "/") for other in names)


def test_obligations_tell_the_reader_what_they_are():
    texts = {o.name: o.text for o in _proof().obligations}
    for requirement in standard().requirements:
        for name, text in texts.items():
            if name == f"requirement/{requirement.id}":
                flowing = " ".join(line.lstrip("; ") for line in text.splitlines())
                assert requirement.sentence in flowing
                assert f"Requirement {requirement.id}:" in text
    assert all(text.endswith("(check-sat)\n") for text in texts.values())


@pytest.mark.parametrize("solver", ["bitwuzla", "cvc5"])
def test_other_solvers_agree(solver):
    # cvc5 takes its time over multiplications, so it checks every fourth obligation here.
    every = 4 if solver == "cvc5" else 1
    finding = recheck(_proof().obligations[::every], solver)
    assert finding.verdict is Verdict.PROVED, finding.detail
