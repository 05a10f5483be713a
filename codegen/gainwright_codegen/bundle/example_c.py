"""``gw_example.c`` of a bundle: a complete firmware with a drive of its own invention."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright_codegen.axis_c.layout import MachineTables
from gainwright_codegen.c_text import banner, filled
from gainwright_codegen.trial_c.identifiers import constant

EXAMPLE_FILE = "gw_example.c"
_FROM_DRIVE = {
    "start_request": "((tick >= 5) && (tick < 25)) ? 1 : 0",
    "run_permit": "1",
    "drive_ready": "1",
    "feedback_valid": "1",
    "inside_travel_window": "1",
    "torque_saturated": "drive->saturated",
    "cruising": "cruises(drive)",
    "speed_share": "speed_share(drive)",
    "target_reached": "(drive->at_target >= 20) ? 1 : 0",
    "overspeed": "(magnitude(drive->speed) > 3 * CRUISE) ? 1 : 0",
    "following_error": "0 /* this axis is where its reference is */",
    "still_ticks": "drive->watch.still_ticks",
    "torque_share": "magnitude(drive->delayed[1]) / (RATED / 256)",
    "strained_ticks": "drive->watch.strained_ticks",
    "standstill": "(magnitude(drive->speed) < CRUISE / 32) ? 1 : 0",
    # What a position loop shows: this motor follows its reference, and has no load that swings.
    "step_overshoot": "0 /* measure it: see GUIDE.md */",
    "step_residual": "0 /* likewise, and so on */",
    "swing_growth": "128",
    "step_sensitivity": "130",
    "step_phase_margin": "60",
    "margins_evaluated": "1",
    # What a sensor at the load shows: a load whose ringing ends at rung 30 of the ladder.
    "ringing_heard": "((drive->cruised >= 300) && (magnitude(drive->reference) < CRUISE)) ? 1 : 0",
    "decay_evaluated": "1",
    "decays_measured": "(axis->outputs[GW_OUTPUT_LOAD_GAIN_RUNG] > 0) ? 2 : 1",
    "load_limit_rung": "30 /* measure it: see GUIDE.md */",
}
_MEASURES = {
    "cruising": """\
static int32_t cruises(const example_drive *drive)
{
    return ((magnitude(drive->reference) == CRUISE)
            && (magnitude(drive->speed - drive->reference) < CRUISE / 4)) ? 1 : 0;
}

""",
    "speed_share": """\
/* 256 = cruise speed towards the target. */
static int32_t speed_share(const example_drive *drive)
{
    const int32_t share = limited(((int64_t)drive->speed * 256) / CRUISE, 511);

    return (((int64_t)drive->target * 256) >= drive->position) ? share : -share;
}

""",
}
"""What the drive computes only for a trial that has the input."""
_TICK_US = 125.0
"""Control tick that the numbers of a pace are for."""
_ENDS = ("finished", "limited_by_noise", "aborted", "fault_latched")


@dataclass(frozen=True, slots=True)
class Pace:
    """How long a trial with the invented drive takes."""

    travel: int = 768
    """What the axis goes in a control tick at cruise speed, in 1/256 of Q15 of half the window."""
    stiff: int = 20
    """Start gains at which one control tick's torque makes up for all of a speed error."""
    ramp: int = 800
    """Control ticks to cruise speed."""

    @classmethod
    def of(cls, control_tick_us: float) -> Pace:
        """Return a pace that takes as long whatever the control tick."""
        usual, ticks = cls(), _TICK_US / control_tick_us
        travel, ramp = round(usual.travel / ticks), round(usual.ramp * ticks)
        return cls(travel=max(1, travel), ramp=max(1, ramp))


def example_source(trial: Trial, machine: MachineTables, identities: list[str], checks: str) -> str:
    """Return the example: a program for a computer that plays one whole trial.

    ``checks`` are lines that stop a compiler where it stands among files of another export.
    """
    subject = (
        "example: one axis, two ticks, and a drive that is invented: a motor behind a delay of "
        "two control ticks, whose speed loop becomes unstable at about eight times the start "
        "gain. Compile with -DGW_EXAMPLE_MAIN, and leave gw_selftest.c out; without it the file "
        "is empty. Replace what is between the lines DRIVE BEGINS and DRIVE ENDS by your drive."
    )
    values = _values(trial, machine.object, Pace.of(machine.control_tick_us))
    text = filled(_OPENING + _DRIVE + _MAIN, CHECK=checks, **values)
    return banner(subject, identities) + text


