"""Golden vectors of the table: each row, and every single change of a value around it.

A row's vector is a state, variables and inputs with which it is taken. Around it each variable and
each input takes all its values that can make a difference, one at a time, inputs also values beyond
their range: so every condition of the row changes by itself, at its threshold, in a place where all
the others hold. What a tick does from there is summed up.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from gainwright.language.model import Trial
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.bundle.golden.domain import Domain, input_domain, variable_domain
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, Machine, Sample, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart, numbers
from gainwright_codegen.bundle.golden.ticked import TickedVectors, ordered_heights
from gainwright_codegen.c_text import array, comment, filled

_BEYOND = (-(2**31), 2**31 - 1)
_HALF, _WORD = 2**15, 2**16


@dataclass(frozen=True, slots=True)
class RowVectors:
    """Of one trial."""

    values: Domain
    """By signal, variables first: what it may be; inputs are tried beyond their range besides."""
    rows: tuple[tuple[int, int, tuple[int, ...]], ...]
    """Row number, state number, and for each signal the place of its value."""
    checksums: tuple[int, ...]
    ticks: int


def row_vectors(
    trial: Trial,
    samples: Sequence[tuple[int, Sample]],
    reference: Machine,
    stages: Sequence[StageTables] = (),
) -> RowVectors:
    """Return the vectors around samples of rows, with what the trial makes of them.

    Args:
        trial: what is exported.
        samples: row numbers with ticks that take them.
        reference: the machine that says what is right.
        stages: tables of the machine, whose heights pulses have; none orders a pulse.

    Raises:
        RuntimeError: the reference and the array form of the trial differ.
    """
    inputs = input_domain(trial)
    values = (*variable_domain(trial), *inputs)
    tried = (*variable_domain(trial), *((*choices, *_BEYOND) for choices in inputs))
    ticks = TickedVectors(trial, reference)
    rows, sums = [], []
    for number, sample in samples:
        base = (*sample.start[1:], *sample.inputs)
        places = tuple(of.index(value) for of, value in zip(values, base, strict=True))
        rows.append((number, sample.start[0], places))
        around = np.array(list(_around(tried, base)), dtype=np.int64)
        words = ticks.words(sample.start[0], around)
        orders = ordered_heights(trial, stages, words[:, -len(trial.outputs) :], around[:, 0])
        words = np.column_stack([words, orders])
        sums.append(added(CHECKSUM_START, words.ravel().tolist()))
    return RowVectors(values, tuple(rows), tuple(sums), ticks.count)


def _around(values: Domain, base: Sequence[int]) -> Iterator[tuple[int, ...]]:
    for signal, choices in enumerate(values):
        for value in choices:
            yield (*base[:signal], value, *base[signal + 1 :])


def rows_part(trial: Trial, vectors: RowVectors, machine: str) -> SelfTestPart:
    """Return the self-test of the table; ``machine`` is the C name of the machine, or empty."""
    # C has no array of size 0: what is missing is a signal with one value.
    variables = vectors.values[: len(trial.variables)] or ((0,),)
    inputs = vectors.values[len(trial.variables) :] or ((0,),)
    values = (*variables, *inputs)
    first = [0]
    for choices in values:
        first.append(first[-1] + len(choices))
    sizes = (len(trial.states), *map(len, values))
    places = ((state, *_padded(trial, own)) for _, state, own in vectors.rows)
    stream, bits = _packed(sizes, places)
    checksums = [f"0x{_folded(checksum):04x}U" for checksum in vectors.checksums]
    heights = ", and the height of the pulse that it orders" if machine else ""
    through = "gw_axis_step" if machine else "gw_sequencer_step"
    source = "\n".join(
        [
            comment(
                f"Table: {len(checksums)} rows, each from a memory and with inputs that take it; "
                "around them every variable and every input takes all values at which something "
                f"changes, one at a time, inputs also values beyond their range: {vectors.ticks} "
                "ticks of "
                f"{through}. The checksum is over row, state, saturated variables, variables and "
                f"outputs of every tick{heights}, from the Python reference. Samples of rows stand "
                "in the order of the specification, before those for parts of conditions."
            ),
            "#define SIGNALS (GW_VARIABLE_SLOTS + GW_INPUT_SLOTS)\n",
            f"#define GOLDEN_ROWS {len(checksums)}U\n",
            *_stored(values),
            "static const uint16_t golden_first[SIGNALS + 1] = "
            f"{array([f'{n}U' for n in first])};\n",
            comment(
                "Of each sample the state, and the place among the values of each signal, "
                "variables first, in as many bits as these need, lowest first."
            ),
            f"#define GOLDEN_BITS {bits}U",
            f"static const uint8_t golden_places[{len(stream)}] = {array([*map(str, stream)])};\n",
            f"static const uint16_t golden_checksums[GOLDEN_ROWS] = {array(checksums)};\n",
            (filled(_AXIS_SUBJECT, MACHINE=machine) if machine else _SEQUENCER_SUBJECT),
            _RUN,
        ]
    )
    headers = (f"{machine}.h",) if machine else ("gw_sequencer.h", "gw_trial.h")
    return SelfTestPart((*headers, "gw_table.h"), source, "run_rows")


def _stored(values: Domain) -> list[str]:
    """Return the array of all values, in 16 bits each if that says them."""
    short = all(_fits(choices) for choices in values)
    flat = [value for choices in values for value in choices]
    words = [f"{v % _WORD}U" for v in flat] if short else [numbers([v]) for v in flat]
    kind = "uint16_t" if short else "int32_t"
    return [
        comment("Values of one signal after the other, rising."),
        f"static const {kind} golden_values[{len(flat)}] = {array(words)};\n",
        _SHORT_VALUE if short else _LONG_VALUE,
    ]


def _fits(choices: Sequence[int]) -> bool:
    """Return whether 16 bits say values that rise: the first tells whether they have a sign."""
    low, high = (-_HALF, _HALF) if choices[0] < 0 else (0, _WORD)
    return choices[0] < _HALF and all(low <= value < high for value in choices)


_SHORT_VALUE = """\
/* Of a signal whose first value is 2^15 or more they have a sign. */
static int32_t stored_value(uint32_t first, uint32_t place)
{
    const int32_t stored = (int32_t)golden_values[first + place];

    return ((golden_values[first] > 32767U) && (stored > 32767)) ? (stored - 65536) : stored;
}
"""
_LONG_VALUE = """\
static int32_t stored_value(uint32_t first, uint32_t place)
{
    return golden_values[first + place];
}
"""


def _folded(checksum: int) -> int:
    """Return 16 bits of a checksum: there are hundreds, and what is wrong shows in many."""
    return (checksum ^ checksum >> 16) % _WORD


def _packed(sizes: Sequence[int], samples: Iterable[tuple[int, ...]]) -> tuple[bytes, int]:
    """Return places as one stream of bits, lowest first, and how many bits each sample has.

    Args:
        sizes: how many places there are for each number of a sample.
        samples: their numbers.
    """
    widths = [(size - 1).bit_length() for size in sizes]
    stream = shift = 0
    for sample in samples:
        for place, width in zip(sample, widths, strict=True):
            stream |= place << shift
            shift += width
    return stream.to_bytes(max(1, -(-shift // 8)), "little"), sum(widths)


def _padded(trial: Trial, places: tuple[int, ...]) -> tuple[int, ...]:
    count = len(trial.variables)
    return (*(places[:count] or (0,)), *(places[count:] or (0,)))


_AXIS_SUBJECT = """\
/* Static, as a self-test may have little stack. */
static gw_axis subject;

