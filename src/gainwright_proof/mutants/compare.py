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

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.expression import Expression, references
from gainwright.language.model import RequirementKind, Row, Trial
from gainwright.language.typing import infer
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.host.sequencer import CHECKERS
from gainwright_codegen.sources import sequencer_sources
from gainwright_codegen.trial_c.expression import INCLUDES, Scope, c_expression, signal_value
from gainwright_codegen.trial_c.rows import distinct_actions
from gainwright_proof.exploration.encoding import Encoding
from gainwright_proof.exploration.features import FeatureFinder
from gainwright_proof.exploration.model_tables import decode_function, encode_function
from gainwright_proof.exploration.rewrite import tick_scope
from gainwright_proof.exploration.specialise import Specialiser
from gainwright_proof.exploration.vectors import vectors_for
from gainwright_proof.mutants.mutant import Mutant

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DIRECTORY = Path(__file__).parent
_MOST_VECTORS = 1 << 17
_MOST_SITUATIONS = 1 << 58
MOST_FOLLOWED = 5_000
"""Nodes through which a mutant is followed from where it begins to differ."""


class TooManySituations(Exception):
    """The variables can matter to the conditions in more ways than can be told apart here."""


@dataclass(frozen=True, slots=True)
class Compared:
    """What a mutant does."""

    differs: bool
    """Some reachable tick is not that of the original."""
    not_single_hit: str
    """A state in which, in a reachable tick, not exactly one row holds; empty if there is none."""
    violated: tuple[str, ...]
    """Requirements that some tick violates, in the order of the trial; more may be."""


