/*
 * Gainwright: what the detector's blocks are evidence of. NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * What is computed with levels has no sign, and no more bits than levels have: what damaged memory
 * holds instead may give anything within the ranges of the findings, but no overflow.
 */
#include "gw_evidence.h"

/* Bits of a level, and of silence above the loudest. */
#define GW_LEVEL_BITS UINT32_C(0x1FFFFFF)
/* Sums of all listening at one gain are halved together where they pass this. */
#define GW_TOTAL_MAX INT32_C(0x0FFFFFFF)
#define GW_TOTAL_BITS 6U /* a total and one group more, over 2^6, is a level */
#define GW_SUM_BITS UINT32_C(0x1FFFFFFF)
#if GW_GROUPS != 8
#error "gw_evidence.c: join_groups knows eight"
#endif
/* The sum of the longest group, 2^GW_GROUP_BITS_MAX levels, has these. */
#define GW_GROUP_SUM_BITS UINT32_C(0x3FFFFFFF)
/* Groups from which on a decay can be seen. */
#define GW_GROUPS_NEEDED 4

/* What memory holds as a level, or as silence. */
static uint32_t level_of(int32_t memory)
{
    return (uint32_t)memory & GW_LEVEL_BITS;
}

static int32_t larger(int32_t a, int32_t b)
{
    return (a > b) ? a : b;
}

static int32_t smaller(int32_t a, int32_t b)
{
    return (a < b) ? a : b;
}

/* GW_LEVEL_ONE * part / whole, rounded down and saturated; whole not 0. */
static int32_t share(uint32_t part, uint32_t whole)
{
    const uint32_t wide = ((part & (uint32_t)GW_LEVEL_MAX) * (uint32_t)GW_LEVEL_ONE) / whole;

    return (wide > (uint32_t)GW_INPUT_LEVEL_MAX) ? GW_INPUT_LEVEL_MAX : (int32_t)wide;
}

static uint8_t counted(uint8_t blocks)
{
    return (blocks < (uint8_t)GW_BLOCKS_MAX) ? (uint8_t)(blocks + 1U) : (uint8_t)GW_BLOCKS_MAX;
}

static void changed(gw_evidence *evidence)
{
    evidence->blocks = (uint8_t)(evidence->blocks + 1U);
}

static void forget_ringing(gw_evidence *evidence)
{
    evidence->ring_blocks = 0U;
    evidence->response = 0;
    evidence->last = 0;
    evidence->burst_peak = 0U;
    evidence->groups = 0U;
    evidence->group_bits = 0U;
    evidence->group_filled = 0U;
    evidence->earlier = evidence->earlier_before;
    evidence->later = evidence->later_before;
}

static void forget_noise(gw_evidence *evidence)
{
    evidence->silence = GW_SILENCE_LEAST;
    evidence->noise_blocks = 0U;
    evidence->staying = 0U;
    evidence->ring_noise = 0;
    evidence->ring_noise_least = GW_LEVEL_MAX;
    evidence->burst_noise = 0U;
}

static void forget_gain(gw_evidence *evidence)
{
    evidence->earlier_before = 0U;
    evidence->later_before = 0U;
    evidence->stays = 0;
    evidence->stalled = 0U;
    evidence->move_noise = 0U;
    evidence->ring_most = 0;
    forget_noise(evidence);
    forget_ringing(evidence);
}

void gw_evidence_reset(gw_evidence *evidence)
{
    evidence->hearing = (uint8_t)GW_HEARING_NOTHING;
    evidence->burst = 0U;
    evidence->steps_level = 0;
    evidence->noise_before = (uint16_t)GW_NOISE_UNKNOWN;
    evidence->move_noise_before = (uint16_t)GW_NOISE_UNKNOWN;
    evidence->boost = 0U;
    evidence->lasted = 0U;
    evidence->hidden = 0U;
    evidence->is_hidden = 0U;
    evidence->has_vanished = 0U;
    evidence->stalls = 0U;
    evidence->has_stalled = 0U;
    evidence->has_grown = 0U;
    evidence->ring_usual = 0;
    evidence->grown = (int8_t)(-GW_USUAL_GAINS);
    forget_gain(evidence);
    evidence->blocks = 0U;
}

/* Ring level of silence, GW_SILENCE_LEAST at least whatever memory holds. */
static uint32_t silence_now(const gw_evidence *evidence)
{
    const uint32_t silence = level_of(evidence->silence);

    return (silence > (uint32_t)GW_SILENCE_LEAST) ? silence : (uint32_t)GW_SILENCE_LEAST;
}

