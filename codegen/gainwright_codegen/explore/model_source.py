"""Makes the C that the explorer needs besides the exported sources: vectors, code, requirements."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from gainwright.spec.expression import Expression, Truth, references
from gainwright.spec.model import Requirement, RequirementKind, Trial
from gainwright_codegen.c_text import array
from gainwright_codegen.explore.encoding import Encoding
from gainwright_codegen.explore.questions import judged_over_ticks
from gainwright_codegen.explore.rewrite import FALSE, TRUE, denied
from gainwright_codegen.explore.specialise import Specialiser
from gainwright_codegen.explore.vectors import StateVectors
from gainwright_codegen.expression_c import (
    INCLUDES,
    Scope,
    c_expression,
    c_integer,
    signal_value,
    state_constant,
)


def model_sources(
    trial: Trial, vectors: Sequence[StateVectors], encoding: Encoding
) -> dict[str, str]:
    """Return ``gx_sizes.h`` and ``gx_model.c``."""
    return {
        "gx_sizes.h": _sizes(trial, vectors, encoding),
        "gx_model.c": _Model(trial).text(vectors, encoding),
    }


def response_numbers(trial: Trial) -> dict[int, int]:
    """Return the mark bit of every response requirement, by the requirement's number."""
    kinds = [requirement.kind for requirement in trial.requirements]
    responses = [n for n, kind in enumerate(kinds) if kind is RequirementKind.RESPONSE]
    return {number: bit for bit, number in enumerate(responses)}


