"""Compares mutants with the original in compiled C; see ``gx_mutant.h``.

The original is explored once. A mutant changes rows, which are data here, or conditions: each
change of the conditions is a variant with code of its own. What a mutant does is compared with the
original in every reachable node, for all inputs that its rows and conditions can tell apart; so a
mutant without a difference is the same machine, by induction over the ticks from reset.

A violation counts only where the mutant comes for certain: in nodes to which a way leads without
one of its changed rows, and from there on. If a changed row holds there beside another one, the
mutant is not single-hit, and is caught too.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.cube import cube
from gainwright.language.model import RequirementKind, Row, Trial
from gainwright_codegen.host import compile_and_load, flags_for, read_sources
from gainwright_codegen.host.sequencer import CHECKERS
from gainwright_codegen.sources import sequencer_sources
from gainwright_codegen.trial_c.rows import distinct_actions
from gainwright_proof.exploration.encoding import Encoding
from gainwright_proof.exploration.short_waits import Wait
from gainwright_proof.exploration.vectors import vectors_of
from gainwright_proof.mutants.mutant import Mutant, MutationKind
from gainwright_proof.mutants.mutant_model import (
    MutantModel,
    conditions_of,
    timed_requirements,
    why_untimed,
)
from gainwright_proof.mutants.offers import Offer, Offers, new_rows, words_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DIRECTORY = Path(__file__).parent
_MOST_WHOLE_VECTORS = 1 << 17
"""Of a mutant that is explored by itself, in each state that it changes."""
_USUAL_VECTORS = 10
_ENDLESS = (1 << 64) - 1
MOST_FOLLOWED = 5_000
"""Nodes through which a mutant is followed from where it begins to differ."""


@dataclass(frozen=True, slots=True)
class Compared:
    """What a mutant does."""

    differs: bool
    """Some reachable tick is not that of the original."""
    not_single_hit: str
    """A state in which, in a reachable tick, not exactly one row holds; empty if there is none."""
    violated: tuple[str, ...]
    """Requirements that some tick violates, in the order of the trial; more may be."""


@dataclass(frozen=True, slots=True)
class Reached:
    """What a mutant, explored by itself, comes to."""

    nodes: int
    complete: bool
    """False if there are more nodes, or the search ended at a violation."""
    failed: tuple[str, ...]
    """Requirements and checks of every trial that it was seen to fail."""
    longest_ticks: Mapping[str, int | None]
    """Longest time of each timed requirement, None: for ever; empty unless all was explored."""


class Comparison:
    """Compares mutants of one trial; several threads may share it, each with its own vectors."""

    def __init__(
        self,
        trial: Trial,
        mutants: Sequence[Mutant],
        reached: tuple[NDArray[np.uint64], NDArray[np.uint64]],
        encoding: Encoding,
        shortened: Sequence[Wait] = (),
    ) -> None:
        """``reached``: codes and rows of all reachable nodes, as the engine gives them;
        ``shortened``: the timers whose waits are short.

        Raises:
            InputError: the C of a mutant cannot be compiled.
            TooManySituations: the variables can matter in too many ways.
        """
        self._trial = trial
        self._codes, self._rows = reached
        self._numbers = {row.id: number for number, row in enumerate(trial.rows)}
        self._variants = list(dict.fromkeys([(), *map(conditions_of, mutants)]))
        # One row for each new action: thousands of mutants share some hundred.
        new = {tuple(r.actions.items()): r for m in mutants for r in m.new_rows.values() if r}
        known = {tuple(row.actions.items()) for row in trial.rows}
        extra = [row for action, row in new.items() if action not in known]
        self._augmented = replace(trial, rows=(*trial.rows, *extra))
        self._actions = {action: n for n, action in enumerate(distinct_actions(self._augmented))}
        self._bits = {condition.name: 1 << k for k, condition in enumerate(trial.conditions)}
        self._states = {state.name: k for k, state in enumerate(trial.states)}
        rows = [row for state in trial.states for row in trial.rows_by_state[state.name]]
        self._place = {row.id: place for place, row in enumerate(rows)}
        self._words = max(1, -(-len(trial.conditions) // 64))
        self._original = np.array([self._rule(row) for row in rows], dtype=_rule_type(self._words))
        sources = {**sequencer_sources(self._augmented), **read_sources(_DIRECTORY, "*.h", "*.c")}
        timed = timed_requirements(trial)
        self.untimed = why_untimed(timed, shortened)
        """Why :meth:`reached` must not be asked; empty if it may."""
        self._timed = () if self.untimed else timed
        model = MutantModel(trial, self._augmented, self._variants, self._timed, shortened)
        sources |= model.sources(rows, encoding)
        flags = (*CHECKERS, *flags_for(len(self._codes) * len(mutants) * _USUAL_VECTORS))
        self._ffi, self._library = compile_and_load(
            sources, ("gx_mutant.h", "gx_reach.h"), flags, name="mutants"
        )
        self._offers = Offers(trial, self._variants, self._bits, self._words)

    @property
    def nodes(self) -> int:
        """Reachable states of the original."""
        return len(self._codes)

    def variant(self, mutant: Mutant) -> int:
        """Return the number of the variant of the conditions that a mutant needs."""
        return self._variants.index(conditions_of(mutant))

    def alike(self, mutant: Mutant) -> object:
        """Return what mutants that are compared together have in common."""
        is_added = mutant.kind is MutationKind.LITERAL_ADDED
        return self.variant(mutant), is_added, self._looked_at(mutant)

    def _looked_at(self, mutant: Mutant) -> tuple[tuple[str, frozenset[str]], ...]:
        """Return, for each state that a mutant changes, the conditions that decide what it does.

        These are those that the rows of the state look at; of a row that wants one more literal,
        its own: the mutant differs only where that row held, and there no row holds any more.
        """
        found = []
        for state in mutant.states:
            rows = list(new_rows(mutant, state))
            if mutant.kind is not MutationKind.LITERAL_ADDED:
                rows += self._trial.rows_by_state[state]
            names = frozenset(name for row in rows for name in (*row.when, *row.unless))
            found.append((state, names))
        return tuple(found)

    def prepared(self, mutants: Sequence[Mutant]) -> Any:
        """Return what :meth:`compare` needs for mutants of one variant of the conditions that
        change the same states and look at the same conditions there.

        Inputs are told apart state by state: together the conditions of all states would join
        nearly all inputs.

        Raises:
            TooManyVectors: the inputs can matter in too many ways.
            MemoryError: memory is short.
        """
        variant, states = self.variant(mutants[0]), mutants[0].states
        looked_at = self._looked_at(mutants[0])
        if mutants[0].kind is MutationKind.LITERAL_ADDED:
            own = {state: self._offers.of_conditions(state, names) for state, names in looked_at}
            return self._made(variant, own, states, follows=False)
        own = {state: self._offers.usual(variant, state, mutants) for state, _ in looked_at}
        return self._made(variant, own, states)

    def _made(
        self,
        variant: int,
        own: Mapping[str, Offer],
        wanted: Iterable[str],
        whole_states: Container[str] = (),
        follows: bool = True,
    ) -> Any:
        """Return a comparison with what is offered in some states; in the others what the original
        can tell apart, if the mutant is to be followed there.

        In whole states no vector stands for another one.
        """
        parts = [
            own.get(state) or (self._offers.original(state) if follows else self._offers.nothing())
            for state in self._states
        ]
        tables = self._offers.tables(parts, [name in whole_states for name in self._states])
        offer = self._ffi.new("gx_offer *")
        kinds = ("int32_t[]", "uint32_t[]", "gx_group[]", "gx_span[]")
        kept = [self._pointer(*pair) for pair in zip(kinds, tables, strict=True)]
        offer.choices, offer.kinds, offer.groups, offer.spans = kept
        made = self._library.gx_comparison_new(
            variant, self._pointer("gx_rule[]", self._original),
            self._pointer("uint64_t[]", self._codes),
            self._pointer("gx_rows[]", self._rows), len(self._codes),
            offer, self._pointer("uint8_t[]", self._wanted(wanted)),
        )  # fmt: skip
        if made == self._ffi.NULL:
            raise MemoryError
        return self._ffi.gc(made, self._library.gx_comparison_free), kept

    def compare(self, prepared: Any, mutant: Mutant) -> Compared:
        """Compare a mutant with the original; MemoryError if memory is short."""
        handle, _ = prepared
        rules = self._rules(mutant)
        outcome = self._ffi.new("gx_outcome *")
        done = self._library.gx_judge_mutant(
            handle, self._pointer("gx_rule[]", rules),
            self._pointer("gx_rows[]", self._row_set(mutant)),
            self._pointer("uint8_t[]", self._wanted(mutant.states)), MOST_FOLLOWED, outcome,
        )  # fmt: skip
        if not done:
            raise MemoryError
        return self._compared(outcome)

    def reached(self, mutant: Mutant | None, most: int) -> Reached:
        """Explore a mutant by itself, with its times; None stands for the original.

        First inputs are told apart as in a comparison, which is enough for nearly all that fails.
        Where nothing does, all is told apart that requirements read in the states that it changes.

        Raises:
            TooManyVectors: the inputs can matter in too many ways.
            MemoryError: memory is short.
        """
        if mutant is None:
            return self._explored(None, {}, (), most)
        variant = self.variant(mutant)
        usual = {
            state: self._offers.usual(variant, state, [mutant], timed=True)
            for state in mutant.states
        }
        found = self._explored(mutant, usual, (), most)
        if found.failed or not found.complete:
            return found
        vectors = vectors_of(mutant.trial(self._trial), mutant.states, _MOST_WHOLE_VECTORS)
        whole = {state: self._offers.whole(its) for state, its in vectors.items()}
        return self._explored(mutant, whole, mutant.states, most)

    def _explored(
        self,
        mutant: Mutant | None,
        own: Mapping[str, Offer],
        whole_states: Container[str],
        most: int,
    ) -> Reached:
        variant = 0 if mutant is None else self.variant(mutant)
        states = () if mutant is None else mutant.states
        rules = self._original if mutant is None else self._rules(mutant)
        handle, _ = kept = self._made(variant, own, (), whole_states)
        outcome, found = self._ffi.new("gx_outcome *"), self._ffi.new("gx_reached *")
        done = self._library.gx_reach_mutant(
            handle, self._pointer("gx_rule[]", rules),
            self._pointer("uint8_t[]", self._wanted(states)), most, outcome, found,
        )  # fmt: skip
        del kept
        if not done:
            raise MemoryError
        compared = self._compared(outcome)
        by = [*([f"single_hit/{compared.not_single_hit}"] if compared.not_single_hit else []),
              *compared.violated]  # fmt: skip
        whole = bool(found.complete) and not by
        longest = [None if ticks == _ENDLESS else ticks for ticks in found.longest]
        times = {t.subject: ticks for t, ticks in zip(self._timed, longest, strict=False)}
        if whole:
            by += self._missed(mutant, found, times)
        return Reached(found.nodes, bool(found.complete), tuple(by), times if whole else {})

    def _missed(
        self, mutant: Mutant | None, found: Any, times: Mapping[str, int | None]
    ) -> Iterator[str]:
        """Yield what a mutant that is known in full fails: times, what is to be possible, rows."""
        for timed in self._timed:
            ticks = times[timed.subject]
            if ticks is None or (timed.within_ticks is not None and ticks > timed.within_ticks):
                yield timed.subject
        for number, requirement in enumerate(self._trial.requirements):
            if requirement.kind is RequirementKind.REACHABLE and not found.reached[number]:
                yield requirement.id
        gone = {} if mutant is None else mutant.new_rows
        for row, place in self._place.items():
            if not found.taken[place] and gone.get(row, ()) is not None:
                yield f"row/{row}"

    def _rules(self, mutant: Mutant) -> NDArray[Any]:
        rules = self._original.copy()
        for row_id, row in mutant.new_rows.items():
            # A value outside its mask: the row never holds.
            rules[self._place[row_id]] = self._never() if row is None else self._rule(row)
        return rules

    def _compared(self, outcome: Any) -> Compared:
        state = outcome.not_single_hit
        return Compared(
            bool(outcome.differs),
            self._trial.states[state].name if state >= 0 else "",
            tuple(r.id for k, r in enumerate(self._trial.requirements) if outcome.violated[k]),
        )

    def _pointer(self, kind: str, values: NDArray[Any]) -> Any:
        return self._ffi.from_buffer(kind, np.ascontiguousarray(values))

    def _wanted(self, states: Iterable[str]) -> NDArray[np.uint8]:
        wanted = np.zeros(len(self._states), dtype=np.uint8)
        wanted[[self._states[name] for name in states]] = 1
        return wanted

    def _row_set(self, mutant: Mutant) -> NDArray[np.uint64]:
        words = [0, 0, 0, 0]
        for row in mutant.rows:
            place = self._numbers[row] % 256
            words[place // 64] |= 1 << place % 64
        return np.array(words, dtype=np.uint64)

    def _never(self) -> tuple[list[int], list[int], int, int]:
        """Return a rule that wants what its mask does not look at."""
        return self._set(0), self._set(1), 0, 0

    def _set(self, bits: int) -> list[int]:
        return words_of(bits, self._words)

    def _rule(self, row: Row) -> tuple[list[int], list[int], int, int]:
        mask, value = cube(row, self._bits)
        action = self._actions[tuple(row.actions.items())]
        return self._set(mask), self._set(value), self._states[row.target], action


def _rule_type(words: int) -> np.dtype:
    sets = [(name, "u8", (words,)) for name in ("mask", "value")]
    return np.dtype([*sets, ("target", "u4"), ("action", "u4")])