/* More than halves / 2 of what the gain before lets expect is no noise; where that is not known, no
 * level is more. */
static int32_t has_leapt(uint32_t noise, uint32_t before, uint32_t halves)
{
    return (noise > (((before * halves) / 2U) + (uint32_t)GW_NOISE_LEAST)) ? 1 : 0;
}

/* Was the answer to this gain's last pulse seen? One that was seen faintly may be chance. Where there
 * was none, nothing is known. */
static void count_hidden(gw_evidence *evidence)
{
    const uint32_t seen = (uint32_t)GW_RESPONSE_SEEN * silence_now(evidence);

    if (evidence->ring_blocks > 0U) {
        evidence->hidden = ((uint32_t)evidence->response < seen) ? counted(evidence->hidden) : 0U;
    }
}

static void count_stalls(gw_evidence *evidence)
{
    const uint32_t before = evidence->stalls;
    uint32_t stalls = ((before > 0U) && (evidence->hidden == 0U)) ? (before - 1U) : before;

    if (evidence->stalled != 0U) {
        stalls = before + GW_STALL_COUNTS;
    }
    if ((evidence->hidden > 0U) && (evidence->noise_blocks > 0U)
        && (has_leapt(evidence->burst_noise, evidence->noise_before, 6U) != 0)) {
        stalls = before + GW_LEAP_COUNTS;
    }
    evidence->stalls = (uint8_t)((stalls < GW_STALLS_ENOUGH) ? stalls : GW_STALLS_ENOUGH);
}

static void raise_pulse(gw_evidence *evidence, uint32_t doublings)
{
    const uint32_t boost = evidence->boost + doublings;

    evidence->boost = (boost < (uint32_t)GW_BOOST_MAX) ? (uint8_t)boost : (uint8_t)GW_BOOST_MAX;
}

/* How much noise the next gain lets expect: growth beyond 1 / part of it is not expected to stay.
 * From what is not known no level is growth. */
static uint16_t expected(uint16_t noise, uint16_t before, uint32_t part)
{
    const uint32_t known = before;
    const uint32_t most = known + (known / part) + ((uint32_t)GW_NOISE_LEAST / 2U);

    return (noise < most) ? noise : (uint16_t)most;
}

/* Noise that has risen far above the usual, or by which the speed itself swings, and stays there
 * from gain to gain, is counted. */
static void count_grown(gw_evidence *evidence, int32_t swing_level)
{
    const int32_t usual = gw_clamp_i32(evidence->ring_usual, 0, GW_LEVEL_MAX);
    const int32_t most = gw_clamp_i32(evidence->ring_most, 0, GW_LEVEL_MAX);
    const int32_t follows = usual + (usual / GW_USUAL_PART) + GW_USUAL_LEAST;
    const int32_t before = evidence->grown;
    int32_t grown = smaller(before, INT8_MAX - 1) + 1;

    if (before < 0) {
        evidence->ring_usual = larger(usual, most);
    } else {
        if (((evidence->ring_noise / GW_GROWN_TIMES) <= larger(usual, GW_USUAL_LEAST))
            && (evidence->ring_noise <= swing_level)) {
            grown = 0;
        }
        evidence->ring_usual = larger(usual, smaller(most, follows));
    }
    evidence->grown = (int8_t)grown;
}

/* What is said of them until the next gain. */
static void judge_hidden(gw_evidence *evidence)
{
    const uint8_t hidden = evidence->hidden;
    const uint8_t is_hidden = (hidden >= (uint8_t)GW_HIDDEN_GAINS) ? 1U : 0U;

    evidence->is_hidden = is_hidden;
    evidence->has_vanished = (hidden < (uint8_t)GW_VANISHED_GAINS) ? is_hidden : 0U;
}

void gw_evidence_end_gain(gw_evidence *evidence, int32_t lower)
{
    if (lower == 0) {
        count_hidden(evidence);
        count_stalls(evidence);
        judge_hidden(evidence);
    } else if ((uint32_t)evidence->response < ((uint32_t)GW_RESPONSE_PLENTY * silence_now(evidence))) {
        raise_pulse(evidence, 1U);
    } else {
        /* Seen so well that half the gain is enough. */
    }
}

