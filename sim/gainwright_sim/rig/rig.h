/*
 * Gainwright rig: a simulated axis with its drive, under the exported trial, in one loop.
 *
 * A simulation. It moves nothing, and what it shows is no proof of what a machine will do.
 *
 * Timing is that of rig_model.h.
 */
#ifndef GW_RIG_H
#define GW_RIG_H

#include <stdint.h>

#include "gw_axis.h"
#include "rig_model.h"

#define RIG_SIGNALS 17

/* Inputs that the simulated drive supplies; rig_binding.input[] says where the trial wants them. */
enum rig_input {
    RIG_START_REQUEST,
    RIG_RESET_REQUEST,
    RIG_RUN_PERMIT,
    RIG_DRIVE_READY,
    RIG_FEEDBACK_VALID,
    RIG_INSIDE_TRAVEL_WINDOW,
    RIG_TORQUE_SATURATED,
    RIG_CRUISING,
    RIG_TARGET_REACHED,
    RIG_STANDSTILL,
    RIG_OVERSPEED,
    RIG_FOLLOWING_ERROR,
    RIG_STILL_TICKS,
    RIG_TORQUE_SHARE,
    RIG_STRAINED_TICKS,
    RIG_SPEED_SHARE,
    RIG_STEP_OVERSHOOT,
    RIG_STEP_RESIDUAL,
    RIG_SWING_GROWTH,
    RIG_STEP_SENSITIVITY,
    RIG_STEP_PHASE_MARGIN,
    RIG_MARGINS_EVALUATED,
    RIG_LOAD_DRIVEN,
    RIG_RINGING_HEARD,
    RIG_RINGING_CUT_OFF,
    RIG_DECAY_EVALUATED,
    RIG_DECAY_SPREAD,
    RIG_DECAYS_MEASURED,
    RIG_LOAD_LIMIT_RUNG,
    RIG_PROFILE_ERROR,
    RIG_PROFILE_OVERSHOOT,
    RIG_REST_SWING,
    RIG_REST_JUMPS,
    RIG_LIMIT_ELSEWHERE,
    RIG_INPUT_COUNT
};

/* Outputs of the trial that the simulated drive obeys. */
enum rig_output {
    RIG_TORQUE_REQUEST,
    RIG_BRAKE_OPEN,
    RIG_MOTION_ENABLE,
    RIG_TARGET_POSITION,
    RIG_CRUISE_SHARE,
    RIG_POSITION_STEP,
    RIG_STEP_NUMBER,
    RIG_POSITION_FROM_LOAD,
    RIG_SHAKE_NUMBER,
    RIG_PROFILE_WATCH,
    RIG_FINISHED,
    RIG_LIMITED_BY_NOISE,
    RIG_ABORTED,
    RIG_FAULT_LATCHED,
    RIG_OUTPUT_COUNT
};

typedef struct {
    int32_t input[RIG_INPUT_COUNT];   /* index among the trial's inputs, -1: not used */
    int32_t output[RIG_OUTPUT_COUNT]; /* index among the trial's outputs, -1: not there */
    int32_t setting[GW_STAGE_SLOTS];  /* which setting each stage tunes */
    int32_t limit_elsewhere[GW_STAGE_SLOTS]; /* rung at which it ended at another place, 0: none */
    double setting_scale[GW_STAGE_SLOTS]; /* SI value of one step of the gain ladder's words */
} rig_binding;

/* From sequencer tick `from` to before tick `until`, this input of the trial has this value; that
 * goes for what the detector reports too. */
typedef struct {
    int32_t from;
    int32_t until;
    int32_t input;
    int32_t value;
} rig_override;

