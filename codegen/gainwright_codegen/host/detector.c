/* Runs the exported detector and test pulse over whole arrays. Not part of any export. */
#include "detector.h"

void detector_host_run(gw_detector *detector, const gw_detector_settings *settings, int64_t count,
                       const int32_t *torque_command, const int32_t *speed_error,
                       int32_t *ring_level, int32_t *burst_level)
{
    int64_t k;

    for (k = 0; k < count; k++) {
        gw_detector_sample(detector, settings, torque_command[k], speed_error[k]);
        ring_level[k] = detector->ring.level;
        burst_level[k] = detector->burst.level;
    }
}

void detector_host_pulse(gw_pulse *pulse, const gw_pulse_shape *shape, int64_t count,
                         const uint8_t *start, const int32_t *height, int32_t *torque)
{
    int64_t k;

    for (k = 0; k < count; k++) {
        if (start[k] != 0) {
            gw_pulse_start(pulse, height[k], gw_pulse_complement(height[k]));
        }
        torque[k] = gw_pulse_sample(pulse, shape);
    }
}
