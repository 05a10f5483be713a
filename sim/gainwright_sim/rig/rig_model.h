/*
 * Rig: numbers of a simulated axis and its drive. Reciprocals stand beside what they belong to,
 * since divisions are what a tick would spend most of its time on.
 *
 * Timing: position read at tick k; speed is its backward difference (or a sensor's value), then an
 * optional low-pass; I += e Ts/Tn with e taken first, u = Kp (e + I), I held while u is limited; the
 * torque computed at tick k is applied from tick k + delay on.
 */
#ifndef GW_RIG_MODEL_H
#define GW_RIG_MODEL_H

#include <stdint.h>

#include "rig_names.h"

#define RIG_LINES 288
#define RIG_SLOW_LINES 150
#define RIG_LINE_TICKS_MAX 1000000
#define RIG_LOAD_DELAY_MAX 256
#define RIG_RING_LINES 84
#define RIG_RING_LENGTHS 3
#define RIG_STATES_MAX 9 /* angles and speeds of four masses, torque behind the current loop */
#define RIG_DELAY_MAX 16
#define RIG_SMOOTHING_MAX 4096
#define RIG_SINES_MAX 16 /* even, so that pairs of them fit */
#define RIG_SHARE_LIMIT 511 /* largest share of speed or torque reported, 256 = cruise speed, limit */
#define RIG_FOLLOWING_LIMIT 1023 /* largest following error reported, 256 = the largest allowed */
#define RIG_BLOCKING_TORQUES 100.0 /* torque limits that hold a blocked axis */

/* Friction on one mass; breakaway is what it has at rest beyond Coulomb's. */
typedef struct {
    double coulomb_nm;
    double breakaway_nm;
    double per_stribeck_speed;
    double speed_per_torque; /* of an impulse of one Nm held for a tick */
} rig_friction;

/* Ways in a tick, per Nm held over it, of the first and the last mass: see rig_friction.h. */
typedef struct {
    double motor_load; /* of one mass by a torque on the other */
    double per_motor;  /* 1 / way of the motor by its own torque */
    double per_load;
    double per_motor_beside_load; /* the same, for a load that goes no way */
} rig_response;

/* Torques as sines: first those in proportion to the torque, then cogging, then the current sensors'
 * offsets, then those on the load, of which the last may have a frequency of its own. */
typedef struct {
    int32_t present; /* whether there is any */
    int32_t ripple_end;
    int32_t cogging_end;
    int32_t offset_end;
    int32_t end;
    double turns_per_rad[RIG_SINES_MAX]; /* periods per rad of the motor */
    double amplitude[RIG_SINES_MAX];     /* share of the torque, or Nm */
    double gain_error;                   /* share of the torque */
    double external_turns_per_tick;      /* 0: the last sine goes by the angle too */
} rig_disturbances;

typedef struct {
    double count_rad;
    double counts_per_rad;
    double lines_per_rad; /* periods of the encoder's signals, 0: these have no errors */
    double first_rad;     /* error with one period per line, amplitude */
    double second_rad;    /* ... with two */
} rig_encoder;

/* A spring that does not hold both ways, of an axis of two masses. */
typedef struct {
    int32_t present;
    double gap_rad;
    double gap_stiffness;
    double pretension_nm;
    double first;
    double second;
} rig_play;

/* x(k+1) = a x(k) + command u(k) + motor m(k) + load l(k), torques held over the tick. */
typedef struct {
    int32_t states;
    int32_t motor_speed;
    int32_t load_speed;
    int32_t base; /* place of the base among the angles, 0: none; all others are seen from it */
    double a[RIG_STATES_MAX * RIG_STATES_MAX]; /* by columns */
    double command[RIG_STATES_MAX];
    double motor[RIG_STATES_MAX];
    double load[RIG_STATES_MAX];
    double constant[RIG_STATES_MAX]; /* load times the constant load */
    rig_response response;
    rig_friction motor_friction;
    rig_friction load_friction;
    rig_disturbances disturbances;
    rig_play play;
    double brake_torque_nm; /* Coulomb torque of the closed brake, 0: no brake */
    int32_t brake_open_ticks;
    int32_t brake_close_ticks;
} rig_plant;

