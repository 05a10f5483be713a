/* Rig: all that a run remembers from tick to tick. */
#ifndef GW_RIG_STATE_H
#define GW_RIG_STATE_H

#include "rig.h"

#include "gw_watch.h"
#include "rig_compensation.h"
#include "rig_load_sensor.h"
#include "rig_measured.h"
#include "rig_motion.h"
#include "rig_profile.h"
#include "rig_ringing.h"
#include "rig_step.h"

#define FULL_SHARE 256
#define Q15 32768.0

/* What happened since the last sequencer tick. */
typedef struct {
    double torque_low;
    double torque_high;
    double oscillation;
    int32_t limited_ticks;
} rig_window;

struct rig {
    gw_axis axis;
    rig_plant plant;
    rig_drive drive;
    rig_binding binding;
    const rig_override *overrides;
    int32_t override_count;
    rig_fault fault;
    double applied_nm; /* torque that the current loop was given last; none without the request */
    int32_t broken; /* enum rig_fault_kind, once it is there ... */
    double broken_at_rad; /* ... where the motor was then */
    rig_motion motion;
    gw_watch watch;
    rig_window window;
    uint64_t noise;
    double x[RIG_STATES_MAX];
    double pending[RIG_DELAY_MAX]; /* torques on their way to the motor */
    int32_t pending_next;
    double start_rad;
    double full_cruise_rad_per_s; /* cruise speed where the trial asks for no share of it */
    rig_measured measured;
    rig_compensation compensation;
    rig_step step;
    rig_load_sensor load;
    rig_ringing ringing;
    rig_profile profile;
    double speed_error;
    double external_turns; /* phase of the disturbance from outside */
    double torque; /* last command, test pulse included */
    double integral;
    double target_rad;
    double brake_share; /* 1 closed, 0 open */
    int32_t torque_on;
    int32_t motion_on;
    int32_t control_tick; /* within the sequencer tick */
    int32_t sequencer_tick;
    int32_t watched; /* sequencer ticks since the trial ended */
    int32_t rested;  /* ... with the axis at rest */
};

static inline int32_t output_of(const rig *r, enum rig_output which, int32_t otherwise)
{
    const int32_t index = r->binding.output[which];

    return (index < 0) ? otherwise : r->axis.outputs[index];
}

#endif
