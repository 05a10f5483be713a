"""Writes a step and its outputs in plain C straight from the specification, to compare with.

The exported C walks tables of masks in 32 bits; it is made by ``gainwright_codegen``. This writer
shares no code with that one: nested ``if`` over states and rows, every value in 64 bits, no mask,
no table, no function of the runtime. Names are held against positions, so that two enumerators that
were exchanged are noticed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.functions import FUNCTIONS, expanded
from gainwright.language.model import Kind, Signal, Trial

FILE = "plain_reference.c"

_PATTERNS = {
    Operator.ADD: "{0} + {1}",
    Operator.SUBTRACT: "{0} - {1}",
    Operator.MULTIPLY: "{0} * {1}",
    Operator.LESS: "{0} < {1}",
    Operator.LESS_EQUAL: "{0} <= {1}",
    Operator.GREATER: "{0} > {1}",
    Operator.GREATER_EQUAL: "{0} >= {1}",
    Operator.EQUAL: "{0} == {1}",
    Operator.NOT_EQUAL: "{0} != {1}",
    Operator.AND: "{0} && {1}",
    Operator.OR: "{0} || {1}",
    Operator.IMPLIES: "!{0} || {1}",
    Operator.MINIMUM: "{0} < {1} ? {0} : {1}",
    Operator.MAXIMUM: "{0} > {1} ? {0} : {1}",
    # The right operand is a literal; the quotient is rounded down.
    Operator.SHIFT_LEFT: "{0} * (1LL << {1})",
    Operator.SHIFT_RIGHT: "{0} >= 0 ? {0} / (1LL << {1}) : -1 - (-1 - {0}) / (1LL << {1})",
}

_STEP = "int plain_step(int *state, int old[], const int raw[], unsigned long long *limited)"
_OUTPUTS = "void plain_outputs(int state, const int old[], int out[])"
_HEAD = """\
/* What the specification says of one step, in plain C: see plain_reference.py. */
#include "plain_reference.h"

