"""Requirements: proved by induction, refuted by a run that replays, or honestly left open."""

from __future__ import annotations

import re
import tomllib
from functools import cache

import pytest

from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright_proof.induction.examples import violated_in
from gainwright_proof.induction.prove import SmtProof, prove
from gainwright_proof.induction.solvers import SOLVERS, Answer, decide
from gainwright_proof.replay import replay
from gainwright_proof.verdict import Finding, Obligation, Verdict

from ..gainwright.test_enumerations import load as named_values
from ..shared.cases import cases
from ..shared.small_trial import edited


def _trial(*edits: tuple[str, str]) -> Trial:
    return trial_from_document(tomllib.loads(edited(*edits)), "small.toml")


@cache
def _small() -> SmtProof:
    return prove(_trial())


def _finding(proof: SmtProof, subject: str) -> Finding:
    (found,) = [f for f in proof.findings if f.subject == subject]
    return found


@pytest.mark.parametrize("subject", ["ends", "raised_when_calm", "loud_drops"])
def test_requirements_of_the_small_trial_are_proved(subject):
    found = _finding(_small(), subject)
    assert found.verdict is Verdict.PROVED, found.detail
    assert found.obligations
    assert found.counterexample is None


def test_invariant_rests_on_facts_that_are_obligations_too():
    found = _finding(_small(), "result_below_limit")
    assert found.verdict is Verdict.PROVED, found.detail
    names = [o.name for o in found.obligations]
    assert names[0] == "requirement/result_below_limit"
    assert "facts/after_power_on" in names
    assert {"facts/rest", "facts/search"} <= set(names)
    text = found.obligations[0].text
    assert "; Requirement result_below_limit: The result is below the limit." in text
    assert "; Hazard runaway: The search never ends." in text


def test_reachability_is_left_to_exploration_unless_it_is_impossible():
    assert _finding(_small(), "can_find").verdict is Verdict.NOT_RUN
    proof = prove(
        _trial(
            (
                "found and limit == top",
                "found and in_state(search) and time == 0 and torque and applied != rung",
            )
        )
    )
    found = _finding(proof, "can_find")
    assert found.verdict is Verdict.REFUTED
    assert found.obligations
    assert found.counterexample is None


_PLANTED = {
    "raised although loud": (
        ('unless = ["loud", "late"]', 'unless = ["late"]'),
        (
            'unless = ["loud"]\nto = "rest"\nwhy = "Too late."',
            'unless = ["raising"]\nto = "rest"\nwhy = "Too late."',
        ),
        ('when = ["wanted", "loud"]', 'when = ["wanted", "late", "raising"]'),
        ('late = { holds', 'raising = { holds = "level > 60", meaning = "x" }\nlate = { holds'),
    ),
    "result not lowered": (
        (
            'result = "max(rung - 2, 0)", rung = "max(rung - 2, 0)"',
            'result = "rung", rung = "max(rung - 2, 0)"',
        ),
    ),
    "loud does not stop": (
        ('when = ["wanted", "loud"]\nto = "rest"', 'when = ["wanted", "loud"]\nto = "search"'),
    ),
}  # fmt: skip
_BROKEN = {
    "raised although loud": ("raised_when_calm", 2),
    "result not lowered": ("result_below_limit", 3),
    "loud does not stop": ("loud_drops", 2),
}


@pytest.mark.parametrize("name", sorted(_PLANTED))
def test_inserted_violation_is_refuted_by_a_shortest_run_that_replays(name):
    trial = _trial(*_PLANTED[name])
    subject, length = _BROKEN[name]
    found = _finding(prove(trial), subject)
    assert found.verdict is Verdict.REFUTED, found.detail
    trace = found.counterexample
    assert trace.from_power_on
    assert len(trace.ticks) == length
    again = replay(trial, [tick.inputs for tick in trace.ticks])
    assert again == trace
    assert subject in violated_in(trial, trace)
    shorter = replay(trial, [tick.inputs for tick in trace.ticks[:-1]])
    assert subject not in violated_in(trial, shorter)


def test_row_that_is_never_taken_is_refuted():
    # The result is always at or below the limit, though their ranges allow more.
    late = 'late = { holds = "time >= patience", meaning = "It takes too long" }'
    trial = _trial(
        (late, f'{late}\nabove = {{ holds = "result > limit", meaning = "x" }}'),
        ('unless = ["loud", "late"]', 'unless = ["loud", "late", "above"]'),
        (
            "[stages.speed_gain]",
            '[[rows]]\nid = "ghost"\nfrom = "search"\nwhen = ["wanted", "above"]\n'
            'unless = ["loud", "late"]\nto = "rest"\nwhy = "x"\n\n[stages.speed_gain]',
        ),
    )
    found = _finding(prove(trial), "row/ghost")
    assert found.verdict is Verdict.REFUTED
    assert found.obligations


@pytest.mark.slow
def test_what_resists_says_where_and_how_far_it_was_tried():
    # Never a multiple of 8, because it is odd: no fact of the forms that are tried says so.
    odd = 'odd = { kind = "integer", range = [0, 1000], initial = 21, meaning = "An odd number" }'
    trial = _trial(
        ("result = { kind", f"{odd}\nresult = {{ kind"),
        ("actions = { rung = 0, time = 0 }", "actions = { odd = 'min(odd + odd + 21, 861)' }"),
        (
            'formula = "next(rung) > rung implies not loud and found == next(found)"',
            'formula = "(odd >> 3) << 3 != odd or odd > 861"',
        ),
    )
    found = _finding(prove(trial), "raised_when_calm")
    assert found.verdict is Verdict.UNFINISHED
    assert "It would fail in the state" in found.detail
    assert "No run of up to 16 ticks violates it." in found.detail


def test_proof_is_the_same_every_time():
    again = prove(_trial())
    assert [o.digest for o in again.obligations] == [o.digest for o in _small().obligations]
    assert again.findings == _small().findings
    assert again.facts == _small().facts


@pytest.mark.parametrize("solver", cases(["z3"], slow=sorted({*SOLVERS} - {"z3"})))
def test_texts_of_the_file_stay_comments(solver):
    """Whatever a specification writes in its texts, no solver reads it as a command."""
    nasty = "µ “quoted” ; |bar| (assert false)\\n(assert false)\\r\\u2028(assert false)"
    trial = _trial(("The result is below the limit.", nasty), ("Nothing moves", nasty),
                   ("Rung that applies", nasty), ("The search never ends", nasty))  # fmt: skip
    proof = prove(trial, rechecked_by=[solver])
    assert _finding(proof, f"recheck/{solver}").verdict is Verdict.PROVED
    # The same claims without their denial are satisfiable: nothing above them is false by itself.
    open_scripts = [
        Obligation.of(o.name, re.sub(r"\(assert\s+\(not\s", "(assert (or true ", o.text))
        for o in proof.obligations
    ]
    assert all(decide(solver, o.text, 10).answer is Answer.SAT for o in open_scripts)


def test_named_values_are_proved_and_refuted_like_integers():
    good = _finding(prove(named_values()), "result_below_limit")
    assert good.verdict is Verdict.PROVED, good.detail
    wrong = ("why < time_over implies lamp == green", "why < time_over implies lamp == red")
    bad = _finding(prove(named_values(wrong)), "result_below_limit")
    assert bad.verdict is Verdict.REFUTED, bad.detail
