/* The evidence from any content of memory: no undefined behaviour, findings in the range of inputs. */
#include "check_axis.h"
#include "gw_any.h"

static void check_findings(const int32_t inputs[GW_INPUT_SLOTS])
{
    int32_t i;

    for (i = 0; i < (int32_t)GW_INPUT_SLOTS; i++) {
        gw_check((inputs[i] >= 0) && (inputs[i] <= GW_INPUT_LEVEL_MAX));
    }
}

void gw_check_evidence_change(void)
{
    gw_evidence evidence;

    gw_any_evidence(&evidence);
    switch (gw_any_int32(0, 3)) {
    case 0:
        gw_evidence_new_gain(&evidence, gw_any_int32(INT32_MIN, INT32_MAX),
                             gw_any_int32(INT32_MIN, INT32_MAX));
        break;
    case 1:
        gw_evidence_hear(&evidence, gw_any_int32(INT32_MIN, INT32_MAX));
        break;
    case 2:
        gw_evidence_ring_block(&evidence, gw_any_int32(0, GW_LEVEL_MAX));
        break;
    default:
        gw_evidence_burst_block(&evidence, gw_any_int32(0, GW_LEVEL_MAX));
        break;
    }
}

void gw_check_evidence_findings(void)
{
    gw_evidence evidence;
    int32_t inputs[GW_INPUT_SLOTS] = {0};

    gw_any_evidence(&evidence);
    gw_evidence_findings(&evidence, inputs);
    check_findings(inputs);
    gw_evidence_no_findings(inputs);
    check_findings(inputs);
    gw_evidence_reset(&evidence);
    gw_evidence_findings(&evidence, inputs);
    check_findings(inputs);
}
