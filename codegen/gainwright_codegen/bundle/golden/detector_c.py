"""Golden vectors of the detector and checksums of the tables, for the self-test of a bundle."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from gainwright.detector.reference import ReferenceDetector
from gainwright.detector.settings import DetectorSettings
from gainwright.fixed.arithmetic import multiply_round
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled

_FEWEST_TICKS = 4000
_SHIFT_TICKS = 64
_SHIFTS = (24, 12, 6, 2, 0, 16, 8, 30)
"""How far the noise is shifted down, 64 control ticks each; 0 is far beyond the signal's limit."""
_SEED = 2463534242
_WORD = 2**32


def detector_part(stages: Sequence[StageTables], machine: str) -> SelfTestPart:
    """Return the self-test of detector settings, ladders and pulses of all stages.

    Args:
        stages: with the tables as designed.
        machine: C name of the machine's object.
    """
    rows = [_expected(stage) for stage in stages]
    source = "\n".join(
        [
            comment(
                "Detector: noise of a shift register, in steps of loudness; the checksum is over "
                "levels and energies of every tick. Tables: the checksum is over gains, heights, "
                "first torque and shape of the test pulse. All expected values are from the Python "
                "reference."
            ),
            f"#define NOISE_SEED UINT32_C({_SEED})\n",
            _TYPES,
            f"static const golden_stage golden_stages[{len(stages)}] = {{",
            ",\n".join(rows),
            "};\n",
            f"static const uint8_t noise_shifts[{len(_SHIFTS)}] = "
            f"{{{', '.join(f'{shift}U' for shift in _SHIFTS)}}};\n",
            filled(
                _RUN, TICKS=_SHIFT_TICKS, SHIFTS=len(_SHIFTS), STAGES=len(stages), MACHINE=machine
            ),
        ]
    )
    return SelfTestPart((f"{machine}.h", "gw_detector_tick.h"), source, "run_stages")


def _expected(stage: StageTables) -> str:
    numbers = (
        _ticks(stage.detector),
        _detector_checksum(stage.detector),
        len(stage.ladder.raw),
        _table_checksum(stage),
    )
    return f"    {{{', '.join(f'UINT32_C({number})' for number in numbers)}}}"


def _ticks(settings: DetectorSettings) -> int:
    """Return enough control ticks for two complete blocks of either kind."""
    return max(_FEWEST_TICKS, 2 * settings.ring.block_ticks, 2 * settings.burst.block_ticks)


def words() -> Iterator[int]:
    """Yield words without end, the shift register of 32 bits by Marsaglia (2003) as in the C."""
    word = _SEED
    while True:
        word = (word ^ word << 13) % _WORD
        word ^= word >> 17
        word = (word ^ word << 5) % _WORD
        yield word


def noise(slower: int = 1) -> Iterator[int]:
    """Yield signals without end; each loudness lasts ``slower`` times as long."""
    for number, word in enumerate(words()):
        shift = _SHIFTS[number // (2 * _SHIFT_TICKS * slower) % len(_SHIFTS)]
        yield ((word >> 1) - 2**30) >> shift


def _detector_checksum(settings: DetectorSettings) -> int:
    detector, checksum = ReferenceDetector(settings), CHECKSUM_START
    signals = itertools.islice(noise(), 2 * _ticks(settings))
    for torque_command, speed_error in zip(signals, signals, strict=True):
        detector.sample(torque_command, speed_error)
        for band in (detector.ring, detector.burst):
            words = (band.level, band.energy % _WORD, band.energy // _WORD)
            checksum = added(checksum, words)
    return checksum


def _table_checksum(stage: StageTables) -> int:
    checksum = CHECKSUM_START
    for gain, height in zip(stage.ladder.raw, stage.pulse.heights, strict=True):
        checksum = added(checksum, (gain, height, multiply_round(height, stage.pulse.shape[0], 15)))
    return added(checksum, stage.pulse.shape)


_TYPES = """\
typedef struct {
    uint32_t ticks;
    uint32_t detector_checksum;
    uint32_t rungs;
    uint32_t table_checksum;
} golden_stage;
"""

_RUN = """\
/* Memory as it may be before it is reset. */
static void spoil(void *place, uint32_t bytes)
{
    uint8_t *const byte = (uint8_t *)place;
    uint32_t k;

    for (k = 0U; k < bytes; k++) {
        byte[k] = 0xA5U;
    }
}

static uint32_t next_word(uint32_t *word)
{
    uint32_t next = *word;

    next ^= next << 13;
    next ^= next >> 17;
    next ^= next << 5;
    *word = next;
    return next;
}

static int32_t noise(uint32_t *word, uint32_t tick)
{
    return gw_floor_shift_i32((int32_t)(next_word(word) >> 1) - INT32_C(1073741824),
                              noise_shifts[(tick / @TICKS@U) % @SHIFTS@U]);
}

static uint32_t add_band(uint32_t checksum, const gw_band *band)
{
    const uint64_t energy = (uint64_t)band->energy;

    checksum = checksum_add(checksum, (uint32_t)band->level);
    checksum = checksum_add(checksum, (uint32_t)(energy & UINT32_MAX));
    return checksum_add(checksum, (uint32_t)(energy >> 32));
}

static uint32_t detector_checksum(uint32_t stage)
{
    gw_detector detector;
    uint32_t checksum = CHECKSUM_START;
    uint32_t word = NOISE_SEED;
    uint32_t tick;

    spoil(&detector, (uint32_t)sizeof detector);
    gw_detector_reset(&detector);
    for (tick = 0U; tick < golden_stages[stage].ticks; tick++) {
        const int32_t torque_command = noise(&word, tick);
        const int32_t speed_error = noise(&word, tick);

        gw_detector_sample(&detector, &@MACHINE@.stage[stage].detector, torque_command,
                           speed_error);
        checksum = add_band(checksum, &detector.ring);
        checksum = add_band(checksum, &detector.burst);
    }
    return checksum;
}

static uint32_t table_checksum(uint32_t stage)
{
    const gw_machine_stage *own = &@MACHINE@.stage[stage];
    uint32_t checksum = CHECKSUM_START;
    uint32_t rung;
    int32_t tick;

    for (rung = 0U; rung < golden_stages[stage].rungs; rung++) {
        checksum = checksum_add(checksum, (uint32_t)gw_stage_gain(own, (int32_t)rung));
        checksum = checksum_add(checksum, (uint32_t)gw_stage_pulse_height(own, (int32_t)rung));
        checksum = checksum_add(
            checksum, (uint32_t)gw_pulse_torque(gw_stage_pulse_height(own, (int32_t)rung),
                                                own->pulse.shape[0]));
    }
    for (tick = 0; tick < own->pulse.ticks; tick++) {
        checksum = checksum_add(checksum, (uint32_t)own->pulse.shape[tick]);
    }
    return checksum;
}

static uint32_t run_stages(void)
{
    uint32_t failures = 0U;
    uint32_t stage;

    for (stage = 0U; stage < @STAGES@U; stage++) {
        const golden_stage *golden = &golden_stages[stage];

        failures += report((detector_checksum(stage) == golden->detector_checksum) ? 1U : 0U,
                           "detector, stage", stage);
        failures += report((table_checksum(stage) == golden->table_checksum) ? 1U : 0U,
                           "tables, stage", stage);
    }
    return failures;
}
"""
