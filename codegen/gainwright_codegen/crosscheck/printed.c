/* The bench as a program: control ticks on the signals of standard input, then a sequencer tick from
 * every golden row, all results as numbers, so that byte order plays no part. Not part of any export. */
#include <inttypes.h>
#include <stdio.h>

#include "bench.c"

static void print_words(const int32_t words[], int32_t count)
{
    int32_t k;

    for (k = 0; k < count; k++) {
        (void)printf(" %" PRId32, words[k]);
    }
}

static void print_axis(void)
{
    const gw_axis *axis = &bench_axis;
    int32_t k;

    (void)printf(" %" PRIu32 " %" PRId32, axis->order.word, axis->order.height);
    (void)printf(" %" PRId32, axis->sequencer.state);
    for (k = 0; k < GW_VARIABLE_COUNT; k++) {
        (void)printf(" %" PRId32, (int32_t)axis->sequencer.variables[k]);
    }
    print_words(axis->outputs, GW_OUTPUT_COUNT);
    for (k = 0; k < GW_STAGE_SLOTS; k++) {
        (void)printf(" %" PRId32, gw_axis_gain(axis, k));
    }
    (void)printf(" %" PRIu32 "\n", axis->checksum);
}

int main(void)
{
    int32_t torque_command;
    int32_t speed_error;
    uint32_t tick = 0U;
    uint32_t number;

    (void)printf("%" PRIu32 "\n", gw_selftest_run());
    bench_init();
    while (scanf("%" SCNd32 " %" SCNd32, &torque_command, &speed_error) == 2) {
        if ((tick % 160U) == 0U) {
            bench_pulse(0);
        }
        tick++;
        (void)printf("%" PRId32, gw_axis_control_tick(&bench_axis, torque_command, speed_error));
        (void)printf(" %" PRId32 " %" PRId64, bench_axis.detector.ring.level,
                     bench_axis.detector.ring.energy);
        (void)printf(" %" PRId32 " %" PRId64 "\n", bench_axis.detector.burst.level,
                     bench_axis.detector.burst.energy);
    }
    for (number = 0U; number < GOLDEN_ROWS; number++) {
        bench_place(number);
        gw_axis_find(&bench_axis, bench_found);
        (void)printf("%" PRId32, gw_axis_step(&bench_axis, bench_inputs));
        print_words(bench_found, GW_INPUT_COUNT);
        print_axis();
    }
    return 0;
}
