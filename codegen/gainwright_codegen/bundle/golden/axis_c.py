"""Golden vectors of the axis: a ride through all rows with control ticks between; error paths."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gainwright.detector.evidence import Hearing
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.bundle.golden.axis_model import ReferenceAxis
from gainwright_codegen.bundle.golden.detector_c import noise
from gainwright_codegen.bundle.golden.rows_c import RowVectors
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, Machine, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart, numbers
from gainwright_codegen.c_text import comment, filled
from gainwright_codegen.trial_c.outputs import FAULT_OUTPUT

_CONTROL_TICKS = 20_000
"""Of the whole ride, about."""
_LONGEST_STAY = 12_000
_HURRIED, _HURRIED_TICKS = 3, 7
"""Control ticks in a sequencer tick, fewer than an order has parts, so that the next one comes
while some are due; and sequencer ticks, fewer than are counted before the rate is judged."""
_SLOWER = 8
"""Loudness changes so much more slowly than in the test of the detector: blocks fit in between."""


def ride_part(
    trial: Trial,
    stages: Sequence[StageTables],
    vectors: RowVectors,
    control_ticks: int,
    reference: Machine,
    machine: str,
) -> SelfTestPart:
    """Return the self-test of the axis in motion.

    Args:
        trial, stages: what was exported.
        vectors: of its rows, as in the part before.
        control_ticks: in a sequencer tick.
        reference: the machine that says what is right.
        machine: C name of the machine's object.
    """
    ticks = max(2, _CONTROL_TICKS // (control_ticks * max(1, 2 * len(vectors.rows))))
    hurried = min(_HURRIED, control_ticks)
    checksum, stop, stay = _ridden(
        trial, stages, vectors, (control_ticks, hurried), (ticks, _HURRIED_TICKS), reference
    )
    text = comment(
        "Axis: one ride. It is put where each row is taken, one after the other, first with the "
        "row's variables, then with the lowest values, and goes on from there "
        f"for {ticks} sequencer ticks of {control_ticks} control ticks with noise for "
        "signals: the first one on golden inputs, the others on what the detector finds, by "
        "gw_axis_sequencer_tick. Then once more with the row's variables, in a hurry: "
        f"{_HURRIED_TICKS} sequencer ticks of {hurried} control ticks. The checksum is over the "
        "memory after gw_axis_init, the torque of every control tick, findings, rows, outputs and "
        "gains, from a model in Python. On the way, where blocks are heard, it stays until both "
        "kinds of block have ended in one control tick."
    )
    run = filled(
        _RIDE,
        TICKS=ticks,
        HURRIED=hurried,
        HURRIED_TICKS=_HURRIED_TICKS,
        STAGES=len(stages),
        STOP=stop,
        STAY=stay,
        SLOWER=_SLOWER,
        MACHINE=machine,
        CHECKSUM=f"0x{checksum:08x}U",
    )
    return SelfTestPart((f"{machine}.h",), text + "\n" + run, "run_ride")


def _ridden(
    trial: Trial,
    stages: Sequence[StageTables],
    vectors: RowVectors,
    control_ticks: tuple[int, int],
    ticks: tuple[int, int],
    reference: Machine,
) -> tuple[int, int, int]:
    """Return the checksum, at which row the ride stays, and for how many control ticks."""
    axis, signals = ReferenceAxis(trial, stages, reference), noise(_SLOWER)
    initial = [variable.initial for variable in trial.variables]
    word = axis.order_word
    memory = (trial.index.states[trial.initial_state], *initial, word, word >> 8 & 255)
    checksum = added(CHECKSUM_START, memory)
    names = [signal.name for signal in trial.inputs]
    count = len(trial.variables)
    stop = stay = 0
    lowest = [variable.low for variable in trial.variables]
    for place in range(3 * len(vectors.rows)):
        in_a_hurry = place >= 2 * len(vectors.rows)
        _, state, places = vectors.rows[place % len(vectors.rows)]
        base = [of[k] for of, k in zip(vectors.values, places, strict=True)]
        values = lowest if place // len(vectors.rows) == 1 else base[:count]
        named = dict(zip((v.name for v in trial.variables), values, strict=True))
        axis.machine.restore(trial.states[state].name, named)
        inputs = dict(zip(names, base[count:], strict=True))
        for tick in range(ticks[in_a_hurry]):
            pairs = ((next(signals), next(signals)) for _ in range(control_ticks[in_a_hurry]))
            torques = [axis.control_tick(*pair) for pair in pairs]
            found = inputs | {k: v for k, v in axis.findings().items() if k in inputs}
            row = axis.step(_limited(trial, inputs if tick == 0 else found))
            gains = [s.ladder.raw[axis.outputs[s.stage.rung]] for s in stages]
            words = (*torques, *found.values(), row, *axis.outputs.values(), *gains)
            now = inputs | {k: v for k, v in axis.findings().items() if k in inputs}
            checksum = added(checksum, (*words, *now.values()))
        if stay == 0 and axis.hearing in (Hearing.NOISE, Hearing.RINGING):
            stop, stay = place, _both_end(stages)
            staying = ((next(signals), next(signals)) for _ in range(stay))
            torques = [axis.control_tick(*pair) for pair in staying]
            now = inputs | {k: v for k, v in axis.findings().items() if k in inputs}
            checksum = added(checksum, (*torques, *now.values()))
    return checksum, stop, stay


def _both_end(stages: Sequence[StageTables]) -> int:
    """Return control ticks within which a ring and a burst block end together in every stage."""
    blocks = ((s.detector.ring.block_ticks, s.detector.burst.block_ticks) for s in stages)
    return min(_LONGEST_STAY, max(math.lcm(*pair) for pair in blocks))


def _limited(trial: Trial, inputs: dict[str, int]) -> dict[str, int]:
    return {s.name: min(max(inputs[s.name], s.low), s.high) for s in trial.inputs}


_RIDE = """\
typedef struct {
    uint32_t checksum;
    uint32_t word; /* of the noise */
    uint32_t tick;
    int32_t control_ticks; /* in a sequencer tick */
} golden_ride;