void gw_evidence_compare_gain(gw_evidence *evidence, int32_t lower, int32_t swing_level)
{
    if (lower != 0) {
        evidence->stalls = 0U;
        evidence->grown = (int8_t)smaller(evidence->grown, 0);
    } else if (evidence->noise_blocks > 0U) {
        count_grown(evidence, swing_level);
    } else {
        /* No noise was heard. */
    }
    /* Fewer are enough where answers are hidden. */
    evidence->has_stalled
        = ((evidence->stalls + (evidence->is_hidden * (GW_STALLS_ENOUGH - GW_STALLS_HIDDEN)))
           >= GW_STALLS_ENOUGH) ? 1U : 0U;
}

void gw_evidence_begin_gain(gw_evidence *evidence)
{
    const int32_t grown
        = (evidence->hidden >= (uint8_t)GW_GROWN_HIDDEN) ? 1 : GW_GROWN_GAINS;

    if (evidence->noise_blocks > 0U) {
        /* A loop that oscillates within friction is compared with what was there before it did. */
        if (evidence->grown <= 0) {
            evidence->noise_before = expected(evidence->burst_noise, evidence->noise_before, 4U);
        }
        evidence->move_noise_before = expected(evidence->move_noise, evidence->move_noise_before, 2U);
    }
    evidence->has_grown = (evidence->grown >= grown) ? 1U : 0U;
    forget_gain(evidence);
    changed(evidence);
}

void gw_evidence_new_gain(gw_evidence *evidence, int32_t lower, int32_t swing_level)
{
    gw_evidence_end_gain(evidence, lower);
    gw_evidence_compare_gain(evidence, lower, swing_level);
    gw_evidence_begin_gain(evidence);
}

/* Silence above noise from `least` to `noise`. */
static int32_t silence_above(uint32_t least, uint32_t noise)
{
    const uint32_t spread = (noise > least) ? (noise - least) : 0U;
    const uint32_t above = (noise / 8U) + spread + (spread / 2U);
    const uint32_t most = noise / 2U;
    const uint32_t silence = noise + ((above < most) ? above : most);

    return (int32_t)silence;
}

/* What memory holds as a sum of all listening before. */
static uint32_t total_of(uint32_t memory)
{
    return memory & (uint32_t)GW_TOTAL_MAX;
}

/* How much louder than noise a group is. */
static uint32_t above_noise(const gw_evidence *evidence, uint32_t level)
{
    const uint32_t noise = (uint32_t)evidence->ring_noise;

    return (level > noise) ? ((level - noise) & GW_LEVEL_BITS) : 0U;
}

/* What is left of a ringing is nothing where it is no louder than encoder steps alone may be. */
static uint32_t left_of_ringing(const gw_evidence *evidence, uint32_t level)
{
    return (level <= (uint32_t)evidence->steps_level) ? 0U : above_noise(evidence, level);
}

/* What the group in the middle and the last one have above noise, with all that came before; nothing
 * as long as there are too few to be told apart. Noise stays as it is while one listens, so a new
 * group alone changes it. */
static void compare_groups(gw_evidence *evidence, uint32_t last)
{
    const uint32_t groups = evidence->groups;

    if (groups >= (uint32_t)GW_GROUPS_NEEDED) {
        evidence->earlier = total_of(evidence->earlier_before)
                            + above_noise(evidence, evidence->group[(groups - 3U) / 2U]);
        evidence->later = total_of(evidence->later_before) + left_of_ringing(evidence, last);
    }
}

/* Sums are halved together before they no longer fit. */
static uint32_t scaled(uint32_t sum, uint32_t both)
{
    return (both > (uint32_t)GW_TOTAL_MAX) ? (sum / 2U) : sum;
}

/* Whether a ringing at this gain goes on while noise is heard. */
static void judge_staying(gw_evidence *evidence)
{
    const int32_t stays = evidence->stays;
    const int32_t noise = evidence->ring_noise_least;

    evidence->staying = ((stays > 0) && (evidence->noise_blocks > 0U) && (noise > stays)
                         && (noise > evidence->steps_level)) ? 1U : 0U;
}

/* A ringing that does not fall. If it is well above silence it may go on when noise is heard again;
 * the first of a gain says how loud noise was without it. */
