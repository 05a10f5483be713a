"""Golden vectors of the evidence: blocks of any level in any order, by drawn operations."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from gainwright.detector.evidence import STALL_BLOCKS, USUAL_GAINS, Hearing, ReferenceEvidence
from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.detector_c import words
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled

_OPERATIONS = 4000
_LISTENINGS, _LISTENING, _LONG = 80, 15, 600
"""What chance does not bring: listenings at two gains, the first with what is loud at its end and
the second with what is loud at its beginning, operations in each, and one that fills all groups."""
_GAINS, _USUAL, _RISEN = 32, 10_000, 200_000
"""Gains from a reset on, and noise that rises for good after half of them, but for one in between
and a lower gain before; at the last gain that teaches what is usual it is half as high again. A
second block of noise is lower by an eighth, so that silence is judged by the spread."""
_SEEN, _SEEN_AGAIN = 4, 9
"""The only ones of these gains at which the answer to the pulse is seen, just so; eight after the
first it is as loud as silence, ten after it louder, but not seen. Noise has risen for one gain when
answers have been hidden at eight since the second."""
_ANSWERS = {_SEEN: 42, _SEEN_AGAIN: 42, _SEEN + 8: 21, _SEEN + 10: 32}
"""Sixteenths of the noise; silence is at 21 of them."""
_LOUDEST = 2**24 - 1
_ROUND = 0xF80000
"""Bits of every second level that is drawn: levels and their multiples are often the same."""
_STEPS = 1000
"""No louder ringing is anything in the first operations and listenings."""
_STALLED = 24
"""Gains at which a ringing does not fall: at each four it is just long enough, then a block short.
It is just as loud as counts, four times silence (72 above noise of 64); noise after it is louder
than twice that, then just not."""
_SWUNG = 25_000
"""Noise at five gains before that: not far above the usual, but the speed itself swings."""


def evidence_part(trial: Trial) -> SelfTestPart:
    """Return the self-test of ``gw_evidence``; the part of the detector comes before it."""
    text = comment(
        f"Evidence: {_OPERATIONS} operations drawn from the shift register, levels from 0 to the "
        "largest; then listenings that fill the sums, and one that fills all groups; gains whose "
        "noise rises for good and hides the answers, and at which a ringing does not fall. The "
        "checksum is over inputs that hold nothing but findings, boost and blocks, after each."
    )
    source = filled(
        _RUN, OPERATIONS=_OPERATIONS, LISTENINGS=_LISTENINGS, LISTENING=_LISTENING, LONG=_LONG,
        LOUDEST=_LOUDEST, GAINS=_GAINS, USUAL=_USUAL, RISEN=_RISEN, SWUNG=_SWUNG, SEEN=_SEEN,
        AGAIN=_SEEN_AGAIN, STEPS=_STEPS, ROUND=_ROUND, STALLED=_STALLED,
        SUM=f"0x{_checksum(trial):08x}U",
    )  # fmt: skip
    return SelfTestPart(("gw_evidence.h",), text + "\n" + source, "run_evidence")


def _checksum(trial: Trial) -> int:
    evidence, checksum = ReferenceEvidence(steps_level=_STEPS), CHECKSUM_START
    inputs = [signal.name for signal in trial.inputs]
    drawn = (
        (w % 32, ((w >> 8) & (_ROUND if k % 2 else -1)) >> (w >> 5) % 8 * 3)
        for k, w in enumerate(itertools.islice(words(), _OPERATIONS))
    )
    checksum = _operated(evidence, inputs, checksum, itertools.chain(drawn, _listenings()))
    return _operated(ReferenceEvidence(), inputs, checksum, itertools.chain(_gains(), _stalls()))


def _operated(
    evidence: ReferenceEvidence,
    inputs: Sequence[str],
    checksum: int,
    operations: Iterator[tuple[int, int]],
) -> int:
    for blocks, (what, level) in enumerate(operations, 1):
        _operate(evidence, what, level)
        found = evidence.findings()
        counted = blocks % 256 << 8 | evidence.boost
        checksum = added(checksum, (*(found.get(name, 0) for name in inputs), counted))
    return checksum


def _listenings() -> Iterator[tuple[int, int]]:
    """Yield operations, as the C does."""
    for number in range(_LISTENINGS):
        late = number < _LISTENINGS // 2
        yield (0, 0) if number % (_LISTENINGS // 2) == 0 else (2, 0)
        yield 3, 0
        yield 4, number * 5 % 32
        for block in range(_LISTENING - 3):
            yield 31, _LOUDEST if (block >= 6) == late else 0
    for block in range(_LONG):
        yield 31, block


def _gains() -> Iterator[tuple[int, int]]:
    """Yield operations, as the C does."""
    for gain in range(_GAINS):
        yield 2, 0
        usual = _USUAL + _USUAL // 2 * (gain == USUAL_GAINS - 1)
        swings = _GAINS // 4 <= gain < _GAINS // 4 + 5
        usual = _SWUNG if swings else usual
        noise = _RISEN if gain > _GAINS // 2 and gain != _GAINS - 8 else usual
        yield 31, noise
        yield 31, noise - noise // 8
        yield 3, 0
        yield 31, noise * _ANSWERS.get(gain, 16) // 16
        yield 0, _LOUDEST - _SWUNG + 1 if swings else int(gain == _GAINS - 11)


def _stalls() -> Iterator[tuple[int, int]]:
    """Yield operations, as the C does."""
    for gain in range(_STALLED):
        yield 2, 0
        yield 31, 64
        yield 3, 0
        for _ in range(STALL_BLOCKS - gain // 4 % 2):
            yield 31, 288
        yield 2, 0
        yield 31, 145
        yield 31, 144
        yield 0, int(gain == 5)


def _operate(evidence: ReferenceEvidence, what: int, level: int) -> None:
    if what == 0:
        evidence.swing_level = _LOUDEST - level
        evidence.new_gain(bool(level & 1))
    elif what <= 3:
        evidence.hear(Hearing(what - 1))
    elif what <= 10:
        evidence.burst_block(level)
    else:
        evidence.ring_block(level)


_RUN = """\
static void operate(gw_evidence *evidence, uint32_t what, int32_t level)
{
    if (what == 0U) {
        gw_evidence_new_gain(evidence, level & 1, GW_LEVEL_MAX - level);
    } else if (what <= 3U) {
        gw_evidence_hear(evidence, (int32_t)what - 1);
    } else if (what <= 10U) {
        gw_evidence_burst_block(evidence, level);
    } else {
        gw_evidence_ring_block(evidence, level);
    }
}

