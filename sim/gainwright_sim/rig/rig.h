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
typedef struct {
    int32_t kind; /* enum rig_fault_kind */
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
    float *signals;     /* capacity x RIG_SIGNAL_COUNT */
    int32_t control_ticks; /* control ticks kept per sequencer tick, 0: none */
    int32_t *control;      /* capacity x control_ticks x 2: what the detector saw, Q4.24 */
} rig_log;

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
