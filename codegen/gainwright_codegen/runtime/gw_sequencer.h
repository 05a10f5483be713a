/*
 * Gainwright: the sequencer walks the decision tables of a trial, one step per sequencer tick.
 *
 * NOT A SAFETY FUNCTION. Firmware that uses this file moves machinery on purpose and drives it to
 * the edge of instability. People stay out of the hazard zone; an independent emergency stop, limit
 * switches and safe torque off must be in place and tested first; vertical axes need a brake or
 * counterweight. Risk assessment, local codes and licensed practice decide. The outputs ask; the
 * drive's own interlocks have the last word.
 *
 * Inputs, outputs and variables are arrays in the order of the specification (the enums of
 * gw_trial.h); a boolean value is 0 or 1.
 *
 * One tick: conditions are evaluated on the old variables and the inputs; exactly one row of the
 * present state must hold; its actions read old values only and saturate; the state changes. The
 * outputs are functions of the new state and variables.
 */
#ifndef GW_SEQUENCER_H
#define GW_SEQUENCER_H

#include <stdint.h>

#include "gw_trial.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A negative return value of a step: nothing was changed, and the firmware must withdraw torque by
 * its own means. None of them can happen with intact code and memory. */
#define GW_NO_ROW INT32_C(-1)
#define GW_SEVERAL_ROWS INT32_C(-2)
#define GW_BAD_MEMORY INT32_C(-3) /* A state or variable is outside its range. */

typedef struct {
    int32_t state;
    gw_variable_set saturated; /* Bit k: variable k was limited in the last step. */
    gw_variable_value variables[GW_VARIABLE_SLOTS];
} gw_sequencer;

/* Initial state and variables. */
void gw_sequencer_reset(gw_sequencer *sequencer);

/* One tick. An input outside its range is taken as the nearest value of the range. Returns the
 * position in the specification of the row that was taken, or one of the codes above. */
int32_t gw_sequencer_step(gw_sequencer *sequencer, const int32_t inputs[GW_INPUT_SLOTS]);

/* The same without looking at memory first: state and variables must be inside their ranges. */
int32_t gw_sequencer_advance(gw_sequencer *sequencer, const int32_t inputs[GW_INPUT_SLOTS]);

/* Outputs of the present state; damaged memory gives outputs that ask for nothing. */
void gw_sequencer_outputs(const gw_sequencer *sequencer, int32_t outputs[GW_OUTPUT_SLOTS]);

#ifdef __cplusplus
}
#endif

#endif