class Comparison:
    """Compares mutants of one trial; several threads may share it, each with its own vectors."""

    def __init__(
        self,
        trial: Trial,
        mutants: Sequence[Mutant],
        reached: tuple[NDArray[np.uint64], NDArray[np.uint64]],
        encoding: Encoding,
    ) -> None:
        """``reached``: codes and rows of all reachable nodes, as the engine gives them. InputError
        if the C of a mutant cannot be compiled."""
        self._trial = trial
        self._codes, self._rows = reached
        self._numbers = {row.id: number for number, row in enumerate(trial.rows)}
        self._variants = list(dict.fromkeys(_conditions_of(mutant) for mutant in mutants))
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
        sources |= self._generated(rows, encoding)
        self._ffi, self._library = compile_and_load(
            sources, ("gx_mutant.h",), CHECKERS, name="mutants"
        )

    def variant(self, mutant: Mutant) -> int:
        """Return the number of the variant of the conditions that a mutant needs."""
        return self._variants.index(_conditions_of(mutant))

    def looked_at(self, mutant: Mutant) -> tuple[tuple[str, frozenset[str]], ...]:
        """Return, for each state that a mutant changes, the conditions that its rows look at."""
        found = []
        for state in mutant.states:
            rows = (*self._trial.rows_by_state[state], *_new_rows(mutant, state))
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
        variant = self.variant(mutants[0])
        found: dict[tuple[int, ...], None] = {}
        for state, names in self.looked_at(mutants[0]):
            found |= dict.fromkeys(self._vectors(variant, state, names, mutants))
        vectors = list(found)
        table = np.array(vectors or [()], dtype=np.int32).reshape(len(vectors), -1)
        if not self._trial.inputs:
            table = np.zeros((1, 1), dtype=np.int32)
        wanted = self._wanted(mutants[0].states)
        made = self._library.gx_comparison_new(
            variant, self._pointer("gx_rule[]", self._original),
            self._pointer("uint64_t[]", self._codes),
            self._pointer("gx_rows[]", self._rows), len(self._codes),
            self._pointer("int32_t[]", table), len(table), self._pointer("uint8_t[]", wanted),
        )  # fmt: skip
        if made == self._ffi.NULL:
            raise MemoryError
        handle = self._ffi.gc(made, self._library.gx_comparison_free)
        return handle, table

    def _vectors(
        self, variant: int, state: str, names: frozenset[str], mutants: Sequence[Mutant]
    ) -> Sequence[tuple[int, ...]]:
        """Return input vectors for one state, whatever the mutants do there."""
        specialiser = Specialiser(self._trial)
        changed = _dependent(self._trial, self._variants[variant])
        expressions = [specialiser.condition(c.name) for c in self._trial.conditions
                       if c.name in names]  # fmt: skip
        expressions += [expression for name, expression in changed if name in names]
        rows = [*self._trial.rows_by_state[state]]
        rows += [row for mutant in mutants for row in _new_rows(mutant, state)]
        variables = {v.name: v for v in self._trial.variables}
        assigned = dict.fromkeys(pair for row in rows for pair in row.actions.items())
        return vectors_for(
            self._trial,
            expressions,
            [(variables[name], specialiser.expanded(value)) for name, value in assigned],
            _MOST_VECTORS,
        )

    def compare(self, prepared: Any, mutant: Mutant) -> Compared:
        """Compare a mutant with the original; MemoryError if memory is short."""
        handle, _ = prepared
        rules = self._original.copy()
        for row_id, row in mutant.new_rows.items():
            # A value outside its mask: the row never holds.
            rules[self._place[row_id]] = self._never() if row is None else self._rule(row)
        outcome = self._ffi.new("gx_outcome *")
        done = self._library.gx_judge_mutant(
            handle, self._pointer("gx_rule[]", rules),
            self._pointer("gx_rows[]", self._row_set(mutant)),
            self._pointer("uint8_t[]", self._wanted(mutant.states)), MOST_FOLLOWED, outcome,
        )  # fmt: skip
        if not done:
            raise MemoryError
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
        return [bits >> 64 * word & (1 << 64) - 1 for word in range(self._words)]

    def _rule(self, row: Row) -> tuple[list[int], list[int], int, int]:
        value = sum(self._bits[name] for name in row.when)
        mask = value | sum(self._bits[name] for name in row.unless)
        if set(row.when) & set(row.unless):
            mask, value = 0, 1
        action = self._actions[tuple(row.actions.items())]
        return self._set(mask), self._set(value), self._states[row.target], action

    def _generated(self, rows: Sequence[Row], encoding: Encoding) -> dict[str, str]:
        first, count = [0], 0
        for state in self._trial.states:
            count += sum(row.source == state.name for row in rows)
            first.append(count)
        text = [
            '#include "gx_mutant.h"',
            *(f'#include "{name}"' for name in INCLUDES),
            f"const uint32_t gx_first_rule[] = {{{', '.join(f'{n}U' for n in first)}}};",
            encode_function(self._trial, encoding),
            decode_function(self._trial, encoding),
            *_function("uint64_t gx_assigned(const int32_t inputs[])", self._assigned()),
            *_function(
                "uint64_t gx_situation(int32_t variant, const int32_t variables[])",
                self._situations(),
            ),
            *_function(
                "gw_condition_set gx_changed_conditions(int32_t variant,\n"
                "    const gw_condition_set *original, const int32_t inputs[],\n"
                "    const int32_t variables[])",
                self._changed(),
            ),
            *_function(
                "void gx_violated(const gw_condition_set *conditions, const int32_t inputs[],\n"
                "                 const gw_sequencer *before, const gw_sequencer *after,\n"
                "                 uint8_t violated[])",
                _violated(self._trial),
            ),
        ]
        size = max(1, len(self._trial.requirements))
        return {
            "gx_generated.c": "\n".join(text),
            "gx_sizes.h": f"#define GX_REQUIREMENTS {size}\n",
        }

    def _situations(self) -> Iterator[str]:
        scope = Scope(_values(self._trial.variables, "variables", "VARIABLE"))
        finder = FeatureFinder(self._trial, self._trial.variables)
        yield "uint64_t found = 0U;"
        yield "(void)variables;"
        yield "switch (variant) {"
        for number, changed in enumerate(self._variants):
            yield f"case {number}:"
            expressions = _expressions(self._trial, changed)
            yield from self._numbered((f for e in expressions for f in finder.of_formula(e)), scope)
            yield "    break;"
        yield from ("default:", "    break;", "}", "return found;")

    def _assigned(self) -> Iterator[str]:
        """Yield what tells inputs apart for the actions of all rows."""
        scope = Scope(_values(self._trial.inputs, "inputs", "INPUT"))
        finder, specialiser = FeatureFinder(self._trial), Specialiser(self._trial)
        variables = {v.name: v for v in self._trial.variables}
        pairs = dict.fromkeys(p for row in self._augmented.rows for p in row.actions.items())
        features = (
            feature
            for name, value in pairs
            for feature in finder.of_assignment(variables[name], specialiser.expanded(value))
        )
        yield "uint64_t found = 0U;"
        yield "(void)inputs;"
        yield from self._numbered(features, scope)
        yield "return found;"

    def _numbered(self, features: Iterable[Expression], scope: Scope) -> Iterator[str]:
        """Yield the lines that give each combination of values of features its own number."""
        size = 1
        for feature in dict.fromkeys(features):
            bounds, _ = infer(feature, tick_scope(self._trial))
            assert bounds is not None
            width, low = bounds.high - bounds.low + 1, bounds.low
            size *= width
            if size > _MOST_SITUATIONS:
                raise TooManySituations
            text = c_expression(feature, scope)
            yield f"    found = found * UINT64_C({width}) + (uint64_t)(({text}) - ({low}));"

    def _changed(self) -> Iterator[str]:
        scope = Scope(
            _values(self._trial.inputs, "inputs", "INPUT")
            | _values(self._trial.variables, "variables", "VARIABLE")
        )
        yield "gw_condition_set found = *original;"
        yield "(void)inputs;"
        yield "(void)variables;"
        yield "switch (variant) {"
        for number, changed in enumerate(self._variants):
            yield f"case {number}:"
            for name, expression in _dependent(self._trial, changed):
                number = self._bits[name].bit_length() - 1
                yield f"    gw_condition_put(&found, {number}U, {c_expression(expression, scope)});"
            yield "    break;"
        yield from ("default:", "    break;", "}", "return found;")


