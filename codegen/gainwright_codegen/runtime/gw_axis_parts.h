/*
 * Gainwright: what both ticks of an axis need, gw_axis.c and gw_axis_control.c. Not for firmware.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 */
#ifndef GW_AXIS_PARTS_H
#define GW_AXIS_PARTS_H

#include <stdint.h>

#include "gw_axis.h"

/* A word that the other tick writes is read once, and one that the other tick reads is written
 * once, in the order of the source. */
static inline int32_t gw_word_now(const volatile int32_t *word)
{
    return *word;
}

static inline uint32_t gw_number_now(const volatile uint32_t *number)
{
    return *number;
}

static inline uint16_t gw_count_now(const volatile uint16_t *count)
{
    return *count;
}

static inline uint8_t gw_byte_now(const volatile uint8_t *byte)
{
    return *byte;
}

static inline int8_t gw_code_now(const volatile int8_t *code)
{
    return *code;
}

static inline void gw_write_code(volatile int8_t *code, int32_t value)
{
    *code = (int8_t)value;
}

static inline void gw_write_word(volatile int32_t *word, int32_t value)
{
    *word = value;
}

static inline void gw_write_number(volatile uint32_t *number, uint32_t value)
{
    *number = value;
}

/* 1 if the axis knows its machine: it was initialised, and the pointer is not damaged. */
static inline int32_t gw_axis_knows_machine(const gw_axis *axis)
{
    return (axis->machine_again == ~(uintptr_t)axis->machine) ? 1 : 0;
}

static inline int32_t gw_sound_stage(int32_t stage)
{
    return ((uint32_t)stage < (uint32_t)GW_STAGE_SLOTS) ? stage : 0;
}

/* Forget all signals, what was heard and the pulse: a filter in mid-flight means nothing to other
 * coefficients. The control tick's own, and gw_axis_init's. */
static inline void gw_axis_forget(gw_axis *axis)
{
    gw_detector_reset(&axis->detector);
    gw_evidence_reset(&axis->evidence);
    gw_pulse_reset(&axis->pulse);
#if GW_HAS_LOOP_RESPONSE
    gw_response_reset(&axis->response);
#endif
}

#endif
