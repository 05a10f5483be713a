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
#include "gw_loop_response.h"
#include "gw_pulse.h"
#include "gw_trial.h"

#ifdef __cplusplus
extern "C" {
#endif

/* What belongs to one stage of the trial. */
typedef struct {
    const int32_t *gain;         /* of each rung, per unit, with gain_fraction_bits */
    const int32_t *pulse_height; /* of each rung, Q4.24 */
    int32_t rungs;               /* in both, 1 to GW_RUNG_COUNT_MAX */
    int32_t gain_fraction_bits;  /* differs from export to export */
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

#ifdef __cplusplus
}
#endif

#endif
