"""Makes ``gw_trial.c``: rows, ranges, conditions, actions and outputs of a trial."""

from __future__ import annotations

from collections.abc import Sequence

from gainwright.language.model import Signal, Trial
from gainwright_codegen.c_text import (
    array,
    banner,
    c_string,
    identity,
    only_with_trial,
    statement,
)
from gainwright_codegen.trial_c.actions import act_function
from gainwright_codegen.trial_c.condition_bits import condition_bits
from gainwright_codegen.trial_c.conditions import checkers_view, condition_functions, look
from gainwright_codegen.trial_c.expression import INCLUDES, c_integer
from gainwright_codegen.trial_c.identifiers import constant, names_by_prefix
from gainwright_codegen.trial_c.outputs import outputs_by_state, resting_outputs, take_response
from gainwright_codegen.trial_c.rows import Actions


def trial_source(trial: Trial) -> str:
    """Return the text of ``gw_trial.c``."""
    actions, bits = Actions(trial), condition_bits(trial)
    conditions, act = condition_functions(trial, bits), act_function(trial, actions, bits)
    return "\n".join(
        [
            banner("decision tables of a trial, generated from its specification.", [
                identity("Trial", trial.name, trial.digest), trial.title]),
            '#include "gw_table.h"\n',
            *(f'#include "{name}"' for name in INCLUDES),
            "\n" + only_with_trial("gw_trial.c", trial.digest),
            "\nconst char gw_trial_digest[sizeof GW_TRIAL_DIGEST] = GW_TRIAL_DIGEST;\n",
            actions.rows(bits),
            _ranges(trial),
            _is_sound(trial),
            _stages(trial),
            _readers(conditions + act),
            conditions,
            look(bits),
            act,
            outputs_by_state(trial),
            resting_outputs(trial),
            take_response(trial),
            "#ifdef GW_WITH_NAMES",
            checkers_view(trial, bits),
            _names(trial),
            "#endif\n",
        ]
    )  # fmt: skip


_INPUT = """\
/* An input as the drive gave it. Where it is compared with a value inside its range, one that lies
 * outside compares as the nearest value of the range. */
static inline int32_t input(const int32_t inputs[], gw_input which)
{
    return inputs[which];
}
"""
_LIMITED = """\
/* An input, or the nearest value of its range if it lies outside. */
static inline int32_t input_limited(const int32_t inputs[], gw_input which, int32_t low,
                                    int32_t high)
{
    return gw_clamp_i32(input(inputs, which), low, high);
}
"""


def _readers(text: str) -> str:
    """Return the functions that read inputs, as far as a text calls them."""
    if "input_limited(inputs," in text:
        return "\n".join([_INPUT, _LIMITED])
    return _INPUT if "input(inputs," in text else ""


def _ranges(trial: Trial) -> str:
    def pairs(signals: Sequence[Signal]) -> list[str]:
        return [f"{{{c_integer(s.low)}, {c_integer(s.high)}}}" for s in signals] or ["{0, 0}"]

    initial = [c_integer(variable.initial) for variable in trial.variables] or ["0"]
    variables = array(pairs(trial.variables))
    return (
        f"const gw_range gw_trial_variable_ranges[GW_VARIABLE_SLOTS] = {variables};\n\n"
        "const gw_variable_value gw_trial_initial_variables[GW_VARIABLE_SLOTS] = "
        f"{array(initial)};\n"
    )


def _is_sound(trial: Trial) -> str:
    body = ["    uint32_t outside = gw_outside_i32(state, 0, (int32_t)GW_STATE_COUNT - 1);", ""]
    body += [statement(f"outside |= {_outside(v)};", indent=4) for v in trial.variables]
    body += ["    (void)variables;", "    return (outside == 0U) ? 1 : 0;"]
    return _function(
        "int32_t gw_trial_is_sound(int32_t state, const gw_variable_value variables[])", body
    )


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
