"""``GUIDE.md`` of a bundle: how a drive takes the trial in; and its make and CMake files."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from gainwright.detector.findings import trial_findings
from gainwright.language.model import Enumeration, Kind, Signal, Trial
from gainwright_codegen.axis_c.layout import MachineTables
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.bundle.example_c import EXAMPLE_FILE
from gainwright_codegen.bundle.guide_outputs import OUTPUT_SECTIONS
from gainwright_codegen.c_text import CAUTION, filled, plain
from gainwright_codegen.gates.misra import ADVISORY
from gainwright_codegen.schedule_c.schedule import (
    StageSchedule,
    schedule_object,
    schedule_unit,
)

MEANT = {
    "cruising": "1 while the speed reference is constant and the mean speed within 25 % of it: no "
    "ramp, no reversal",
    "speed_share": "mean speed over 10 ms towards the target, 256 = cruise speed; -511 to 511",
    "target_reached": "1 once the reference rests on the target and the position has been within "
    "5 % of the travel window for 20 ms",
    "standstill": "1 while the mean speed is below 3 % of cruise speed, or one encoder count",
    "torque_saturated": "1 if the torque command was at its limit in every control tick since the "
    "last sequencer tick",
    "overspeed": "1 while the mean speed, either way, is above 3 times cruise speed plus 3 % of "
    "top speed, or above the drive's own limit",
    "following_error": "distance of position and its reference (with the profile's own smoothing, "
    "without a position step), 256 = the way at cruise speed in 0.75 s plus 16 encoder counts; at "
    "most 1023",
    "still_ticks": "`gw_watch.still_ticks`: call `gw_watch_tick` just before each sequencer tick, "
    "with must_move from a quarter of cruise speed of the reference on",
    "torque_share": "magnitude of the torque command with test pulse in the last control tick, "
    "256 = its limit; at most 511",
    "strained_ticks": "`gw_watch.strained_ticks`",
    "feedback_valid": "0 on any error of encoder, cable or plausibility; never latched by you",
    "drive_ready": "1 while the drive has no fault and may be energised",
    "run_permit": "1 while somebody holds the permit; 0 asks for a controlled stop",
    "inside_travel_window": "1 while the position is inside the travel that the trial may use",
    "start_request": "1 while a start is asked for; a fresh edge is needed each time",
    "step_overshoot": "largest y - 1 since the step, less half of what swung before; 256 = 1",
    "step_residual": "largest distance of y from its way, less the same, forgotten in 0.1 s; "
    "256 = 1",
    "step_sensitivity": "largest |S| of all lines, less what noise explains; 100 = 1, at most 1000",
    "step_phase_margin": "smallest phase margin of all lines, in degrees, likewise; 180: "
    "noise hides it",
    "load_undamped": "what swings by itself has lost two thirds of its decay, or all of it",
    "load_driven": "100 wi Kv / w^2 at the lowest frequency that still swings, 0 if none does",
    "margins_evaluated": "1 once all steps so far are evaluated; 0 from the next step on",
    "ringing_heard": "1 once the load was heard to the end of the move with the present "
    "shake_number; 0 from the next number on",
    "ringing_cut_off": "1 if the constant speed ended before that, likewise",
    "decay_evaluated": "1 once four shakes are evaluated; 0 from shake_number 0 on",
    "decay_spread": "half the difference of the decays of both pairs, 256 = the decay; 511 where "
    "the ringing is too weak",
    "decays_measured": "gains with a decay so far; 0 when position_from_load rises",
    "load_limit_rung": "highest rung whose `gw_stage_gain` is not above the limit",
    "swing_growth": "swinging at the end of a step against the least of earlier ones, 128 = 1",
    "profile_error": "largest distance of position and reference since `profile_watch` rose or "
    "the target changed, less two counts, as the time that cruise speed takes: 10 = 1 ms; at most "
    "4095",
    "profile_overshoot": "largest way past the target since the reference came to rest, likewise",
    "rest_swing": "half of what the load's sensor, or the encoder, swings in the last whole 0.5 s "
    "of rest, likewise",
    "load_sensed": "1 if there is a sensor at the load: rest_swing is of that then; never changes",
    "rest_jumps": "jumps to and fro at rest, see below; at most 255",
    "limit_elsewhere": "0, or the lowest rung at which the search of this stage ended at other "
    "places of this very axis, with the same export; 0 whenever you are not sure",
    "reset_request": "1 while a reset is asked for; a fresh edge is needed each time",
}
"""Inputs in numbers, as the rehearsals have them (common practice, no source)."""


def guide(
    trial: Trial,
    machine: MachineTables,
    stages: Sequence[StageTables],
    identities: Iterable[str],
    schedules: Sequence[StageSchedule] = (),
) -> str:
    """Return the Markdown text."""
    found = set(trial_findings(trial))
    sections = (
        f"# {plain(trial.title)}: into a drive\n\nMachine: {plain(machine.title)}\n\n"
        + "".join(f"- {line}\n" for line in identities)
        + f"\n> {CAUTION}",
        filled(_DIAGRAM, MACHINE=machine.object),
        _timing(trial, machine),
        "## Inputs\n\n" + _inputs(trial.inputs, found),
        "## Outputs\n\n" + "".join(f"- `{o.name}`: {plain(o.meaning)}\n" for o in trial.outputs),
        _motion(machine, stages),
        *(text for name, text in OUTPUT_SECTIONS if any(o.name == name for o in trial.outputs)),
        "## Gains\n\n" + _gains(machine, stages),
        *([_schedules(machine, schedules)] if schedules else []),
        filled(_FAULTS, CODES=_codes()) + _reasons(trial.enumerations),
        filled(_SEVERAL, MACHINE=machine.object),
        _FIGURES,
        filled(_BUILD, EXAMPLE=EXAMPLE_FILE),
        _CHECKLIST,
        _deviations(),
    )
    return "\n\n".join(section.strip() for section in sections) + "\n"


_DIAGRAM = """\
## Blocks

