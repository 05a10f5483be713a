/*
 * Gainwright: what an axis needs to know of its machine. gw_machine_NAME.c, generated, defines one
 * constant object of this type for each machine; several axes may share one.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 */
#ifndef GW_MACHINE_H
#define GW_MACHINE_H

#include <stdint.h>

#include "gw_detector.h"
#include "gw_ladder.h"
#include "gw_loop_response.h"
#include "gw_pulse.h"
#include "gw_trial.h"

#ifdef __cplusplus
extern "C" {
#endif

/* What belongs to one stage of the trial. */
typedef struct {
    gw_ladder gain;             /* per unit, with gain_fraction_bits; word 0 is the top rung */
    gw_ladder pulse_height;     /* Q4.24; word 0 is the lowest rung */
    int32_t rungs;              /* in both, 1 to GW_RUNG_COUNT_MAX */
    int32_t gain_fraction_bits; /* differs from export to export */
    gw_pulse_shape pulse;
    gw_detector_settings detector;
#if GW_HAS_LOOP_RESPONSE
    gw_response_settings response;
#endif
} gw_machine_stage;

typedef struct {
    const char *name;
    const char *digest;                 /* SHA-256 of the machine description */
    int32_t control_ticks;              /* in a sequencer tick */
    int32_t control_tick_ns;
    int32_t rated_torque_unm;           /* 1.0 of torque, in uN m */
    int32_t top_speed_urad_per_s;       /* 1.0 of speed, in urad/s */
    gw_machine_stage stage[GW_STAGE_SLOTS];
} gw_machine;

/* Gain and height of the test pulse at a rung, 0 to rungs - 1. */
static inline int32_t gw_stage_gain(const gw_machine_stage *stage, int32_t rung)
{
    return gw_ladder_word(&stage->gain, (uint32_t)stage->rungs - 1U - (uint32_t)rung);
}

static inline int32_t gw_stage_pulse_height(const gw_machine_stage *stage, int32_t rung)
{
    return gw_ladder_word(&stage->pulse_height, (uint32_t)rung);
}

/* The largest of these heights. */
static inline int32_t gw_stage_highest_pulse(const gw_machine_stage *stage)
{
    return (int32_t)stage->pulse_height.most;
}

#ifdef __cplusplus
}
#endif

#endif