static void ride_control_ticks(golden_ride *ride, int32_t ticks)
{
    int32_t k;

    for (k = 0; k < ticks; k++) {
        const int32_t torque_command = noise(&ride->word, ride->tick / @SLOWER@U);
        const int32_t speed_error = noise(&ride->word, ride->tick / @SLOWER@U);

        ride->checksum = checksum_add(
            ride->checksum, (uint32_t)gw_axis_control_tick(&subject, torque_command, speed_error));
        ride->tick++;
    }
}

static void ride_find(golden_ride *ride, const int32_t inputs[GW_INPUT_SLOTS])
{
    int32_t seen[GW_INPUT_SLOTS];
    int32_t k;

    for (k = 0; k < GW_INPUT_SLOTS; k++) {
        seen[k] = inputs[k];
    }
    gw_axis_find(&subject, seen);
    ride->checksum = add_words(ride->checksum, seen, (uint32_t)GW_INPUT_COUNT);
}

/* One sequencer tick behind its control ticks; the table sees the golden inputs, or if `found` is
 * not 0 what the detector finds. */
static void ride_tick(golden_ride *ride, const int32_t inputs[GW_INPUT_SLOTS], int32_t found)
{
    int32_t seen[GW_INPUT_SLOTS];
    int32_t row;
    int32_t k;

    ride_control_ticks(ride, ride->control_ticks);
    for (k = 0; k < GW_INPUT_SLOTS; k++) {
        seen[k] = inputs[k];
    }
    if (found != 0) {
        row = gw_axis_sequencer_tick(&subject, seen);
    } else {
        gw_axis_find(&subject, seen);
        row = gw_axis_step(&subject, inputs);
    }
    ride->checksum = add_words(ride->checksum, seen, (uint32_t)GW_INPUT_COUNT);
    ride->checksum = checksum_add(ride->checksum, (uint32_t)row);
    ride->checksum = add_words(ride->checksum, subject.outputs, (uint32_t)GW_OUTPUT_COUNT);
    for (k = 0; k < @STAGES@; k++) {
        ride->checksum = checksum_add(ride->checksum, (uint32_t)gw_axis_gain(&subject, k));
    }
    /* Nothing is found as long as a new order was not taken. */
    ride_find(ride, inputs);
}

