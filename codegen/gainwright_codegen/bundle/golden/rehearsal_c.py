"""The self-test's rehearsal: one whole trial with an invented drive, as when it was exported."""

from __future__ import annotations

from collections.abc import Mapping

from gainwright.language.model import Trial
from gainwright_codegen.bundle.example_c import Pace, invented_drive
from gainwright_codegen.bundle.golden.selftest_c import PRELUDE, SelfTestPart
from gainwright_codegen.c_text import comment, filled
from gainwright_codegen.host import compile_shared, load_library

_PACE = Pace(travel=1536, stiff=7)
"""Quick: the loop becomes unstable at about 3.1 times the start gain, and moves are short."""
_MOST_TICKS = 40_000
"""Sequencer ticks; a trial that has not ended by then is rehearsed so far."""
_ENTRY = "gw_rehearsed_checksum"


def rehearsal_part(trial: Trial, machine: str, sources: Mapping[str, bytes]) -> SelfTestPart:
    """Return the self-test of a whole trial, from start to end.

    Args:
        trial: what is exported.
        machine: C name of the machine's object.
        sources: the other C of the bundle, which is compiled and rehearsed here.

    Raises:
        InputError: no compiler was found.
    """
    body = _body(trial, machine)
    checksum, ticks, ended = _rehearsed(machine, body, sources)
    text = comment(
        f"Rehearsal: one {'whole trial' if ended else 'trial, as far as it comes'} with the "
        "invented drive of gw_example.c, moves shorter and onset earlier: "
        f"{ticks} sequencer ticks. "
        "The checksum is over the row and the outputs of each, from the same C on the computer of "
        "the export."
    )
    run = filled(_RUN, CHECKSUM=f"0x{checksum:08x}U", TICKS=ticks)
    headers = (f"{machine}.h", "gw_watch.h")
    return SelfTestPart(headers, f"{text}\n{body}\n{run}", "run_rehearsal")


def _body(trial: Trial, machine: str) -> str:
    rehearse = filled(_REHEARSE, MACHINE=machine, MOST=_MOST_TICKS)
    return invented_drive(trial, machine, _PACE) + rehearse


def _rehearsed(machine: str, body: str, sources: Mapping[str, bytes]) -> tuple[int, int, bool]:
    """Return the checksum, after how many sequencer ticks, and whether the trial ended by then."""
    includes = "".join(f'#include "{name}"\n' for name in (f"{machine}.h", "gw_watch.h"))
    program = f"#include <stdint.h>\n{includes}{PRELUDE}{body}{_HOST}"
    library = compile_shared({**sources, "rehearsal.c": program}, ("-O1",), name="rehearsal")
    ffi, loaded = load_library(library, f"uint32_t {_ENTRY}(int32_t found[2]);")
    found = ffi.new("int32_t[2]")
    return getattr(loaded, _ENTRY)(found), int(found[0]), bool(found[1])


_REHEARSE = """
typedef struct {
    uint32_t checksum;
    int32_t ticks;
    int32_t code;
    int32_t ended;
} golden_rehearsal;

static golden_rehearsal rehearse(gw_axis *axis)
{
    golden_rehearsal seen = {CHECKSUM_START, 0, 0, 0};
    example_drive drive;
    int32_t inputs[GW_INPUT_SLOTS];
    int32_t k;

    gw_axis_init(axis, &@MACHINE@);
    begin(&drive);
    while ((seen.ticks < INT32_C(@MOST@)) && (seen.ended == 0) && (seen.code >= 0)) {
        for (k = 0; k < axis->machine->control_ticks; k++) {
            control_tick(&drive, axis);
        }
        watch(&drive, axis);
        tell(&drive, axis, seen.ticks, inputs);
        seen.code = gw_axis_sequencer_tick(axis, inputs);
        obey(&drive, axis);
        seen.checksum = checksum_add(seen.checksum, (uint32_t)seen.code);
        for (k = 0; k < GW_OUTPUT_COUNT; k++) {
            seen.checksum = checksum_add(seen.checksum, (uint32_t)axis->outputs[k]);
        }
        seen.ended = has_ended(axis->outputs);
        seen.ticks++;
    }
    return seen;
}
"""

_HOST = f"""
uint32_t {_ENTRY}(int32_t found[2]);
uint32_t {_ENTRY}(int32_t found[2])
{{
    static gw_axis axis;
    const golden_rehearsal seen = rehearse(&axis);

    found[0] = seen.ticks;
    found[1] = seen.ended;
    return seen.checksum;
}}
"""

_RUN = """\
static uint32_t run_rehearsal(void)
{
    const golden_rehearsal seen = rehearse(&subject);

    return report(((seen.checksum == @CHECKSUM@) && (seen.ticks == INT32_C(@TICKS@))) ? 1U : 0U,
                  "rehearsal, ticks", (uint32_t)seen.ticks);
}
"""
