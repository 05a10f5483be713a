/*
 * Gainwright: one axis under trial: sequencer, detector and test pulse, tied together.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Firmware calls gw_axis_control_tick once per control tick, adds what it returns to the torque
 * command, and calls gw_axis_sequencer_tick once per sequencer tick. Everything else reads
 * axis->outputs.
 *
 * Two priorities: the control tick may interrupt the sequencer tick anywhere, and must not be
 * interrupted by it. Every field is written by one of the two only, as said below, and what crosses
 * between them is a single aligned 32-bit word, or stands ready before the word that announces it.
 *
 * Errors latch. Whatever the caller does with the code: from a negative code on, until
 * gw_axis_reset, the outputs ask for nothing but show the fault (gw_trial_fault_outputs), no
 * pulse is played and every sequencer tick returns that code again.
 */
#ifndef GW_AXIS_H
#define GW_AXIS_H

#include <stdint.h>

#include "gw_detector.h"
#include "gw_evidence.h"
#include "gw_machine.h"
#include "gw_pulse.h"
#include "gw_sequencer.h"
#include "gw_trial.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Too few or too many control ticks; besides the codes of gw_sequencer.h. GW_BAD_MEMORY also says
 * that the axis' own memory was damaged or never reset. */
#define GW_BAD_RATE INT32_C(-4)

/* Tolerance: counted from the first sequencer tick after a reset, every GW_RATE_BLOCK sequencer
 * ticks must see GW_RATE_BLOCK * GW_CONTROL_TICKS_PER_SEQUENCER_TICK control ticks, a quarter more
 * or less. How many come before the first sequencer tick does not matter; nor do single late ticks
 * that the block makes up for. */
#define GW_RATE_BLOCK 8
#define GW_RATE_FEWEST ((GW_RATE_BLOCK * GW_CONTROL_TICKS_PER_SEQUENCER_TICK * 3) / 4)
#define GW_RATE_MOST ((GW_RATE_BLOCK * GW_CONTROL_TICKS_PER_SEQUENCER_TICK * 5) / 4)

#if GW_MACHINE_RUNTIME_VERSION != GW_RUNTIME_VERSION
#error "gw_machine.h was made for another version of the static files"
#endif
#if GW_MACHINE_TRIAL_FINGERPRINT != GW_TRIAL_FINGERPRINT
#error "gw_machine.h and gw_trial.h are from different exports"
#endif
#if (GW_CONTROL_TICKS_PER_SEQUENCER_TICK < 1) || (GW_RATE_MOST >= 65536)
#error "gw_axis: this many control ticks in a sequencer tick cannot be counted"
#endif
#if GW_RUNG_COUNT_MAX < 1
#error "gw_axis: a gain ladder has at least one rung"
#endif

/* Counts go round: they are taken modulo GW_COUNT_MAX + 1. */
#define GW_COUNT_MAX UINT32_C(65535)

/* What the sequencer tick asks of the control tick. */
typedef struct {
    int32_t stage;      /* whose detector settings and pulse apply, 0 to GW_STAGE_SLOTS - 1 */
    int32_t rung;       /* of that stage */
    int32_t hearing;    /* enum gw_hearing: what the detector's blocks belong to */
    int32_t height;     /* of the pulse that is to begin, Q4.24; 0: none */
    int32_t complement; /* gw_pulse_complement(height) */
    uint32_t number;    /* changes with every new order, and last */
} gw_axis_order;

/* The control ticks of the present block of sequencer ticks. */
typedef struct {
    uint32_t first;          /* control_ticks at its beginning */
    int32_t sequencer_ticks; /* since then; negative before the first sequencer tick */
} gw_axis_rate;

typedef struct {
    /* Written by the control tick. */
    gw_detector detector;
    gw_evidence evidence;
    gw_pulse pulse;
    int32_t stage;          /* whose settings detector and pulse have now */
    int32_t rung;           /* of the last order taken */
    int32_t hearing;        /* ... */
    uint32_t order_number;  /* of the last order taken */
    uint32_t control_ticks; /* so far */
    /* Written by the sequencer tick. */
    gw_sequencer sequencer;
    gw_axis_order order;
    gw_axis_rate rate;
    int32_t fault;     /* 0, or the code that latched */
    uint32_t checksum; /* over state, variables, order, rate, fault and outputs */
    int32_t inputs[GW_INPUT_SLOTS];   /* as the last sequencer tick saw them */
    int32_t outputs[GW_OUTPUT_SLOTS]; /* as the last sequencer tick left them */
} gw_axis;

/* To be called before either tick may run. */
void gw_axis_reset(gw_axis *axis);

/* Torque command before the test pulse, and speed error; both Q4.24. Returns the torque to add:
 * never beyond the height of the pulse, and 0 after an error. */
int32_t gw_axis_control_tick(gw_axis *axis, int32_t torque_command, int32_t speed_error);

/* drive_inputs has one value per input of the trial; the detector's own inputs are overwritten.
 * Returns the row taken, or the negative code that has latched. */
int32_t gw_axis_sequencer_tick(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS]);

/* Its two halves, for who wants to look between them: what the table will see, and its step. */
void gw_axis_read_inputs(gw_axis *axis, const int32_t drive_inputs[GW_INPUT_SLOTS]);
int32_t gw_axis_step(gw_axis *axis);

/* Take the fields of the axis for sound as they are: for checkers that put it where they want. Not
 * for firmware. */
void gw_axis_seal(gw_axis *axis);

/* The gain of a stage that applies now, in the format of gw_gain_ladder. */
int32_t gw_axis_gain(const gw_axis *axis, int32_t stage);

#ifdef __cplusplus
}
#endif

#endif