static void put_subject(int32_t state, const int32_t values[SIGNALS])
{
    uint32_t k;

    subject.sequencer.state = state;
    for (k = 0U; k < (uint32_t)GW_VARIABLE_SLOTS; k++) {
        subject.sequencer.variables[k] = (gw_variable_value)values[k];
    }
    gw_axis_seal(&subject);
}

static int32_t step_from(int32_t state, const int32_t values[SIGNALS])
{
    gw_axis_init(&subject, &@MACHINE@);
    put_subject(state, values);
    subject.evidence.boost = (uint8_t)((uint32_t)values[0] & 3U);
    return gw_axis_step(&subject, &values[GW_VARIABLE_SLOTS]);
}

#define MEMORY (&subject.sequencer)
#define OUTPUTS subject.outputs
#define ORDERED_HEIGHT subject.order.height
"""

_SEQUENCER_SUBJECT = """\
static gw_sequencer subject;
static int32_t subject_outputs[GW_OUTPUT_SLOTS];

static int32_t step_from(int32_t state, const int32_t values[SIGNALS])
{
    int32_t row;
    uint32_t k;

    gw_sequencer_reset(&subject);
    subject.state = state;
    for (k = 0U; k < (uint32_t)GW_VARIABLE_SLOTS; k++) {
        subject.variables[k] = (gw_variable_value)values[k];
    }
    row = gw_sequencer_step(&subject, &values[GW_VARIABLE_SLOTS]);
    gw_sequencer_outputs(&subject, subject_outputs);
    return row;
}

