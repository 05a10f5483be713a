"""Makes the C that the explorer needs besides the exported sources: vectors, code, requirements."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from gainwright.language.expression import Boolean, Expression, references
from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright_codegen.c_text import array
from gainwright_codegen.trial_c.expression import (
    INCLUDES,
    Scope,
    c_expression,
    signal_value,
    state_constant,
)
from gainwright_proof.exploration.encoding import Encoding
from gainwright_proof.exploration.model_tables import (
    decode_function,
    encode_function,
    mark_bits,
    sizes_header,
    stretches,
    vector_tables,
)
from gainwright_proof.exploration.questions import judged_over_ticks
from gainwright_proof.exploration.rewrite import FALSE, TRUE, denied
from gainwright_proof.exploration.specialise import Specialiser
from gainwright_proof.exploration.vectors import StateVectors


def model_sources(
    trial: Trial, vectors: Sequence[StateVectors], encoding: Encoding
) -> dict[str, str]:
    """Return ``gx_sizes.h`` and ``gx_model.c``."""
    return {
        "gx_sizes.h": sizes_header(trial, vectors, encoding),
        "gx_model.c": _Model(trial).text(vectors, encoding),
    }


class _Model:
    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._specialiser = Specialiser(trial)
        self._inputs = frozenset(signal.name for signal in trial.inputs)
        variables = {
            signal.name: signal_value("before", "VARIABLE", signal) for signal in trial.variables
        }
        outputs = {
            signal.name: signal_value("outputs", "OUTPUT", signal) for signal in trial.outputs
        }
        inputs = {signal.name: signal_value("inputs", "INPUT", signal) for signal in trial.inputs}
        after = {
            signal.name: signal_value("after", "VARIABLE", signal) for signal in trial.variables
        }
        self._moment = Scope(now=variables | outputs)
        self._tick = Scope(now=variables | inputs, after=after)
        self._left_of_rows: dict[int, list[tuple[int, Expression]]] = {}

    def text(self, vectors: Sequence[StateVectors], encoding: Encoding) -> str:
        return "\n".join(
            [
                '#include "gx_model.h"',
                '#include "gx_pages.h"',
                '#include "gx_pass.h"',
                *(f'#include "{name}"' for name in INCLUDES),
                "",
                vector_tables(vectors),
                mark_bits(self._trial),
                stretches(self._trial),
                encode_function(self._trial, encoding),
                decode_function(self._trial, encoding),
                self._judge_moment(),
                self._judge_rows("gx_judge_move", reads_inputs=False),
                self._judge_rows("gx_judge_tick", reads_inputs=True),
                self._conditions(),
                self._list_of(vectors),
                self._holds_in(),
                self._holds(),
            ]
        )

    def _judge_moment(self) -> str:
        def state_lines(state: str) -> Iterator[str]:
            for number, requirement in enumerate(self._trial.requirements):
                if requirement.kind is RequirementKind.INVARIANT:
                    formula = self._specialiser.at_moment(requirement.formula, state)
                    yield from _noting(denied(formula), self._moment, str(number))
                elif requirement.kind is RequirementKind.REACHABLE:
                    formula = self._specialiser.at_moment(requirement.formula, state)
                    yield from _noting(formula, self._moment, str(number))
            yield from self._output_lines(state)

        signature = (
            "uint32_t gx_judge_moment(int32_t state, const gw_variable_value before[],\n"
            "                         const int32_t outputs[], uint16_t found[])"
        )
        cases = [(state_constant(s.name), list(state_lines(s.name))) for s in self._trial.states]
        return _judge(signature, "state", cases, ("before", "outputs"))

    def _output_lines(self, state: str) -> Iterator[str]:
        """Compare the exported outputs with the specification, which the tick formulas use."""
        differ = [
            f"({signal_value('outputs', 'OUTPUT', output)} != "
            f"{c_expression(self._specialiser.output(output, state), self._moment)})"
            for output in self._trial.outputs
        ]
        if differ:
            joined = "\n            || ".join(differ)
            yield f"        if ({joined}) {{ found[count++] = GX_OUTPUTS_DIFFER; }}"

    def _judge_rows(self, name: str, *, reads_inputs: bool) -> str:
        cases = []
        for row_number in range(len(self._trial.rows)):
            lines: list[str] = []
            for number, left in self._judged_over(row_number):
                if bool(references(left) & self._inputs) is reads_inputs:
                    step = self._trial.requirements[number].kind is RequirementKind.STEP
                    lines += _noting(denied(left) if step else left, self._tick, str(number))
            cases.append((str(row_number), lines))
        arrays = ("inputs", "before", "after") if reads_inputs else ("before", "after")
        parameters = ", ".join(
            f"const {'int32_t' if text == 'inputs' else 'gw_variable_value'} {text}[]"
            for text in arrays
        )
        signature = f"uint32_t {name}(int32_t row, {parameters},\n    uint16_t found[])"
        return _judge(signature, "row", cases, arrays)

    def _judged_over(self, row_number: int) -> list[tuple[int, Expression]]:
        """Return what is left of each question over a tick of a row; asked for twice."""
        if row_number not in self._left_of_rows:
            row = self._trial.rows[row_number]
            facts = self._specialiser.facts(row)
            self._left_of_rows[row_number] = [
                (number, self._specialiser.over_tick(formula, row, facts))
                for number, formula in judged_over_ticks(self._trial)
            ]
        return self._left_of_rows[row_number]

    def _conditions(self) -> str:
        lines = [
            "gw_condition_set gx_conditions(const int32_t inputs[],",
            "                               const gw_variable_value before[])",
            "{",
            "    gw_condition_set conditions = {{0U}};",
            "",
            "    (void)inputs;",
            "    (void)before;",
        ]
        for number, condition in enumerate(self._trial.conditions):
            text = c_expression(self._specialiser.condition(condition.name), self._tick)
            lines.append(f"    gw_condition_put(&conditions, {number}U, {text});")
        return "\n".join([*lines, "    return conditions;", "}", ""])

    def _list_of(self, vectors: Sequence[StateVectors]) -> str:
        lines = [
            "uint32_t gx_list_of(int32_t state, const gw_variable_value before[])",
            "{",
            "    uint32_t situation = 0U;",
            "",
            "    (void)before;",
            "    switch (state) {",
        ]
        for state in vectors:
            if state.situations is not None:
                lines.append(f"    case {state_constant(state.state)}:")
                for bit, feature in enumerate(state.situations.features):
                    text = c_expression(feature, self._tick)
                    lines.append(f"        situation |= {text} ? {1 << bit}U : 0U;")
                lines += ["        situation++;", "        break;"]
        lines += ["    default:", "        break;", "    }"]
        return "\n".join([*lines, "    return gx_first_list[state] + situation;", "}", ""])

    def _formulas(self) -> list[tuple[int, Expression]]:
        """Return the formulas over one moment that the graph is asked about, with their numbers."""
        return [
            (2 * number + which, formula)
            for number, requirement in enumerate(self._trial.requirements)
            for which, formula in enumerate(_moment_formulas(requirement))
        ]

    def _holds_in(self) -> str:
        count = len(self._trial.requirements)
        formulas = dict(self._formulas())
        rows = [
            [self._known(formulas[number], state.name) for state in self._trial.states]
            if number in formulas
            else ["1"] * len(self._trial.states)
            for number in range(2 * count)
        ]
        rows.append([str(int(state.end)) for state in self._trial.states])
        rows.append(["1"] * len(self._trial.states))
        text = array(["{" + ", ".join(row) + "}" for row in rows])
        return f"const int8_t gx_holds_in[GX_FORMULA_COUNT][GW_STATE_COUNT] = {text};\n"

    def _known(self, formula: Expression, state: str) -> str:
        left = self._specialiser.at_moment(formula, state, with_outputs=True)
        return str(int(left.value)) if isinstance(left, Boolean) else "-1"

    def _holds(self) -> str:
        scope = replace(self._moment, state_now="state")
        return "\n".join(
            [
                "int32_t gx_holds(uint32_t formula, int32_t state,",
                "                 const gw_variable_value before[], const int32_t outputs[])",
                "{",
                "    (void)before;",
                "    (void)outputs;",
                "    switch (formula) {",
                *(
                    f"    case {number}U: return {c_expression(formula, scope)};"
                    for number, formula in self._formulas()
                ),
                "    default: return gx_holds_in[formula][state];",
                "    }",
                "}",
                "",
            ]
        )


def _moment_formulas(requirement: Requirement) -> tuple[Expression, ...]:
    """Return the formulas over one moment that are asked for after the search."""
    if requirement.kind in (RequirementKind.INITIAL, RequirementKind.RESPONSE):
        return (requirement.formula,)
    if requirement.kind is RequirementKind.BOUNDED:
        assert requirement.trigger is not None
        return (requirement.formula, requirement.trigger)
    return ()


def _noting(expression: Expression, scope: Scope, number: str) -> Iterator[str]:
    """Yield the line that notes a requirement where an expression is true."""
    if expression == TRUE:
        yield f"        found[count++] = {number}U;"
    elif expression != FALSE:
        yield f"        if ({c_expression(expression, scope)}) {{ found[count++] = {number}U; }}"


def _judge(
    signature: str, subject: str, cases: Iterable[tuple[str, list[str]]], arrays: Iterable[str]
) -> str:
    """Return a function that notes numbers of requirements, by state or row.

    Kept apart from the search: inlined there it would multiply the time of the compiler.
    """
    lines = ["GX_SELDOM", signature, "{", "    uint32_t count = 0U;", ""]
    lines += [f"    (void){name};" for name in (*arrays, "found")]
    lines.append(f"    switch ({subject}) {{")
    labels: dict[tuple[str, ...], list[str]] = {}
    for label, body in cases:
        labels.setdefault(tuple(body), []).append(label)
    for body, shared in labels.items():
        if body:
            lines += [*(f"    case {label}:" for label in shared), *body, "        break;"]
    return "\n".join(
        [*lines, "    default:", "        break;", "    }", "    return count;", "}", ""]
    )
