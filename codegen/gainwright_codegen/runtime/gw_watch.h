/*
 * Gainwright: what a drive watches beside its own monitors, once per sequencer tick: a position that
 * stands still although its reference moves, and torque that is strained for long.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * A frozen encoder may report itself valid for ever. What it cannot do is follow the reference. And
 * each oscillation that the trial provokes may be short, while all together heat motor and brake.
 * gainwright.detector.watch is the same bit for bit.
 *
 * Written and read by the sequencer tick only. The drive gives still_ticks and strained_ticks to the
 * trial's inputs of these names.
 */
#ifndef GW_WATCH_H
#define GW_WATCH_H

#include <stdint.h>

#define GW_WATCH_TICKS_MAX INT32_C(65535)
/* Burst level of strained torque: half the energy of a burst. */
#define GW_WATCH_STRAIN_LEVEL INT32_C(128)

typedef struct {
    int32_t position;       /* at the last tick, encoder counts; may go round */
    int32_t still_ticks;    /* with the reference moving, since the position changed */
    int32_t strained_ticks; /* less those in which torque was not strained since */
} gw_watch;

/* What the drive knows at a sequencer tick. */
typedef struct {
    int32_t position;    /* encoder counts */
    int32_t torque_on;   /* 0: there is no torque, so nothing has to move */
    int32_t must_move;   /* the speed reference is at least a quarter of cruise speed, either way */
    int32_t saturated;   /* the trial's input torque_saturated */
    int32_t burst_level; /* gw_axis.evidence.burst */
} gw_watched;

static inline void gw_watch_reset(gw_watch *watch, int32_t position)
{
    watch->position = position;
    watch->still_ticks = 0;
    watch->strained_ticks = 0;
}

static inline int32_t gw_watch_one_more(int32_t ticks)
{
    return (ticks < GW_WATCH_TICKS_MAX) ? (ticks + 1) : GW_WATCH_TICKS_MAX;
}

static inline void gw_watch_tick(gw_watch *watch, const gw_watched *now)
{
    if ((now->position != watch->position) || (now->torque_on == 0)) {
        watch->still_ticks = 0;
    } else if (now->must_move != 0) {
        watch->still_ticks = gw_watch_one_more(watch->still_ticks);
    } else {
        /* It may stand, and what it stood before still counts. */
    }
    watch->position = now->position;
    if ((now->torque_on != 0)
        && ((now->saturated != 0) || (now->burst_level >= GW_WATCH_STRAIN_LEVEL))) {
        watch->strained_ticks = gw_watch_one_more(watch->strained_ticks);
    } else if (watch->strained_ticks > 0) {
        watch->strained_ticks -= 1;
    } else {
        /* It has recovered. */
    }
}

#endif