#define MEMORY (&subject)
#define OUTPUTS subject_outputs
#define ORDERED_HEIGHT 0
"""

_RUN = """\
static uint32_t add_words(uint32_t checksum, const int32_t words[], uint32_t count)
{
    uint32_t sum = checksum;
    uint32_t k;

    for (k = 0U; k < count; k++) {
        sum = checksum_add(sum, (uint32_t)words[k]);
    }
    return sum;
}

static uint32_t add_variables(uint32_t checksum, const gw_variable_value variables[])
{
    uint32_t sum = checksum;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_VARIABLE_COUNT; k++) {
        sum = checksum_add(sum, (uint32_t)(int32_t)variables[k]);
    }
    return sum;
}

static uint32_t add_tick(uint32_t checksum, int32_t row)
{
    const uint64_t saturated = MEMORY->saturated;
    uint32_t sum = checksum_add(checksum, (uint32_t)row);

    sum = checksum_add(sum, (uint32_t)MEMORY->state);
    sum = checksum_add(sum, (uint32_t)(saturated & UINT32_MAX));
    sum = checksum_add(sum, (uint32_t)(saturated >> 32));
    sum = add_variables(sum, MEMORY->variables);
    sum = add_words(sum, OUTPUTS, (uint32_t)GW_OUTPUT_COUNT);
    return checksum_add(sum, (uint32_t)ORDERED_HEIGHT);
}

/* How many values a signal takes within its range. */
static uint32_t golden_count(uint32_t signal)
{
    return (uint32_t)golden_first[signal + 1U] - golden_first[signal];
}

/* Each of them; then the least and the most that an input may be given. */
static int32_t golden_value(uint32_t signal, uint32_t place)
{
    const uint32_t first = golden_first[signal];
    const uint32_t count = golden_count(signal);

    if (place >= count) {
        return (place == count) ? INT32_MIN : INT32_MAX;
    }
    return stored_value(first, place);
}

/* The next number of a sample, one of so many. */
static uint32_t golden_place(uint32_t *bit, uint32_t count)
{
    uint32_t place = 0U;
    uint32_t weight;

    for (weight = 1U; weight < count; weight *= 2U) {
        place += (((uint32_t)golden_places[*bit / 8U] >> (*bit % 8U)) & 1U) * weight;
        *bit += 1U;
    }
    return place;
}

static int32_t golden_state(uint32_t number)
{
    uint32_t bit = number * GOLDEN_BITS;

    return (int32_t)golden_place(&bit, (uint32_t)GW_STATE_COUNT);
}

static void golden_vector(uint32_t number, int32_t values[SIGNALS])
{
    uint32_t bit = number * GOLDEN_BITS;
    uint32_t k;

    (void)golden_place(&bit, (uint32_t)GW_STATE_COUNT);
    for (k = 0U; k < (uint32_t)SIGNALS; k++) {
        values[k] = golden_value(k, golden_place(&bit, golden_count(k)));
    }
}

/* How many values a signal is tried with; 0 of what stands in where a trial has no variable or no
 * input. */
static uint32_t golden_tries(uint32_t signal)
{
    if (signal < (uint32_t)GW_VARIABLE_SLOTS) {
        return (GW_VARIABLE_COUNT != 0) ? golden_count(signal) : 0U;
    }
    return (GW_INPUT_COUNT != 0) ? (golden_count(signal) + 2U) : 0U;
}

static uint32_t row_checksum(uint32_t number)
{
    const int32_t state = golden_state(number);
    int32_t values[SIGNALS];
    uint32_t checksum = CHECKSUM_START;
    uint32_t signal;
    uint32_t k;

    golden_vector(number, values);
    for (signal = 0U; signal < (uint32_t)SIGNALS; signal++) {
        const int32_t kept = values[signal];

        for (k = 0U; k < golden_tries(signal); k++) {
            values[signal] = golden_value(signal, k);
            checksum = add_tick(checksum, step_from(state, values));
        }
        values[signal] = kept;
    }
    return checksum;
}

static uint32_t run_rows(void)
{
    uint32_t failures = 0U;
    uint32_t number;

    for (number = 0U; number < GOLDEN_ROWS; number++) {
        const uint32_t checksum = row_checksum(number);
        const uint32_t folded = (checksum ^ (checksum >> 16)) & 65535U;

        failures += report((folded == golden_checksums[number]) ? 1U : 0U,
                           "around sample", number);
    }
    return failures;
}
"""
