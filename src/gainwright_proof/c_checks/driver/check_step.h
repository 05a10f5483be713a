/* Checks of the sequencer: see check_step.c. */
#ifndef CHECK_STEP_H
#define CHECK_STEP_H

#include "gw_sequencer.h"

/* What the memory of a variable can hold. */
#if GW_VARIABLE_BITS == 16
#define GW_ANY_LOWEST INT16_MIN
#define GW_ANY_HIGHEST INT16_MAX
#else
#define GW_ANY_LOWEST INT32_MIN
#define GW_ANY_HIGHEST INT32_MAX
#endif

/* Any content of memory; and any inside the declared ranges. */
void any_memory(gw_sequencer *sequencer);
void any_sound_memory(gw_sequencer *sequencer);

void gw_check_step_any_memory(void);
void gw_check_step(void);
void gw_check_step_all(void);

#endif
