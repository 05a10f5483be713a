/* Runs the exported detector and test pulse over whole arrays. Not part of any export. */
#ifndef DETECTOR_HOST_H
#define DETECTOR_HOST_H

#include <stdint.h>

#include "gw_detector_tick.h"
#include "gw_pulse.h"

void detector_host_run(gw_detector *detector, const gw_detector_settings *settings, int64_t count,
                       const int32_t *torque_command, const int32_t *speed_error,
                       int32_t *ring_level, int32_t *burst_level);
void detector_host_pulse(gw_pulse *pulse, const gw_pulse_shape *shape, int64_t count,
                         const uint8_t *start, const int32_t *height, int32_t *torque);

#endif