def _sizes(trial: Trial, vectors: Sequence[StateVectors], encoding: Encoding) -> str:
    count = len(trial.requirements)
    values = {
        "GX_VECTOR_COUNT": sum(len(state.vectors) for state in vectors),
        "GX_LIST_COUNT": sum(1 + len(state.enough) for state in vectors),
        "GX_REQUIREMENT_SLOTS": count + 1,
        "GX_MARK_COUNT": max(1, len(response_numbers(trial))),
        "GX_PAGE_BITS": encoding.page_bits,
        "GX_OUTPUTS_DIFFER": count,
        "GX_AT_END": 2 * count,
        "GX_ALWAYS": 2 * count + 1,
        "GX_FORMULA_COUNT": 2 * count + 2,
    }
    lines = [f"#define {name} {value}" for name, value in values.items()]
    return "\n".join(["#ifndef GX_SIZES_H", "#define GX_SIZES_H", *lines, "#endif", ""])


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

    def text(self, vectors: Sequence[StateVectors], encoding: Encoding) -> str:
        return "\n".join(
            [
                '#include "gx_model.h"',
                *(f'#include "{name}"' for name in INCLUDES),
                "",
                _vector_tables(vectors),
                _mark_bits(self._trial),
                _encode(self._trial, encoding),
                _decode(self._trial, encoding),
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
            "uint32_t gx_judge_moment(int32_t state, const int32_t before[],\n"
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
        for row_number, row in enumerate(self._trial.rows):
            lines: list[str] = []
            facts = self._specialiser.facts(row)
            for number, formula in judged_over_ticks(self._trial):
                left = self._specialiser.over_tick(formula, row, facts)
                if bool(references(left) & self._inputs) is reads_inputs:
                    step = self._trial.requirements[number].kind is RequirementKind.STEP
                    lines += _noting(denied(left) if step else left, self._tick, str(number))
            cases.append((str(row_number), lines))
        arrays = ("inputs", "before", "after") if reads_inputs else ("before", "after")
        parameters = ", ".join(f"const int32_t {text}[]" for text in arrays)
        signature = f"uint32_t {name}(int32_t row, {parameters},\n    uint16_t found[])"
        return _judge(signature, "row", cases, arrays)

    def _conditions(self) -> str:
        lines = [
            "gw_condition_set gx_conditions(const int32_t inputs[], const int32_t before[])",
            "{",
            "    gw_condition_set conditions = 0U;",
            "",
            "    (void)inputs;",
            "    (void)before;",
        ]
        for number, condition in enumerate(self._trial.conditions):
            text = c_expression(self._specialiser.condition(condition.name), self._tick)
            lines.append(f"    conditions |= {text} ? GW_CONDITION_BIT({number}) : 0U;")
        return "\n".join([*lines, "    return conditions;", "}", ""])

    def _list_of(self, vectors: Sequence[StateVectors]) -> str:
        lines = [
            "uint32_t gx_list_of(int32_t state, const int32_t before[])",
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
        return str(int(left.value)) if isinstance(left, Truth) else "-1"

    def _holds(self) -> str:
        scope = replace(self._moment, state_now="state")
        return "\n".join(
            [
                "int32_t gx_holds(uint32_t formula, int32_t state, const int32_t before[],",
                "                 const int32_t outputs[])",
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
    """Return the formulas over one moment that the analyses of the graph ask for."""
    if requirement.kind is RequirementKind.RESPONSE:
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
    """Return a function that notes numbers of requirements, by state or row."""
    lines = [signature, "{", "    uint32_t count = 0U;", ""]
    lines += [f"    (void){name};" for name in (*arrays, "found")]
    lines.append(f"    switch ({subject}) {{")
    for label, body in cases:
        if body:
            lines += [f"    case {label}:", *body, "        break;"]
    return "\n".join(
        [*lines, "    default:", "        break;", "    }", "    return count;", "}", ""]
    )


def _vector_tables(vectors: Sequence[StateVectors]) -> str:
    counts = [len(state.vectors) for state in vectors]
    first = [0, *itertools.accumulate(counts)]
    rows = [
        "{" + ", ".join(c_integer(value) for value in vector or (0,)) + "}"
        for state in vectors
        for vector in state.vectors
    ]
    # Lists of vectors to try: the distinct ones of each state, then those of its situations.
    lists, first_list = [], []
    for start, state in zip(first, vectors, strict=False):
        first_list.append(len(lists))
        for numbers in (range(state.distinct), *state.enough):
            lists.append([start + number for number in numbers])
    ends = [0, *itertools.accumulate(map(len, lists))]
    return "\n".join(
        [
            _table("uint32_t gx_first_vector[GW_STATE_COUNT + 1]", _unsigned(first)),
            _table("int32_t gx_vectors[GX_VECTOR_COUNT][GW_INPUT_SLOTS]", rows),
            _table("uint32_t gx_first_list[GW_STATE_COUNT]", _unsigned(first_list)),
            _table("uint32_t gx_list_begin[GX_LIST_COUNT + 1]", _unsigned(ends)),
            _table("uint32_t gx_lists[]", _unsigned(n for numbers in lists for n in numbers)),
        ]
    )


def _table(declaration: str, items: Iterable[str]) -> str:
    return f"const {declaration} = {array(list(items))};\n"


def _unsigned(numbers: Iterable[int]) -> list[str]:
    return [f"{number}U" for number in numbers]


def _mark_bits(trial: Trial) -> str:
    bits = response_numbers(trial)
    values = [str(bits.get(number, -1)) for number in range(len(trial.requirements) + 1)]
    return f"const int16_t gx_mark_bit[GX_REQUIREMENT_SLOTS] = {array(values)};\n"


def _encode(trial: Trial, encoding: Encoding) -> str:
    terms = [f"((uint64_t)memory->state * UINT64_C({math.prod(encoding.sizes)}))"]
    for place, number in enumerate(encoding.order):
        low = c_integer(trial.variables[number].low)
        value = f"(uint64_t)((int64_t)memory->variables[{number}] - {low})"
        terms.append(f"({value} * UINT64_C({math.prod(encoding.sizes[place + 1 :])}))")
    text = "\n        + ".join(terms)
    return "\n".join(
        [
            "uint64_t gx_encode(const gw_sequencer *memory)",
            "{",
            f"    return {text};",
            "}",
            "",
            "int32_t gx_state_of(uint64_t code)",
            "{",
            f"    return (int32_t)(code / UINT64_C({math.prod(encoding.sizes)}));",
            "}",
            "",
        ]
    )


def _decode(trial: Trial, encoding: Encoding) -> str:
    lines = [
        "void gx_decode(uint64_t code, gw_sequencer *memory)",
        "{",
        "    memory->saturated = 0U;",
    ]
    pairs = list(zip(encoding.order, encoding.sizes, strict=True))
    for number, size in reversed(pairs):
        low = c_integer(trial.variables[number].low)
        value = f"(int32_t)((int64_t)(code % UINT64_C({size})) + {low})"
        lines += [f"    memory->variables[{number}] = {value};", f"    code /= UINT64_C({size});"]
    if not pairs:
        lines.append("    memory->variables[0] = 0;")
    return "\n".join([*lines, "    memory->state = (int32_t)code;", "}", ""])
