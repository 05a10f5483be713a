/* The rig's closed loop written out by hand, as a yardstick: see bare_loop.c. */
#ifndef GW_BARE_LOOP_H
#define GW_BARE_LOOP_H

#include <stdint.h>

#include "rig_model.h"

typedef struct bare_loop bare_loop;

/* Bytes that a loop needs; the host allocates, bare_loop_start writes all of it. */
int64_t bare_loop_size(void);

/* Two masses. The axis goes to and fro between -turn_rad and turn_rad with two gains. The numbers of
 * plant and drive are copied. */
void bare_loop_start(bare_loop *loop, const rig_plant *plant, const rig_drive *drive,
                     double down_gain, double up_gain, double turn_rad, uint64_t seed);

/* Runs sequencer_ticks times the drive's control ticks per sequencer tick. */
void bare_loop_run(bare_loop *loop, int64_t sequencer_ticks);

/* Where the motor is, rad. */
double bare_loop_angle(const bare_loop *loop);

#endif
