/* Random values for a program that runs. */
#ifndef ANY_RANDOM_H
#define ANY_RANDOM_H

#include <stdint.h>

void gw_any_seed(uint64_t seed);

#endif
