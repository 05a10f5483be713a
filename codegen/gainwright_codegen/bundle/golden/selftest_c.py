"""Writes the self-test program of a bundle: golden inputs through the sequencer, checksums out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.scenario import (
    CHECKSUM_FACTOR,
    CHECKSUM_START,
    Scenario,
)
from gainwright_codegen.c_text import banner, comment
from gainwright_codegen.trial_c.expression import c_integer


@dataclass(frozen=True, slots=True)
class SelfTestPart:
    """One group of golden vectors in the self-test program."""

    includes: tuple[str, ...]
    """Headers it needs."""
    source: str
    """C text. It defines ``static uint32_t FUNCTION(void)``, which prints one line per vector that
    fails through ``GW_SELFTEST_PRINT`` and returns how many failed."""
    function: str


def selftest_source(parts: Sequence[SelfTestPart], identities: Sequence[str]) -> str:
    """Return the text of ``gw_selftest.c``: all parts and a ``main``."""
    includes = sorted({name for part in parts for name in part.includes})
    calls = [f"    failures += {part.function}();" for part in parts]
    return "\n".join(
        [
            banner(
                "self-test: golden inputs through the exported code on this target. Prints one "
                "line per vector that fails and ends with PASS or FAIL; the exit code is 0 if all "
                "pass. On a target without printf define GW_SELFTEST_PRINT(text, name, number) as "
                "something else; define GW_SELFTEST_NO_MAIN to call gw_selftest_run yourself.",
                identities,
            ),
            "#include <stdint.h>\n",
            *(f'#include "{name}"' for name in includes),
            _PRELUDE,
            *(part.source for part in parts),
            "uint32_t gw_selftest_run(void)\n{\n    uint32_t failures = 0U;\n",
            *calls,
            _ENDING,
        ]
    )


_PRELUDE = f"""
#ifndef GW_SELFTEST_PRINT
#include <stdio.h>
#define GW_SELFTEST_PRINT(text, name, number) \\
    ((void)printf("%s %s %lu\\n", (text), (name), (unsigned long)(number)))
#endif

/* Number of vectors that failed; 0 is good. */
uint32_t gw_selftest_run(void);

#define CHECKSUM_START UINT32_C({CHECKSUM_START})

/* FNV-1a with 32 bits, over whole words, so that byte order plays no part. */
static uint32_t checksum_add(uint32_t checksum, uint32_t word)
{{
    return (uint32_t)((checksum ^ word) * UINT32_C({CHECKSUM_FACTOR}));
}}
"""

_ENDING = """\
    GW_SELFTEST_PRINT((failures == 0U) ? "PASS" : "FAIL", "all; failures", failures);
    return failures;
}