static void keep_ringing(gw_evidence *evidence)
{
    const uint32_t silence = silence_now(evidence);

    if ((evidence->stays == 0) && (level_of(evidence->last) >= (GW_STAYS_RINGING * silence))) {
        const uint32_t stays = GW_STAYS_NOISE * silence;

        evidence->stays = (int32_t)stays;
        judge_staying(evidence);
    }
    if ((evidence->ring_blocks >= (uint8_t)GW_STALL_BLOCKS)
        && (level_of(evidence->response) >= ((uint32_t)GW_RESPONSE_SEEN * silence))) {
        evidence->stalled = 1U;
    }
}

void gw_evidence_end_listening(gw_evidence *evidence, int32_t next)
{
    const uint32_t earlier = evidence->earlier & GW_SUM_BITS;
    const uint32_t later = evidence->later & GW_SUM_BITS;

    evidence->lasted
        = ((earlier > 0U) && ((later + (earlier / GW_FALLS_PART)) >= earlier)) ? 1U : 0U;
    if (next == (int32_t)GW_HEARING_NOISE) {
        evidence->earlier_before = scaled(earlier, earlier | later);
        evidence->later_before = scaled(later, earlier | later);
    }
}

/* The next pulse is as high as it takes to be seen, and no higher. */
static void adapt_pulse(gw_evidence *evidence)
{
    const uint32_t wanted = (uint32_t)GW_RESPONSE_WANTED * silence_now(evidence);
    const int32_t answer = evidence->burst_peak;

    if ((answer >= GW_ANSWER_TOO_MUCH) || ((int32_t)evidence->burst_noise >= GW_NOISE_ENOUGH)) {
        evidence->boost = (evidence->boost > 0U) ? (uint8_t)(evidence->boost - 1U) : 0U;
    } else if (((uint32_t)evidence->response < wanted) && (evidence->ring_blocks > 0U)
               && (answer < GW_ANSWER_ENOUGH)) {
        raise_pulse(evidence, (answer < GW_ANSWER_LITTLE) ? 2U : 1U);
    } else {
        /* As high as it is. */
    }
}

void gw_evidence_end_hearing(gw_evidence *evidence)
{
    if (evidence->hearing == (uint8_t)GW_HEARING_RINGING) {
        adapt_pulse(evidence);
    }
    evidence->hearing = (uint8_t)GW_HEARING_NOTHING;
}

void gw_evidence_begin_hearing(gw_evidence *evidence, int32_t hearing)
{
    if (evidence->lasted != 0U) {
        keep_ringing(evidence);
    }
    if (hearing == (int32_t)GW_HEARING_NOISE) {
        forget_noise(evidence);
        forget_ringing(evidence);
    } else if (hearing == (int32_t)GW_HEARING_RINGING) {
        forget_ringing(evidence);
    } else {
        /* What was found stays. */
    }
    evidence->hearing = (uint8_t)gw_clamp_i32(hearing, 0, (int32_t)UINT8_MAX);
    changed(evidence);
}

void gw_evidence_hear(gw_evidence *evidence, int32_t hearing)
{
    gw_evidence_end_hearing(evidence);
    gw_evidence_end_listening(evidence, hearing);
    gw_evidence_begin_hearing(evidence, hearing);
}

/* Mean of two neighbours; of what else damaged memory holds anything. */
static uint32_t mean_of(uint32_t first, uint32_t second)
{
    return (first / 2U) + (second / 2U);
}

/* Where groups are kept: 1 to 3, which stand in the middle one after the other, are; of 4 and 5, and
 * of 6 and 7, no more than the mean is needed once both are complete; 0 is not. */
static const uint8_t place_of_group[GW_GROUPS] = {4U, 0U, 1U, 2U, 0U, 3U, 3U, 4U};

/* All groups are full: each two neighbours become one of twice the length; 0 and 1 the new 0. */
static void join_groups(gw_evidence *evidence)
{
    uint32_t *const group = evidence->group;
    const uint32_t second = group[0];

    group[0] = mean_of(group[1], group[2]);
    group[1] = second;
    group[2] = mean_of(group[3], group[4]);
    evidence->groups = (uint8_t)((uint32_t)GW_GROUPS / 2U);
    evidence->group_bits = (uint8_t)(evidence->group_bits + 1U);
    compare_groups(evidence, group[2]);
}

static void end_group(gw_evidence *evidence, uint32_t last)
{
    evidence->group_filled = 0U;
    evidence->groups = (uint8_t)(evidence->groups + 1U);
    if ((evidence->groups == (uint8_t)GW_GROUPS)
        && (evidence->group_bits < (uint8_t)GW_GROUP_BITS_MAX)) {
        join_groups(evidence);
    } else {
        if (evidence->groups == 6U) {
            evidence->group[0] = mean_of(evidence->group[0], last);
        }
        compare_groups(evidence, last);
    }
}