/* A frequency at which the answer to a step is transformed. */
typedef struct {
    double turn_real; /* exp(-j omega Ts) */
    double turn_imaginary;
    double omega_rad_per_s;
    double noise;        /* that steps of the encoder add, in rad/s of the jump */
    int32_t ticks;       /* after which the answer has died away */
    int32_t least_ticks; /* shortest watching that says anything */
} rig_line;

typedef struct {
    double tick_s;
    double ticks_per_s;
    int32_t delay_ticks;
    double lag_s; /* of all of the drive together */
    int32_t sequencer_ticks; /* control ticks per sequencer tick */
    double torque_limit_nm;
    rig_encoder encoder;
    double torque_words_per_nm; /* Q4.24 per unit of rated torque */
    double nm_per_torque_word;
    double speed_words_s_per_rad; /* Q4.24 per unit of top speed */
    double noise_nm; /* standard deviation per tick, of the torque and of its measurement */
    double filter_share; /* a = 1 - exp(-Ts/Tf), 1: no filter */
    int32_t speed_sensor; /* 1: true motor speed is measured, 0: difference of positions */
    double load_count_rad; /* of the sensor at the load, 0: there is none */
    double load_counts_per_rad;
    int32_t load_delay_ticks;
    int32_t load_mounted; /* on a bracket that gives way */
    double load_mounting[2][2]; /* how its head goes on in a tick, see plant/mounting */
    double load_moved[2];       /* ... on the load's position */
    double load_drag;           /* 2 z w of the bracket */
    double shake_rad;      /* height of the bump that makes the load ring */
    int32_t shake_ticks;   /* its length, control ticks */
    double ring_slow_share;    /* of the low-pass of the motor's drift, per sequencer tick */
    int32_t shake_after_ticks; /* sequencer ticks of constant speed before the first two of four */
    int32_t ring_from_ticks; /* sequencer ticks after its begin, from which on the load is heard */
    int32_t ring_ticks[RIG_RING_LENGTHS]; /* of one window, sequencer ticks, the longest last */
    rig_line ring_line[RIG_RING_LINES];   /* turns per sequencer tick */
    double setting[RIG_SETTING_COUNT]; /* Kp in Nms/rad, 1/Tn in 1/s, Kv in 1/s */
    double step_torque_nm;    /* jump of the torque by a position step ... */
    int32_t step_ticks;       /* shortest watching that says how much is left */
    double step_least_gain;   /* a slower loop has not settled by then */
    double step_speed;        /* ... unless it would jump the speed by more than this, in rad/s */
    double step_mean_share;   /* of the low-pass of the error before the step, per tick */
    double step_forget_share; /* by which swinging is forgotten, per tick */
    rig_line line[RIG_LINES];
    int32_t tail_from_ticks; /* after a step: from then on at the latest only what rings is left ... */
    int32_t tail_early_ticks; /* ... and at the earliest: sooner where moves are short */
    int32_t swing_block_ticks; /* of that, one behind the other */
    int32_t slow_bin_ticks;    /* likewise, for loads that swing slowly */
    double half_window_rad;
    double cruise_rad_per_s;
    double acceleration_rad_per_s2;
    int32_t smoothing_ticks; /* moving average that limits the jerk, 1 to RIG_SMOOTHING_MAX */
    double smoothing_share;  /* 1 / smoothing_ticks */
    double compensation_share; /* of the low-pass of the torque per tick, 0: no compensation */
    double compensation_per_speed; /* 1 / speed of the reference from which on friction is full */
    double compensation_limit_nm;
    double compensation_least_speed; /* a slower axis does not move */
    int32_t compensation_ticks; /* shortest time of steady motion that is measured in */
    int32_t mean_ticks;      /* sequencer ticks over which the mean speed is measured */
    double means_per_s;      /* 1 / their duration */
    double standstill_rad_per_s; /* a smaller mean speed is standstill */
    double position_window_rad; /* so near to the target ... */
    double overspeed_rad_per_s; /* a larger mean speed, either way, is too high */
    double following_error_per_rad; /* 256 = the largest allowed */
    double must_move_rad_per_s; /* from this speed of the reference on the position must change */
    int32_t position_window_ticks; /* ... for so many sequencer ticks is arrived */
} rig_drive;

#endif
