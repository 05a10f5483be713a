"""Folded waits against one by one: the same verdicts, counts, times, and nearest runs."""

from __future__ import annotations

import re
import tomllib

import pytest

from gainwright.language.load import trial_from_document
from gainwright_codegen.bundle.stamp import proved_sources
from gainwright_proof.exploration import confirms, explore, replay_run
from gainwright_proof.verdict import Verdict

from ..shared.cases import cases
from ..shared.timer_trials import timer_trial
from .test_short_waits import WAITING

pytestmark = pytest.mark.usefixtures("scratch_cache")

_TOLD = re.compile(r", waits folded| Waits are folded: .*")
SEEDS = (2, 3, 7, 9, 12)


def waiting(text: str = WAITING):
    return trial_from_document(tomllib.loads(text), "waiting.toml")


def said(exploration):
    """What a search says, but for the ticks that were tried and equally near runs."""
    return {
        finding.subject: (finding.verdict, shown(finding), _TOLD.sub("", finding.detail))
        for finding in (*exploration.findings, *exploration.premises)
        if not finding.subject.startswith(("row/", "exported_code_one_step"))
    } | {
        finding.subject: finding.verdict
        for finding in exploration.findings
        if finding.subject.startswith("row/")
    }


def shown(finding):
    """Figures, but for the length of a run that goes round a circle: which circle is not said."""
    return {} if "for ever" in finding.detail else finding.figures


def assert_alike(trial, exported=None):
    folded = explore(trial, exported=exported, premises=True)
    whole = explore(trial, exported=exported, premises=True, folds=False)
    assert said(folded) == said(whole)
    for count in ("nodes", "edges", "depth"):
        assert getattr(folded.figures, count) == getattr(whole.figures, count), count
    for name in ("nodes_by_state", "single_misses", "saturating", "longest_run_ticks",
                 "short_wait_states"):  # fmt: skip
        assert getattr(folded, name) == getattr(whole, name), name
    assert {k for k, n in folded.ticks_by_row.items() if n} == {
        k for k, n in whole.ticks_by_row.items() if n
    }
    assert set(folded.runs) == set(whole.runs)
    if exported is None:
        for run in folded.runs.values():
            assert confirms(trial, run, replay_run(trial, run)), run.subject
    return folded, whole


def test_waits_of_the_small_trial_are_folded():
    folded, whole = assert_alike(waiting())
    assert whole.figures.walked == 0
    assert folded.figures.nodes == whole.figures.held > 900
    assert folded.figures.held < 40
    assert folded.figures.walked >= folded.figures.nodes - folded.figures.held


@pytest.mark.parametrize("seed", cases(SEEDS[:1], slow=SEEDS[1:]))
def test_random_timers(seed):
    assert_alike(timer_trial(seed))


@pytest.mark.slow
def test_some_random_trials_fold_much_and_have_violations():
    found = [explore(timer_trial(seed)) for seed in SEEDS]
    assert sum(e.figures.held < 0.6 * e.figures.nodes for e in found) >= 3
    refuted = [f for e in found for f in e.findings if f.verdict is Verdict.REFUTED]
    assert len(refuted) > 10


@pytest.mark.parametrize(
    "broken",
    [
        # At one value inside of a stretch the wait ends, or never does.
        "(variables[GW_VARIABLE_TIME] >= INT32_C(300)) || (variables[GW_VARIABLE_TIME] == 123)",
        "(variables[GW_VARIABLE_TIME] >= INT32_C(300)) && (variables[GW_VARIABLE_TIME] != 499)",
    ],
)
def test_c_that_tells_values_apart_is_explored_one_by_one(broken):
    trial = waiting()
    sources = proved_sources(trial)
    sound = "variables[GW_VARIABLE_TIME] >= INT32_C(300)"
    text = sources["gw_trial.c"].decode("ascii")
    assert sound in text
    changed = {**sources, "gw_trial.c": text.replace(sound, broken).encode("ascii")}
    folded, _ = assert_alike(trial, changed)
    if "123" in broken:
        assert folded.figures.held == folded.figures.nodes
        assert folded.figures.nodes < explore(trial).figures.nodes