/* Once the longest groups are full, longer listening says nothing new. */
static void add_to_group(gw_evidence *evidence, int32_t level)
{
    const uint32_t groups = evidence->groups;

    if (groups < (uint32_t)GW_GROUPS) {
        uint32_t *const group = &evidence->group[place_of_group[groups]];
        const uint32_t bits = evidence->group_bits & 7U;
        const uint32_t before = evidence->group_filled;
        const uint32_t filled = before + 1U;
        const uint32_t sum
            = ((before > 0U) ? (*group & GW_GROUP_SUM_BITS) : 0U) + level_of(level);

        if ((filled >> bits) == 0U) {
            *group = sum;
            evidence->group_filled = (uint8_t)filled;
        } else {
            *group = sum >> bits;
            end_group(evidence, sum >> bits);
        }
    }
}

static void hear_ringing(gw_evidence *evidence, int32_t level)
{
    if (evidence->ring_blocks > 0U) {
        add_to_group(evidence, level);
    }
    if (evidence->ring_blocks < (uint8_t)GW_RESPONSE_BLOCKS) {
        evidence->response = larger(evidence->response, level);
    }
    evidence->last = level;
    evidence->ring_blocks = counted(evidence->ring_blocks);
}

static void hear_noise(gw_evidence *evidence, int32_t level)
{
    const int32_t noise = larger(evidence->ring_noise, level);
    const int32_t least = smaller(evidence->ring_noise_least, level);

    evidence->ring_noise = noise;
    evidence->ring_noise_least = least;
    evidence->silence = silence_above(level_of(least), level_of(noise));
    evidence->ring_most = larger(evidence->ring_most, level);
    evidence->noise_blocks = counted(evidence->noise_blocks);
    judge_staying(evidence);
}

void gw_evidence_ring_block(gw_evidence *evidence, int32_t level)
{
    if (evidence->hearing == (uint8_t)GW_HEARING_NOISE) {
        hear_noise(evidence, level);
    } else if (evidence->hearing == (uint8_t)GW_HEARING_RINGING) {
        hear_ringing(evidence, level);
    } else {
        /* The block belongs to nothing. */
    }
    changed(evidence);
}

static uint16_t louder(uint16_t a, uint16_t b)
{
    return (a > b) ? a : b;
}

void gw_evidence_burst_block(gw_evidence *evidence, int32_t level)
{
    const uint16_t burst = (uint16_t)gw_clamp_i32(level, 0, GW_INPUT_LEVEL_MAX);

    evidence->burst = burst;
    if (evidence->hearing == (uint8_t)GW_HEARING_NOISE) {
        evidence->burst_noise = louder(evidence->burst_noise, burst);
        evidence->move_noise = louder(evidence->move_noise, burst);
    } else if (evidence->hearing == (uint8_t)GW_HEARING_RINGING) {
        const uint16_t peak = louder(evidence->burst_peak, burst);

        evidence->burst_peak = (peak < (uint16_t)UINT8_MAX) ? (uint8_t)peak : (uint8_t)UINT8_MAX;
    } else if (evidence->hearing == (uint8_t)GW_HEARING_MOVE) {
        evidence->move_noise = louder(evidence->move_noise, burst);
    } else {
        /* The block belongs to nothing. */
    }
    changed(evidence);
}

/* Until this gain's own noise is heard, what the gain before lets expect stands in. */
static uint32_t noise_of(const gw_evidence *evidence)
{
    const uint32_t before = evidence->noise_before;
    const uint32_t stands_in = (before == GW_NOISE_UNKNOWN) ? 0U : before;

    return (evidence->noise_blocks > 0U) ? evidence->burst_noise : stands_in;
}

/* Sums that are no levels any more are compared in steps; less than one of what was there earlier is
 * nothing to compare with. */
static int32_t decay_of(const gw_evidence *evidence)
{
    const uint32_t earlier = evidence->earlier;
    const uint32_t later = evidence->later;
    const uint32_t bits = ((earlier | later) > (uint32_t)GW_LEVEL_MAX) ? GW_TOTAL_BITS : 0U;
    const uint32_t whole = earlier >> bits;

    return (whole == 0U) ? GW_INPUT_LEVEL_MAX : share(later >> bits, whole);
}