```
            target_position, motion_enable
   gw_axis ------> motion profile (the drive's) ------> speed reference
     ^  ^                                                     |
     |  |                    speed filter <-- encoder         v
     |  |                        +-------------------> (-) error
     |  |                                                     |
     |  |  error, torque command     Kp (1 + I), limit <------+
     |  +------------------------------------+
     |  |  test pulse                        |
     |  +----------------------> (+) <-------+
     |                            |
     |                            +--> torque filter, current loop, motor
     +-- gw_axis_sequencer_tick(inputs): outputs, gw_axis_gain
```

`gw_axis_control_tick` sees the torque command of the speed controller **before** the test pulse
and before the drive's own torque filter; what it returns is added **behind** the controller's
limit and **before** the filter, so that the pulse meets the same lag as the loop. It never
returns more than the height of the pulse, and 0 after an error. One `gw_axis` for each axis:
`gw_axis_init(&axis, &@MACHINE@)`."""


def _timing(trial: Trial, machine: MachineTables) -> str:
    ticks = machine.constants[0].value
    fewest, most = 8 * ticks * 3 // 4, 8 * ticks * 5 // 4
    return f"""\
## Times

```
control tick    |.|.|.|.|.|.|.|.|.|.|.|.|     every {machine.control_tick_us:g} us, fast interrupt
sequencer tick  |       |       |             every {trial.tick_us} us, slower task
```

A sequencer tick has {ticks} control ticks. Every 8 sequencer ticks must see {8 * ticks} of
them, {fewest} to {most}; else the axis latches `GW_BAD_RATE`. The control tick must not be
interrupted by the sequencer tick. Neither locks the other out: each field of `gw_axis` is
written by one of them only, as `gw_axis.h` says, and an order crosses as one aligned word.
Outputs go from their old to their new value at once, each written once a tick."""


def _inputs(inputs: Iterable[Signal], found: set[str]) -> str:
    lines = ["| input | range | you give |", "| --- | --- | --- |"]
    for signal in inputs:
        given = MEANT.get(signal.name, plain(signal.meaning))
        if signal.name in found:
            given = "nothing: the detector's own, written by gw_axis_sequencer_tick"
        limits = "0 or 1" if signal.kind is Kind.BOOLEAN else f"{signal.low} to {signal.high}"
        lines.append(f"| `{signal.name}` | {limits} | {given} |")
    return "\n".join(lines)


def _motion(machine: MachineTables, stages: Sequence[StageTables]) -> str:
    longest = max((s.detector.ring.block_ticks for s in stages), default=0)
    heard_ms = 10 * longest * machine.control_tick_us / 1000
    return f"""\