def invented_drive(trial: Trial, machine: str, pace: Pace) -> str:
    """Return the drive alone: ``example_drive``, its functions, and ``has_ended``.

    ``machine`` is the C name of the machine's object.
    """
    return filled(_DRIVE, **_values(trial, machine, pace))


def _values(trial: Trial, machine: str, pace: Pace) -> dict[str, object]:
    outputs = {output.name for output in trial.outputs}
    names = {signal.name for signal in trial.inputs}
    inputs = "\n".join(
        f"    inputs[{constant('INPUT', signal.name)}] = {_FROM_DRIVE[signal.name]};"
        for signal in trial.inputs
        if signal.name in _FROM_DRIVE
    )
    ended = "\n            || ".join(
        f"(outputs[{constant('OUTPUT', name)}] != 0)" for name in _ENDS if name in outputs
    )
    return {
        "MEASURES": "".join(text for name, text in _MEASURES.items() if name in names),
        "MACHINE": machine,
        "TRAVEL": pace.travel,
        "STIFF": pace.stiff,
        "RAMP": pace.ramp,
        "INPUTS": inputs,
        "ENDED": ended or "0",
        "MOVES": _output(outputs, "motion_enable"),
        "TARGET": _output(outputs, "target_position"),
        "ON": _output(outputs, "torque_request", "1"),
        "REASON": _output(outputs, "end_reason"),
        "FAULT": _output(outputs, "fault_latched"),
    }


def _output(outputs: set[str], name: str, otherwise: str = "0") -> str:
    return f"axis->outputs[{constant('OUTPUT', name)}]" if name in outputs else otherwise


