/*
 * Gainwright: one axis under trial: sequencer, detector and test pulse, tied together.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Firmware calls gw_axis_control_tick once per control tick, adds what it returns to the torque
 * command, and calls gw_axis_sequencer_tick once per sequencer tick; both from the same context, or
 * with the first locked out while the second runs. Everything else reads axis->outputs.
 */
#ifndef GW_AXIS_H
#define GW_AXIS_H

#include <stdint.h>

#include "gw_detector.h"
#include "gw_machine.h"
#include "gw_pulse.h"
#include "gw_sequencer.h"
#include "gw_trial.h"

typedef struct {
    gw_sequencer sequencer;
    gw_detector detector;
    gw_pulse pulse;
    int32_t stage; /* stage whose detector settings and pulse apply */
    int32_t inputs[GW_INPUT_SLOTS];   /* as the last sequencer tick saw them */
    int32_t outputs[GW_OUTPUT_SLOTS]; /* as the last sequencer tick left them */
} gw_axis;

void gw_axis_reset(gw_axis *axis);

/* Torque command before the test pulse, and speed error; both Q4.24. Returns the torque to add. */
int32_t gw_axis_control_tick(gw_axis *axis, int32_t torque_command, int32_t speed_error);

/* drive_inputs has one value per input of the trial; the detector's own inputs are overwritten.
 * Returns the row taken, or a negative number if the table was left as it was
 * (see gw_sequencer_step). */
int32_t gw_axis_sequencer_tick(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS]);

/* The gain of a stage that applies now, in the format of gw_gain_ladder. */
int32_t gw_axis_gain(const gw_axis *axis, int32_t stage);

#endif
