"""The C that compares mutants of one trial, besides the static files beside this one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from gainwright.language.expression import Expression, references
from gainwright.language.model import Requirement, RequirementKind, Row, Trial
from gainwright.language.typing import infer
from gainwright_codegen.trial_c.expression import INCLUDES, Scope, c_expression, signal_value
from gainwright_proof.exploration.encoding import Encoding
from gainwright_proof.exploration.features import FeatureFinder
from gainwright_proof.exploration.model_tables import decode_function, encode_function
from gainwright_proof.exploration.rewrite import tick_scope
from gainwright_proof.exploration.short_waits import Wait
from gainwright_proof.exploration.specialise import Specialiser
from gainwright_proof.exploration.subjects import WHOLE_TRIAL
from gainwright_proof.mutants.mutant import Mutant

_MOST_SITUATIONS = 1 << 58
_MOST_TIMED = 32

Changed = tuple[tuple[str, Expression], ...]
"""Conditions of a variant by name."""


class TooManySituations(Exception):
    """The variables can matter to the conditions in more ways than can be told apart here."""


@dataclass(frozen=True, slots=True)
class Timed:
    """What is asked to happen in time."""

    subject: str
    within_ticks: int | None
    """None: at some time."""
    requirement: Requirement | None
    """None: that the trial comes to an end."""


def timed_requirements(trial: Trial) -> tuple[Timed, ...]:
    """Return what is asked of the times of a trial."""
    found = [
        Timed(requirement.id, requirement.within_ticks, requirement)
        for requirement in trial.requirements
        if requirement.is_timed
    ]
    if any(state.end for state in trial.states):
        found.append(Timed(WHOLE_TRIAL, None, None))
    return tuple(found)


def why_untimed(timed: Sequence[Timed], shortened: Sequence[Wait]) -> str:
    """Return why times cannot be told over short waits; empty if they can."""
    if len(shortened) > 1:
        return "times are not told over several short timers"
    return "" if len(timed) <= _MOST_TIMED else f"times of more than {_MOST_TIMED} requirements"


def response_triggers(trial: Trial) -> tuple[Expression, ...]:
    """Return what begins the time of responses, with conditions expanded."""
    specialiser = Specialiser(trial)
    return tuple(
        specialiser.expanded(timed.requirement.trigger)
        for timed in timed_requirements(trial)
        if timed.requirement is not None
        and timed.requirement.kind is RequirementKind.RESPONSE
        and timed.requirement.trigger is not None
    )


class MutantModel:
    """Writes the generated C for one trial, its variants of conditions, and all actions."""

    def __init__(
        self,
        trial: Trial,
        augmented: Trial,
        variants: Sequence[Changed],
        timed: Sequence[Timed],
        shortened: Sequence[Wait],
    ) -> None:
        """``augmented`` has the actions of all mutants besides."""
        self._trial, self._augmented, self._variants = trial, augmented, variants
        self._timed, self._shortened = timed, shortened
        self._numbers = {condition.name: k for k, condition in enumerate(trial.conditions)}

    def sources(self, rows: Sequence[Row], encoding: Encoding) -> dict[str, str]:
        """Return ``gx_generated.c`` and ``gx_sizes.h``; ``rows`` are sorted by state.

        Raises:
            TooManySituations: more than fit a number of 64 bits.
        """
        first, count = [0], 0
        for state in self._trial.states:
            count += sum(row.source == state.name for row in rows)
            first.append(count)
        text = [
            '#include "gx_reach.h"',
            *(f'#include "{name}"' for name in INCLUDES),
            f"const uint32_t gx_first_rule[] = {{{', '.join(f'{n}U' for n in first)}}};",
            encode_function(self._trial, encoding),
            decode_function(self._trial, encoding),
            *_function("uint64_t gx_assigned(const int32_t inputs[])", self._assigned()),
            *_function(
                "uint64_t gx_situation(int32_t variant, const gw_variable_value variables[])",
                self._situations(),
            ),
            *_function(
                "gw_condition_set gx_changed_conditions(int32_t variant,\n"
                "    const gw_condition_set *original, const int32_t inputs[],\n"
                "    const gw_variable_value variables[])",
                self._changed(),
            ),
            *_function(
                "void gx_violated(const gw_condition_set *conditions, const int32_t inputs[],\n"
                "                 const gw_sequencer *before, const gw_sequencer *after,\n"
                "                 uint8_t violated[])",
                _violated(self._trial),
            ),
            *_function("uint32_t gx_stretch(const gw_variable_value variables[])", self._stretch()),
            *_function(
                "int32_t gx_time_passes(const gw_sequencer *before, const gw_sequencer *after)",
                self._time_passes(),
            ),
            *_function(
                "uint64_t gx_moment(const gw_sequencer *memory, uint8_t reached[])", self._moment()
            ),
            *_function(
                "uint64_t gx_triggered(const gw_condition_set *conditions,\n"
                "                      const int32_t inputs[], const gw_sequencer *before)",
                self._triggered(),
            ),
        ]
        sizes = {
            "GX_REQUIREMENTS": len(self._trial.requirements),
            "GX_TIMED": len(self._timed),
            "GX_RULES": len(rows),
        }
        return {
            "gx_generated.c": "\n".join(text),
            "gx_sizes.h": "".join(f"#define {k} {max(1, n)}\n" for k, n in sizes.items()),
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
        read = (f for trigger in response_triggers(self._trial) for f in finder.of_formula(trigger))
        yield "uint64_t found = 0U;"
        yield "(void)inputs;"
        yield from self._numbered((*features, *read), scope)
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
            for name, expression in dependent(self._trial, changed):
                number = self._numbers[name]
                yield f"    gw_condition_put(&found, {number}U, {c_expression(expression, scope)});"
            yield "    break;"
        yield from ("default:", "    break;", "}", "return found;")

    def _stretch(self) -> Iterator[str]:
        yield "(void)variables;"
        for wait in self._shortened:
            sizes = wait.sizes()
            table = ", ".join(f"{size}U" for size in sizes)
            place = [v.name for v in self._trial.variables].index(wait.variable.name)
            yield f"static const uint32_t sizes[{len(sizes)}] = {{{table}}};"
            yield f"return sizes[variables[{place}] - ({wait.short[0]})];"
        if not self._shortened:
            yield "return 1U;"

    def _time_passes(self) -> Iterator[str]:
        """Only one timer is shortened, if any."""
        parts = ["(after->state == before->state)"]
        timers = {wait.variable.name for wait in self._shortened}
        for place, variable in enumerate(self._trial.variables):
            more = " + 1" if variable.name in timers else ""
            parts.append(f"(after->variables[{place}] == before->variables[{place}]{more})")
        yield f"return {' && '.join(parts)};" if timers else "return 0;"
        yield from ("(void)before;", "(void)after;")[: 0 if timers else 2]

    def _moment(self) -> Iterator[str]:
        trial = self._trial
        yield "uint64_t found = 0U;"
        yield "int32_t outputs[GW_OUTPUT_SLOTS];"
        yield "gw_trial_outputs(memory->state, memory->variables, outputs);"
        yield "(void)reached;"
        names = _values(trial.variables, "memory->variables", "VARIABLE")
        scope = Scope(names | _values(trial.outputs, "outputs", "OUTPUT"),
                      state_now="memory->state")  # fmt: skip
        for number, requirement in enumerate(trial.requirements):
            if requirement.kind is RequirementKind.REACHABLE:
                text = c_expression(requirement.formula, scope)
                yield f"if ({text}) {{ reached[{number}] = 1U; }}"
        ends = " || ".join(f"(memory->state == {k})" for k, s in enumerate(trial.states) if s.end)
        for number, timed in enumerate(self._timed):
            asked, trigger = timed.requirement, "1"
            formula = ends if asked is None else c_expression(asked.formula, scope)
            if asked is not None and asked.kind is RequirementKind.BOUNDED:
                assert asked.trigger is not None
                trigger = c_expression(asked.trigger, scope)
            elif asked is not None:
                trigger = "0"
            yield f"found |= ({formula}) ? (UINT64_C(1) << {2 * number}) : 0U;"
            yield f"found |= ({trigger}) ? (UINT64_C(2) << {2 * number}) : 0U;"
        yield "return found;"

    def _triggered(self) -> Iterator[str]:
        trial = self._trial
        yield "uint64_t found = 0U;"
        yield "int32_t outputs[GW_OUTPUT_SLOTS];"
        yield "gw_trial_outputs(before->state, before->variables, outputs);"
        yield from ("(void)conditions;", "(void)inputs;")
        scope = Scope(
            _values(trial.variables, "before->variables", "VARIABLE")
            | _values(trial.outputs, "outputs", "OUTPUT")
            | _seen(trial),
            state_now="before->state",
        )
        for number, timed in enumerate(self._timed):
            asked = timed.requirement
            if asked is not None and asked.kind is RequirementKind.RESPONSE:
                assert asked.trigger is not None
                yield f"found |= {c_expression(asked.trigger, scope)} ? {1 << number}U : 0U;"
        yield "return found;"


def conditions_of(mutant: Mutant) -> Changed:
    return tuple((name, c.expression) for name, c in mutant.new_conditions.items())


def dependent(trial: Trial, changed: Changed) -> Iterator[tuple[str, Expression]]:
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


def _expressions(trial: Trial, changed: Changed) -> list[Expression]:
    """Return all conditions of the original and those of a variant that differ."""
    specialiser = Specialiser(trial)
    original = [specialiser.condition(condition.name) for condition in trial.conditions]
    return [*original, *(expression for _, expression in dependent(trial, changed))]


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
    seen = _seen(trial)
    tick = Scope(before | seen, after, "before->state", "after->state")
    moment = Scope(after, state_now="after->state")
    for number, requirement in enumerate(trial.requirements):
        kind, formula = requirement.kind, requirement.formula
        if kind is RequirementKind.INVARIANT:
            text = f"!{c_expression(formula, moment)}"
        elif kind is RequirementKind.STEP:
            text = f"!{c_expression(formula, tick)}"
        elif kind is RequirementKind.RESPONSE and not requirement.is_timed:
            assert requirement.trigger is not None
            trigger = c_expression(requirement.trigger, tick)
            text = f"{trigger} && !{c_expression(formula, moment)}"
        else:
            continue
        yield f"if ({text}) {{ violated[{number}] = 1U; }}"


def _values(signals: Iterable[Any], container: str, prefix: str) -> Mapping[str, str]:
    return {s.name: signal_value(container, prefix, s) for s in signals}


def _seen(trial: Trial) -> Mapping[str, str]:
    """Return inputs, and conditions as a set has them."""
    return _values(trial.inputs, "inputs", "INPUT") | {
        c.name: f"(gw_condition_in(conditions, {k}U) != 0)" for k, c in enumerate(trial.conditions)
    }


def _function(signature: str, body: Iterable[str]) -> Iterator[str]:
    yield from (signature, "{", *("    " + line for line in body), "}", "")
