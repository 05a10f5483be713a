/* What the specification says of one step; plain_reference.py writes the functions. */
#ifndef PLAIN_REFERENCE_H
#define PLAIN_REFERENCE_H

#include "gw_sequencer.h"

/* Whether the state exists and every variable is inside its range. */
int plain_sound(int state, const int old[]);

/* One step from sound memory; returns the row, or -1 if none holds and -2 if several hold, and then
 * changes nothing. Bit k of limited: variable k stopped at the end of its range. */
int plain_step(int *state, int old[], const int raw[], unsigned long long *limited);

void plain_outputs(int state, const int old[], int out[]);
void plain_reset(int *state, int old[]);

/* Whether every name stands for its position in the specification. */
int plain_names(void);

#endif