typedef long long number;
"""


def plain_reference(trial: Trial) -> str:
    """Return the C text of the functions that ``plain_reference.h`` declares."""
    return "\n".join(
        [
            _HEAD,
            *_function("int plain_sound(int state, const int old[])", _sound(trial)),
            *_function(_STEP, _step(trial)),
            *_function(_OUTPUTS, _outputs(trial)),
            *_function("void plain_reset(int *state, int old[])", _reset(trial)),
            *_function("int plain_names(void)", _names(trial)),
        ]
    )


def _function(signature: str, body: Iterable[str]) -> Iterator[str]:
    yield from (signature, "{", *("    " + line for line in body), "}", "")


def _sound(trial: Trial) -> Iterator[str]:
    yield f"if (state < 0 || state > {len(trial.states) - 1}) return 0;"
    for place, variable in enumerate(trial.variables):
        yield f"if (old[{place}] < {_literal(variable.low)}) return 0;"
        yield f"if (old[{place}] > {_literal(variable.high)}) return 0;"
    yield "(void)old;"
    yield "return 1;"


def _step(trial: Trial) -> Iterator[str]:
    names: dict[str, str] = {}
    yield "int row = -1;"
    yield "int target = 0;"
    for place, signal in enumerate(trial.inputs):
        yield f"number in_{place} = raw[{place}];"
        names[signal.name] = _value(f"in_{place}", signal)
    for place, variable in enumerate(trial.variables):
        yield f"number old_{place} = old[{place}];"
        yield f"number new_{place} = old[{place}];"
        yield f"(void)old_{place};"
        names[variable.name] = _value(f"old_{place}", variable)
    for place, signal in enumerate(trial.inputs):
        yield from _kept_within(f"in_{place}", signal, "")
    for place, condition in enumerate(trial.conditions):
        yield f"number condition_{place} = {_text(condition.expression, names)};"
        yield f"(void)condition_{place};"
        names[condition.name] = f"condition_{place}"
    yield "(void)raw;"
    for state_place, state in enumerate(trial.states):
        yield _if_looked_at(state_place)
        yield f"if (*state == {state_place}) {{"
        for row in trial.rows_by_state[state.name]:
            wanted = [names[name] for name in row.when] + [f"!{names[name]}" for name in row.unless]
            yield f"    if ({' && '.join(wanted) or '1'}) {{"
            yield "        if (row != -1) return -2;"
            yield f"        row = {trial.rows.index(row)};"
            yield f"        target = {[s.name for s in trial.states].index(row.target)};"
            for name, value in row.actions.items():
                place = [v.name for v in trial.variables].index(name)
                yield f"        new_{place} = {_text(value, names)};"
            yield "    }"
        yield "}"
        yield "#endif"
    yield "if (row == -1) return -1;"
    yield "*state = target;"
    yield "*limited = 0;"
    for place, variable in enumerate(trial.variables):
        yield from _kept_within(f"new_{place}", variable, f" *limited |= 1ULL << {place};")
        yield f"old[{place}] = (int)new_{place};"
    yield "(void)old;"
    yield "return row;"


def _if_looked_at(state: int) -> str:
    """Begin what a run that checks one state need not read of the others: half of its time."""
    return f"#if !defined(GW_CHECK_STATE) || GW_CHECK_STATE == {state}"


def _kept_within(name: str, signal: Signal, also: str) -> Iterator[str]:
    low, high = _literal(signal.low), _literal(signal.high)
    yield f"if ({name} < {low}) {{ {name} = {low};{also} }}"
    yield f"if ({name} > {high}) {{ {name} = {high};{also} }}"


def _outputs(trial: Trial) -> Iterator[str]:
    names = {v.name: _value(f"((number)old[{k}])", v) for k, v in enumerate(trial.variables)}
    for place, output in enumerate(trial.outputs):
        rest = min(max(0, output.low), output.high)
        yield f"out[{place}] = {_literal(rest)};"
    yield "if (!plain_sound(state, old)) return;"
    for state_place, state in enumerate(trial.states):
        yield _if_looked_at(state_place)
        for place, output in enumerate(trial.outputs):
            value = _text(state.value_of(output), names)
            yield f"if (state == {state_place}) out[{place}] = (int){value};"
        yield "#endif"
    yield "(void)out;"


def _reset(trial: Trial) -> Iterator[str]:
    yield f"*state = {[state.name for state in trial.states].index(trial.initial_state)};"
    for place, variable in enumerate(trial.variables):
        yield f"old[{place}] = {_literal(variable.initial)};"
    yield "(void)old;"


def _names(trial: Trial) -> Iterator[str]:
    groups = {
        "STATE": trial.states,
        "INPUT": trial.inputs,
        "OUTPUT": trial.outputs,
        "VARIABLE": trial.variables,
        "STAGE": trial.stages,
    }
    for prefix, group in groups.items():
        for place, item in enumerate(group):
            yield f"if ((int)GW_{prefix}_{item.name.upper()} != {place}) return 0;"
        yield f"if ((int)GW_{prefix}_COUNT != {len(group)}) return 0;"
    yield f"if ((int)GW_ROW_COUNT != {len(trial.rows)}) return 0;"
    yield "return 1;"


def _value(text: str, signal: Signal) -> str:
    return f"({text} != 0)" if signal.kind is Kind.BOOLEAN else text


def _literal(value: int) -> str:
    # The most negative numbers have no literal of their own in C.
    return f"{value}LL" if value >= 0 else f"(-{-value - 1}LL - 1)"


def _text(expression: Expression, names: Mapping[str, str]) -> str:
    match expression:
        case Integer(value, _):
            return _literal(value)
        case Boolean(value):
            return "1" if value else "0"
        case Reference(name, False):
            return names[name]
        case Unary(Operator.NOT, operand):
            return f"(!{_text(operand, names)})"
        case Unary(Operator.NEGATE, operand):
            return f"(-{_text(operand, names)})"
        case Binary(operator) if operator in FUNCTIONS and operator not in _PATTERNS:
            return _text(expanded(expression), names)
        case Binary(operator, left, right):
            return f"({_PATTERNS[operator].format(_text(left, names), _text(right, names))})"
        case Choice(condition, consequence, alternative):
            parts = (_text(part, names) for part in (condition, consequence, alternative))
            return "({} ? {} : {})".format(*parts)
    raise TypeError(f"no plain C for {expression!r}")
