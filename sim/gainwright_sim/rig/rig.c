/* Gainwright rig: see rig.h. */
#include "rig.h"

#include <math.h>
#include <string.h>

#include "rig_noise.h"
#include "rig_plant.h"
#include "rig_play.h"
#include "rig_record.h"
#include "rig_state.h"
#include "rig_supply.h"

/* What a fault does to encoder or motor. */
#define RIG_JUMP_RAD 0.02
#define RIG_PAUSE_S 0.05
#define RIG_WEAK_SHARE 0.3
/* An ended trial is watched until the axis has stood still for RIG_REST_TICKS sequencer ticks, so
 * that coasting and a closing brake are seen; a speed below this share of cruise speed counts. */
#define RIG_REST_TICKS 50
#define RIG_REST_SHARE 0.01
#define RIG_WATCHED_TICKS 2000 /* ... but no longer than this: not every axis has friction */

int64_t rig_size(void)
{
    return (int64_t)sizeof(rig);
}

static void clear_window(rig *r)
{
    r->window.torque_low = r->torque;
    r->window.torque_high = r->torque;
    r->window.oscillation = 0.0;
    r->window.limited_ticks = 0;
}

/* The drive forgets what it was doing: no torque, reference at the present position. */
static void rest_drive(rig *r)
{
    rig_compensation_start(&r->compensation);
    r->integral = 0.0;
    r->load.closed = 0;
    r->load.apart_rad = 0.0;
    rig_motion_start(&r->motion, &r->drive, r->measured.position_rad);
}

void rig_start(rig *r, const gw_machine *machine, const rig_plant *plant, const rig_drive *drive,
               const rig_binding *binding, const rig_override *overrides, int32_t override_count,
               const rig_fault *fault, uint64_t seed)
{
    int32_t i;

    memset(r, 0, sizeof *r);
    r->plant = *plant;
    r->drive = *drive;
    r->full_cruise_rad_per_s = drive->cruise_rad_per_s;
    r->binding = *binding;
    r->overrides = overrides;
    r->override_count = override_count;
    r->fault = *fault;
    r->noise = rig_noise_seed(seed);
    r->step.wanted = (binding->output[RIG_POSITION_STEP] >= 0) ? 1 : 0;
    r->brake_share = 1.0;
    /* Half a count off the step of the encoder, where rounding could make it flicker. */
    for (i = 0; i < r->plant.motor_speed; i++) {
        r->x[i] = ((i > 0) && (i == plant->base)) ? 0.0 : 0.5 * drive->encoder.count_rad;
    }
    rig_measured_start(&r->measured, drive, rig_counted(&r->drive.encoder, r->x[0]));
    gw_watch_reset(&r->watch, encoder_counts(r));
    rig_load_sensor_start(&r->load, drive, r->x[r->plant.motor_speed - 1]);
    r->ringing.number = -1;
    r->start_rad = r->measured.position_rad;
    r->target_rad = r->start_rad;
    gw_axis_init(&r->axis, machine);
    rest_drive(r);
    clear_window(r);
}

/* A new speed gain carries the torque of the integral part over, as the exported guide asks. */
static void change_setting(rig *r, int32_t setting, double value)
{
    if ((setting == RIG_SPEED_GAIN) && (value != r->drive.setting[setting]) && (value > 0.0)) {
        r->integral *= r->drive.setting[setting] / value;
    }
    r->drive.setting[setting] = value;
}

static void obey_outputs(rig *r)
{
    const int32_t torque_on = output_of(r, RIG_TORQUE_REQUEST, 0);
    int32_t stage;

    if ((torque_on != 0) && (r->torque_on == 0)) {
        rest_drive(r);
    }
    r->torque_on = torque_on;
    r->motion_on = output_of(r, RIG_MOTION_ENABLE, 1);
    r->drive.cruise_rad_per_s
        = r->full_cruise_rad_per_s * (output_of(r, RIG_CRUISE_SHARE, FULL_SHARE) / (double)FULL_SHARE);
    r->target_rad = r->start_rad
                    + r->drive.half_window_rad * (output_of(r, RIG_TARGET_POSITION, 0) / Q15);
    for (stage = 0; stage < GW_STAGE_COUNT; stage++) {
        change_setting(r, r->binding.setting[stage],
                       gw_axis_gain(&r->axis, stage) * r->binding.setting_scale[stage]);
    }
    rig_step_set(&r->step, &r->drive, output_of(r, RIG_POSITION_STEP, 0),
                 output_of(r, RIG_STEP_NUMBER, -1), r->motion.smooth_speed);
    if ((output_of(r, RIG_POSITION_FROM_LOAD, 0) != 0) && (r->load.closed == 0)) {
        r->ringing.points = 0;
        r->ringing.turned_decay = 0.0;
    }
    rig_load_sensor_close(&r->load, &r->drive, output_of(r, RIG_POSITION_FROM_LOAD, 0),
                          r->measured.position_rad, r->motion.smooth);
    rig_ringing_ask(&r->ringing, output_of(r, RIG_SHAKE_NUMBER, -1));
}

