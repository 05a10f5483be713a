/*
 * Rig: the position sensor at the load, and the position loop that may be closed over it instead of
 * the motor's encoder. After a change either way the loop begins without an error: what the new source
 * and the reference are apart then does not count.
 */
#ifndef GW_RIG_LOAD_SENSOR_H
#define GW_RIG_LOAD_SENSOR_H

#include "rig_math.h"
#include "rig_model.h"

typedef struct {
    double late[RIG_LOAD_DELAY_MAX]; /* positions on their way to the drive */
    int32_t next;
    double head[2];      /* on its bracket: position, and speed less 2 z w times the load's position */
    double position_rad; /* as the drive sees it, in whole counts */
    double apart_rad;    /* of the source from the reference, at the last change */
    int32_t closed;      /* the position loop is closed over this sensor */
} rig_load_sensor;

static inline double rig_load_counted(const rig_drive *drive, double position)
{
    return rig_floor(position * drive->load_counts_per_rad) * drive->load_count_rad;
}

/* Where the head is at this tick; it goes on to the next. */
static inline double rig_load_head(rig_load_sensor *s, const rig_drive *drive, double position)
{
    const double at = s->head[0];
    const double moves = s->head[1];

    if (drive->load_mounted == 0) {
        return position;
    }
    s->head[0] = drive->load_mounting[0][0] * at + drive->load_mounting[0][1] * moves
                 + drive->load_moved[0] * position;
    s->head[1] = drive->load_mounting[1][0] * at + drive->load_mounting[1][1] * moves
                 + drive->load_moved[1] * position;
    return at;
}

static inline void rig_load_sensor_start(rig_load_sensor *s, const rig_drive *drive, double position)
{
    int32_t i;

    s->head[0] = position;
    s->head[1] = -drive->load_drag * position;
    s->position_rad = rig_load_counted(drive, position);
    for (i = 0; i < drive->load_delay_ticks; i++) {
        s->late[i] = s->position_rad;
    }
}

/* Once per control tick. */
static inline void rig_load_sensor_read(rig_load_sensor *s, const rig_drive *drive, double position)
{
    const double counted = rig_load_counted(drive, rig_load_head(s, drive, position));

    if (drive->load_delay_ticks == 0) {
        s->position_rad = counted;
        return;
    }
    s->position_rad = s->late[s->next];
    s->late[s->next] = counted;
    s->next = (s->next + 1 < drive->load_delay_ticks) ? s->next + 1 : 0;
}

static inline void rig_load_sensor_close(rig_load_sensor *s, const rig_drive *drive, int32_t closed,
                                         double motor_rad, double reference_rad)
{
    const int32_t wanted = ((closed != 0) && (drive->load_count_rad > 0.0)) ? 1 : 0;

    if (wanted != s->closed) {
        s->apart_rad = ((wanted != 0) ? s->position_rad : motor_rad) - reference_rad;
    }
    s->closed = wanted;
}

/* What the position loop compares with its reference. */
static inline double rig_loop_position(const rig_load_sensor *s, double motor_rad)
{
    return ((s->closed != 0) ? s->position_rad : motor_rad) - s->apart_rad;
}

static inline enum rig_setting rig_loop_gain(const rig_load_sensor *s)
{
    return (s->closed != 0) ? RIG_LOAD_POSITION_GAIN : RIG_POSITION_GAIN;
}

#endif
