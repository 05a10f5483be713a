/* Checks that the sequencer does what the specification says: see check_specified.c. */
#ifndef CHECK_SPECIFIED_H
#define CHECK_SPECIFIED_H

void gw_check_specified_step(void);
void gw_check_specified_refusal(void);
void gw_check_specified_reset(void);

#endif