## Motion

The drive makes the motion profile: constant speed between the ends that `target_position` names
(Q15 of half the travel window), the same cruise speed both ways, ramps without jerk that
excites the axis, and at least {heard_ms:.3g} ms (ten of the longest ring blocks, {longest} control
ticks) at constant speed in each move. An axis with friction must move
at the start gain: keep a slow integral part on, and compensate the friction that you measure on
the way (README.txt says how).

Torque while `torque_request` is 1 and the drive's own conditions allow it; brake open while
`brake_open` is 1. When the permit goes, the trial stops the axis under control and then closes
the brake."""


def _gains(machine: MachineTables, stages: Sequence[StageTables]) -> str:
    lines = [
        "`gw_axis_gain(&axis, stage)` is what applies now, with `gain_fraction_bits` of the stage "
        "(the format moves between exports: never write the number of bits down). A stage that is "
        "not being tuned keeps the gain that its output asks for: its start value before its turn, "
        "its result after. After an error every stage has its start value; 0 means that the axis "
        "does not know its machine: keep your own start value.",
        "",
        "When a speed gain changes, carry the integral part over without a bump: with "
        "u = Kp (e + I), multiply I by old Kp / new Kp in the same control tick.",
        "",
        "| stage | 1.0 is | from | to |",
        "| --- | --- | --- | --- |",
    ]
    lines += [
        f"| `{s.stage.name}` | {s.base:.6g} {s.kind.unit} | {s.gains[0]:.4g} | {s.gains[-1]:.4g} |"
        for s in stages
    ]
    return "\n".join(lines) + f"\n\nMacros with the same numbers begin with `{machine.prefix}_`."


def _schedules(machine: MachineTables, schedules: Sequence[StageSchedule]) -> str:
    lines = ["| stage | object | points |", "| --- | --- | --- |"]
    for one in schedules:
        points = ", ".join(
            f"{word * one.tables.word_value:.4g} {one.tables.kind.unit} at {place * 1e-6:g} m"
            for place, word in zip(one.schedule.positions_um, one.schedule.gains, strict=True)
        )
        name = schedule_object(machine.name, one.tables)
        lines.append(f"| `{one.tables.stage.name}` | `{name}` | {points} |")
    header = f"{schedule_unit(machine.name)}.h"
    return filled(_SCHEDULES, HEADER=header) + "\n\n" + "\n".join(lines)


_SCHEDULES = """\
## Gains over the position

`@HEADER@` has gains that follow the axis, for use after the trial and never
while one runs: `gw_schedule_gain(&object, position_um)`, position of the load in um, 0 where the
lengths of the machine description hold, in the format of the stage's ladder. Each point is the
smallest result of all payloads there, found by a trial at that place; between two points the gain
goes straight, beyond the ends it stays. Call it at any rate, and carry the integral part over as
with any other change of a gain. Before production, verify the axis between the points too, with
the lightest load and the heaviest."""


_FAULTS = """\
## Faults

A negative code of `gw_axis_sequencer_tick` has latched. Whatever you do with it, outputs ask
for nothing but show `fault_latched`, no pulse is played, and the start gains apply, until
`gw_axis_init`.

@CODES@
"""


_CODES = (
    ("`GW_NO_ROW`, `GW_SEVERAL_ROWS`", "a table that does not decide",
     "damaged flash, a table changed by hand"),
    ("`GW_BAD_MEMORY`", "state, variables, order, rate, fault or pointer to the machine changed",
     "a stray pointer, a stack too small, an axis never initialised, two contexts in one tick"),
    ("`GW_BAD_RATE`", "too few or too many control ticks",
     "a tick that is not called, or at another rate than the export's"),
)  # fmt: skip


def _codes() -> str:
    lines = ["| code | means | look for |", "| --- | --- | --- |"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in _CODES), ""])


def _reasons(enumerations: Iterable[Enumeration]) -> str:
    lines = list[str]()
    for enumeration in enumerations:
        lines += ["", f"`{enumeration.name}`:", "", "| value | means | remedy |"]
        lines.append("| --- | --- | --- |")
        lines += [
            f"| {k} `{v.name}` | {plain(v.words)} | {plain(v.remedy)} |"
            for k, v in enumerate(enumeration.values)
        ]
    return "\n".join(lines)


_SEVERAL = """\
## Several axes, several machines

