"""Tables and sizes of the C that is generated for the explorer, and the code of a state."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence

from gainwright.language.model import RequirementKind, Trial
from gainwright_codegen.c_text import array
from gainwright_codegen.trial_c.expression import c_integer
from gainwright_proof.exploration.encoding import Encoding
from gainwright_proof.exploration.short_waits import waits
from gainwright_proof.exploration.vectors import StateVectors


def response_numbers(trial: Trial) -> dict[int, int]:
    """Return the mark bit of every response requirement, by the requirement's number."""
    kinds = [requirement.kind for requirement in trial.requirements]
    responses = [n for n, kind in enumerate(kinds) if kind is RequirementKind.RESPONSE]
    return {number: bit for bit, number in enumerate(responses)}


def sizes_header(trial: Trial, vectors: Sequence[StateVectors], encoding: Encoding) -> str:
    """Return ``gx_sizes.h``: counts, and the numbers of formulas that every trial has."""
    count, timers = len(trial.requirements), len(waits(trial))
    values = {
        "GX_LIST_COUNT": sum(1 + len(state.enough) for state in vectors),
        "GX_REQUIREMENT_SLOTS": count + 1,
        "GX_MARK_COUNT": max(1, len(response_numbers(trial))),
        "GX_PAGE_BITS": encoding.page_bits,
        "GX_TIMERS": timers,
        "GX_TIMER_SLOTS": max(1, timers),
        "GX_OUTPUTS_DIFFER": count,
        "GX_AT_END": 2 * count,
        "GX_ALWAYS": 2 * count + 1,
        "GX_FORMULA_COUNT": 2 * count + 2,
    }
    lines = [f"#define {name} {value}" for name, value in values.items()]
    return "\n".join(["#ifndef GX_SIZES_H", "#define GX_SIZES_H", *lines, "#endif", ""])


def vector_tables(vectors: Sequence[StateVectors]) -> str:
    """Return the tables of where vectors of each state begin, and of the lists that are enough."""
    counts = [len(state.vectors) for state in vectors]
    first = [0, *itertools.accumulate(counts)]
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
            _table("uint32_t gx_first_list[GW_STATE_COUNT]", _unsigned(first_list)),
            _table("uint32_t gx_list_begin[GX_LIST_COUNT + 1]", _unsigned(ends)),
            _table("uint32_t gx_lists[]", _unsigned(n for numbers in lists for n in numbers)),
        ]
    )


def _table(declaration: str, items: Iterable[str]) -> str:
    return f"const {declaration} = {array(list(items))};\n"


def _unsigned(numbers: Iterable[int]) -> list[str]:
    return [f"{number}U" for number in numbers]


def mark_bits(trial: Trial) -> str:
    """Return the table of mark bits."""
    bits = response_numbers(trial)
    values = [str(bits.get(number, -1)) for number in range(len(trial.requirements) + 1)]
    return f"const int16_t gx_mark_bit[GX_REQUIREMENT_SLOTS] = {array(values)};\n"


def stretches(trial: Trial) -> str:
    """Return which variables are timers, and the function for the ends of their stretches."""
    timers = waits(trial)
    numbers = [str(trial.variables.index(wait.variable)) for wait in timers] or ["0"]
    lines = [
        f"const uint8_t gx_timer_variable[GX_TIMER_SLOTS] = {array(numbers)};",
        "",
        "int32_t gx_stretch_last(uint32_t timer, int32_t value)",
        "{",
        "    switch (timer) {",
    ]
    for number, wait in enumerate(timers):
        lines.append(f"    case {number}U:")
        for low, high in itertools.pairwise(wait.points):
            lines.append(f"        if (value < {c_integer(high)}) {{")
            lines.append(f"            return (value == {c_integer(low)}) ? value : "
                         f"{c_integer(high - 1)};")  # fmt: skip
            lines.append("        }")
        lines.append("        break;")
    lines += ["    default:", "        break;", "    }", "    return value;", "}", ""]
    return "\n".join(lines)


def encode_function(trial: Trial, encoding: Encoding) -> str:
    """Return the functions from memory to code, and from code to state."""
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


def decode_function(trial: Trial, encoding: Encoding) -> str:
    """Return the function from code to memory."""
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
