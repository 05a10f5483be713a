"""Makes ``gw_trial.c``: rows, ranges, conditions, actions and outputs of a trial."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence

from gainwright.language.expression import Expression
from gainwright.language.model import Row, Signal, Trial
from gainwright_codegen.c_text import (
    LINE_LENGTH,
    array,
    banner,
    c_string,
    comment,
    identity,
    statement,
)
from gainwright_codegen.trial_c.expression import (
    INCLUDES,
    Scope,
    c_expression,
    c_integer,
    signal_value,
)
from gainwright_codegen.trial_c.identifiers import constant, names_by_prefix


def trial_source(trial: Trial) -> str:
    """Return the text of ``gw_trial.c``."""
    actions = distinct_actions(trial)
    return "\n".join(
        [
            banner("decision tables of a trial, generated from its specification.", [
                identity("Trial", trial.name, trial.digest), trial.title]),
            '#include "gw_table.h"\n',
            *(f'#include "{name}"' for name in INCLUDES),
            "\nconst char gw_trial_digest[sizeof GW_TRIAL_DIGEST] = GW_TRIAL_DIGEST;\n",
            _rows(trial, actions),
            _ranges(trial),
            _limit_inputs(trial),
            _is_sound(trial),
            _stages(trial),
            _conditions(trial),
            _ASSIGN if any(actions) else "",
            _act(trial, actions),
            _outputs(trial),
            _rest_outputs(trial),
            _fault_outputs(trial),
            _names(trial),
        ]
    )  # fmt: skip


_LONGEST_ENUMERATOR = 63
"""C99 tells names apart by so many characters (5.2.4.1)."""
_Action = tuple[tuple[str, Expression], ...]


def _action(row: Row) -> _Action:
    return tuple(row.actions.items())


def distinct_actions(trial: Trial) -> tuple[_Action, ...]:
    """Return every different action once; the empty one is number 0."""
    return tuple(dict.fromkeys([(), *(_action(row) for row in trial.rows)]))


def _scope(trial: Trial, *, inputs: bool, conditions: Sequence[str] = ()) -> Scope:
    names = {
        signal.name: signal_value("variables", "VARIABLE", signal) for signal in trial.variables
    }
    if inputs:
        names |= {s.name: signal_value("inputs", "INPUT", s) for s in trial.inputs}
    for name in conditions:
        names[name] = f"((conditions & {_bit(name)}) != 0U)"
    return Scope(names)


def _bit(condition: str) -> str:
    return f"GW_CONDITION_BIT({constant('CONDITION', condition)})"


def _rows(trial: Trial, actions: Sequence[_Action]) -> str:
    first, lines = [0], list[str]()
    for state in trial.states:
        rows = trial.rows_by_state[state.name]
        first.append(first[-1] + len(rows))
        for row in rows:
            lines += [comment(_row_text(row), indent=4), _row(trial, row, actions)]
    lines[-1] = lines[-1].rstrip(",")
    return "\n".join(
        [
            _action_numbers(trial, actions),
            _BIT,
            "const gw_row gw_trial_rows[GW_ROW_COUNT] = {",
            *lines,
            "};\n",
            "const uint16_t gw_trial_first_row[GW_STATE_COUNT + 1] = "
            + array([f"{index}U" for index in first])
            + ";\n",
        ]
    )


_BIT = "#define BIT(condition) GW_CONDITION_BIT(GW_CONDITION_##condition)\n"


def _row(trial: Trial, row: Row, actions: Sequence[_Action]) -> str:
    """Return the initializer: what is looked at, what of it must hold, what follows."""
    cells = (
        f".mask = {_bits((*row.when, *row.unless))},",
        f".value = {_bits(row.when)},",
        f".target = {constant('STATE', row.target)}, "
        f".action = {_action_name(trial, actions, _action(row))}, "
        f".number = {trial.index.rows[row.id]}U}},",
    )
    filled = (
        textwrap.fill(cell, LINE_LENGTH - 5, subsequent_indent="    ", break_long_words=False)
        for cell in cells
    )
    return "    {" + textwrap.indent("\n".join(filled), "     ").lstrip()


def _bits(conditions: Sequence[str]) -> str:
    return " | ".join(f"BIT({name.upper()})" for name in conditions) or "0U"


def _action_name(trial: Trial, actions: Sequence[_Action], action: _Action) -> str:
    """Return the enumerator: a number, and the first row that does it."""
    if not action:
        return "ACTION_NONE"
    first = next(row.id for row in trial.rows if _action(row) == action)
    words = re.sub(r"[^A-Z0-9]+", "_", first.upper())
    return f"ACTION_{actions.index(action)}_{words}"[:_LONGEST_ENUMERATOR]


def _action_numbers(trial: Trial, actions: Sequence[_Action]) -> str:
    names = [_action_name(trial, actions, action) for action in actions]
    lines = [f"    {name} = {number}," for number, name in enumerate(names)]
    lines[-1] = lines[-1].rstrip(",")
    text = comment("Actions, each named after the first row that takes it.")
    return "\n".join([text, "enum {", *lines, "};\n"])


def _row_text(row: Row) -> str:
    cube = [*row.when, *(f"not {name}" for name in row.unless)]
    return f"{row.id}: {row.source}, {' and '.join(cube) or 'always'} -> {row.target}. {row.why}"


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


def _limit_inputs(trial: Trial) -> str:
    body = [
        statement(
            f"limited[{constant('INPUT', s.name)}] = gw_clamp_i32(inputs["
            f"{constant('INPUT', s.name)}], {c_integer(s.low)}, {c_integer(s.high)});",
            indent=4,
        )
        for s in trial.inputs
    ]
    return _function(
        "void gw_trial_limit_inputs(const int32_t inputs[], int32_t limited[])",
        [*body, "    (void)inputs;", "    (void)limited;"],
    )


def _is_sound(trial: Trial) -> str:
    body = ["    uint32_t outside = gw_outside_i32(state, 0, (int32_t)GW_STATE_COUNT - 1);", ""]
    body += [
        statement(
            f"outside |= gw_outside_i32(variables[{constant('VARIABLE', v.name)}], "
            f"{c_integer(v.low)}, {c_integer(v.high)});",
            indent=4,
        )
        for v in trial.variables
    ]
    body += ["    (void)variables;", "    return (outside == 0U) ? 1 : 0;"]
    return _function("int32_t gw_trial_is_sound(int32_t state, const int32_t variables[])", body)


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


def _conditions(trial: Trial) -> str:
    body = ["    gw_condition_set conditions = 0U;", ""]
    above: list[str] = []
    for condition in trial.conditions:
        text = c_expression(condition.expression, _scope(trial, inputs=True, conditions=above))
        bit = _bit(condition.name)
        body += [
            comment(condition.meaning, indent=4),
            statement(f"conditions |= {text} ? {bit} : 0U;", indent=4),
        ]
        above.append(condition.name)
    body += ["    (void)inputs;", "    (void)variables;", "    return conditions;"]
    return _function(
        "gw_condition_set gw_trial_conditions(const int32_t inputs[], const int32_t variables[])",
        body,
    )


_ASSIGN = """\
/* Write a new value, limited to the range of the variable; returns its bit if it was limited. */
static gw_variable_set assign(int32_t variables[], uint32_t index, int32_t value)
{
    const gw_range *range = &gw_trial_variable_ranges[index];
    const int32_t limited = gw_clamp_i32(value, range->low, range->high);

    variables[index] = limited;
    return (gw_variable_set)((gw_variable_set)(limited != value) << index);
}
"""


def _act(trial: Trial, actions: Sequence[_Action]) -> str:
    conditions = [condition.name for condition in trial.conditions]
    scope = _scope(trial, inputs=True, conditions=conditions)
    body = ["    gw_variable_set saturated = 0U;", "", "    switch (action) {"]
    for action in filter(None, actions):
        used_by = ", ".join(row.id for row in trial.rows if _action(row) == action)
        name = _action_name(trial, actions, action)
        body += [f"    case (uint32_t){name}: {{", comment(used_by, indent=8)]
        for name, expression in action:
            text = c_expression(expression, scope)
            body.append(statement(f"const int32_t next_{name} = {text};", indent=8))
        body.append("")
        for name, _ in action:
            index = f"(uint32_t){constant('VARIABLE', name)}"
            text = f"saturated |= assign(variables, {index}, next_{name});"
            body.append(statement(text, indent=8))
        body += ["        break;", "    }"]
    body += ["    default:", "        break;", "    }", "    (void)conditions;",
             "    (void)inputs;", "    (void)variables;", "    return saturated;"]  # fmt: skip
    return _function(
        "gw_variable_set gw_trial_act(uint32_t action, gw_condition_set conditions,\n"
        "                             const int32_t inputs[], int32_t variables[])",
        body,
    )


def _output_assignment(name: str, text: str, indent: int) -> str:
    return statement(f"outputs[{constant('OUTPUT', name)}] = {text};", indent)


def _outputs(trial: Trial) -> str:
    scope = _scope(trial, inputs=False)

    def assignments(outputs: Mapping[str, Expression], indent: int) -> list[str]:
        return [
            _output_assignment(name, c_expression(expression, scope), indent)
            for name, expression in outputs.items()
        ]

    defaults = {o.name: o.default for o in trial.outputs if o.default is not None}
    body = [*assignments(defaults, 4), "    switch (state) {"]
    for state in trial.states:
        if state.outputs:
            body.append(f"    case (int32_t){constant('STATE', state.name)}:")
            body += [*assignments(state.outputs, 8), "        break;"]
    body += [
        "    default:",
        "        break;",
        "    }",
        "    (void)variables;",
        "    (void)outputs;",
    ]
    return _function(
        "void gw_trial_outputs(int32_t state, const int32_t variables[], int32_t outputs[])", body
    )


def _rest_outputs(trial: Trial) -> str:
    body = [
        _output_assignment(output.name, c_integer(min(max(0, output.low), output.high)), 4)
        for output in trial.outputs
    ]
    return _function("void gw_trial_rest_outputs(int32_t outputs[])", [*body, "    (void)outputs;"])


FAULT_OUTPUT = "fault_latched"


def _fault_outputs(trial: Trial) -> str:
    latched = [output for output in trial.outputs if output.name == FAULT_OUTPUT]
    body = [_output_assignment(output.name, c_integer(output.high), 4) for output in latched]
    return _function(
        "void gw_trial_fault_outputs(int32_t outputs[])",
        ["    gw_trial_rest_outputs(outputs);", *body],
    )


def _names(trial: Trial) -> str:
    tables = {prefix.lower(): names for prefix, names in names_by_prefix(trial).items()}
    del tables["stage"]
    tables["row"] = tuple(row.id for row in trial.rows)
    lines = ["#ifdef GW_WITH_NAMES"]
    for what, names in tables.items():
        size = f"GW_{what.upper()}_{'COUNT' if what in ('state', 'row') else 'SLOTS'}"
        texts = [c_string(name) for name in names] or ['""']
        lines.append(f"const char *const gw_trial_{what}_names[{size}] = {array(texts)};\n")
    return "\n".join([*lines, "#endif", ""])
