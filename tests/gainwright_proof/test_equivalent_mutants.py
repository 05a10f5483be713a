"""Changes of the C that nobody can notice: the model checker proves why, for the exported C."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.sources import sequencer_sources
from gainwright_proof.c_checks import esbmc
from gainwright_proof.c_checks.model_checking import longest_loop
from gainwright_proof.c_checks.workspace import workspace
from gainwright_proof.verdict import Verdict

from ..gainwright_codegen.selftest_mutants import LEMMAS, RUNTIME

pytestmark = [
    pytest.mark.usefixtures("scratch_cache"),
    pytest.mark.skipif(esbmc.executable() is None, reason="ESBMC is not installed"),
]
TRIAL = load_trial(shipped_trial_path())
FILES = ("any_esbmc.c", "check_step.c", "gw_sequencer.c", "gw_trial.c", "lemmas.c")
EQUIVALENT = [mutant for mutant in RUNTIME if mutant.equivalent]
PATIENCE_S = 120
OPTIONS = (*esbmc.UNDEFINED, "--boolector")
BROKEN = {
    # The first initial value is 1; the pulse is asked for until the listening ends.
    "lemma_initial_values": (
        "gw_trial_initial_variables[GW_VARIABLE_SLOTS] = {\n    INT32_C(0),",
        "gw_trial_initial_variables[GW_VARIABLE_SLOTS] = {\n    INT32_C(1),",
    ),
    "lemma_pulse_request": (
        "    /* detect */\n",
        "    /* detect */ PULSE_REQUEST_ON |\n",
    ),
}


def judged(sources: Mapping[str, bytes], lemma: str) -> esbmc.Answer:
    with workspace(sources, TRIAL) as made:
        (made.folder / "lemmas.c").write_text(LEMMAS, encoding="ascii")
        rounds = longest_loop(TRIAL) + 1
        return esbmc.check(made.folder, FILES, lemma, rounds, PATIENCE_S, OPTIONS)


def test_each_has_a_lemma_of_its_own():
    assert {mutant.lemma for mutant in EQUIVALENT} == BROKEN.keys()
    assert all(f"void {mutant.lemma}(void)" in LEMMAS for mutant in EQUIVALENT)
    assert not [mutant for mutant in RUNTIME if mutant.lemma and not mutant.equivalent]


@pytest.mark.slow
@pytest.mark.parametrize("mutant", EQUIVALENT, ids=lambda mutant: mutant.lemma)
def test_the_reason_is_proved(mutant):
    answer = judged(sequencer_sources(TRIAL), mutant.lemma)
    assert answer.verdict is Verdict.PROVED, answer.detail


@pytest.mark.parametrize(
    "lemma", ["lemma_initial_values", pytest.param("lemma_pulse_request", marks=pytest.mark.slow)]
)
def test_a_reason_that_is_wrong_is_refuted(lemma):
    sources = sequencer_sources(TRIAL)
    sound, broken = BROKEN[lemma]
    text = sources["gw_trial.c"].decode("ascii")
    assert text.count(sound) == 1
    answer = judged({**sources, "gw_trial.c": text.replace(sound, broken).encode()}, lemma)
    assert answer.verdict is Verdict.REFUTED, answer.detail