Each axis has a `gw_axis` of its own; axes of one machine share its constant object. For another
machine export the same trial into a folder of its own, with the same Gainwright, and take from
there `gw_machine_NAME.c` and `gw_machine_NAME.h` beside `@MACHINE@.*`: of what firmware
needs, all else has the same bytes (`gw_proof.*` too, where the same evidence stamped both). Run
the self-test of each folder. Two different trials do not fit into one firmware: their names are
the same, and their files refuse each other.

A signal of Q4.24 is per unit times 2 to the power of `GW_SIGNAL_FRACTION_BITS`."""

FIGURES: Mapping[str, tuple[int, int, str, str, str]] = {
    "Cortex-M0": (9413, 328, "164, 152", "641/661/808", "1064/1185/1389"),
    "Cortex-M4": (8457, 328, "68, 108", "142/153/220", "333/409/536"),
    "Cortex-M7": (8511, 328, "76, 84", "144/155/222", "335/412/539"),
    "Cortex-M33": (8465, 328, "68, 108", "142/153/221", "333/409/536"),
    "RV32IMC": (10257, 328, "28, 52", "257/275/353", "468/565/733"),
    "Cortex-M0 gcc": (10685, 328, "116, 112", "842/880/1082", "875/1010/1195"),
    "Cortex-M4 gcc": (9303, 328, "72, 84", "153/167/243", "329/421/540"),
}
"""Of trial standard on kiln-shuttle, by ``gainwright crosscheck``: flash, RAM of an axis, stack of
control and sequencer tick in bytes; instructions of both, least/typical/worst."""

_FIGURES = (
    "## What it costs\n\n"
    "Measured with `gainwright crosscheck` for trial standard on kiln-shuttle, clang -O2, or "
    "gcc -O2 where it says so; your own export: `gainwright crosscheck FOLDER`. Flash without the "
    "self-test, RAM for each axis; stack "
    "of control tick and sequencer tick, bytes. Ticks: instructions, least/typical/worst; the "
    "worst control tick plays a pulse and judges the gain that an order ends; the "
    "sequencer is counted with as much heard as there is memory for, where the rate is judged. "
    "With -Os flash on a Cortex-M4 is 8259 bytes by clang, 8161 by gcc. A Cortex-M0 has no "
    "product of 64 bits: its filters multiply parts of 15 bits (`GW_NARROW`); single products "
    "clang puts together from halves, gcc calls its library for them, squares apart "
    "(`GW_NARROW_MULTIPLY`, `GW_NARROW_SQUARE`).\n\n"
    "What a trial makes of it, on a Cortex-M4 by clang -O2: a row 8 bytes, and 5 instructions in "
    "each tick of its state; a condition 27 bytes, an action 28, an output 15 and 4 of RAM, a "
    "variable 2 of RAM; a stage 350 bytes with up to 128 rungs.\n\n"
    "| processor | flash | RAM | stack | control tick | sequencer tick |\n"
    "| --- | --- | --- | --- | --- | --- |\n"
    + "".join(f"| {name} | {' | '.join(map(str, row))} |\n" for name, row in FIGURES.items())
    + "\nFreestanding: only `stdint.h`. No heap, floating point, recursion or static data that is "
    "written. Helpers of the compiler: none on Cortex-M4, M7, M33 and RV32IM; on Cortex-M0 "
    "`__aeabi_lmul`, `__aeabi_uidiv`; a compiler may call `memcpy` "
    "or `memset` on its own. On processors with the other byte order (PowerPC, s390x) every number "
    "is the same."
)

_BUILD = """\
## Build

