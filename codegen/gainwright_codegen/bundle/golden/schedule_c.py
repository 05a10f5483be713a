"""Golden vectors of gains over the position: every point, beyond both ends, and places between."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from gainwright.fixed.schedule import GainSchedule
from gainwright_codegen.bundle.golden.detector_c import words
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled
from gainwright_codegen.schedule_c.schedule import StageSchedule, schedule_object, schedule_unit

_DRAWN = 500


def schedule_part(machine: str, stages: Sequence[StageSchedule]) -> SelfTestPart:
    """Return the self-test of a machine's schedules; the part of the detector comes before it."""
    text = comment(
        f"Gains over the position: at each point and 1 um beside it, and at {_DRAWN} places drawn "
        "from the shift register; the checksum is over all gains."
    )
    calls = [
        f"    failures += test_schedule(&{schedule_object(machine, stage.tables)}, "
        f"0x{_checksum(stage.schedule):08x}U);\n"
        for stage in stages
    ]
    source = filled(_RUN, DRAWN=_DRAWN, CALLS="".join(calls))
    headers = (f"{schedule_unit(machine)}.h",)
    return SelfTestPart(headers, f"{text}\n{source}", "run_schedules")


def _checksum(schedule: GainSchedule) -> int:
    return added(CHECKSUM_START, (schedule.at(place) for place in _places(schedule)))


def _places(schedule: GainSchedule) -> Iterator[int]:
    first, last = schedule.positions_um[0], schedule.positions_um[-1]
    for place in schedule.positions_um:
        yield from (place - 1, place, place + 1)
    for word in itertools.islice(words(), _DRAWN):
        yield first + word % (last - first)


_RUN = """\
static uint32_t test_schedule(const gw_schedule *schedule, uint32_t expected)
{
    const int32_t *const place = schedule->position_um;
    const uint32_t span = (uint32_t)(place[schedule->points - 1]) - (uint32_t)(place[0]);
    uint32_t checksum = CHECKSUM_START;
    uint32_t word = NOISE_SEED;
    uint32_t drawn = 0U;
    int32_t k;

    for (k = 0; k < schedule->points; k++) {
        checksum = checksum_add(checksum, (uint32_t)gw_schedule_gain(schedule, place[k] - 1));
        checksum = checksum_add(checksum, (uint32_t)gw_schedule_gain(schedule, place[k]));
        checksum = checksum_add(checksum, (uint32_t)gw_schedule_gain(schedule, place[k] + 1));
    }
    for (drawn = 0U; drawn < @DRAWN@U; drawn++) {
        const int32_t at = place[0] + (int32_t)(next_word(&word) % span);

        checksum = checksum_add(checksum, (uint32_t)gw_schedule_gain(schedule, at));
    }
    return report((checksum == expected) ? 1U : 0U, "gain over the position, places", drawn);
}

static uint32_t run_schedules(void)
{
    uint32_t failures = 0U;

@CALLS@    return failures;
}
"""