static void sequencer_tick(rig *r, rig_log *log)
{
    int32_t inputs[GW_INPUT_SLOTS] = {0};
    int32_t row;

    if ((r->broken != r->fault.kind) && (r->sequencer_tick >= r->fault.from)) {
        r->broken = r->fault.kind;
        r->broken_at_rad = r->x[0];
    }
    rig_measured_report(&r->measured, &r->drive, &r->motion, r->target_rad);
    watch_axis(r);
    rig_ringing_tick(&r->ringing, &r->drive, &r->motion, r->measured.position_rad,
                     r->load.position_rad);
    rig_profile_tick(&r->profile, &r->drive, &r->motion, output_of(r, RIG_PROFILE_WATCH, 0),
                     r->target_rad, r->measured.position_rad,
                     (r->drive.load_count_rad > 0.0) ? r->load.position_rad : r->measured.position_rad);
    supply_inputs(r, inputs);
    gw_axis_find(&r->axis, inputs);
    force_inputs(r, inputs);
    row = gw_axis_step(&r->axis, inputs);
    obey_outputs(r);
    write_log(r, log, row, inputs);
    clear_window(r);
    r->sequencer_tick += 1;
    if (output_of(r, RIG_FINISHED, 0) || output_of(r, RIG_LIMITED_BY_NOISE, 0)
        || output_of(r, RIG_ABORTED, 0)
        || output_of(r, RIG_FAULT_LATCHED, 0)) {
        r->watched += 1;
        r->rested += (fabs(r->x[r->plant.motor_speed])
                      <= RIG_REST_SHARE * r->full_cruise_rad_per_s);
    }
}

/* The brake moves towards open or closed at the pace of its times. */
static double brake_torque(rig *r)
{
    if (r->broken == RIG_FAULT_AXIS_BLOCKED) {
        return RIG_BLOCKING_TORQUES * r->drive.torque_limit_nm;
    }
    if (r->plant.brake_torque_nm <= 0.0) {
        return 0.0;
    }
    if (output_of(r, RIG_BRAKE_OPEN, 1) != 0) {
        r->brake_share -= 1.0 / r->plant.brake_open_ticks;
        r->brake_share = (r->brake_share < 0.0) ? 0.0 : r->brake_share;
    } else {
        r->brake_share += 1.0 / r->plant.brake_close_ticks;
        r->brake_share = (r->brake_share > 1.0) ? 1.0 : r->brake_share;
    }
    return (r->brake_share > 1e-9) ? r->brake_share * r->plant.brake_torque_nm : 0.0;
}

static double speed_loop(rig *r)
{
    const double behind = r->motion.smooth + r->ringing.bump_rad
                          - rig_loop_position(&r->load, r->measured.position_rad);
    const double error = r->motion.smooth_speed + r->ringing.bump_rad_per_s
                         + r->drive.setting[rig_loop_gain(&r->load)]
                               * (behind + rig_step_tick(&r->step, &r->drive, behind))
                         - r->measured.speed_rad_per_s;
    const double gain = r->drive.setting[RIG_SPEED_GAIN];
    const double reference = r->motion.smooth_speed;
    double integral;
    double wanted;
    double torque;

    if ((r->drive.setting[RIG_INTEGRAL_RATE] > 0.0) && (gain > 0.0)) {
        r->integral = rig_compensation_lead(&r->compensation, &r->drive, reference,
                                            r->integral * gain)
                      / gain;
    }
    integral = r->integral + error * r->drive.tick_s * r->drive.setting[RIG_INTEGRAL_RATE];
    wanted = gain * (error + integral)
             + rig_compensation_torque(&r->compensation, &r->drive, reference);
    torque = rig_limited(wanted, r->drive.torque_limit_nm);
    r->speed_error = error;
    rig_step_listen(&r->step, &r->drive, error);
    if (torque == wanted) {
        r->integral = integral;
    } else {
        r->window.limited_ticks += 1;
    }
    rig_compensation_step(&r->compensation, &r->drive, &r->motion, torque,
                          r->measured.speed_rad_per_s);
    return torque;
}