`make` (or `cmake -S . -B build && cmake --build build && ctest --test-dir build`) builds and
runs the self-test and the example. `@EXAMPLE@` is a complete program with a drive of its own
invention that plays one whole trial; between its lines DRIVE BEGINS and DRIVE ENDS stands what
you replace. It has a speed loop only: what a position loop or a sensor at the load would show is
told to the trial as constants there, which a real drive measures. Firmware needs neither it nor
`gw_selftest.c`. To change the trial or the machine,
change the file that describes it, rehearse, prove and export again; never edit these files.
Files of different exports do not compile together."""

_CHECKLIST = """\
## Checklist

1. Self-test passes on the computer and on the target.
2. Both ticks measured on the target, with the worst case above, fit their interrupts.
3. Speed error has the sign reference minus speed; Q4.24 of rated torque and of top speed, no
more.
4. A test pulse of known height, axis blocked, appears in the measured current with its sign.
5. Dropping each of run_permit, drive_ready, feedback_valid, inside_travel_window stops the axis
in time; so do raised overspeed and following_error. An encoder that repeats its last position,
with the axis uncoupled and a low torque limit, ends the trial with `feedback_frozen`.
6. Emergency stop, limit switches and safe torque off act without this code. People are out of
the zone.
7. First trial with low torque and speed limits, and a hand on the emergency stop.
8. Vertical axis: brake or counterweight; the integral part is carried over when the gain
changes."""


def _deviations() -> str:
    """Return the advisory rules that the gate lets pass, as it reads them."""
    lines = [f"- {rule}: {reason}." for rule, reason in ADVISORY.items()]
    return "\n".join([_DEVIATIONS, "", *lines])


_DEVIATIONS = """\
## Deviations from MISRA C:2012, with reasons

Not certified. `gainwright crosscheck FOLDER --gates` has `cppcheck` look: no mandatory or required
rule that it knows is broken (directive 4.9 apart, it looks at rules). Advisory rules:"""


def build_files(identities: Sequence[str], names: Iterable[str]) -> dict[str, bytes]:
    """Return ``Makefile`` and ``CMakeLists.txt`` for the C files and headers among ``names``."""
    sources = set(names) - {"gw_selftest.c", EXAMPLE_FILE}
    firmware, headers = (
        " ".join(sorted(name for name in sources if name.endswith(kind))) for kind in (".c", ".h")
    )
    makefile = filled(_MAKE, UNITS=firmware, HEADERS=headers)
    lines = [CAUTION, *identities]
    head = "".join(f"# {line}\n" for line in lines)
    return {
        "Makefile": (head + makefile).encode("ascii"),
        "CMakeLists.txt": (head + filled(_CMAKE, UNITS=firmware)).encode("ascii"),
    }


_MAKE = """\
# Self-test and example on this computer; for a target set CC and CFLAGS.
CC ?= cc
CFLAGS ?= -std=c99 -O2 -Wall -Wextra -pedantic
UNITS = @UNITS@
HEADERS = @HEADERS@

check: selftest example
\t./selftest
\t./example

selftest: gw_selftest.c $(UNITS) $(HEADERS)
\t$(CC) $(CFLAGS) -o $@ gw_selftest.c $(UNITS)

example: gw_example.c $(UNITS) $(HEADERS)
\t$(CC) $(CFLAGS) -DGW_EXAMPLE_MAIN -o $@ gw_example.c $(UNITS)

clean:
\trm -f selftest example

.PHONY: check clean
"""

_CMAKE = """\
cmake_minimum_required(VERSION 3.10)
project(gainwright_bundle C)
set(CMAKE_C_STANDARD 99)
add_library(gainwright STATIC @UNITS@)
target_include_directories(gainwright PUBLIC ${CMAKE_CURRENT_SOURCE_DIR})
add_executable(selftest gw_selftest.c)
target_link_libraries(selftest gainwright)
add_executable(example gw_example.c)
target_compile_definitions(example PRIVATE GW_EXAMPLE_MAIN)
target_link_libraries(example gainwright)
enable_testing()
add_test(NAME selftest COMMAND selftest)
add_test(NAME example COMMAND example)
"""