static uint32_t operated(gw_evidence *evidence, uint32_t checksum, uint32_t what, int32_t level)
{
    int32_t inputs[GW_INPUT_SLOTS] = {0};

    operate(evidence, what, level);
    gw_evidence_findings(evidence, inputs);
    return checksum_add(add_words(checksum, inputs, (uint32_t)GW_INPUT_COUNT),
                        ((uint32_t)evidence->blocks << 8) | (uint32_t)evidence->boost);
}

static uint32_t listenings(gw_evidence *evidence, uint32_t checksum)
{
    uint32_t sum = checksum;
    int32_t number;
    int32_t block;

    for (number = 0; number < @LISTENINGS@; number++) {
        sum = operated(evidence, sum, ((number % (@LISTENINGS@ / 2)) == 0) ? 0U : 2U, 0);
        sum = operated(evidence, sum, 3U, 0);
        sum = operated(evidence, sum, 4U, (number * 5) % 32);
        for (block = 0; block < (@LISTENING@ - 3); block++) {
            const int32_t loud = ((block >= 6) == (number < (@LISTENINGS@ / 2))) ? 1 : 0;

            sum = operated(evidence, sum, 31U, loud * @LOUDEST@);
        }
    }
    for (block = 0; block < @LONG@; block++) {
        sum = operated(evidence, sum, 31U, block);
    }
    return sum;
}

static uint32_t gains(gw_evidence *evidence, uint32_t checksum)
{
    uint32_t sum = checksum;
    int32_t gain;

    for (gain = 0; gain < @GAINS@; gain++) {
        const int32_t risen = ((gain > (@GAINS@ / 2)) && (gain != (@GAINS@ - 8))) ? 1 : 0;
        const int32_t swings
            = ((gain >= (@GAINS@ / 4)) && (gain < ((@GAINS@ / 4) + 5))) ? 1 : 0;
        const int32_t most = (gain == (GW_USUAL_GAINS - 1)) ? (@USUAL@ + (@USUAL@ / 2)) : @USUAL@;
        const int32_t usual = (swings != 0) ? @SWUNG@ : most;
        const int32_t noise_level = (risen != 0) ? @RISEN@ : usual;
        const int32_t faint = (gain == (@SEEN@ + 8)) ? 21 : ((gain == (@SEEN@ + 10)) ? 32 : 16);
        const int32_t answer = ((gain == @SEEN@) || (gain == @AGAIN@)) ? 42 : faint;
        const int32_t lower = (gain == (@GAINS@ - 11)) ? 1 : 0;

        sum = operated(evidence, sum, 2U, 0);
        sum = operated(evidence, sum, 31U, noise_level);
        sum = operated(evidence, sum, 31U, noise_level - (noise_level / 8));
        sum = operated(evidence, sum, 3U, 0);
        sum = operated(evidence, sum, 31U, (noise_level * answer) / 16);
        sum = operated(evidence, sum, 0U, (swings != 0) ? ((@LOUDEST@ - @SWUNG@) + 1) : lower);
    }
    return sum;
}

static uint32_t stalls(gw_evidence *evidence, uint32_t checksum)
{
    uint32_t sum = checksum;
    int32_t gain;
    int32_t block;

    for (gain = 0; gain < @STALLED@; gain++) {
        sum = operated(evidence, sum, 2U, 0);
        sum = operated(evidence, sum, 31U, 64);
        sum = operated(evidence, sum, 3U, 0);
        for (block = (gain / 4) % 2; block < (int32_t)GW_STALL_BLOCKS; block++) {
            sum = operated(evidence, sum, 31U, 288);
        }
        sum = operated(evidence, sum, 2U, 0);
        sum = operated(evidence, sum, 31U, 145);
        sum = operated(evidence, sum, 31U, 144);
        sum = operated(evidence, sum, 0U, (gain == 5) ? 1 : 0);
    }
    return sum;
}

static uint32_t run_evidence(void)
{
    gw_evidence evidence;
    uint32_t checksum = CHECKSUM_START;
    uint32_t word = NOISE_SEED;
    uint32_t k;

    spoil(&evidence, (uint32_t)sizeof evidence);
    gw_evidence_reset(&evidence);
    evidence.steps_level = @STEPS@;
    for (k = 0U; k < @OPERATIONS@U; k++) {
        const uint32_t drawn = next_word(&word);

        checksum = operated(&evidence, checksum, drawn % 32U,
                            (int32_t)(((drawn >> 8) & (((k % 2U) != 0U) ? @ROUND@U : UINT32_MAX))
                                      >> (((drawn >> 5) % 8U) * 3U)));
    }
    checksum = listenings(&evidence, checksum);
    gw_evidence_reset(&evidence);
    checksum = stalls(&evidence, gains(&evidence, checksum));
    return report((checksum == @SUM@) ? 1U : 0U, "evidence, operations", k);
}
"""