static int32_t signal_word(double value, double words_per_unit)
{
    return (int32_t)rig_floor(rig_limited(value * words_per_unit, (double)GW_SIGNAL_LIMIT) + 0.5);
}

/* Oscillation is what the trial adds to the torque of the move: the controller's torque behind the
 * detector's high-pass, plus the test pulse as it is. Without torque there is none: the step to zero
 * when it is switched off is no oscillation. */
static void watch(rig *r, double pulse_torque)
{
    const int32_t filtered = r->axis.detector.burst.past[GW_DETECTOR_SECTIONS].last;
    const double value = (r->torque_on != 0)
                             ? fabs(filtered * r->drive.nm_per_torque_word + pulse_torque)
                             : 0.0;
    const double torque = r->torque;

    r->window.oscillation = (value > r->window.oscillation) ? value : r->window.oscillation;
    r->window.torque_low = (torque < r->window.torque_low) ? torque : r->window.torque_low;
    r->window.torque_high = (torque > r->window.torque_high) ? torque : r->window.torque_high;
}

static void log_control(const rig *r, rig_log *log, int32_t torque, int32_t speed_error)
{
    if (r->control_tick < log->control_ticks) {
        /* The sequencer tick that these control ticks follow has been counted already. */
        const int64_t line = r->sequencer_tick - 1 - log->first;
        int32_t *at = log->control + 2 * (line * log->control_ticks + r->control_tick);

        at[0] = torque;
        at[1] = speed_error;
    }
}

static double measured_speed(const rig *r, double position_before)
{
    return (r->drive.speed_sensor != 0) ? r->x[r->plant.motor_speed]
                                        : (r->measured.position_rad - position_before) * r->drive.ticks_per_s;
}

/* What the encoder takes the motor's position for. */
static double reported_rad(const rig *r)
{
    switch (r->broken) {
    case RIG_FAULT_POSITION_DOUBLED:
        return 2.0 * r->x[0] - r->broken_at_rad;
    case RIG_FAULT_POSITION_JUMPED:
        return r->x[0] + RIG_JUMP_RAD;
    default:
        return r->x[0];
    }
}

static int32_t position_stands(const rig *r)
{
    return ((r->broken == RIG_FAULT_POSITION_FROZEN)
            || ((r->broken == RIG_FAULT_POSITION_PAUSED)
                && ((r->sequencer_tick - r->fault.from) * r->drive.sequencer_ticks * r->drive.tick_s < RIG_PAUSE_S)))
               ? 1
               : 0;
}

/* Torque that this tick computes, test pulse included. */
static double control(rig *r, rig_log *log)
{
    const double before = r->measured.position_rad;
    double torque = 0.0;
    double pulse_torque = 0.0;
    int32_t torque_signal;
    int32_t error_signal;
    int32_t pulse;

    if (position_stands(r) == 0) {
        r->measured.position_rad = rig_counted(&r->drive.encoder, reported_rad(r));
    }
    if (r->drive.load_count_rad > 0.0) {
        const double load = r->x[r->plant.motor_speed - 1];

        if (r->broken != RIG_FAULT_LOAD_FROZEN) {
            rig_load_sensor_read(&r->load, &r->drive, (r->broken == RIG_FAULT_LOAD_REVERSED) ? -load : load);
        }
        rig_ringing_shake(&r->ringing, &r->drive);
    }
    r->measured.speed_rad_per_s
        += r->drive.filter_share * (measured_speed(r, before) - r->measured.speed_rad_per_s);
    r->speed_error = 0.0;
    if (r->torque_on != 0) {
        rig_motion_step(&r->motion, &r->drive, r->target_rad, r->motion_on);
        torque = speed_loop(r);
    }
    torque_signal = signal_word(torque, r->drive.torque_words_per_nm);
    error_signal = signal_word(r->speed_error, r->drive.speed_words_s_per_rad);
    pulse = gw_axis_control_tick(&r->axis, torque_signal, error_signal);
    log_control(r, log, torque_signal, error_signal);
    if ((r->torque_on != 0) && (r->broken != RIG_FAULT_PULSE_LOST)) {
        pulse_torque = pulse * r->drive.nm_per_torque_word;
    }
    r->torque = rig_limited(torque + pulse_torque, r->drive.torque_limit_nm);
    watch(r, pulse_torque);
    return r->torque;
}

