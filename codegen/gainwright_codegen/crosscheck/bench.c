/* What a cross-check calls besides the exported functions. Not part of any export. */
#define GW_SELFTEST_NO_MAIN
#define GW_SELFTEST_PRINT(text, name, number) ((void)(text), (void)(name), (void)(number))
#include "gw_selftest.c"

#include <stddef.h>

#include "@MACHINE@.h"

#define GW_TOP_RUNG ((uint32_t)(GW_RUNG_COUNT_MAX - 1) << 8)

gw_axis bench_axis;
int32_t bench_inputs[GW_INPUT_SLOTS];
/* What the detector finds goes here: it would hide most rows, and the table is to see all. */
int32_t bench_found[GW_INPUT_SLOTS];

const uint32_t bench_sizes[8] = {
    (uint32_t)sizeof(gw_axis),
    /* Not up to the machine: before a pointer of 64 bits may be a gap that nobody writes. */
    (uint32_t)(offsetof(gw_axis, outputs) + sizeof((gw_axis *)0)->outputs),
    GOLDEN_ROWS,
    (uint32_t)GW_RATE_BLOCK,
    /* Where the fields of the sequencer tick begin, and some of them. */
    (uint32_t)offsetof(gw_axis, sequencer),
    (uint32_t)offsetof(gw_axis, rate),
    (uint32_t)offsetof(gw_axis, fault),
    (uint32_t)offsetof(gw_axis, outputs),
};

void bench_init(void);
void bench_init(void)
{
    gw_axis_init(&bench_axis, &@MACHINE@);
}

/* Put the axis where a golden row is taken, and its inputs into bench_inputs. */
void bench_place(uint32_t number);
void bench_place(uint32_t number)
{
    int32_t values[SIGNALS];
    uint32_t index;

    golden_vector(number, values);
    bench_init();
    bench_axis.sequencer.state = (int32_t)golden_rows[number].state;
    for (index = 0U; index < (uint32_t)GW_VARIABLE_SLOTS; index++) {
        bench_axis.sequencer.variables[index] = values[index];
    }
    for (index = 0U; index < (uint32_t)GW_INPUT_SLOTS; index++) {
        bench_inputs[index] = values[(uint32_t)GW_VARIABLE_SLOTS + index];
    }
    gw_axis_seal(&bench_axis);
}

/* 1 if the axis can measure a loop response; from the next control tick on it does. */
int32_t bench_measure(int32_t stage);
int32_t bench_measure(int32_t stage)
{
#if GW_HAS_LOOP_RESPONSE
    bench_axis.order.height = 0;
    bench_axis.order.word = (uint32_t)stage | ((uint32_t)GW_HEARING_RESPONSE << 16);
    bench_axis.taken = (uint32_t)stage;
    gw_axis_seal(&bench_axis);
    return 1;
#else
    (void)stage;
    return 0;
#endif
}

/* The next control tick takes an order; they follow each other as in a search: a move at a rung, its
 * noise, a pulse, and a lower rung. */
void bench_order(uint32_t number);
void bench_order(uint32_t number)
{
    static const uint32_t words[4] = {
        ((uint32_t)GW_HEARING_MOVE << 16) | GW_TOP_RUNG,
        ((uint32_t)GW_HEARING_NOISE << 16) | GW_TOP_RUNG,
        ((uint32_t)GW_HEARING_RINGING << 16) | GW_TOP_RUNG | GW_ORDER_PULSE,
        ((uint32_t)GW_HEARING_NOTHING << 16),
    };

    bench_axis.order.word = words[number % 4U];
    bench_axis.order.height
        = ((bench_axis.order.word & GW_ORDER_PULSE) != 0U) ? @MACHINE@.stage[0].pulse_height[0] : 0;
    bench_axis.order.complement = gw_pulse_complement(bench_axis.order.height);
    gw_axis_seal(&bench_axis);
}

/* Both blocks end in the next control tick, and so does what ringing fills: the most that comes
 * together. `number` goes through what they belong to. */
void bench_ends(uint32_t number);
void bench_ends(uint32_t number)
{
    const gw_detector_settings *settings = &@MACHINE@.stage[0].detector;

    bench_axis.detector.ring.ticks = settings->ring.block_ticks - 1;
    bench_axis.detector.burst.ticks = settings->burst.block_ticks - 1;
    bench_axis.evidence.hearing = (int32_t)(number % ((uint32_t)GW_HEARING_MOVE + 1U));
    bench_axis.evidence.ring_blocks = 1;
    bench_axis.evidence.groups = GW_GROUPS - 1;
    bench_axis.evidence.group_bits = 0;
    bench_axis.evidence.group_filled = 0;
}

/* The pulse of the first stage begins with the next control tick. */
void bench_pulse(uint32_t number);
void bench_pulse(uint32_t number)
{
    (void)number;
    bench_axis.order.height = @MACHINE@.stage[0].pulse_height[0];
    bench_axis.order.complement = gw_pulse_complement(bench_axis.order.height);
    bench_axis.order.word = GW_ORDER_PULSE;
    bench_axis.taken = 0U;
    gw_axis_seal(&bench_axis);
}
