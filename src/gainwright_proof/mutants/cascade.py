"""Decides about mutants, with the cheapest means first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.model import Trial
from gainwright_proof.mutants.array_code import ArrayCode, Columns, selected
from gainwright_proof.mutants.array_machine import ArrayMachine, Ticked
from gainwright_proof.mutants.corpus import Corpus
from gainwright_proof.mutants.exploring import Explorer, SearchLimits
from gainwright_proof.mutants.graph import cut_off
from gainwright_proof.mutants.judging import Judge
from gainwright_proof.mutants.mutant import Mutant
from gainwright_proof.mutants.one_tick import OneTick
from gainwright_proof.mutants.outcome import Fate, Outcome, Stage
from gainwright_proof.mutants.samples import Samples, samples
from gainwright_proof.mutants.solver import Likeness, SolverCheck
from gainwright_proof.mutants.table import Valuations
from gainwright_proof.mutants.watching import MutantWatch

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is found about the original once and then used for every mutant; plain data."""

    corpus: Corpus
    samples: Samples


ORIGINAL_LIMITS = SearchLimits(rounds=2500, moments=150_000)
"""How far the original is explored."""


def evidence(trial: Trial, seed: int, limits: SearchLimits = ORIGINAL_LIMITS) -> Evidence:
    """Explore the original; the same trial, seed and limits give the same evidence."""
    code = ArrayCode(trial)
    explorer = Explorer(trial, code, seed)
    corpus = explorer.explore(limits)
    machine = ArrayMachine(trial, code)
    return Evidence(corpus, samples(trial, machine, corpus, explorer.choices, seed))


MUTANT_LIMITS = SearchLimits(rounds=150, moments=20_000)
"""How far a mutant that nothing cheaper decides is explored."""
MOST_STARTS = 64
"""Moments after the first changed tick from which a mutant is explored."""
SOLVER_LIMIT_S = 20.0


class Cascade:
    """Everything that decides about a mutant without a prover."""

    def __init__(self, trial: Trial, found: Evidence, seed: int) -> None:
        self._trial = trial
        self._seed = seed
        self._code = ArrayCode(trial)
        self._judge = Judge(trial, self._code)
        self._valuations = Valuations(trial, self._code, seed)
        self._one_tick = OneTick(ArrayMachine(trial, self._code), found.corpus, found.samples)
        self._solver = SolverCheck(trial, SOLVER_LIMIT_S)
        self._states = trial.index.states
        self._rows = trial.index.rows
        self._order = trial.index.requirements

    def decide(self, mutant: Mutant) -> Outcome:
        """Return what became of the mutant; undecided if it is left to a prover."""
        trial = mutant.trial(self._trial)
        if found := cut_off(trial, self._rows):
            return _caught(mutant, Stage.GRAPH, found)
        code, judge, valuations = self._code, self._judge, self._valuations
        if mutant.new_conditions:
            code = ArrayCode(trial)
            judge = Judge(trial, code)
            valuations = Valuations(trial, code, self._seed)
        machine = ArrayMachine(trial, code)
        states = [self._states[name] for name in mutant.states]
        if gaps := valuations.not_single_hit(machine, states):
            return _caught(mutant, Stage.TABLE, self._single_hit(gaps))
        lanes, ticked = self._one_tick.changed(machine, (self._rows[row] for row in mutant.rows))
        if broken := self._one_tick.broken(machine, judge, lanes, ticked):
            return _caught(mutant, Stage.ONE_TICK, self._ordered(broken))
        outcome = self._compared(mutant, differs=bool(len(lanes)))
        if outcome.fate is not Fate.UNDECIDED:
            return outcome
        watch = MutantWatch(machine, judge)
        explorer = Explorer(trial, code, self._seed, watch)
        explorer.explore(MUTANT_LIMITS, _starts(ticked))
        if watch.broken:
            return _caught(mutant, Stage.EXPLORED, self._ordered(watch.broken))
        return outcome

    def _compared(self, mutant: Mutant, differs: bool) -> Outcome:
        """Let the solver compare the mutant; ``differs`` says that a difference is reachable."""
        found = self._solver.compare(mutant)
        match found.likeness:
            case Likeness.NOT_SINGLE_HIT:
                checks = tuple(f"single_hit/{state}" for state in found.states)
                return _caught(mutant, Stage.SOLVER, checks)
            case Likeness.SAME | Likeness.SAME_IF_REQUIREMENTS_HOLD:
                assert not differs, f"{mutant.id} differs in a moment that is excluded"
                return Outcome(
                    mutant,
                    Fate.EQUIVALENT,
                    Stage.SOLVER,
                    detail=found.likeness.value,
                    rests_on=found.requirements,
                )
        detail = "another tick in a reachable moment" if differs else found.likeness.value
        return Outcome(mutant, Fate.UNDECIDED, Stage.NONE, detail=detail, differs=differs)

    def _single_hit(self, states: Iterable[int]) -> tuple[str, ...]:
        return tuple(f"single_hit/{self._trial.states[state].name}" for state in states)

    def _ordered(self, names: Iterable[str]) -> tuple[str, ...]:
        """Return checks in the order of the trial, those that are no requirements first."""
        return tuple(sorted(names, key=lambda name: self._order.get(name, -1)))


def _caught(mutant: Mutant, stage: Stage, by: tuple[str, ...]) -> Outcome:
    return Outcome(mutant, Fate.CAUGHT, stage, by)


def _starts(ticked: Ticked) -> tuple[NDArray[np.int64], Columns] | None:
    """Return some moments after a changed tick; None if no changed tick is known."""
    count = len(ticked.rows)
    if not count:
        return None
    lanes = np.unique(np.linspace(0, count - 1, MOST_STARTS).astype(np.int64))
    return ticked.states[lanes], selected(ticked.variables, lanes)