static rig_added disturbance(rig *r, double torque_nm)
{
    const rig_disturbances *d = &r->plant.disturbances;
    /* Held over the tick: as in its middle, so that a torque over the angle adds no energy. */
    const double angle = r->x[0] + 0.5 * r->drive.tick_s * r->x[r->plant.motor_speed];
    rig_added none = {0.0, 0.0};
    rig_added added;

    if (d->present == 0) {
        return none;
    }
    r->external_turns += d->external_turns_per_tick;
    r->external_turns -= rig_floor(r->external_turns);
    added = rig_disturbance(d, angle, torque_nm, r->torque_on, r->external_turns);
    if (r->plant.play.present != 0) {
        const double twist = angle - (r->x[r->plant.motor_speed - 1]
                                      + 0.5 * r->drive.tick_s * r->x[r->plant.load_speed]);
        const double excess = rig_excess(&r->plant.play, twist);

        added.motor_nm += excess;
        added.load_nm -= excess;
    }
    return added;
}

static void control_tick(rig *r, rig_log *log)
{
    const double brake = brake_torque(r);
    const double noise = r->drive.noise_nm * rig_noise(&r->noise);
    const double wanted = r->pending[r->pending_next] + ((r->torque_on != 0) ? noise : 0.0);
    const double applied = (r->broken == RIG_FAULT_TORQUE_REVERSED) ? -wanted
                           : (r->broken == RIG_FAULT_TORQUE_LOST)   ? 0.0
                           : (r->broken == RIG_FAULT_TORQUE_WEAK)
                               ? rig_limited(wanted, RIG_WEAK_SHARE * r->drive.torque_limit_nm)
                           : (r->broken == RIG_FAULT_TORQUE_STUCK)  ? r->applied_nm
                                                              : wanted;

    /* The current loop makes the measured torque follow the command, and so carries the sensors'
     * errors over to the true one. */
    r->measured.torque_nm = r->x[r->plant.states - 1] - noise;
    r->pending[r->pending_next] = control(r, log);
    r->pending_next = (r->pending_next + 1 < r->drive.delay_ticks) ? r->pending_next + 1 : 0;
    r->applied_nm = (r->torque_on != 0) ? applied : 0.0;
    rig_plant_step(&r->plant, r->x, applied, disturbance(r, applied), brake);
    r->control_tick = (r->control_tick + 1 < r->drive.sequencer_ticks) ? r->control_tick + 1 : 0;
}

int32_t rig_ended(const rig *r)
{
    return (r->rested > RIG_REST_TICKS || r->watched > RIG_WATCHED_TICKS) ? 1 : 0;
}

int32_t rig_advance(rig *r, rig_log *log, int32_t sequencer_ticks, int32_t past_end)
{
    const int32_t room = log->first + log->capacity - r->sequencer_tick;
    const int32_t stop = r->sequencer_tick + ((room < sequencer_ticks) ? room : sequencer_ticks);

    while ((r->sequencer_tick < stop) && ((past_end != 0) || (rig_ended(r) == 0))) {
        sequencer_tick(r, log);
        do {
            control_tick(r, log);
        } while (r->control_tick != 0);
    }
    return r->sequencer_tick;
}

#if GW_HAS_LOOP_RESPONSE
int32_t rig_response_line(const rig *r, int32_t line, int32_t *inverse)
{
    const gw_loop_response *found = &r->axis.response;
    const int32_t stage = gw_order_stage(r->axis.order.word);

    gw_response_line(found, &r->axis.machine->stage[stage].response, line, inverse);
    return ((found->evaluated != 0) && (found->periods > 0)) ? found->rung : -1;
}
#else
int32_t rig_response_line(const rig *r, int32_t line, int32_t *inverse)
{
    (void)r;
    (void)line;
    (void)inverse;
    return -1;
}
#endif
