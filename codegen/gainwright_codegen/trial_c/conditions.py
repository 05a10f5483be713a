"""The conditions of a trial in C: a function each, and what is evaluated in which state."""

from __future__ import annotations

from collections.abc import Iterable

from gainwright.language.expression import references
from gainwright.language.model import Kind, Trial
from gainwright_codegen.c_text import array, comment, statement
from gainwright_codegen.trial_c.condition_bits import ConditionBits
from gainwright_codegen.trial_c.expression import c_word, state_constant
from gainwright_codegen.trial_c.identifiers import constant
from gainwright_codegen.trial_c.scope import (
    WIDEST,
    bit,
    condition_function,
    condition_scope,
    seen_word,
)

_ARGUMENTS = "(const int32_t inputs[], const gw_variable_value variables[])"


def condition_functions(trial: Trial, bits: ConditionBits) -> str:
    """Return a function for each condition; what no state looks at is there for checkers only."""
    needed = _with_those_read(trial, bits.used)
    texts, above = list[str](), tuple[str, ...]()
    for condition in trial.conditions:
        text = c_word(condition.expression, condition_scope(trial, above), Kind.BOOLEAN)
        lines = [
            comment(condition.meaning),
            f"static int32_t {condition_function(condition.name)}{_ARGUMENTS}",
            "{",
            "    (void)inputs;",
            "    (void)variables;",
            statement(f"return {text};", indent=4),
            "}\n",
        ]
        if condition.name not in needed:
            lines = ["#ifdef GW_WITH_NAMES", *lines, "#endif\n"]
        texts += lines
        above = (*above, condition.name)
    return "\n".join(texts)


def _with_those_read(trial: Trial, names: Iterable[str]) -> set[str]:
    """Return conditions and those above them that they read."""
    needed = set(names)
    for condition in reversed(trial.conditions):
        if condition.name in needed:
            needed |= references(condition.expression)
    return needed


def look(bits: ConditionBits) -> str:
    """Return the function that evaluates what the rows of a state look at."""
    cases: dict[tuple[str, ...], list[str]] = {}
    for state, names in bits.own.items():
        if names:
            cases.setdefault(names, []).append(state)
    wide = bits.width > WIDEST
    body = ["    uint32_t seen = 0U;" if bits.width <= 32 else "    uint64_t seen = 0U;", ""]
    if wide:
        body = ["    gw_condition_bits seen = {{0U}};", ""]
    body += [_look_at(name, bits, 4) for name in bits.common]
    body.append("    switch (state) {")
    for names, states in cases.items():
        body += [f"    case (int32_t){state_constant(state)}:" for state in states]
        body += [_look_at(name, bits, 8) for name in names]
        body.append("        break;")
    body += ["    default:", "        break;", "    }", "    (void)inputs;", "    (void)variables;"]
    return "\n".join(
        [
            "gw_condition_bits gw_trial_look(int32_t state, const int32_t inputs[],",
            "                                const gw_variable_value variables[])",
            "{",
            *body,
            "    return seen;" if wide else "    return (gw_condition_bits)seen;",
            "}\n",
        ]
    )


def _look_at(name: str, bits: ConditionBits, indent: int) -> str:
    function = condition_function(name)
    text = f"{seen_word(name, bits)} |= ({function}(inputs, variables) != 0) ? {bit(name)} : 0U;"
    return statement(text, indent)


def checkers_view(trial: Trial, bits: ConditionBits) -> str:
    """Return all conditions at once, and how what is seen of a state relates to them."""
    body = ["    gw_condition_set conditions = {{0U}};", ""]
    for condition in trial.conditions:
        place = f"(uint32_t){constant('CONDITION', condition.name)}"
        function = condition_function(condition.name)
        text = f"gw_condition_put(&conditions, {place}, {function}(inputs, variables));"
        body.append(statement(text, indent=4))
    body += ["    (void)inputs;", "    (void)variables;", "    return conditions;"]
    index = trial.index.condition_bits
    sets = [sum(index[name] for name in bits.looked_at(state.name)) for state in trial.states]
    places = [f"{bits.place[c.name]}U" for c in trial.conditions] or ["0U"]
    looked_at = array([_set(number, len(trial.conditions)) for number in sets])
    return "\n".join(
        [
            f"gw_condition_set gw_trial_conditions{_ARGUMENTS}",
            "{",
            *body,
            "}\n",
            f"const gw_condition_set gw_trial_looked_at[GW_STATE_COUNT] = {looked_at};\n",
            f"const uint16_t gw_trial_condition_places[GW_CONDITION_SLOTS] = {array(places)};\n",
        ]
    )


def _set(number: int, conditions: int) -> str:
    """Return the initialiser of a ``gw_condition_set``."""
    words = [number >> first & (1 << WIDEST) - 1 for first in range(0, max(1, conditions), WIDEST)]
    return "{{" + ", ".join(f"UINT64_C({word})" for word in words) + "}}"
