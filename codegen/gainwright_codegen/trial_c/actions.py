"""The actions of a trial in C. Those that differ in one constant share their code."""

from __future__ import annotations

from collections.abc import Sequence

from gainwright.language.expression import Boolean, Expression, Integer
from gainwright.language.model import Trial, Variable
from gainwright.language.scope import ANY_BOOLEAN, Bounds
from gainwright.language.scope import Scope as Ranges
from gainwright.language.typing import infer
from gainwright_codegen.c_text import array, comment, statement
from gainwright_codegen.trial_c.condition_bits import ConditionBits
from gainwright_codegen.trial_c.expression import Scope, c_word
from gainwright_codegen.trial_c.identifiers import constant
from gainwright_codegen.trial_c.rows import Action, Actions
from gainwright_codegen.trial_c.scope import tick_scope

_OWN_CONSTANT = "constant_of_action"


def act_function(trial: Trial, actions: Actions, bits: ConditionBits) -> str:
    """Return ``gw_trial_act`` and what it needs."""
    writer = _Writer(trial, actions, tick_scope(trial, bits))
    groups = _alike([action for action in actions.distinct if action])
    cases = [line for group in groups for line in writer.case(group)]
    return "\n".join(
        [
            writer.own_constants(groups),
            _ASSIGN if any("assign(" in line for line in cases) else "",
            "gw_variable_set gw_trial_act(uint32_t action, gw_condition_bits seen,",
            "                             const int32_t inputs[], gw_variable_value variables[])",
            "{",
            "    gw_variable_set saturated = 0U;\n",
            "    switch (action) {",
            *cases,
            "    default:",
            "        break;",
            "    }",
            "    (void)seen;",
            "    (void)inputs;",
            "    (void)variables;",
            "    return saturated;",
            "}\n",
        ]
    )


def _alike(actions: Sequence[Action]) -> list[list[Action]]:
    """Put actions together that are the same but for the constant of one variable."""
    groups = list[list[Action]]()
    for action in actions:
        for group in groups:
            if _shape(group[0]) == _shape(action) and len(_differing([*group, action])) <= 1:
                group.append(action)
                break
        else:
            groups.append([action])
    return groups


def _shape(action: Action) -> tuple[tuple[str, Expression | None], ...]:
    return tuple((name, None if _is_constant(e) else e) for name, e in action)


def _is_constant(expression: Expression) -> bool:
    return isinstance(expression, Integer | Boolean)


def _differing(group: Sequence[Action]) -> set[str]:
    """Return the variables to which actions of the same shape do not all assign the same."""
    return {
        name
        for place, (name, expression) in enumerate(group[0])
        if any(action[place][1] != expression for action in group)
    }


def _narrowest(numbers: Sequence[int]) -> str:
    """Return the type of the narrowest words that hold all numbers."""
    low, high = min(numbers, default=0), max(numbers, default=0)
    if low >= 0 and high < 2**8:
        return "uint8_t"
    return "int16_t" if low >= -(2**15) and high < 2**15 else "int32_t"


class _Writer:
    def __init__(self, trial: Trial, actions: Actions, scope: Scope) -> None:
        self._actions, self._scope = actions, scope
        self._variables = {v.name: v for v in trial.variables}
        signals = (*trial.inputs, *trial.variables)
        readable: dict[str, Bounds | None] = {c.name: ANY_BOOLEAN for c in trial.conditions}
        readable |= {s.name: Bounds(s.kind, s.low, s.high) for s in signals}
        self._ranges = Ranges(readable)

    def own_constants(self, groups: Sequence[Sequence[Action]]) -> str:
        """Return the table of what actions that share their code assign each; may be empty."""
        texts = ["0U"] * len(self._actions.distinct)
        c_type = _narrowest(self._numbers(groups))
        for group in groups:
            for name in _differing(group):
                for action in group:
                    text = self._value(name, dict(action)[name]).removeprefix("(int32_t)")
                    texts[self._actions.distinct.index(action)] = f"({c_type}){text}"
        if all(text == "0U" for text in texts):
            return ""
        own = comment("What actions that share their code assign each; 0 for all others.")
        zero = "0U" if c_type.startswith("u") else "0"
        values = array([zero if text == "0U" else text for text in texts])
        return f"{own}\nstatic const {c_type} {_OWN_CONSTANT}[] = {values};\n"

    def _numbers(self, groups: Sequence[Sequence[Action]]) -> list[int]:
        """Return the constants in which actions differ that share their code."""
        own = (dict(a)[name] for group in groups for name in _differing(group) for a in group)
        return [int(e.value) for e in own if isinstance(e, Integer | Boolean)]

    def case(self, group: Sequence[Action]) -> list[str]:
        """Return the lines of actions that share their code."""
        differing = _differing(group)
        *others, last = (f"    case (uint32_t){self._actions.name(action)}:" for action in group)
        users = ", ".join(row for action in group for row in self._actions.users(action))
        before, after = list[str](), list[str]()
        for name, expression in group[0]:
            if name in differing:
                after.append(f"{self._place(name)} = (gw_variable_value){_OWN_CONSTANT}[action];")
            elif _is_constant(expression) and self._fits(name, expression):
                text = self._value(name, expression).removeprefix("(int32_t)")
                after.append(f"{self._place(name)} = (gw_variable_value){text};")
            else:
                before.append(f"const int32_t next_{name} = {self._value(name, expression)};")
                after.append(self._assignment(name, self._fits(name, expression)))
        return [
            *others,
            f"{last} {{",
            comment(users, indent=8),
            *(statement(text, indent=8) for text in before),
            *([""] if before else []),
            *(statement(text, indent=8) for text in after),
            "        break;",
            "    }",
        ]

    def _fits(self, name: str, expression: Expression) -> bool:
        """Return whether every value is inside the range of the variable."""
        bounds, _ = infer(expression, self._ranges)
        variable: Variable = self._variables[name]
        return bounds is not None and variable.low <= bounds.low and bounds.high <= variable.high

    def _value(self, name: str, expression: Expression) -> str:
        return c_word(expression, self._scope, self._variables[name].kind)

    @staticmethod
    def _place(name: str) -> str:
        return f"variables[{constant('VARIABLE', name)}]"

    def _assignment(self, name: str, fits: bool) -> str:
        if fits:
            return f"{self._place(name)} = (gw_variable_value)next_{name};"
        index = f"(uint32_t){constant('VARIABLE', name)}"
        return f"saturated |= assign(variables, {index}, next_{name});"


_ASSIGN = """\
/* Write a new value, limited to the range of the variable; returns its bit if it was limited. */
static gw_variable_set assign(gw_variable_value variables[], uint32_t index, int32_t value)
{
    const gw_range *range = &gw_trial_variable_ranges[index];
    const int32_t limited = gw_clamp_i32(value, range->low, range->high);
    const gw_variable_set bit = (limited != value) ? 1U : 0U;

    variables[index] = (gw_variable_value)limited;
    return (gw_variable_set)(bit << index);
}
"""