#ifndef GW_SELFTEST_NO_MAIN
int main(void)
{
    return (gw_selftest_run() == 0U) ? 0 : 1;
}
#endif
"""


def sequencer_part(
    trial: Trial, scenarios: Sequence[Scenario], expected: Sequence[Sequence[int]]
) -> SelfTestPart:
    """Return the golden vectors of the sequencer.

    Args:
        trial: the trial.
        scenarios: input sequences, each from reset.
        expected: for each scenario the checksum after each of its segments, computed by the
            Python reference (:func:`gainwright_codegen.bundle.golden.scenario.checksums`).
    """
    segments, sequences = list[str](), list[str]()
    for scenario, sums in zip(scenarios, expected, strict=True):
        start = scenario.start[1:] or (0,)
        sequences.append(
            f"    {{{len(segments)}U, {len(scenario.segments)}U, {scenario.start[0]}, "
            f"{{{_numbers(start)}}}}}"
        )
        for segment, checksum in zip(scenario.segments, sums, strict=True):
            head = f"{segment.ticks}U, 0x{checksum:08x}U"
            segments.append(f"    {{{head}, {{{_numbers(segment.inputs or (0,))}}}}}")
    total = sum(scenario.ticks for scenario in scenarios)
    source = "\n".join(
        [
            comment(
                f"{len(scenarios)} sequences of inputs, {total} ticks. A sequence starts with a "
                "given state and given variables; a segment holds its inputs "
                "for a number of ticks; the checksum is that of the sequence so far, over row, "
                "state, saturated variables, variables and outputs of every tick, computed by "
                "the Python reference."
            ),
            f"#define SEQUENCE_COUNT {len(scenarios)}U\n",
            _SEGMENT_TYPE,
            f"static const golden_segment golden_segments[{len(segments)}] = {{",
            ",\n".join(segments),
            "};\n",
            "static const golden_sequence golden_sequences[SEQUENCE_COUNT] = {",
            ",\n".join(sequences),
            "};\n",
            _SEQUENCER_RUN,
        ]
    )
    return SelfTestPart(("gw_sequencer.h", "gw_trial.h"), source, "run_sequencer")


def _numbers(values: Sequence[int]) -> str:
    # An int has 16 bits at least; without macro and spaces the source is a third as long.
    return ",".join(str(v) if abs(v) < 2**15 else c_integer(v) for v in values)


_SEGMENT_TYPE = """\
typedef struct {
    uint32_t ticks;
    uint32_t checksum;
    int32_t inputs[GW_INPUT_SLOTS];
} golden_segment;

typedef struct {
    uint32_t first_segment;
    uint32_t segment_count;
    int32_t state;
    int32_t variables[GW_VARIABLE_SLOTS];
} golden_sequence;
"""

_SEQUENCER_RUN = """\
static uint32_t add_tick(uint32_t checksum, const gw_sequencer *sequencer, int32_t row)
{
    const uint64_t saturated = sequencer->saturated;
    int32_t outputs[GW_OUTPUT_SLOTS] = {0};
    uint32_t index;

    gw_sequencer_outputs(sequencer, outputs);
    checksum = checksum_add(checksum, (uint32_t)row);
    checksum = checksum_add(checksum, (uint32_t)sequencer->state);
    checksum = checksum_add(checksum, (uint32_t)(saturated & UINT32_MAX));
    checksum = checksum_add(checksum, (uint32_t)(saturated >> 32));
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        if (index < (uint32_t)GW_VARIABLE_COUNT) {
            checksum = checksum_add(checksum, (uint32_t)sequencer->variables[index]);
        }
    }
    for (index = 0U; index < (uint32_t)GW_OUTPUT_SLOTS; index++) {
        if (index < (uint32_t)GW_OUTPUT_COUNT) {
            checksum = checksum_add(checksum, (uint32_t)outputs[index]);
        }
    }
    return checksum;
}

/* Returns 1 if a checksum differs. */
static uint32_t run_sequence(uint32_t number)
{
    const golden_sequence *sequence = &golden_sequences[number];
    gw_sequencer sequencer;
    uint32_t checksum = CHECKSUM_START;
    uint32_t index;
    uint32_t tick;

    gw_sequencer_reset(&sequencer);
    sequencer.state = sequence->state;
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        sequencer.variables[index] = sequence->variables[index];
    }
    for (index = 0U; index < sequence->segment_count; index++) {
        const golden_segment *segment = &golden_segments[sequence->first_segment + index];

        for (tick = 0U; tick < segment->ticks; tick++) {
            const int32_t row = gw_sequencer_step(&sequencer, segment->inputs);

            checksum = add_tick(checksum, &sequencer, row);
        }
        if (checksum != segment->checksum) {
            GW_SELFTEST_PRINT("FAIL", "sequencer, segment", index);
            return 1U;
        }
    }
    return 0U;
}

static uint32_t run_sequencer(void)
{
    uint32_t failures = 0U;
    uint32_t number;

    for (number = 0U; number < SEQUENCE_COUNT; number++) {
        if (run_sequence(number) != 0U) {
            GW_SELFTEST_PRINT("FAIL", "sequencer, sequence", number);
            failures++;
        }
    }
    return failures;
}
"""
