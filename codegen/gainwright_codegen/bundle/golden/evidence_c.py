"""Golden vectors of the evidence: blocks of any level in any order, by drawn operations."""

from __future__ import annotations

import itertools

from gainwright.detector.evidence import Hearing, ReferenceEvidence
from gainwright_codegen.bundle.golden.detector_c import words
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment

_OPERATIONS = 4000


def evidence_part() -> SelfTestPart:
    """Return the self-test of ``gw_evidence``; the part of the detector comes before it."""
    text = comment(
        f"Evidence: {_OPERATIONS} operations drawn from the shift register, levels from 0 to the "
        "largest; the checksum is over all findings and the boost after each."
    )
    source = _RUN.replace("@OPERATIONS@", str(_OPERATIONS)).replace(
        "@SUM@", f"0x{_checksum():08x}U"
    )
    return SelfTestPart(("gw_evidence.h",), text + "\n" + source, "run_evidence")


def _checksum() -> int:
    evidence, checksum = ReferenceEvidence(), CHECKSUM_START
    for word in itertools.islice(words(), _OPERATIONS):
        _operate(evidence, word % 32, (word >> 8) >> (word >> 5) % 8 * 3)
        checksum = added(checksum, (*evidence.findings().values(), evidence.boost))
    return checksum


def _operate(evidence: ReferenceEvidence, what: int, level: int) -> None:
    if what == 0:
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
        gw_evidence_new_gain(evidence, level & 1);
    } else if (what <= 3U) {
        gw_evidence_hear(evidence, (int32_t)what - 1);
    } else if (what <= 10U) {
        gw_evidence_burst_block(evidence, level);
    } else {
        gw_evidence_ring_block(evidence, level);
    }
}

static uint32_t run_evidence(void)
{
    int32_t findings[GW_FINDING_COUNT];
    gw_evidence evidence;
    uint32_t checksum = CHECKSUM_START;
    uint32_t word = NOISE_SEED;
    uint32_t k;

    gw_evidence_reset(&evidence);
    for (k = 0U; k < @OPERATIONS@U; k++) {
        const uint32_t drawn = next_word(&word);

        operate(&evidence, drawn % 32U, (int32_t)((drawn >> 8) >> (((drawn >> 5) % 8U) * 3U)));
        gw_evidence_findings(&evidence, findings);
        checksum = add_words(checksum, findings, (uint32_t)GW_FINDING_COUNT);
        checksum = checksum_add(checksum, (uint32_t)evidence.boost);
    }
    return report((checksum == @SUM@) ? 1U : 0U, "evidence, operations", k);
}
"""