static uint32_t run_ride(void)
{
    golden_ride ride = {CHECKSUM_START, NOISE_SEED, 0U, @MACHINE@.control_ticks};
    int32_t ticks = @TICKS@;
    int32_t values[SIGNALS];
    uint32_t number;
    uint32_t k;
    int32_t tick;

    spoil(&subject, (uint32_t)sizeof subject);
    gw_axis_init(&subject, &@MACHINE@);
    ride.checksum = checksum_add(ride.checksum, (uint32_t)subject.sequencer.state);
    ride.checksum = add_variables(ride.checksum, subject.sequencer.variables);
    ride.checksum = checksum_add(ride.checksum, subject.order.word);
    ride.checksum = checksum_add(ride.checksum, ((uint32_t)subject.due << 8) | subject.rung);
    for (number = 0U; number < 3U * GOLDEN_ROWS; number++) {
        if (number >= 2U * GOLDEN_ROWS) {
            ride.control_ticks = @HURRIED@;
            ticks = @HURRIED_TICKS@;
            subject.rate_ticks = -1; /* So few ticks are none too few. */
        }
        golden_vector(number % GOLDEN_ROWS, values);
        for (k = 0U; (k < (uint32_t)GW_VARIABLE_SLOTS) && ((number / GOLDEN_ROWS) == 1U); k++) {
            values[k] = gw_trial_variable_ranges[k].low;
        }
        put_subject(golden_state(number % GOLDEN_ROWS), values);
        for (tick = 0; tick < ticks; tick++) {
            ride_tick(&ride, &values[GW_VARIABLE_SLOTS], tick);
        }
        if ((@STAY@ > 0) && (number == @STOP@U)) {
            ride_control_ticks(&ride, @STAY@);
            ride_find(&ride, &values[GW_VARIABLE_SLOTS]);
            subject.rate_ticks = -1; /* So many control ticks are none too many. */
        }
    }
    return report((ride.checksum == @CHECKSUM@) ? 1U : 0U, "ride of the axis", number);
}
"""


def errors_part(trial: Trial, machine: str) -> SelfTestPart:
    """Return the self-test of what damaged memory, and ticks at another rate, must lead to."""
    source = comment(
        "Errors: each kind of damage to what an axis keeps, and ticks at another rate. Each must "
        "give its code, latch it, show the fault, play no pulse, and be over after gw_axis_init."
    )
    body = "\n".join([source, _outputs(trial), filled(_ERRORS, MACHINE=machine)])
    return SelfTestPart((f"{machine}.h",), body, "run_errors")


def _outputs(trial: Trial) -> str:
    """Return what outputs are at rest and after an error: 0, or what is nearest to it."""
    rest = [min(max(0, o.low), o.high) for o in trial.outputs] or [0]
    fault = [o.high if o.name == FAULT_OUTPUT else v
             for o, v in zip(trial.outputs, rest, strict=False)] or [0]  # fmt: skip
    short = all(-(2**7) <= value < 2**7 for value in (*rest, *fault))
    return "\n".join(
        [
            f"typedef {'int8_t' if short else 'int32_t'} golden_output;",
            f"static const golden_output golden_rest[GW_OUTPUT_SLOTS] = {{{numbers(rest)}}};",
            f"static const golden_output golden_fault[GW_OUTPUT_SLOTS] = {{{numbers(fault)}}};",
        ]
    )


_ERRORS = """\
enum {
    DAMAGE_STATE, DAMAGE_ORDER, DAMAGE_HEIGHT, DAMAGE_FIRST, DAMAGE_TICKS,
    DAMAGE_FAULT, DAMAGE_CHECKSUM, DAMAGE_PULSE, DAMAGE_MACHINE, DAMAGE_MACHINE_AGAIN,
    DAMAGE_WILD_STATE, NO_CONTROL_TICK, TOO_MANY_CONTROL_TICKS, ERRORS
};

