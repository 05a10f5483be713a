/*
 * The closed loop of the rig written out by hand for two masses: plant, friction, noise, encoder,
 * move generator and speed loop, and nothing else. No detector, no sequencer, no record. It is the
 * yardstick for what those cost; a test shows that it moves the axis exactly as the rig does.
 */
#include "bare_loop.h"

#include "rig_compensation.h"
#include "rig_math.h"
#include "rig_measured.h"
#include "rig_motion.h"
#include "rig_noise.h"
#include "rig_plant.h"

enum { STATES = 5, MOTOR_SPEED = 2, LOAD_SPEED = 3 };

struct bare_loop {
    rig_plant plant;
    rig_drive drive;
    double gains[2]; /* on the way down and up */
    int32_t upwards;
    double turn_rad;
    double target_rad;
    rig_motion motion;
    uint64_t noise;
    double x[STATES];
    double pending[RIG_DELAY_MAX];
    int32_t pending_next;
    rig_measured measured;
    rig_compensation compensation;
    double integral;
    double external_turns;
};

int64_t bare_loop_size(void)
{
    return (int64_t)sizeof(bare_loop);
}

double bare_loop_angle(const bare_loop *loop)
{
    return loop->x[0];
}

void bare_loop_start(bare_loop *loop, const rig_plant *plant, const rig_drive *drive,
                     double down_gain, double up_gain, double turn_rad, uint64_t seed)
{
    int32_t i;

    loop->plant = *plant;
    loop->drive = *drive;
    loop->gains[0] = down_gain;
    loop->gains[1] = up_gain;
    loop->upwards = 0;
    loop->turn_rad = turn_rad;
    loop->noise = rig_noise_seed(seed);
    for (i = 0; i < STATES; i++) {
        loop->x[i] = (i < MOTOR_SPEED) ? 0.5 * drive->encoder.count_rad : 0.0;
    }
    for (i = 0; i < RIG_DELAY_MAX; i++) {
        loop->pending[i] = 0.0;
    }
    loop->pending_next = 0;
    loop->target_rad = -turn_rad;
    rig_measured_start(&loop->measured, drive, rig_counted(&drive->encoder, loop->x[0]));
    loop->integral = 0.0;
    loop->external_turns = 0.0;
    rig_compensation_start(&loop->compensation);
    rig_motion_start(&loop->motion, drive, loop->measured.position_rad);
}

static void turn_at_the_end(bare_loop *loop)
{
    rig_measured_report(&loop->measured, &loop->drive, &loop->motion, loop->target_rad);
    if (loop->measured.target_reached != 0) {
        loop->integral *= loop->gains[loop->upwards] / loop->gains[1 - loop->upwards];
        loop->upwards = 1 - loop->upwards;
        loop->target_rad = (loop->upwards != 0) ? loop->turn_rad : -loop->turn_rad;
    }
}

static inline double new_torque(bare_loop *loop, double gain)
{
    const rig_drive *d = &loop->drive;
    const double before = loop->measured.position_rad;
    double measured;
    double error;
    double integral;
    double torque;

    loop->measured.position_rad = rig_counted(&d->encoder, loop->x[0]);
    measured = (d->speed_sensor != 0) ? loop->x[MOTOR_SPEED]
                                      : (loop->measured.position_rad - before) * d->ticks_per_s;
    loop->measured.speed_rad_per_s
        += d->filter_share * (measured - loop->measured.speed_rad_per_s);
    rig_motion_step(&loop->motion, d, loop->target_rad, 1);
    error = loop->motion.smooth_speed
            + d->setting[RIG_POSITION_GAIN]
                  * (loop->motion.smooth - loop->measured.position_rad)
            - loop->measured.speed_rad_per_s;
    if (d->setting[RIG_INTEGRAL_RATE] > 0.0) {
        loop->integral = rig_compensation_lead(&loop->compensation, d, loop->motion.smooth_speed,
                                               loop->integral * gain)
                         / gain;
    }
    integral = loop->integral + error * d->tick_s * d->setting[RIG_INTEGRAL_RATE];
    torque = gain * (error + integral)
             + rig_compensation_torque(&loop->compensation, d, loop->motion.smooth_speed);
    if (torque == rig_limited(torque, d->torque_limit_nm)) {
        loop->integral = integral;
    }
    torque = rig_limited(torque, d->torque_limit_nm);
    rig_compensation_step(&loop->compensation, d, &loop->motion, torque,
                          loop->measured.speed_rad_per_s);
    return torque;
}

static inline rig_added disturbance(bare_loop *loop, double torque)
{
    const rig_disturbances *d = &loop->plant.disturbances;
    const double angle = loop->x[0] + 0.5 * loop->drive.tick_s * loop->x[MOTOR_SPEED];

    loop->external_turns += d->external_turns_per_tick;
    loop->external_turns -= rig_floor(loop->external_turns);
    return rig_disturbance(d, angle, torque, 1, loop->external_turns);
}

static inline void move_axis(bare_loop *loop, double torque, rig_added added)
{
    const rig_plant *p = &loop->plant;
    double next[STATES];
    int32_t i;
    int32_t j;

    for (i = 0; i < STATES; i++) {
        next[i] = p->command[i] * torque + p->constant[i];
    }
    for (j = 0; j < STATES; j++) {
        for (i = 0; i < STATES; i++) {
            next[i] += p->a[j * STATES + i] * loop->x[j];
        }
    }
    if (p->disturbances.present != 0) {
        for (i = 0; i < STATES; i++) {
            next[i] += p->motor[i] * added.motor_nm + p->load[i] * added.load_nm;
        }
    }
    rig_rub(p, loop->x, next, 0.0, STATES);
}

void bare_loop_run(bare_loop *loop, int64_t sequencer_ticks)
{
    int64_t tick;
    int32_t i;

    for (tick = 0; tick < sequencer_ticks; tick++) {
        double gain;

        turn_at_the_end(loop);
        gain = loop->gains[loop->upwards];
        for (i = 0; i < loop->drive.sequencer_ticks; i++) {
            const double noise = loop->drive.noise_nm * rig_noise(&loop->noise);
            const double applied = loop->pending[loop->pending_next] + noise;
            rig_added added = {0.0, 0.0};

            loop->pending[loop->pending_next] = new_torque(loop, gain);
            loop->pending_next
                = (loop->pending_next + 1 < loop->drive.delay_ticks) ? loop->pending_next + 1 : 0;
            if (loop->plant.disturbances.present != 0) {
                added = disturbance(loop, applied);
            }
            move_axis(loop, applied, added);
        }
    }
}