def _rule_type(words: int) -> np.dtype:
    sets = [(name, "u8", (words,)) for name in ("mask", "value")]
    return np.dtype([*sets, ("target", "u4"), ("action", "u4")])


def _new_rows(mutant: Mutant, state: str) -> list[Row]:
    return [row for row in mutant.new_rows.values() if row is not None and row.source == state]


_Changed = tuple[tuple[str, Expression], ...]
"""Conditions of a variant by name."""


def _conditions_of(mutant: Mutant) -> _Changed:
    return tuple((name, c.expression) for name, c in mutant.new_conditions.items())


def _dependent(trial: Trial, changed: _Changed) -> Iterator[tuple[str, Expression]]:
    """Yield the changed conditions, and those that read them, over inputs and variables."""
    new = dict(changed)
    conditions = tuple(
        replace(c, expression=new.get(c.name, c.expression)) for c in trial.conditions
    )
    specialiser = Specialiser(replace(trial, conditions=conditions))
    affected = set(new)
    for condition in conditions:
        if condition.name in affected or references(condition.expression) & affected:
            affected.add(condition.name)
            yield condition.name, specialiser.condition(condition.name)


def _expressions(trial: Trial, changed: _Changed) -> list[Expression]:
    """Return all conditions of the original and those of a variant that differ."""
    specialiser = Specialiser(trial)
    original = [specialiser.condition(condition.name) for condition in trial.conditions]
    return [*original, *(expression for _, expression in _dependent(trial, changed))]


def _violated(trial: Trial) -> Iterator[str]:
    """Yield what judges a tick, and the moment after it."""
    yield "int32_t outputs[GW_OUTPUT_SLOTS];"
    yield "int32_t next_outputs[GW_OUTPUT_SLOTS];"
    yield "gw_trial_outputs(before->state, before->variables, outputs);"
    yield "gw_trial_outputs(after->state, after->variables, next_outputs);"
    yield "(void)conditions;"
    yield "(void)inputs;"
    before, after = (
        _values(trial.variables, f"{when}->variables", "VARIABLE")
        | _values(trial.outputs, outputs, "OUTPUT")
        for when, outputs in (("before", "outputs"), ("after", "next_outputs"))
    )
    seen = _values(trial.inputs, "inputs", "INPUT") | {
        c.name: f"(gw_condition_in(conditions, {k}U) != 0)" for k, c in enumerate(trial.conditions)
    }
    tick = Scope(before | seen, after, "before->state", "after->state")
    moment = Scope(after, state_now="after->state")
    for number, requirement in enumerate(trial.requirements):
        kind, formula = requirement.kind, requirement.formula
        if kind is RequirementKind.INVARIANT:
            text = f"!{c_expression(formula, moment)}"
        elif kind is RequirementKind.STEP:
            text = f"!{c_expression(formula, tick)}"
        elif kind is RequirementKind.RESPONSE and requirement.within_ticks == 1:
            assert requirement.trigger is not None
            trigger = c_expression(requirement.trigger, tick)
            text = f"{trigger} && !{c_expression(formula, moment)}"
        else:
            continue
        yield f"if ({text}) {{ violated[{number}] = 1U; }}"


def _values(signals: Iterable[Any], container: str, prefix: str) -> Mapping[str, str]:
    return {s.name: signal_value(container, prefix, s) for s in signals}


def _function(signature: str, body: Iterable[str]) -> Iterator[str]:
    yield from (signature, "{", *("    " + line for line in body), "}", "")