_OPENING = """
#include "@MACHINE@.h"
#include "gw_watch.h"

@CHECK@

typedef int32_t gw_example_is_not_empty;

#ifdef GW_EXAMPLE_MAIN
#include <stdio.h>

"""
_DRIVE = """\
/* ---- DRIVE BEGINS ------------------------------------------------------------------------- */
#define CRUISE (INT32_C(1) << 22) /* a quarter of the top speed, Q4.24 */
#define RAMP (CRUISE / @RAMP@)       /* per control tick */
#define RATED (INT32_C(1) << 24)
#define CLOSE (64 * 256)          /* to the target, in the unit of position */
#define TRAVEL_PER_TICK @TRAVEL@ /* at cruise speed, in 1/256 of Q15 of half the travel window */

typedef struct {
    int64_t position;  /* 1/256 of Q15 of half the travel window */
    int32_t reference; /* speed, Q4.24 per unit of top speed; so are the others */
    int32_t speed;
    int32_t delayed[2]; /* torque on its way to the motor, Q4.24 */
    int32_t target;     /* Q15 */
    int32_t at_target;  /* sequencer ticks */
    int32_t cruised;    /* sequencer ticks at cruise speed since the target was new */
    int32_t saturated;  /* 1: torque at its limit in every control tick of this sequencer tick */
    gw_watch watch;
    uint32_t noise;
} example_drive;

static int32_t magnitude(int32_t value)
{
    return (value < 0) ? -value : value;
}

static int32_t limited(int64_t value, int32_t most)
{
    return (value > most) ? most : ((value < -most) ? -most : (int32_t)value);
}

/* The motion profile is the drive's: full cruise speed, slower in front of the target. */
static void move_reference(example_drive *drive, int32_t moves)
{
    const int64_t left = ((int64_t)drive->target * 256) - drive->position;
    const int32_t wanted = (moves != 0) ? limited((left * (CRUISE / 1024)) / 1125, CRUISE) : 0;

    drive->reference += limited((int64_t)wanted - drive->reference, RAMP);
    drive->position += ((int64_t)drive->reference * TRAVEL_PER_TICK) / CRUISE;
}

@MEASURES@/* Speed controller and motor over one control tick. */
static void control_tick(example_drive *drive, gw_axis *axis)
{
    const gw_machine_stage *stage = &axis->machine->stage[0];
    const int64_t unit = INT64_C(1) << stage->gain_fraction_bits;
    int32_t error;
    int32_t torque;

    move_reference(drive, @MOVES@);
    drive->noise = (drive->noise * 1664525U) + 1013904223U;
    error = drive->reference - drive->speed + (int32_t)(drive->noise >> 26) - 32;
    /* From the controller, behind its own limit; the test pulse is added behind that. */
    torque = limited(((int64_t)error * gw_axis_gain(axis, 0)) / unit, RATED);
    drive->saturated = (magnitude(torque) == RATED) ? drive->saturated : 0;
    torque += gw_axis_control_tick(axis, torque, error);
    if (@ON@ == 0) {
        torque = 0;
    }
    drive->speed = limited(
        drive->speed + ((drive->delayed[0] * unit) / ((int64_t)gw_stage_gain(stage, 0) * @STIFF@)),
        4 * CRUISE);
    drive->delayed[0] = drive->delayed[1];
    drive->delayed[1] = torque;
    if (@ON@ == 0) {
        drive->speed = 0; /* The brake holds. */
    }
}

/* A frozen position and strained torque show themselves over many ticks only. */
static void watch(example_drive *drive, const gw_axis *axis)
{
    const gw_watched now = {
        (int32_t)(drive->position / 64),
        @ON@,
        (magnitude(drive->reference) >= CRUISE / 4) ? 1 : 0,
        drive->saturated,
        axis->evidence.burst,
    };

    gw_watch_tick(&drive->watch, &now);
}

static void tell(const example_drive *drive, const gw_axis *axis, int32_t tick,
                 int32_t inputs[GW_INPUT_SLOTS])
{
    int32_t k;

    for (k = 0; k < GW_INPUT_SLOTS; k++) {
        inputs[k] = 0;
    }
    (void)tick;
    (void)drive;
    (void)axis;
@INPUTS@
}

static void obey(example_drive *drive, const gw_axis *axis)
{
    const int64_t left = ((int64_t)@TARGET@ * 256) - drive->position;

    if (drive->target != @TARGET@) {
        drive->target = @TARGET@;
        drive->cruised = 0;
    }
    drive->cruised += (magnitude(drive->reference) == CRUISE) ? 1 : 0;
    drive->at_target = ((left < CLOSE) && (left > -CLOSE)) ? drive->at_target + 1 : 0;
    drive->saturated = 1; /* until a control tick is below the limit */
}

/* At rest in the middle. */
static void begin(example_drive *drive)
{
    drive->position = 0;
    drive->reference = 0;
    drive->speed = 0;
    drive->delayed[0] = 0;
    drive->delayed[1] = 0;
    drive->target = 0;
    drive->at_target = 0;
    drive->cruised = 0;
    drive->saturated = 1;
    drive->noise = 1U;
    gw_watch_reset(&drive->watch, 0);
}
/* ---- DRIVE ENDS --------------------------------------------------------------------------- */

static int32_t has_ended(const int32_t outputs[GW_OUTPUT_SLOTS])
{
    (void)outputs;
    return (@ENDED@) ? 1 : 0;
}
"""
_MAIN = """
int main(void)
{
    static gw_axis the_axis;
    static example_drive drive;
    gw_axis *const axis = &the_axis;
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t code = 0;
    int32_t tick;
    int32_t k;

    gw_axis_init(axis, &@MACHINE@);
    begin(&drive);
    for (tick = 0; (tick < 400000) && (has_ended(axis->outputs) == 0); tick++) {
        /* In firmware: the fast interrupt. */
        for (k = 0; k < axis->machine->control_ticks; k++) {
            control_tick(&drive, axis);
        }
        /* In firmware: the slower task, which the fast interrupt may interrupt anywhere. */
        watch(&drive, axis);
        tell(&drive, axis, tick, inputs);
        code = gw_axis_sequencer_tick(axis, inputs);
        if (code < 0) {
            break; /* Latched: the outputs show the fault already; withdraw torque. */
        }
        obey(&drive, axis);
    }
    printf("%ld ticks, code %ld, end reason %ld, fault %ld\\n", (long)tick, (long)code,
           (long)@REASON@, (long)@FAULT@);
    for (k = 0; k < GW_STAGE_COUNT; k++) {
        printf("gain of stage %ld: %ld / 2^%ld\\n", (long)k, (long)gw_axis_gain(axis, k),
               (long)axis->machine->stage[k].gain_fraction_bits);
    }
    return ((code >= 0) && (has_ended(axis->outputs) != 0)) ? 0 : 1;
}
#endif
"""
