/*
 * Gainwright, lockstep of gw_axis: what the host calls; see lockstep.c.
 */
#ifndef GL_LOCKSTEP_H
#define GL_LOCKSTEP_H

#include <stdint.h>

void gl_reset(void);
int32_t gl_control_tick(int32_t torque_command, int32_t speed_error);
int32_t gl_order_is_taken(void);
int32_t gl_sequencer_tick(const int32_t drive_inputs[], int32_t forced);
int32_t gl_hold(uint32_t count, const int32_t drive_inputs[], uint32_t ticks[]);
int32_t gl_input(int32_t number);
int32_t gl_output(int32_t number);
uint32_t gl_rows_taken(void);

#endif
