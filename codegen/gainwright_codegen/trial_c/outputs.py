"""Outputs of a trial in C, each written once; and what the detector finds, as inputs."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from gainwright.detector.findings import measures_response
from gainwright.detector.response_settings import RESPONSE_FINDINGS
from gainwright.language.expression import Boolean, Expression, Integer
from gainwright.language.model import Output, Trial
from gainwright_codegen.c_text import LINE_LENGTH, comment, statement
from gainwright_codegen.trial_c.expression import Scope, c_integer, c_word
from gainwright_codegen.trial_c.identifiers import constant
from gainwright_codegen.trial_c.scope import variables_scope

FAULT_OUTPUT = "fault_latched"
_LONGEST_ENUMERATOR = 63
_SMALL = range(8)
"""Integers of three bits."""


class _Choices:
    """What an output may be: each state shows one of them, by a number that is kept in few bits.

    That number is the value itself where all are small integers.
    """

    def __init__(self, trial: Trial, output: Output, shift: int) -> None:
        self.output, self.shift = output, shift
        shown = [state.outputs.get(output.name, output.default) for state in trial.states]
        in_order = [output.default, *shown] if output.default in shown else shown
        self.values: tuple[Expression, ...] = tuple(dict.fromkeys(in_order))
        small = [v.value for v in self.values if isinstance(v, Integer) and v.value in _SMALL]
        self.are_shown = len(self.values) > 2 and len(small) == len(self.values)
        self.numbers = dict(
            zip(self.values, small if self.are_shown else range(len(self.values)), strict=True)
        )
        self.by_state = [self.numbers[value] for value in shown]
        self._names = {n: trial.states[self.by_state.index(n)].name for n in self.by_state}

    @property
    def width(self) -> int:
        return max(self.numbers.values()).bit_length()

    @property
    def mask(self) -> int:
        return ((1 << self.width) - 1) << self.shift

    def name(self, number: int) -> str:
        """Return the enumerator of a choice: the output, and the first state that has it."""
        upper = self.output.name.upper()
        if self.values == (Boolean(False), Boolean(True)):
            return f"{upper}_ON"
        return f"{upper}_AS_IN_{self._names[number].upper()}"[:_LONGEST_ENUMERATOR]

    def definitions(self, suffix: str) -> list[str]:
        """Return a definition for each choice but number 0, which has no bits."""
        return [
            f"#define {self.name(k)} {hex(k << self.shift)}{suffix}"
            for k in sorted(self.numbers.values())
            if k
        ]

    def value(self, scope: Scope, suffix: str) -> str:
        """Return C for the value that is shown."""
        if self.are_shown:
            return f"shown_number(shown, {hex(self.mask)}{suffix}, {self.shift}U)"
        text = c_word(self.values[0], scope, self.output.kind)
        for number in range(1, len(self.values)):
            asked = f"(shown & {hex(self.mask)}{suffix}) == {self.name(number)}"
            value = c_word(self.values[number], scope, self.output.kind)
            text = f"({asked}) ? {f'({value})' if '?' in value else value} : ({text})"
        return text


def outputs_by_state(trial: Trial) -> str:
    """Return what each state shows as a table, and the function that shows it."""
    choices, shift = list[_Choices](), 0
    for output in trial.outputs:
        choices.append(_Choices(trial, output, shift))
        shift += choices[-1].width
    c_type, suffix = ("uint64_t", "ULL") if shift > 32 else ("uint32_t", "UL")
    if shift <= 16:
        c_type, suffix = "uint16_t", "U"
    lines = [comment("What a state shows besides the defaults.")]
    lines += [line for choice in choices for line in choice.definitions(suffix)]
    lines.append(f"\nstatic const {c_type} shows[GW_STATE_COUNT] = {{")
    for place, state in enumerate(trial.states):
        names = [c.name(c.by_state[place]) for c in choices if c.by_state[place]]
        lines.append(comment(state.name, indent=4))
        text = textwrap.fill(
            " | ".join(names or ["0U"]), LINE_LENGTH - 5, break_long_words=False,
            subsequent_indent="    ",
        )  # fmt: skip
        lines.append(textwrap.indent(text, " " * 4) + ",")
    lines[-1] = lines[-1].rstrip(",")
    scope = variables_scope(trial)
    body = [_assignment(c.output.name, c.value(scope, suffix)) for c in choices]
    reader = [_shown_number(shift)] if any(c.are_shown for c in choices) else []
    return "\n".join([*lines, "};\n", *reader, _outputs_function(c_type, shift, body)])


def _shown_number(bits: int) -> str:
    c_type = "uint64_t" if bits > 32 else "uint32_t"
    return _function(
        f"static inline int32_t shown_number({c_type} shown, {c_type} mask, uint32_t first_bit)",
        [
            f"    const {c_type} number = (shown & mask) >> first_bit;",
            "",
            "    return (int32_t)number;",
        ],
    )


def _outputs_function(c_type: str, bits: int, body: Sequence[str]) -> str:
    looked_up = ["    (void)state;", "    (void)shows;"]
    if bits:
        looked_up = [f"    const {c_type} shown = shows[state];", ""]
    return _function(
        "void gw_trial_outputs(int32_t state, const gw_variable_value variables[],\n"
        "                      int32_t outputs[])",
        [*looked_up, *body, "    (void)variables;", "    (void)outputs;"],
    )


def resting_outputs(trial: Trial) -> str:
    """Return the functions that write outputs of an axis at rest, without and with a fault."""
    rest = {o.name: min(max(0, o.low), o.high) for o in trial.outputs}
    fault = rest | {o.name: o.high for o in trial.outputs if o.name == FAULT_OUTPUT}
    return "\n".join(
        _function(
            f"void gw_trial_{name}_outputs(int32_t outputs[])",
            [*(_assignment(k, c_integer(v)) for k, v in values.items()), "    (void)outputs;"],
        )
        for name, values in (("rest", rest), ("fault", fault))
    )


def take_response(trial: Trial) -> str:
    """Return the function that writes what the loop response is over the inputs of the trial."""
    if not measures_response(trial):
        return ""
    names = {signal.name for signal in trial.inputs}
    body = [
        statement(f"inputs[{constant('INPUT', name)}] = findings[{place}];", indent=4)
        for place, name in enumerate(RESPONSE_FINDINGS)
        if name in names
    ]
    return _function(
        "void gw_trial_take_response(const int32_t findings[], int32_t inputs[])",
        [*body, "    (void)findings;", "    (void)inputs;"],
    )


def _assignment(name: str, text: str) -> str:
    return statement(f"outputs[{constant('OUTPUT', name)}] = {text};", indent=4)


def _function(signature: str, body: Sequence[str]) -> str:
    return "\n".join([signature, "{", *body, "}", ""])
