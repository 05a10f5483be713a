"""Makes ``gw_trial.h``: the enums, counts and digest of a trial."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest

from gainwright.detector.evidence import FINDINGS
from gainwright.detector.findings import measures_response
from gainwright.language.model import Enumeration, Kind, Signal, Trial, Variable
from gainwright_codegen.c_text import (
    C_LINKAGE_BEGINS,
    C_LINKAGE_ENDS,
    RUNTIME_VERSION,
    banner,
    c_string,
    comment,
    fingerprint,
    identity,
    plain,
)
from gainwright_codegen.trial_c.condition_bits import ConditionBits, condition_bits
from gainwright_codegen.trial_c.expression import c_integer
from gainwright_codegen.trial_c.identifiers import constant, names_by_prefix
from gainwright_codegen.trial_c.row_spans import splitting

OBEYED_OUTPUTS = ("pulse_request", "hearing", "active_stage")
"""Outputs by which a trial asks the axis for something."""


def _reservation(trial: Trial) -> list[str]:
    words = trial.rehearsals_only
    return [f"FOR REHEARSALS ONLY, not for a machine: {plain(words)}"] if words else []


def trial_header(trial: Trial) -> str:
    """Return the text of ``gw_trial.h``."""
    return "\n".join(
        [
            banner("enums and counts of a trial, generated from its specification.", [
                identity("Trial", trial.name, trial.digest), trial.title, *_reservation(trial)]),
            "#ifndef GW_TRIAL_H\n#define GW_TRIAL_H\n\n#include <stdint.h>\n",
            '#include "gw_fixed.h"\n',
            f"#define GW_TRIAL_NAME {c_string(trial.name)}",
            f"#define GW_TRIAL_DIGEST {c_string(trial.digest)}",
            comment("The first 32 bits of the digest, for the preprocessor to compare."),
            f"#define GW_TRIAL_FINGERPRINT {fingerprint(trial.digest)}",
            comment("Version of the static files that this was made for; gw_table.h compares."),
            f"#define GW_TRIAL_RUNTIME_VERSION {RUNTIME_VERSION}",
            "",
            comment("Sequencer tick in microseconds."),
            f"#define GW_TICK_US {trial.tick_us}",
            "",
            _counts(trial),
            _bindings(trial),
            _constants(trial),
            _VARIABLE_SET,
            _variable_value(trial),
            _enum("state", "STATE", [(s.name, s.meaning) for s in trial.states]),
            f"#define GW_INITIAL_STATE ((int32_t){constant('STATE', trial.initial_state)})\n",
            _enum("input", "INPUT", _described(trial.inputs)),
            _enum("output", "OUTPUT", _described(trial.outputs)),
            _enum("variable", "VARIABLE", _described(trial.variables)),
            _variables_checksum(trial),
            _enum("condition", "CONDITION", [(c.name, c.meaning) for c in trial.conditions]),
            _enum("stage", "STAGE", [(s.name, f"{s.title} [{s.unit}]") for s in trial.stages]),
            *(
                _enum(f"{enumeration.name}_value", enumeration.name.upper(), _worded(enumeration))
                + f"#define GW_{enumeration.name.upper()}_COUNT {len(enumeration.values)}\n"
                for enumeration in trial.enumerations
            ),
            C_LINKAGE_BEGINS,
            comment("GW_TRIAL_DIGEST as a constant that firmware can read out."),
            "extern const char gw_trial_digest[sizeof GW_TRIAL_DIGEST];\n",
            C_LINKAGE_ENDS,
            "#endif\n",
        ]
    )  # fmt: skip


_NARROW = "#define GW_VARIABLE_BITS 16\ntypedef int16_t gw_variable_value;\n"
_WIDE = "#define GW_VARIABLE_BITS 32\ntypedef int32_t gw_variable_value;\n"
_NARROW_LIMIT = 2**15


def are_narrow(variables: Iterable[Variable]) -> bool:
    """Return whether 16 bits are enough for each, with room to see that it left its range."""
    return all(v.low > -_NARROW_LIMIT and v.high < _NARROW_LIMIT - 1 for v in variables)


def _variable_value(trial: Trial) -> str:
    """Return the type of the memory of a variable: with room to see that it left its range."""
    words = "What a variable is kept in: every variable, and one beyond its range, fits."
    return f"{comment(words)}\n{_NARROW if are_narrow(trial.variables) else _WIDE}"


def _variables_checksum(trial: Trial) -> str:
    """Return the function; without a loop, so that compilers see two neighbours as one word."""
    words = "A checksum with all variables; narrow ones go two to a word, as they lie in memory."
    lines = [f"    sum = gw_checksum_with(sum, {word});" for word in _variable_words(trial)]
    return "\n".join(
        [comment(words), _CHECKSUM_HEAD, *(lines or ["    (void)variables;"]), _CHECKSUM_END]
    )


_CHECKSUM_HEAD = """\
static inline uint32_t gw_variables_checksum(uint32_t checksum, const gw_variable_value variables[])
{
    uint32_t sum = checksum;
"""
_CHECKSUM_END = """\
    return sum;
}
"""


def _variable_words(trial: Trial) -> Iterator[str]:
    names = [f"variables[{constant('VARIABLE', v.name)}]" for v in trial.variables]
    if not are_narrow(trial.variables):
        yield from (f"(uint32_t){name}" for name in names)
        return
    for low, high in zip_longest(names[::2], names[1::2]):
        below = f"(uint32_t)(uint16_t){low}"
        yield f"{below}\n        | ((uint32_t)(uint16_t){high} << 16U)" if high else below


_VARIABLE_SET = """\
/* One bit per variable: bit k is variable k. */
#if GW_VARIABLE_COUNT > 32
typedef uint64_t gw_variable_set;
#else
typedef uint32_t gw_variable_set;
#endif
"""


def _counts(trial: Trial) -> str:
    lines = [comment("SLOTS are sizes of arrays: C has none of size 0.")]
    lines.append(f"#define GW_ROW_COUNT {len(trial.rows)}")
    bits = condition_bits(trial)
    lines.append(f"#define GW_CONDITION_WIDTH {bits.width}")
    lines += _split(splitting(trial, bits), bits)
    for prefix, names in names_by_prefix(trial).items():
        lines.append(f"#define GW_{prefix}_COUNT {len(names)}")
        if prefix != "STATE":
            lines.append(f"#define GW_{prefix}_SLOTS {max(1, len(names))}")
    return "\n".join(lines) + "\n"


def _split(names: Sequence[str], bits: ConditionBits) -> list[str]:
    text = f"Conditions that split the rows of a state in two: {', '.join(names) or 'none'}."
    return [
        comment(text),
        f"#define GW_SPLIT_BITS {hex(sum(1 << bits.place[name] for name in names))}U",
    ]


def _bindings(trial: Trial) -> str:
    names = {output.name for output in trial.outputs}
    return "\n".join(
        [
            comment("Outputs that gw_axis.c obeys, if the trial has them."),
            *(f"#define GW_HAS_{name.upper()} {int(name in names)}" for name in OBEYED_OUTPUTS),
            comment(
                "Inputs that take what the detector finds, see gw_evidence.h; -1: not looked at."
            ),
            f"#define GW_TRIAL_FINDING_COUNT {len(FINDINGS)}",
            *(f"#define GW_PLACE_OF_{n.upper()} {_place(trial, n)}" for n in FINDINGS),
            comment("1: the trial has the loop response measured; 0: nothing of that is compiled."),
            f"#define GW_HAS_LOOP_RESPONSE {int(measures_response(trial))}",
            comment("Longest gain ladder of all stages."),
            f"#define GW_RUNG_COUNT_MAX {most_rungs(trial)}",
            *_rung_output(trial),
            "",
        ]
    )


def _place(trial: Trial, finding: str) -> str:
    """Return where an input stands; C has enumerators for those that there are."""
    is_input = any(signal.name == finding for signal in trial.inputs)
    return f"((int32_t){constant('INPUT', finding)})" if is_input else "INT32_C(-1)"


def _rung_output(trial: Trial) -> list[str]:
    """Return where the rung stands among the outputs, if there is one stage."""
    return [
        line
        for stage in trial.stages[: len(trial.stages) == 1]
        for line in (
            comment("Its rung, of the one stage that there is."),
            f"#define GW_RUNG_OUTPUT {constant('OUTPUT', stage.rung)}",
        )
    ]


def most_rungs(trial: Trial) -> int:
    """Return the number of rungs of the longest ladder, 1 without stages."""
    return max((stage.rungs for stage in trial.stages), default=1)


def _constants(trial: Trial) -> str:
    lines = list[str]()
    for item in trial.constants:
        unit = f" [{item.unit}]" if item.unit else ""
        lines.append(comment(f"{item.meaning}{unit}"))
        lines.append(f"#define {constant('CONSTANT', item.name)} {c_integer(item.value)}")
    return "\n".join([*lines, ""])


def _described(signals: Iterable[Signal]) -> list[tuple[str, str]]:
    return [(signal.name, f"{signal.meaning} {_range(signal)}") for signal in signals]


def _worded(enumeration: Enumeration) -> list[tuple[str, str]]:
    return [(v.name, f"{v.words}. {v.remedy}".strip()) for v in enumeration.values]


def _range(signal: Signal) -> str:
    if signal.kind is Kind.BOOLEAN:
        return "[0 or 1]"
    if signal.enumeration:
        return f"[gw_{signal.enumeration}_value]"
    return f"[{signal.low} to {signal.high}{', ' + signal.unit if signal.unit else ''}]"


def _enum(type_name: str, prefix: str, members: Sequence[tuple[str, str]]) -> str:
    if not members:
        return comment(f"The trial has no {type_name}.") + "\n"
    lines = ["typedef enum {"]
    for index, (name, meaning) in enumerate(members):
        lines.append(comment(meaning, indent=4))
        end = "," if index < len(members) - 1 else ""
        lines.append(f"    {constant(prefix, name)} = {index}{end}")
    return "\n".join([*lines, f"}} gw_{type_name};", ""])
