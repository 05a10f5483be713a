/* Checks of the sequencer: see check_step.c. */
#ifndef CHECK_STEP_H
#define CHECK_STEP_H

void gw_check_step_any_memory(void);
void gw_check_step(void);
void gw_check_step_all(void);

#endif
