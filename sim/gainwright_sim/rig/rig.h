/*
 * Gainwright rig: a simulated axis with its drive, under the exported trial, in one loop.
 *
 * A simulation. It moves nothing, and what it shows is no proof of what a machine will do.
 *
 * Timing: position read at tick k; speed is its backward difference (or a sensor's value), then an
 * optional low-pass; I += e Ts/Tn with e taken first, u = Kp (e + I), I held while u is limited; the
 * torque computed at tick k is applied from tick k + delay on.
 */
#ifndef GW_RIG_H
#define GW_RIG_H

#include <stdint.h>

#include "gw_axis.h"

#define RIG_STATES_MAX 9   /* angles and speeds of four masses, torque behind the current loop */
#define RIG_DELAY_MAX 16
#define RIG_SMOOTHING_MAX 4096
#define RIG_OVERRIDES_MAX 64
#define RIG_SIGNALS 8

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
    RIG_INPUT_COUNT
};

/* Outputs of the trial that the simulated drive obeys. */
enum rig_output {
    RIG_TORQUE_REQUEST,
    RIG_BRAKE_OPEN,
    RIG_MOTION_ENABLE,
    RIG_TARGET_POSITION,
    RIG_FINISHED,
    RIG_WITHDRAWN,
    RIG_FAULT_LATCHED,
    RIG_OUTPUT_COUNT
};

/* Settings of the drive that a stage may tune. */
enum rig_setting { RIG_SPEED_GAIN, RIG_INTEGRAL_RATE, RIG_POSITION_GAIN, RIG_SETTING_COUNT };

typedef struct {
    int32_t input[RIG_INPUT_COUNT];   /* index among the trial's inputs, -1: not used */
    int32_t output[RIG_OUTPUT_COUNT]; /* index among the trial's outputs, -1: not there */
    int32_t setting[GW_STAGE_SLOTS];  /* which setting each stage tunes */
    double setting_scale[GW_STAGE_SLOTS]; /* SI value of one step of the gain ladder's words */
} rig_binding;

/* x(k+1) = a x(k) + command u(k) + motor m(k) + load l(k), torques held over the tick. */
typedef struct {
    int32_t states;
    int32_t motor_speed;
    int32_t load_speed;
    double a[RIG_STATES_MAX * RIG_STATES_MAX]; /* by columns */
    double command[RIG_STATES_MAX];
    double motor[RIG_STATES_MAX];
    double load[RIG_STATES_MAX];
    double motor_coulomb_nm;
    double load_coulomb_nm;
    double constant_load_nm;
    double brake_torque_nm; /* Coulomb torque of the closed brake, 0: no brake */
    int32_t brake_open_ticks;
    int32_t brake_close_ticks;
} rig_plant;

typedef struct {
    double tick_s;
    int32_t delay_ticks;
    int32_t sequencer_ticks; /* control ticks per sequencer tick */
    double rated_torque_nm;
    double torque_limit_nm;
    double top_speed_rad_per_s;
    double count_rad;
    double noise_nm; /* standard deviation per tick */
    double filter_share; /* a = 1 - exp(-Ts/Tf), 1: no filter */
    int32_t speed_sensor; /* 1: true motor speed is measured, 0: difference of positions */
    double setting[RIG_SETTING_COUNT]; /* Kp in Nms/rad, 1/Tn in 1/s, Kv in 1/s */
    double half_window_rad;
    double cruise_rad_per_s;
    double acceleration_rad_per_s2;
    int32_t smoothing_ticks; /* moving average that limits the jerk, 1 to RIG_SMOOTHING_MAX */
} rig_drive;

/* From sequencer tick `from` to before tick `until`, this input of the trial has this value. */
typedef struct {
    int32_t from;
    int32_t until;
    int32_t input;
    int32_t value;
} rig_override;

/* Where the host wants the record; each array has room for `capacity` sequencer ticks. */
typedef struct {
    int32_t capacity;
    int32_t *state;
    int32_t *row;
    int32_t *inputs;    /* capacity x GW_INPUT_SLOTS */
    int32_t *variables; /* capacity x GW_VARIABLE_SLOTS, after the tick */
    int32_t *outputs;   /* capacity x GW_OUTPUT_SLOTS */
    float *signals;     /* capacity x RIG_SIGNALS, see rig_signal */
    int64_t control_capacity; /* 0: no tick-by-tick record */
    int32_t *control;         /* control_capacity x 2: what the detector saw, Q4.24 */
} rig_log;

enum rig_signal {
    RIG_SIGNAL_POSITION_RAD,
    RIG_SIGNAL_SPEED_RAD_PER_S,
    RIG_SIGNAL_LOAD_SPEED_RAD_PER_S,
    RIG_SIGNAL_TORQUE_LOW_NM, /* lowest and highest torque command in the sequencer tick */
    RIG_SIGNAL_TORQUE_HIGH_NM,
    RIG_SIGNAL_SPEED_ERROR_RAD_PER_S,
    RIG_SIGNAL_OSCILLATION_NM, /* largest high-passed controller torque plus test pulse */
    RIG_SIGNAL_REFERENCE_RAD
};

typedef struct rig rig;

/* Bytes that a rig needs; the host allocates, rig_start writes all of it. */
int64_t rig_size(void);
void rig_start(rig *r, const rig_plant *plant, const rig_drive *drive, const rig_binding *binding,
               const rig_override *overrides, int32_t override_count, uint64_t seed);

/* Runs until `sequencer_ticks` more have passed, the log is full, or the trial has ended and the
 * axis has rested for a moment; returns the sequencer ticks logged so far. */
int32_t rig_advance(rig *r, rig_log *log, int32_t sequencer_ticks);
int32_t rig_ended(const rig *r);

#endif