/* What breaks at sequencer tick `from`, and stays so. */
enum rig_fault_kind {
    RIG_NO_FAULT,
    RIG_POSITION_FROZEN,  /* the encoder reports what it reported last, and calls it valid */
    RIG_TORQUE_REVERSED,  /* the motor's torque has the wrong sign */
    RIG_TORQUE_LOST,      /* the motor gives none */
    RIG_TORQUE_STUCK,     /* the motor's torque stays what it was */
    RIG_AXIS_BLOCKED,     /* the motor does not turn */
    RIG_PULSE_LOST,       /* the test pulse is not added to the torque */
    RIG_LOAD_FROZEN,      /* the sensor at the load reports what it reported last */
    RIG_LOAD_REVERSED     /* ... or counts the wrong way */
};

typedef struct {
    int32_t kind;
    int32_t from;
} rig_fault;

/* Where the host wants a part of the record, that of `capacity` sequencer ticks from `first` on. */
typedef struct {
    int32_t first;
    int32_t capacity;
    int32_t *state;
    int32_t *row;
    int32_t *inputs;    /* capacity x GW_INPUT_SLOTS */
    int32_t *variables; /* capacity x GW_VARIABLE_SLOTS, after the tick */
    int32_t *outputs;   /* capacity x GW_OUTPUT_SLOTS */
    float *signals;     /* capacity x RIG_SIGNALS, see rig_signal */
    int32_t control_ticks; /* control ticks kept per sequencer tick, 0: none */
    int32_t *control;      /* capacity x control_ticks x 2: what the detector saw, Q4.24 */
} rig_log;

enum rig_signal {
    RIG_SIGNAL_POSITION_RAD,
    RIG_SIGNAL_SPEED_RAD_PER_S,
    RIG_SIGNAL_LOAD_SPEED_RAD_PER_S,
    RIG_SIGNAL_TORQUE_LOW_NM, /* lowest and highest torque command in the sequencer tick */
    RIG_SIGNAL_TORQUE_HIGH_NM,
    RIG_SIGNAL_SPEED_ERROR_RAD_PER_S,
    RIG_SIGNAL_OSCILLATION_NM, /* largest high-passed controller torque plus test pulse */
    RIG_SIGNAL_REFERENCE_RAD,
    RIG_SIGNAL_MEASURED_TORQUE_NM,
    RIG_SIGNAL_MEAN_SPEED_RAD_PER_S, /* measured */
    RIG_SIGNAL_PREDICTED_LIMIT,  /* rungs from rung 0 on, negative: no prediction */
    RIG_SIGNAL_PREDICTED_RESULT, /* likewise, of the wanted margins */
    RIG_SIGNAL_PREDICTION_SPREAD, /* share of the limit */
    RIG_SIGNAL_LOAD_POSITION_RAD, /* of the sensor at the load, 0 without one */
    RIG_SIGNAL_LOAD_DECAY,        /* 1/s, as evaluated last */
    RIG_SIGNAL_LOAD_FREQUENCY,    /* Hz, likewise */
    RIG_SIGNAL_LOAD_LIMIT         /* 1/s, extrapolated from all decays so far, 0: none yet */
};

typedef struct rig rig;

/* Bytes that a rig needs; the host allocates, rig_start writes all of it. The machine and the
 * overrides must stay where they are as long as the rig is used. */
int64_t rig_size(void);
void rig_start(rig *r, const gw_machine *machine, const rig_plant *plant, const rig_drive *drive,
               const rig_binding *binding, const rig_override *overrides, int32_t override_count,
               const rig_fault *fault, uint64_t seed);

/* Runs until `sequencer_ticks` more have passed, this part of the log is full, or (unless
 * `past_end`) the trial has ended and the axis has rested for a moment; returns the sequencer ticks
 * logged so far. */
int32_t rig_advance(rig *r, rig_log *log, int32_t sequencer_ticks, int32_t past_end);
int32_t rig_ended(const rig *r);

/* -1 / L of a line of the last evaluation of the loop response, 4096 = 1, and the rung that it was
 * measured at; negative if there was none. */
int32_t rig_response_line(const rig *r, int32_t line, int32_t *inverse);

#endif