static void damage(int32_t what)
{
    switch (what) {
    case DAMAGE_STATE: subject.sequencer.state ^= 1; break;
    case DAMAGE_ORDER: subject.order.word ^= 0x100U; break;
    case DAMAGE_HEIGHT: subject.order.height ^= 16384; break;
    case DAMAGE_FIRST: subject.rate_first ^= 0x4000U; break;
    case DAMAGE_TICKS: subject.rate_ticks ^= 1; break;
    case DAMAGE_FAULT: subject.fault ^= 2; break;
    case DAMAGE_CHECKSUM: subject.checksum ^= 0x80000000U; break;
    case DAMAGE_PULSE:
        gw_pulse_start(&subject.pulse, 1000, gw_pulse_complement(1001));
        break;
    case DAMAGE_MACHINE: subject.machine = &(&@MACHINE@)[1]; break;
    case DAMAGE_MACHINE_AGAIN: subject.machine_again ^= 4U; break;
    case DAMAGE_WILD_STATE:
        subject.sequencer.state = GW_STATE_COUNT;
        gw_axis_seal(&subject);
        break;
    default: break; /* Ticks at another rate. */
    }
}

/* One sequencer tick with so many control ticks before it; 1 if none of them gave torque. */
static uint32_t error_tick(int32_t control_ticks, int32_t *code)
{
    int32_t inputs[GW_INPUT_SLOTS] = {0};
    uint32_t quiet = 1U;
    int32_t k;

    for (k = 0; k < control_ticks; k++) {
        quiet = (gw_axis_control_tick(&subject, INT32_MAX, INT32_MIN) == 0) ? quiet : 0U;
    }
    *code = gw_axis_sequencer_tick(&subject, inputs);
    return quiet;
}

static uint32_t shows(const int32_t outputs[], const golden_output expected[])
{
    uint32_t same = 1U;
    uint32_t k;

    for (k = 0U; k < (uint32_t)GW_OUTPUT_COUNT; k++) {
        same = (outputs[k] == (int32_t)expected[k]) ? same : 0U;
    }
    return same;
}

static uint32_t error_is_right(int32_t what)
{
    const int32_t right_rate = @MACHINE@.control_ticks;
    const int32_t rate = (what == NO_CONTROL_TICK) ? 0
                         : (what == TOO_MANY_CONTROL_TICKS) ? (right_rate * 2) + 8 : right_rate;
    const int32_t expected = (what < NO_CONTROL_TICK) ? GW_BAD_MEMORY : GW_BAD_RATE;
    uint32_t right = 1U;
    int32_t code = 0;
    int32_t tick;

    /* What comes before the first sequencer tick does not count. */
    (void)error_tick(right_rate * 20, &code);
    for (tick = 0; tick < 3 * GW_RATE_BLOCK; tick++) {
        right = ((error_tick(right_rate, &code) != 0U) && (code >= 0)) ? right : 0U;
    }
    damage(what);
    for (tick = 0; (tick < 2 * GW_RATE_BLOCK) && ((code >= 0) || (tick == 0)); tick++) {
        right = (error_tick(rate, &code) != 0U) ? right : 0U;
    }
    for (tick = 0; tick < 2; tick++) {
        right = ((code == expected) && (shows(subject.outputs, golden_fault) != 0U)) ? right : 0U;
        gw_pulse_start(&subject.pulse, 65536, gw_pulse_complement(65536));
        right = (error_tick(right_rate, &code) != 0U) ? right : 0U;
    }
    return right;
}