void gw_evidence_findings(const gw_evidence *evidence, int32_t inputs[GW_INPUT_SLOTS])
{
    /* Each field is read once, before the first finding is written. */
    const uint32_t silence = silence_now(evidence);
    const int32_t ring_level = share((uint32_t)evidence->last, silence);
    const int32_t response_level = share((uint32_t)evidence->response, silence);
    const int32_t decay_level = decay_of(evidence);
    const uint32_t noise = noise_of(evidence);
    const uint32_t noise_before = evidence->noise_before;
    const uint32_t move_noise = evidence->move_noise;
    const int32_t leapt = has_leapt(move_noise, evidence->move_noise_before, 3U);
    const uint8_t noise_blocks = evidence->noise_blocks;
    const uint8_t ring_blocks = evidence->ring_blocks;
    const uint16_t burst = evidence->burst;
    const uint8_t is_hidden = evidence->is_hidden;
    const uint8_t has_vanished = evidence->has_vanished;
    const uint8_t has_grown = evidence->has_grown;
    const uint8_t stays = evidence->staying;
    const uint8_t has_stalled = evidence->has_stalled;

    gw_put(inputs, GW_PLACE_OF_BURST_LEVEL, (int32_t)burst);
    gw_put(inputs, GW_PLACE_OF_NOISE_BLOCKS, (int32_t)noise_blocks);
    gw_put(inputs, GW_PLACE_OF_NOISE_LEVEL, (int32_t)noise);
    gw_put(inputs, GW_PLACE_OF_NOISE_LEAPT, has_leapt(noise, noise_before, 3U));
    gw_put(inputs, GW_PLACE_OF_RING_BLOCKS, (int32_t)ring_blocks);
    gw_put(inputs, GW_PLACE_OF_RING_LEVEL, ring_level);
    gw_put(inputs, GW_PLACE_OF_RESPONSE_LEVEL, response_level);
    gw_put(inputs, GW_PLACE_OF_DECAY_LEVEL, decay_level);
    gw_put(inputs, GW_PLACE_OF_MOVE_NOISE_LEVEL,
        (leapt != 0) ? 0 : (int32_t)move_noise);
    gw_put(inputs, GW_PLACE_OF_NOISE_TRIPLED, has_leapt(noise, noise_before, 6U));
    gw_put(inputs, GW_PLACE_OF_ANSWERS_HIDDEN, (int32_t)is_hidden);
    gw_put(inputs, GW_PLACE_OF_NOISE_GROWN, (int32_t)has_grown);
    gw_put(inputs, GW_PLACE_OF_RINGING_STAYS, (int32_t)stays);
    gw_put(inputs, GW_PLACE_OF_RINGING_STALLS, (int32_t)has_stalled);
    gw_put(inputs, GW_PLACE_OF_ANSWERS_VANISHED, (int32_t)has_vanished);
}

void gw_evidence_no_findings(int32_t inputs[GW_INPUT_SLOTS])
{
    gw_put(inputs, GW_PLACE_OF_BURST_LEVEL, 0);
    gw_put(inputs, GW_PLACE_OF_NOISE_BLOCKS, 0);
    gw_put(inputs, GW_PLACE_OF_NOISE_LEVEL, 0);
    gw_put(inputs, GW_PLACE_OF_NOISE_LEAPT, 0);
    gw_put(inputs, GW_PLACE_OF_RING_BLOCKS, 0);
    gw_put(inputs, GW_PLACE_OF_RING_LEVEL, 0);
    gw_put(inputs, GW_PLACE_OF_RESPONSE_LEVEL, 0);
    gw_put(inputs, GW_PLACE_OF_DECAY_LEVEL, GW_INPUT_LEVEL_MAX);
    gw_put(inputs, GW_PLACE_OF_MOVE_NOISE_LEVEL, 0);
    gw_put(inputs, GW_PLACE_OF_NOISE_TRIPLED, 0);
    gw_put(inputs, GW_PLACE_OF_ANSWERS_HIDDEN, 0);
    gw_put(inputs, GW_PLACE_OF_NOISE_GROWN, 0);
    gw_put(inputs, GW_PLACE_OF_RINGING_STAYS, 0);
    gw_put(inputs, GW_PLACE_OF_RINGING_STALLS, 0);
    gw_put(inputs, GW_PLACE_OF_ANSWERS_VANISHED, 0);
}
