"""What a comparison of mutants tries of the inputs in each state; see ``gx_ways.c``.

Inputs that share a feature are a group; what is offered are choices of each group. A choice may
stand for another one of the same kind under which the conditions that read no other group are the
same: so the C finds out for itself, from moment to moment, what few combinations are enough.
"""

from __future__ import annotations

import itertools
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.expression import Expression, references
from gainwright.language.model import Row, Trial
from gainwright_proof.exploration.features import FeatureFinder
from gainwright_proof.exploration.specialise import Specialiser
from gainwright_proof.exploration.vectors import InputGroup, InputGroups
from gainwright_proof.mutants.mutant import Mutant
from gainwright_proof.mutants.mutant_model import Changed, dependent, response_triggers

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class _Choices:
    """A group of inputs, as the C has it."""

    choices: NDArray[np.int32]
    """One row each, with a number for every input of the trial."""
    kinds: NDArray[np.uint32]
    mask: Sequence[int]
    """Words of a set of conditions."""


@dataclass(frozen=True, slots=True)
class Offer:
    """What is tried in a state."""

    groups: Sequence[_Choices]
    mask: Sequence[int]
    """Conditions that tell inputs apart, besides the kinds of the groups."""


class Offers:
    """Makes the offers of one trial; what was made is kept."""

    def __init__(
        self, trial: Trial, variants: Sequence[Changed], bits: Mapping[str, int], words: int
    ) -> None:
        """``variants`` are changed conditions, the first none; ``bits`` has a bit for each
        condition, ``words`` is how many words of 64 bits hold them all."""
        self._trial, self._variants = trial, variants
        self._bits, self._words = bits, words
        self._specialiser = Specialiser(trial)
        self._inputs = InputGroups(trial)
        self._input_places = {signal.name: place for place, signal in enumerate(trial.inputs)}
        finder = FeatureFinder(trial)
        self._triggers = [f for trigger in response_triggers(trial)
                          for f in finder.of_formula(trigger)]  # fmt: skip
        self._forms_of_variant: dict[int, dict[str, tuple[Expression, ...]]] = {}
        self._inputs_read: dict[int, list[tuple[int, frozenset[str]]]] = {}
        self._originals: dict[str, Offer] = {}
        formulas = [f for r in trial.requirements for f in (r.formula, r.trigger) if f is not None]
        self._judging = frozenset().union(*map(references, formulas)) & self._bits.keys()
        """Conditions that requirements name."""

    def _groups(
        self,
        variant: int,
        state: str,
        names: frozenset[str],
        rows: Iterable[Row],
        also: Iterable[Expression] = (),
    ) -> Sequence[InputGroup]:
        """Return the groups of inputs for one state, for some conditions and what rows assign;
        ``also``: told apart besides."""
        assigned = dict.fromkeys(pair for row in rows for pair in row.actions.items())
        apart = [
            feature
            for name, value in assigned
            for feature in self._inputs.assigned(name, self._specialiser.expanded(value))
        ]
        return self._inputs.of(state, self._read(variant, names), [*apart, *also])

    def _read(self, variant: int, names: Container[str]) -> list[tuple[Expression, ...]]:
        """Return some conditions, each in the forms that it has."""
        forms = self._forms(variant)
        return [forms[condition.name] for condition in self._trial.conditions
                if condition.name in names]  # fmt: skip

    def _forms(self, variant: int) -> dict[str, tuple[Expression, ...]]:
        """Return each condition as it is in the original, and in a variant if it is another one."""
        if variant not in self._forms_of_variant:
            changed = dict(dependent(self._trial, self._variants[variant]))
            self._forms_of_variant[variant] = {
                c.name: (self._specialiser.condition(c.name),
                         *([changed[c.name]] if c.name in changed else []))
                for c in self._trial.conditions
            }  # fmt: skip
        return self._forms_of_variant[variant]

    def _offer(
        self, groups: Sequence[InputGroup], variant: int, conditions: Iterable[str]
    ) -> Offer:
        """Return groups as numbers: the first is one of nothing, to which the others are added."""
        mask = sum(self._bits[name] for name in conditions)
        lowest = np.array([signal.low for signal in self._trial.inputs] or [0], dtype=np.int64)
        found = [_Choices(_words(lowest[None, :]), np.zeros(1, dtype=np.uint32), self._set(0))]
        for group in groups:
            places = [self._input_places[name] for name in group.inputs]
            offsets = np.zeros((len(group.choices), len(lowest)), dtype=np.int64)
            offsets[:, places] = np.array(group.choices, dtype=np.int64) - lowest[places]
            kinds = np.array(group.kinds, dtype=np.uint32)
            own = self._set(self._read_by(group, variant) & mask)
            found.append(_Choices(_words(offsets), kinds, own))
        return Offer(found, self._set(mask))

    def _read_by(self, group: InputGroup, variant: int) -> int:
        """Return the conditions, as bits, that read inputs of one group and no others."""
        if variant not in self._inputs_read:
            self._inputs_read[variant] = [
                (self._bits[name],
                 frozenset().union(*map(references, forms)) & self._input_places.keys())
                for name, forms in self._forms(variant).items()
            ]  # fmt: skip
        own = frozenset(group.inputs)
        return sum(bit for bit, read in self._inputs_read[variant] if read and read <= own)

    def nothing(self) -> Offer:
        """Return what is offered where no mutant comes."""
        return Offer((), self._set(0))

    def of_conditions(self, state: str, names: frozenset[str]) -> Offer:
        """Return what tells some conditions apart, as they are in the original."""
        return self._offer(self._inputs.of(state, self._read(0, names), ()), 0, names)

    def whole(self, vectors: Sequence[tuple[int, ...]]) -> Offer:
        """Return vectors as they are."""
        # Trials without inputs have one vector of nothing.
        table = np.array([vector or (0,) for vector in vectors], dtype=np.int64)
        one = _Choices(_words(table), np.zeros(len(table), dtype=np.uint32), self._set(0))
        return Offer([one], self._set(0))

    def usual(
        self,
        variant: int,
        state: str,
        mutants: Sequence[Mutant],
        timed: bool = False,
    ) -> Offer:
        """Return what tells apart what rows of a state read, and conditions that requirements
        name; if it is timed, also what begins the time of responses.

        Raises TooManyVectors.
        """
        rows = [*self._trial.rows_by_state[state]]
        rows += [row for mutant in mutants for row in new_rows(mutant, state)]
        names = frozenset(name for row in rows for name in (*row.when, *row.unless))
        also = self._triggers if timed else ()
        groups = self._groups(variant, state, names, rows, also)
        return self._offer(groups, variant, names | self._judging)

    def original(self, state: str) -> Offer:
        """Return what tells apart what the rows of a state read."""
        if state not in self._originals:
            self._originals[state] = self.usual(0, state, (), timed=True)
        return self._originals[state]

    def tables(
        self, offers: Sequence[Offer], whole: Sequence[bool]
    ) -> tuple[NDArray[np.int32], NDArray[np.uint32], NDArray[np.void], NDArray[np.void]]:
        """Return the offers of all states as the C wants them: choices, kinds, groups, spans.

        In a whole state no choice stands for another one.
        """
        groups = [group for offer in offers for group in offer.groups]
        ends = list(itertools.accumulate(len(group.choices) for group in groups))
        bounds = np.zeros(len(groups), dtype=_group_type(self._words))
        bounds["begin"], bounds["end"] = [0, *ends[:-1]], ends
        bounds["mask"] = [group.mask for group in groups]
        ends = list(itertools.accumulate(len(offer.groups) for offer in offers))
        spans = np.zeros(len(offers), dtype=_span_type(self._words))
        spans["begin"], spans["end"], spans["whole"] = [0, *ends[:-1]], ends, whole
        spans["mask"] = [offer.mask for offer in offers]
        table = np.concatenate([group.choices for group in groups])
        return table, np.concatenate([group.kinds for group in groups]), bounds, spans

    def _set(self, bits: int) -> list[int]:
        return words_of(bits, self._words)


def words_of(bits: int, words: int) -> list[int]:
    """Return a set of conditions as words of 64 bits, the lowest first."""
    return [bits >> 64 * word & (1 << 64) - 1 for word in range(words)]


def _group_type(words: int) -> np.dtype:
    return np.dtype([("begin", "u4"), ("end", "u4"), ("mask", "u8", (words,))])


def _span_type(words: int) -> np.dtype:
    return np.dtype([("begin", "u4"), ("end", "u4"), ("whole", "u8"), ("mask", "u8", (words,))])


def _words(numbers: NDArray[np.int64]) -> NDArray[np.int32]:
    """Return the lowest 32 bits of numbers: sums of these are exact where they fit 32 bits."""
    return numbers.astype(np.uint64).astype(np.uint32).view(np.int32)


def new_rows(mutant: Mutant, state: str) -> list[Row]:
    """Return what stands in the place of changed rows of a state."""
    return [row for row in mutant.new_rows.values() if row is not None and row.source == state]
