"""What variables contribute to the conditions of a state: its situations.

A situation of a state gives a boolean value to each largest part of its conditions that reads
variables only, such as ``wait >= 120``. With that known, more input vectors behave alike, because
more rows cannot hold: for each situation its own list of vectors is enough.
"""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.language.expression import Boolean, Expression
from gainwright.language.model import State, Trial
from gainwright_proof.exploration.features import FeatureFinder
from gainwright_proof.exploration.questions import Questions
from gainwright_proof.exploration.rewrite import Facts, learn

MOST_FEATURES = 8
"""A state with more of them has too many situations to list."""


@dataclass(frozen=True, slots=True)
class Situations:
    """The situations of one state: all combinations of boolean values of its features.

    Situation s gives feature k the boolean value of bit k of s. Not all of them need be possible.
    """

    features: tuple[Expression, ...]

    @property
    def count(self) -> int:
        return 1 << len(self.features)

    def facts(self, situation: int) -> Facts:
        """Return what is known in a situation."""
        facts: dict[Expression, Boolean] = {}
        for bit, feature in enumerate(self.features):
            learn(feature, bool(situation >> bit & 1), facts)
        return facts


class SituationFinder:
    """Finds the situations of the states of one trial."""

    def __init__(self, trial: Trial, questions: Questions) -> None:
        self._questions = questions
        self._finder = FeatureFinder(trial, trial.variables)

    def of(self, state: State) -> Situations | None:
        """Return the situations of a state; None if they cannot be told by boolean values alone,
        or are too many."""
        conditions = self._questions.conditions(state)
        features = dict.fromkeys(f for c in conditions for f in self._finder.of_formula(c))
        if len(features) > MOST_FEATURES or not all(map(self._finder.is_boolean, features)):
            return None
        return Situations(tuple(features))