/* Memory is refused just where a variable, or the state, is outside its range. */
static uint32_t ranges_are_kept(uint32_t variable)
{
    static const int8_t beyond[4] = {-1, 0, 0, 1};
    const gw_range *range = &gw_trial_variable_ranges[variable];
    const int32_t inputs[GW_INPUT_SLOTS] = {0};
    int32_t outputs[GW_OUTPUT_SLOTS] = {INT32_MIN};
    gw_sequencer sequencer;
    uint32_t right = 1U;
    uint32_t k;

    for (k = 0U; (k < 4U) && (variable < (uint32_t)GW_VARIABLE_COUNT); k++) {
        int32_t row;

        gw_sequencer_reset(&sequencer);
        sequencer.variables[variable]
            = (gw_variable_value)(((k < 2U) ? range->low : range->high) + beyond[k]);
        gw_sequencer_outputs(&sequencer, outputs);
        right = ((shows(outputs, golden_rest) != 0U) || (beyond[k] == 0)) ? right : 0U;
        row = gw_sequencer_step(&sequencer, inputs);
        right = ((row == GW_BAD_MEMORY) == (beyond[k] != 0)) ? right : 0U;
    }
    gw_sequencer_reset(&sequencer);
    sequencer.state = GW_STATE_COUNT;
    right = (gw_sequencer_step(&sequencer, inputs) == GW_BAD_MEMORY) ? right : 0U;
    return right;
}

/* So many control ticks in a block of sequencer ticks are right, or are not once it ends. */
static uint32_t block_is_judged(int32_t control_ticks, int32_t is_right)
{
    uint32_t right = 1U;
    int32_t code = 0;
    int32_t tick;

    gw_axis_init(&subject, &@MACHINE@);
    (void)error_tick(1, &code);
    for (tick = 0; tick < GW_RATE_BLOCK; tick++) {
        right = (code >= 0) ? right : 0U;
        (void)error_tick((control_ticks + tick) / GW_RATE_BLOCK, &code);
    }
    return ((code >= 0) == (is_right != 0)) ? right : 0U;
}

/* A changed bit of any variable shows in the checksum of the axis. */
static uint32_t damage_shows(uint32_t variable)
{
    const int32_t inputs[GW_INPUT_SLOTS] = {0};
    const int32_t top = INT32_C(1) << (GW_VARIABLE_BITS - 2);
    uint32_t right = 1U;
    int32_t bit;

    for (bit = 1; (bit <= top) && (variable < (uint32_t)GW_VARIABLE_COUNT); bit *= top) {
        gw_axis_init(&subject, &@MACHINE@);
        subject.sequencer.variables[variable]
            = (gw_variable_value)(subject.sequencer.variables[variable] ^ bit);
        right = (gw_axis_step(&subject, inputs) == GW_BAD_MEMORY) ? right : 0U;
    }
    return right;
}

static uint32_t run_errors(void)
{
    const int32_t no_inputs[GW_INPUT_SLOTS] = {0};
    const int32_t right_rate = @MACHINE@.control_ticks;
    uint32_t failures = 0U;
    uint32_t variable;
    int32_t what;

    for (what = 0; what < (int32_t)ERRORS; what++) {
        gw_axis_init(&subject, &@MACHINE@);
        failures += report(error_is_right(what), "error, number", (uint32_t)what);
    }
    for (variable = 0U; variable < (uint32_t)GW_VARIABLE_SLOTS; variable++) {
        failures += report(ranges_are_kept(variable) & damage_shows(variable), "variable",
                           variable);
    }
    for (what = 0; what < 4; what++) {
        const int32_t beyond = what / 2;
        const int32_t ticks = ((what % 2) == 0) ? (GW_RATE_MOST(right_rate) + beyond)
                                                : (GW_RATE_FEWEST(right_rate) - beyond);

        failures += report(block_is_judged(ticks, 1 - beyond), "rate", (uint32_t)what);
    }
    /* Memory that was never initialised. */
    subject.machine = 0;
    subject.machine_again = 0U;
    failures += report(((gw_axis_control_tick(&subject, 1, 1) == 0)
                        && (gw_axis_step(&subject, no_inputs) == GW_BAD_MEMORY)
                        && (gw_axis_gain(&subject, 0) == 0)) ? 1U : 0U, "never initialised", 0U);
    return failures;
}
"""
