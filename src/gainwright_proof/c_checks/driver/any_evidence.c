/* Evidence that becomes anything: what it really becomes is shown by check_evidence.c. */
#include "check_axis.h"
#include "gw_any.h"

void gw_evidence_reset(gw_evidence *evidence)
{
    gw_any_evidence(evidence);
}

void gw_evidence_end_hearing(gw_evidence *evidence)
{
    gw_any_evidence(evidence);
}

void gw_evidence_end_listening(gw_evidence *evidence, int32_t next)
{
    (void)next;
    gw_any_evidence(evidence);
}

void gw_evidence_begin_hearing(gw_evidence *evidence, int32_t hearing)
{
    (void)hearing;
    gw_any_evidence(evidence);
}

void gw_evidence_end_gain(gw_evidence *evidence, int32_t lower)
{
    (void)lower;
    gw_any_evidence(evidence);
}

void gw_evidence_compare_gain(gw_evidence *evidence, int32_t lower, int32_t swing_level)
{
    (void)lower;
    (void)swing_level;
    gw_any_evidence(evidence);
}

void gw_evidence_begin_gain(gw_evidence *evidence)
{
    gw_any_evidence(evidence);
}

void gw_evidence_ring_block(gw_evidence *evidence, int32_t level)
{
    gw_check((level >= 0) && (level <= GW_LEVEL_MAX));
    gw_any_evidence(evidence);
}

void gw_evidence_burst_block(gw_evidence *evidence, int32_t level)
{
    gw_check((level >= 0) && (level <= GW_LEVEL_MAX));
    gw_any_evidence(evidence);
}

/* Inputs may be anything before, so it does not matter that some are written here that the evidence
 * leaves alone. */
void gw_evidence_findings(const gw_evidence *evidence, int32_t inputs[GW_INPUT_SLOTS])
{
    int32_t i;

    (void)evidence;
    for (i = 0; i < (int32_t)GW_INPUT_SLOTS; i++) {
        inputs[i] = gw_any_int32(INT32_MIN, INT32_MAX);
    }
}

void gw_evidence_no_findings(int32_t inputs[GW_INPUT_SLOTS])
{
    gw_evidence_findings(0, inputs);
}
