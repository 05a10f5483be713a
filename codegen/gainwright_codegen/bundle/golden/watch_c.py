"""Golden vectors of the watch: positions, torque and strain by drawn ticks."""

from __future__ import annotations

import itertools

from gainwright.detector.watch import ReferenceWatch
from gainwright_codegen.bundle.golden.detector_c import words
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled

_TICKS = 3000
_LONG = 65_600
"""Ticks after which both counts have stopped at their largest value."""


def watch_part() -> SelfTestPart:
    """Return the self-test of ``gw_watch``; the part of the detector comes before it."""
    text = comment(
        f"Watch: {_TICKS} ticks drawn from the shift register, then {_LONG} of a frozen position "
        "under strain; the checksum is over both counts after each drawn tick, and the last."
    )
    source = filled(_RUN, TICKS=_TICKS, LONG=_LONG, SUM=f"0x{_checksum():08x}U")
    return SelfTestPart(("gw_watch.h",), text + "\n" + source, "run_watch")


def _checksum() -> int:
    watch, checksum = ReferenceWatch(position=-5), CHECKSUM_START
    for word in itertools.islice(words(), _TICKS):
        watch.tick(
            position=(word >> 8) % 16 // 15 - 5,
            torque_on=word % 64 != 0,
            must_move=(word >> 12) % 4 != 0,
            saturated=(word >> 14) % 4 == 0,
            burst_level=(word >> 16) % 256,
        )
        checksum = added(checksum, (watch.still_ticks, watch.strained_ticks))
    for _ in range(_LONG):
        watch.tick(-5, torque_on=True, must_move=True, saturated=True, burst_level=0)
    return added(checksum, (watch.still_ticks, watch.strained_ticks))


_RUN = """\
static uint32_t run_watch(void)
{
    gw_watched now = {0, 0, 0, 0, 0};
    uint32_t checksum = CHECKSUM_START;
    uint32_t word = NOISE_SEED;
    gw_watch watch;
    uint32_t k;

    spoil(&watch, (uint32_t)sizeof watch);
    gw_watch_reset(&watch, -5);
    for (k = 0U; k < @TICKS@U; k++) {
        const uint32_t drawn = next_word(&word);

        now.position = (int32_t)(((drawn >> 8) % 16U) / 15U) - 5;
        now.torque_on = ((drawn % 64U) != 0U) ? 1 : 0;
        now.must_move = (((drawn >> 12) % 4U) != 0U) ? 1 : 0;
        now.saturated = (((drawn >> 14) % 4U) == 0U) ? 1 : 0;
        now.burst_level = (int32_t)((drawn >> 16) % 256U);
        gw_watch_tick(&watch, &now);
        checksum = checksum_add(checksum, (uint32_t)watch.still_ticks);
        checksum = checksum_add(checksum, (uint32_t)watch.strained_ticks);
    }
    now.position = -5;
    now.torque_on = 1;
    now.must_move = 1;
    now.saturated = 1;
    now.burst_level = 0;
    for (k = 0U; k < @LONG@U; k++) {
        gw_watch_tick(&watch, &now);
    }
    checksum = checksum_add(checksum, (uint32_t)watch.still_ticks);
    checksum = checksum_add(checksum, (uint32_t)watch.strained_ticks);
    return report((checksum == @SUM@) ? 1U : 0U, "watch, ticks", k);
}
"""
