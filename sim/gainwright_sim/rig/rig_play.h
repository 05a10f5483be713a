/* Rig: springs that do not hold both ways: see plant/play.py. */
#ifndef GW_RIG_PLAY_H
#define GW_RIG_PLAY_H

#include "rig_math.h"
#include "rig_model.h"

static inline double rig_excess(const rig_play *p, double twist)
{
    const double half = 0.5 * p->gap_rad;
    double excess = p->gap_stiffness * ((twist > half) ? half : ((twist < -half) ? -half : twist));

    if (p->pretension_nm > 0.0) {
        const double over = p->second * twist - p->pretension_nm;
        const double under = p->first * twist + p->pretension_nm;

        excess += (over > 0.0) ? over : 0.0;
        excess += (under < 0.0) ? under : 0.0;
    }
    return excess;
}

#endif
