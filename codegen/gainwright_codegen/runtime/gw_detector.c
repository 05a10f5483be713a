/* Gainwright: detector of oscillation. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_detector.h"

/* Filtered signals lose 4 bits before they are squared: |value| <= 2^24, squares <= 2^48. */
#define GW_DETECTOR_HEADROOM_BITS 4U
#define GW_DETECTOR_HALF INT32_C(8)
#define GW_DETECTOR_MOVE INT32_C(0x20000000)
#define GW_DETECTOR_MOVED INT32_C(0x2000000)
#define GW_DETECTOR_ENERGY_MAX UINT64_C(0x3FFFFFFFFFFFFFFF)
#define GW_LEVEL_SCALE_BITS 24U

#if GW_DETECTOR_SECTIONS != 2
#error "gw_detector: filter() has two sections"
#endif

static void reset_band(gw_band *band)
{
    int32_t i;

    for (i = 0; i <= GW_DETECTOR_SECTIONS; i++) {
        band->past[i].last = 0;
        band->past[i].before = 0;
    }
    for (i = 0; i < GW_DETECTOR_SECTIONS; i++) {
        band->fraction[i] = GW_HIGHPASS_HALF;
    }
    band->energy = 0;
    band->ticks = 0;
    band->level = 0;
}

void gw_detector_reset(gw_detector *detector)
{
    reset_band(&detector->ring);
    reset_band(&detector->burst);
}

static void restart_block(gw_band *band)
{
    band->energy = 0;
    band->ticks = 0;
}

void gw_detector_restart_blocks(gw_detector *detector)
{
    restart_block(&detector->ring);
    restart_block(&detector->burst);
}

static int32_t section(gw_band *band, const gw_detector_settings *settings, int32_t i,
                       int32_t value)
{
    return gw_highpass_step(&settings->section[i], &band->past[i], &band->past[i + 1],
                            &band->fraction[i], value);
}

/* A signal without its lowest bits, rounded half up; moved up meanwhile, so that what is shifted has
 * no sign. */
static int32_t with_headroom(int32_t signal)
{
    const int32_t moved = signal + GW_DETECTOR_MOVE + GW_DETECTOR_HALF;
    const uint32_t shifted = (uint32_t)moved >> GW_DETECTOR_HEADROOM_BITS;

    return (int32_t)shifted - GW_DETECTOR_MOVED;
}

/* Section by section in one line: a loop keeps compilers from single saturating instructions. */
static int32_t filter(gw_band *band, const gw_detector_settings *settings, int32_t signal)
{
    int32_t value = gw_saturate_signal(signal);

    value = section(band, settings, 0, value);
    value = section(band, settings, 1, value);
    gw_highpass_push(&band->past[GW_DETECTOR_SECTIONS], value);
    return with_headroom(value);
}

static int32_t level_of(int64_t energy, const gw_level_settings *settings)
{
    const uint64_t shifted = (uint64_t)energy >> settings->shift; /* energy is never negative */
    const uint32_t bounded = (shifted > UINT32_MAX) ? UINT32_MAX : (uint32_t)shifted;
    const uint64_t level = ((uint64_t)bounded * (uint32_t)settings->scale) >> GW_LEVEL_SCALE_BITS;

    return (level > (uint64_t)GW_LEVEL_MAX) ? GW_LEVEL_MAX : (int32_t)level;
}

/* Adds one square; 1 where that completes a block, which gives a new level. A block that goes on
 * never holds more than GW_DETECTOR_BLOCK_MAX - 1 squares; the mask only says so where nobody counts
 * them, so that the sum can be seen not to overflow, whatever damaged memory holds. A damaged count
 * ends the block, so that none lasts for long. */
static int32_t add_square(gw_band *band, const gw_level_settings *settings, int32_t value)
{
    const uint64_t energy = (uint64_t)band->energy & (uint64_t)GW_DETECTOR_ENERGY_MAX;
    const uint32_t ticks = ((uint32_t)band->ticks & (uint32_t)INT32_MAX) + 1U;

    band->energy = (int64_t)energy + ((int64_t)value * value);
    band->ticks = (int32_t)ticks;
    if (ticks >= (uint32_t)settings->block_ticks) {
        band->level = level_of(band->energy, settings);
        band->energy = 0;
        band->ticks = 0;
        return 1;
    }
    return 0;
}

int32_t gw_detector_sample(gw_detector *detector, const gw_detector_settings *settings,
                           int32_t torque_command, int32_t speed_error)
{
    const int32_t ring = add_square(&detector->ring, &settings->ring,
                                    filter(&detector->ring, settings, speed_error));
    const int32_t burst = add_square(&detector->burst, &settings->burst,
                                     filter(&detector->burst, settings, torque_command));

    return (ring * GW_RING_BLOCK_ENDED) + (burst * GW_BURST_BLOCK_ENDED);
}
