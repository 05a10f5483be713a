"""What the names of a trial are called in ``gw_trial.c``."""

from __future__ import annotations

from gainwright.language.model import Kind, Signal, Trial
from gainwright_codegen.trial_c.condition_bits import ConditionBits
from gainwright_codegen.trial_c.expression import Given, Scope, c_integer, signal_value
from gainwright_codegen.trial_c.identifiers import constant

WIDEST = 64
"""Bits of one unsigned integer; what is seen of a state is more than one word if it is wider."""


def bit(condition: str) -> str:
    """Return the bit of a condition among what is seen of a state, in its word."""
    return f"BIT_{condition.upper()}"


def seen_word(condition: str, bits: ConditionBits) -> str:
    """Return the word of what is seen that holds a condition."""
    return f"seen.words[{bits.place[condition] // WIDEST}]" if bits.width > WIDEST else "seen"


def condition_function(name: str) -> str:
    """Return the C function of a condition."""
    return f"condition_{name}"


def variables_scope(trial: Trial) -> Scope:
    """Return the scope of outputs: variables alone."""
    return Scope(_variables(trial), constants=_constants(trial))


def condition_scope(trial: Trial, above: tuple[str, ...]) -> Scope:
    """Return the scope of a condition: the conditions above it are functions."""
    names = _variables(trial) | _inputs(trial)
    names |= {name: f"({condition_function(name)}(inputs, variables) != 0)" for name in above}
    return Scope(names, constants=_constants(trial), as_given=_as_given(trial))


def tick_scope(trial: Trial, bits: ConditionBits) -> Scope:
    """Return the scope of actions: variables, inputs, and what was seen of the state."""
    names = _variables(trial) | _inputs(trial)
    names |= {
        c.name: f"(({seen_word(c.name, bits)} & {bit(c.name)}) != 0U)" for c in trial.conditions
    }
    return Scope(names, constants=_constants(trial), as_given=_as_given(trial))


def _variables(trial: Trial) -> dict[str, str]:
    return {signal.name: _variable(signal) for signal in trial.variables}


def _variable(signal: Signal) -> str:
    value = signal_value("variables", "VARIABLE", signal)
    return value if signal.kind is Kind.BOOLEAN else f"(int32_t){value}"


def _inputs(trial: Trial) -> dict[str, str]:
    return {signal.name: _input(signal) for signal in trial.inputs}


def _input(signal: Signal) -> str:
    if signal.kind is Kind.BOOLEAN:
        # What is below 0 counts as 0, what is above 1 as 1.
        return f"({_given(signal)} > 0)"
    place = constant("INPUT", signal.name)
    return f"input_limited(inputs, {place}, {c_integer(signal.low)}, {c_integer(signal.high)})"


def _given(signal: Signal) -> str:
    return f"input(inputs, {constant('INPUT', signal.name)})"


def _as_given(trial: Trial) -> dict[str, Given]:
    integers = (signal for signal in trial.inputs if signal.kind is not Kind.BOOLEAN)
    return {signal.name: Given(_given(signal), signal.low, signal.high) for signal in integers}


def _constants(trial: Trial) -> dict[str, str]:
    named = {
        value.name: f"(int32_t){constant(enumeration.name.upper(), value.name)}"
        for enumeration in trial.enumerations
        for value in enumeration.values
    }
    return named | {c.name: constant("CONSTANT", c.name) for c in trial.constants}
