/*
 * Gainwright: one axis under trial: sequencer, detector and test pulse, tied together.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * Firmware calls gw_axis_control_tick once per control tick, adds what it returns to the torque
 * command, and calls gw_axis_sequencer_tick once per sequencer tick. Everything else reads
 * axis->outputs and gw_axis_gain. Any number of axes, of any machines, may be there.
 *
 * Two priorities: the control tick may interrupt the sequencer tick anywhere, and must not be
 * interrupted by it. Every field is written by one of the two only, as said below, and what crosses
 * between them is a single aligned word, or stands ready before the word that announces it.
 *
 * Errors latch. Whatever the caller does with the code: from a negative code on, until
 * gw_axis_init, the outputs ask for nothing but show the fault (gw_trial_fault_outputs), no
 * pulse is played and every sequencer tick returns that code again.
 */
#ifndef GW_AXIS_H
#define GW_AXIS_H

#include <stdint.h>

#include "gw_detector.h"
#include "gw_evidence.h"
#include "gw_loop_response.h"
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
 * ticks must see GW_RATE_BLOCK times the machine's control_ticks, a quarter more or less. How many
 * come before the first sequencer tick does not matter; nor do single late ticks that the block makes
 * up for. */
#define GW_RATE_BLOCK 8
#define GW_RATE_FEWEST(control_ticks) ((GW_RATE_BLOCK * (control_ticks) * 3) / 4)
#define GW_RATE_MOST(control_ticks) ((GW_RATE_BLOCK * (control_ticks) * 5) / 4)
/* More control ticks in a sequencer tick than this cannot be counted. */
#define GW_CONTROL_TICKS_MAX 6553

#if (GW_STAGE_SLOTS > 255) || (GW_RUNG_COUNT_MAX > 255)
#error "gw_axis: an order has 8 bits for the stage and 8 for the rung"
#endif
#if GW_RUNG_COUNT_MAX < 1
#error "gw_axis: a gain ladder has at least one rung"
#endif

/* What the sequencer tick asks of the control tick. All that must belong together is one word. It is
 * taken in up to seven control ticks: pulse and blocks in the first, what was heard in the others; in
 * two more where a measurement of the loop response begins. */
typedef struct {
    uint32_t word;      /* GW_ORDER_...; changes with every new order, and is written last */
    int32_t height;     /* of the pulse that is to begin, Q4.24; 0: none */
    int32_t complement; /* gw_pulse_complement(height) */
} gw_axis_order;

/* Bytes of the word: stage (whose detector settings and pulse apply), rung of that stage, enum
 * gw_hearing (what the detector's blocks belong to), and pulses: whether one is requested, and how
 * many were ordered, counted round, so that each begins once, whatever order it is taken with. */
#define GW_ORDER_PULSE UINT32_C(0x01000000)
#define GW_ORDER_PULSE_COUNT_AT 25U
#define GW_ORDER_PULSES (UINT32_C(127) << GW_ORDER_PULSE_COUNT_AT)

static inline int32_t gw_order_stage(uint32_t word)
{
    const uint32_t stage = word & UINT32_C(255);

    return (int32_t)stage;
}

static inline int32_t gw_order_rung(uint32_t word)
{
    const uint32_t rung = (word >> 8U) & UINT32_C(255);

    return (int32_t)rung;
}

static inline int32_t gw_order_hearing(uint32_t word)
{
    const uint32_t hearing = (word >> 16U) & UINT32_C(255);

    return (int32_t)hearing;
}

/* What a control tick leaves to the next ones, one to each in which no block ends, the lowest first:
 * of an order the six parts of gw_evidence_hear and gw_evidence_new_gain; then a ring block that
 * ended together with a burst block. */
#define GW_DUE_END 1U
#define GW_DUE_DECAY 2U
#define GW_DUE_HEARING 4U
#define GW_DUE_GAIN 8U
#define GW_DUE_NOISE 16U
#define GW_DUE_RUNG 32U
#define GW_DUE_RING_BLOCK 64U
#define GW_DUE_OF_ORDER (GW_DUE_RING_BLOCK - 1U)

typedef struct {
    /* Written by the control tick. */
    gw_detector detector;
    gw_evidence evidence;
    gw_pulse pulse;
#if GW_HAS_LOOP_RESPONSE
    gw_loop_response response; /* by both ticks, as it says itself */
#endif
    uint32_t taken;         /* word of the last order begun: whose settings apply now */
    uint16_t control_ticks; /* so far; counted round */
    uint8_t rung;           /* of the last order taken: whose noise is heard */
    uint8_t due;            /* GW_DUE_...: what the next ticks will do */
    /* Written by the sequencer tick. */
    gw_sequencer sequencer;
    gw_axis_order order;
    uint16_t rate_first; /* control_ticks where the present block of sequencer ticks began */
    int8_t rate_ticks;   /* sequencer ticks since then; negative before the first one */
    int8_t fault;        /* 0, or the code that latched */
    uint32_t checksum;   /* over state, variables, order, rate and fault */
    int32_t outputs[GW_OUTPUT_SLOTS]; /* all written in every sequencer tick, from what is checked */
    /* Written by gw_axis_init. */
    const gw_machine *machine;
    uintptr_t machine_again; /* ~(uintptr_t)machine: a damaged pointer is never followed */
} gw_axis;

/* To be called before either tick may run, and to begin again after an error. */
void gw_axis_init(gw_axis *axis, const gw_machine *machine);

/* Torque command before the test pulse, and speed error; both Q4.24. Returns the torque to add:
 * never beyond the height of the pulse, and 0 after an error. */
int32_t gw_axis_control_tick(gw_axis *axis, int32_t torque_command, int32_t speed_error);

/* inputs has one value per input of the trial, as the drive has them; what the detector finds is
 * written over the detector's own inputs there. Returns the row taken, or the negative code that
 * has latched. */
int32_t gw_axis_sequencer_tick(gw_axis *axis, int32_t inputs[GW_INPUT_SLOTS]);

/* Its two halves, for who wants to look between them: what the detector finds, and the step of the
 * table. */
void gw_axis_find(const gw_axis *axis, int32_t inputs[GW_INPUT_SLOTS]);
int32_t gw_axis_step(gw_axis *axis, const int32_t inputs[GW_INPUT_SLOTS]);

/* Take the fields of the axis for sound as they are: for checkers that put it where they want. Not
 * for firmware. */
void gw_axis_seal(gw_axis *axis);

/* The gain of a stage that applies now, with the gain_fraction_bits of the stage; 0, which is no
 * gain of any ladder, if the axis does not know its machine: keep the drive's own start value. */
int32_t gw_axis_gain(const gw_axis *axis, int32_t stage);

#ifdef __cplusplus
}
#endif

#endif
