"""Makes ``gw_trial.c``: rows, ranges, conditions, actions and outputs of a trial."""

from __future__ import annotations

from collections.abc import Sequence

from gainwright.language.model import Signal, Trial
from gainwright_codegen.c_text import (
    array,
    banner,
    c_string,
    comment,
    identity,
    statement,
)
from gainwright_codegen.trial_c.condition_bits import ConditionBits, condition_bits
from gainwright_codegen.trial_c.conditions import checkers_view, condition_functions, look
from gainwright_codegen.trial_c.expression import (
    INCLUDES,
    c_integer,
    c_word,
)
from gainwright_codegen.trial_c.identifiers import constant, names_by_prefix
from gainwright_codegen.trial_c.outputs import outputs_by_state, resting_outputs, take_findings
from gainwright_codegen.trial_c.rows import Actions
from gainwright_codegen.trial_c.scope import tick_scope


def trial_source(trial: Trial) -> str:
    """Return the text of ``gw_trial.c``."""
    actions, bits = Actions(trial), condition_bits(trial)
    return "\n".join(
        [
            banner("decision tables of a trial, generated from its specification.", [
                identity("Trial", trial.name, trial.digest), trial.title]),
            '#include "gw_table.h"\n',
            *(f'#include "{name}"' for name in INCLUDES),
            "\nconst char gw_trial_digest[sizeof GW_TRIAL_DIGEST] = GW_TRIAL_DIGEST;\n",
            actions.rows(bits),
            _ranges(trial),
            _is_sound(trial),
            _stages(trial),
            _INPUT if trial.inputs else "",
            condition_functions(trial, bits),
            look(bits),
            _ASSIGN if any(actions.distinct) else "",
            _act(trial, actions, bits),
            outputs_by_state(trial),
            resting_outputs(trial),
            take_findings(trial),
            "#ifdef GW_WITH_NAMES",
            checkers_view(trial, bits),
            _names(trial),
            "#endif\n",
        ]
    )  # fmt: skip


_INPUT = """\
/* An input, or the nearest value of its range if it lies outside. */
static inline int32_t input(const int32_t inputs[], gw_input which)
{
    return gw_clamp_i32(inputs[which], gw_trial_input_ranges[which].low,
                        gw_trial_input_ranges[which].high);
}
"""


def _ranges(trial: Trial) -> str:
    def pairs(signals: Sequence[Signal]) -> list[str]:
        return [f"{{{c_integer(s.low)}, {c_integer(s.high)}}}" for s in signals] or ["{0, 0}"]

    initial = [c_integer(variable.initial) for variable in trial.variables] or ["0"]
    inputs, variables = array(pairs(trial.inputs)), array(pairs(trial.variables))
    return (
        f"const gw_range gw_trial_input_ranges[GW_INPUT_SLOTS] = {inputs};\n\n"
        f"const gw_range gw_trial_variable_ranges[GW_VARIABLE_SLOTS] = {variables};\n\n"
        f"const int32_t gw_trial_initial_variables[GW_VARIABLE_SLOTS] = {array(initial)};\n"
    )


def _is_sound(trial: Trial) -> str:
    body = ["    uint32_t outside = gw_outside_i32(state, 0, (int32_t)GW_STATE_COUNT - 1);", ""]
    body += [statement(f"outside |= {_outside(v)};", indent=4) for v in trial.variables]
    body += ["    (void)variables;", "    return (outside == 0U) ? 1 : 0;"]
    return _function("int32_t gw_trial_is_sound(int32_t state, const int32_t variables[])", body)


def _outside(variable: Signal) -> str:
    """Return what is not 0 where a variable is outside its range."""
    place = f"variables[{constant('VARIABLE', variable.name)}]"
    if variable.low == 0 and variable.high & (variable.high + 1) == 0:
        return f"(uint32_t){place} >> {variable.high.bit_length()}U"
    return f"gw_outside_i32({place}, {c_integer(variable.low)}, {c_integer(variable.high)})"


def _stages(trial: Trial) -> str:
    outputs, variables = trial.index.outputs, trial.index.variables
    rows = [
        f"{{{outputs[s.rung]}U, {variables[s.limit]}U, {variables[s.result]}U, "
        f"{variables[s.onset]}U, {s.rungs}U}}"
        for s in trial.stages
    ] or ["{0U, 0U, 0U, 0U, 0U}"]
    return f"const gw_stage_binding gw_trial_stages[GW_STAGE_SLOTS] = {array(rows)};\n"


def _function(signature: str, body: Sequence[str]) -> str:
    return "\n".join([signature, "{", *body, "}", ""])


_ASSIGN = """\
/* Write a new value, limited to the range of the variable; returns its bit if it was limited. */
static gw_variable_set assign(int32_t variables[], uint32_t index, int32_t value)
{
    const gw_range *range = &gw_trial_variable_ranges[index];
    const int32_t limited = gw_clamp_i32(value, range->low, range->high);
    const gw_variable_set bit = (limited != value) ? 1U : 0U;

    variables[index] = limited;
    return (gw_variable_set)(bit << index);
}
"""


def _act(trial: Trial, actions: Actions, bits: ConditionBits) -> str:
    scope, kinds = tick_scope(trial, bits), {v.name: v.kind for v in trial.variables}
    body = ["    gw_variable_set saturated = 0U;", "", "    switch (action) {"]
    for action in filter(None, actions.distinct):
        used_by = ", ".join(actions.users(action))
        body += [f"    case (uint32_t){actions.name(action)}: {{", comment(used_by, indent=8)]
        for name, expression in action:
            text = c_word(expression, scope, kinds[name])
            body.append(statement(f"const int32_t next_{name} = {text};", indent=8))
        body.append("")
        for name, _ in action:
            index = f"(uint32_t){constant('VARIABLE', name)}"
            text = f"saturated |= assign(variables, {index}, next_{name});"
            body.append(statement(text, indent=8))
        body += ["        break;", "    }"]
    body += ["    default:", "        break;", "    }", "    (void)seen;",
             "    (void)inputs;", "    (void)variables;", "    return saturated;"]  # fmt: skip
    return _function(
        "gw_variable_set gw_trial_act(uint32_t action, gw_condition_bits seen,\n"
        "                             const int32_t inputs[], int32_t variables[])",
        body,
    )


def _names(trial: Trial) -> str:
    tables = {prefix.lower(): names for prefix, names in names_by_prefix(trial).items()}
    del tables["stage"], tables["constant"]
    tables["row"] = tuple(row.id for row in trial.rows)
    lines = list[str]()
    for what, names in tables.items():
        size = f"GW_{what.upper()}_{'COUNT' if what in ('state', 'row') else 'SLOTS'}"
        texts = [c_string(name) for name in names] or ['""']
        lines.append(f"const char *const gw_trial_{what}_names[{size}] = {array(texts)};\n")
    return "\n".join(lines)
