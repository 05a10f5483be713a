/* Gainwright: what the detector's blocks are evidence of. NOT A SAFETY FUNCTION: see gw_fixed.h. */
#include "gw_evidence.h"

/* Sums of all listening at one gain are halved together before they pass this. */
#define GW_TOTAL_MAX INT32_C(0x10000000)
#define GW_TOTAL_SCALE 64 /* a total and one group more, over this, is a level */
/* Groups from which on a decay can be seen. */
#define GW_GROUPS_NEEDED 4

static int32_t larger(int32_t a, int32_t b)
{
    return (a > b) ? a : b;
}

static int32_t smaller(int32_t a, int32_t b)
{
    return (a < b) ? a : b;
}

/* GW_LEVEL_ONE * part / whole, rounded down and saturated; part 0 to GW_LEVEL_MAX, whole any. */
static int32_t share(int32_t part, int32_t whole)
{
    const uint32_t level = (uint32_t)gw_clamp_i32(part, 0, GW_LEVEL_MAX);
    const uint32_t wide = (level * (uint32_t)GW_LEVEL_ONE) / (uint32_t)larger(whole, 1);

    return (wide > (uint32_t)GW_INPUT_LEVEL_MAX) ? GW_INPUT_LEVEL_MAX : (int32_t)wide;
}

static int32_t counted(int32_t blocks)
{
    return gw_clamp_i32(blocks, 0, GW_BLOCKS_MAX - 1) + 1;
}

static void forget_ringing(gw_evidence *evidence)
{
    evidence->ring_blocks = 0;
    evidence->response = 0;
    evidence->last = 0;
    evidence->burst_peak = 0;
    evidence->groups = 0;
    evidence->group_bits = 0;
    evidence->group_filled = 0;
    evidence->group_sum = 0;
}

static void forget_noise(gw_evidence *evidence)
{
    evidence->noise_blocks = 0;
    evidence->ring_noise = 0;
    evidence->ring_noise_least = GW_LEVEL_MAX;
    evidence->burst_noise = 0;
}

static void forget_gain(gw_evidence *evidence)
{
    evidence->earlier = 0;
    evidence->later = 0;
    evidence->move_noise = 0;
    evidence->ring_most = 0;
    forget_noise(evidence);
    forget_ringing(evidence);
}

void gw_evidence_reset(gw_evidence *evidence)
{
    evidence->hearing = (int32_t)GW_HEARING_NOTHING;
    evidence->burst = 0;
    evidence->noise_before = -1;
    evidence->move_noise_before = -1;
    evidence->boost = 0;
    evidence->hidden = 0;
    evidence->ring_usual = 0;
    evidence->grown = -GW_USUAL_GAINS;
    forget_gain(evidence);
    evidence->blocks = 0U;
}

static int32_t silence_of(const gw_evidence *evidence);

/* Was the answer to this gain's last pulse seen? Where there was none, nothing is known. */
static void count_hidden(gw_evidence *evidence)
{
    if (evidence->ring_blocks > 0) {
        evidence->hidden = (share(evidence->response, silence_of(evidence)) >= GW_LEVEL_ONE)
                               ? 0
                               : counted(evidence->hidden);
    }
}

/* How much noise the next gain lets expect: growth beyond 1 / part of it is not expected to stay. */
static int32_t expected(int32_t noise, int32_t before, int32_t part)
{
    const int32_t known = gw_clamp_i32(before, 0, GW_LEVEL_MAX);
    const int32_t most = known + (known / part) + (GW_NOISE_LEAST / 2);

    return ((before >= 0) && (noise > most)) ? most : noise;
}

/* Noise that has risen far above the usual, and stays there from gain to gain, is counted. */
static void count_grown(gw_evidence *evidence)
{
    const int32_t usual = gw_clamp_i32(evidence->ring_usual, 0, GW_LEVEL_MAX);
    const int32_t most = gw_clamp_i32(evidence->ring_most, 0, GW_LEVEL_MAX);
    const int32_t follows = usual + (usual / GW_USUAL_PART) + GW_SILENCE_LEAST;

    if (evidence->grown < 0) {
        evidence->grown = larger(evidence->grown, -GW_USUAL_GAINS) + 1;
        evidence->ring_usual = larger(usual, most);
    } else {
        evidence->grown = ((evidence->ring_noise / GW_GROWN_TIMES) > larger(usual, GW_SILENCE_LEAST))
                              ? counted(evidence->grown)
                              : 0;
        evidence->ring_usual = larger(usual, smaller(most, follows));
    }
}

void gw_evidence_new_gain(gw_evidence *evidence, int32_t lower)
{
    if (lower != 0) {
        evidence->boost = gw_clamp_i32(evidence->boost, 0, GW_BOOST_MAX - 1) + 1;
        evidence->grown = smaller(evidence->grown, 0);
    } else {
        count_hidden(evidence);
    }
    if (evidence->noise_blocks > 0) {
        if (lower == 0) {
            count_grown(evidence);
        }
        evidence->noise_before = expected(evidence->burst_noise, evidence->noise_before, 4);
        evidence->move_noise_before = expected(evidence->move_noise, evidence->move_noise_before, 2);
    }
    forget_gain(evidence);
    evidence->blocks = gw_next_count(evidence->blocks);
}

static int32_t silence_of(const gw_evidence *evidence)
{
    const int32_t noise = gw_clamp_i32(evidence->ring_noise, 0, GW_LEVEL_MAX);
    const int32_t least = gw_clamp_i32(evidence->ring_noise_least, 0, noise);
    const int32_t spread = noise - least;
    const int32_t above = smaller((noise / 8) + spread + (spread / 2), noise / 2);

    return larger(noise + above, GW_SILENCE_LEAST);
}

static int32_t above_noise(const gw_evidence *evidence, int32_t group)
{
    return gw_clamp_i32(gw_subtract_i32(evidence->group[group], evidence->ring_noise), 0,
                        GW_LEVEL_MAX);
}

/* Groups that can be told apart; 0 as long as they are too few. */
static int32_t groups_now(const gw_evidence *evidence)
{
    const int32_t groups = gw_clamp_i32(evidence->groups, 0, GW_GROUPS);

    return (groups < GW_GROUPS_NEEDED) ? 0 : groups;
}

static int32_t earlier_now(const gw_evidence *evidence)
{
    const int32_t groups = groups_now(evidence);

    return (groups == 0) ? 0 : above_noise(evidence, (groups - 1) / 2);
}

static int32_t later_now(const gw_evidence *evidence)
{
    const int32_t groups = groups_now(evidence);

    return (groups == 0) ? 0 : above_noise(evidence, groups - 1);
}

/* The next listening at this gain adds to what this one says. */
static void keep_decay(gw_evidence *evidence)
{
    const int32_t earlier = gw_clamp_i32(evidence->earlier, 0, GW_TOTAL_MAX);
    const int32_t later = gw_clamp_i32(evidence->later, 0, GW_TOTAL_MAX);
    const int32_t halves = ((earlier == GW_TOTAL_MAX) || (later == GW_TOTAL_MAX)) ? 2 : 1;

    evidence->earlier = (earlier + earlier_now(evidence)) / halves;
    evidence->later = (later + later_now(evidence)) / halves;
}

/* The next pulse is as high as it takes to be seen, and no higher. */
static void adapt_pulse(gw_evidence *evidence)
{
    const int32_t boost = gw_clamp_i32(evidence->boost, 0, GW_BOOST_MAX);
    const int32_t wanted = GW_RESPONSE_WANTED * silence_of(evidence);

    if ((evidence->burst_peak >= GW_ANSWER_TOO_MUCH)
        || (evidence->burst_noise >= GW_NOISE_ENOUGH)) {
        evidence->boost = larger(boost - 1, 0);
    } else if ((evidence->response < wanted) && (evidence->ring_blocks > 0)
               && (evidence->burst_peak < GW_ANSWER_ENOUGH)) {
        evidence->boost = gw_clamp_i32(boost + ((evidence->burst_peak < GW_ANSWER_LITTLE) ? 2 : 1), 0,
                                       GW_BOOST_MAX);
    } else {
        evidence->boost = boost;
    }
}

void gw_evidence_hear(gw_evidence *evidence, int32_t hearing)
{
    if (evidence->hearing == (int32_t)GW_HEARING_RINGING) {
        adapt_pulse(evidence);
    }
    if (hearing == (int32_t)GW_HEARING_NOISE) {
        keep_decay(evidence);
        forget_noise(evidence);
        forget_ringing(evidence);
    } else if (hearing == (int32_t)GW_HEARING_RINGING) {
        forget_ringing(evidence);
    } else {
        /* What was found stays. */
    }
    evidence->hearing = hearing;
    evidence->blocks = gw_next_count(evidence->blocks);
}

/* Half a level, or of what else damaged memory holds as much as a level can have. */
static uint32_t half_of(int32_t level)
{
    return ((uint32_t)level & (uint32_t)GW_LEVEL_MAX) / 2U;
}

/* All groups are full: each two neighbours become one of twice the length. */
static void merge_groups(gw_evidence *evidence)
{
    int32_t i;

    for (i = 0; i < (GW_GROUPS / 2); i++) {
        const int32_t *pair = &evidence->group[i + i];
        const uint32_t mean = half_of(pair[0]) + half_of(pair[1]);

        evidence->group[i] = (int32_t)mean;
    }
    evidence->groups = GW_GROUPS / 2;
}

static void end_group(gw_evidence *evidence, int32_t groups, int32_t bits)
{
    const uint32_t sum = (uint32_t)evidence->group_sum & (uint32_t)INT32_MAX;
    const uint32_t mean = sum >> (uint32_t)bits;

    evidence->group[groups] = gw_clamp_i32((int32_t)mean, 0, GW_LEVEL_MAX);
    evidence->groups = groups + 1;
    evidence->group_filled = 0;
    evidence->group_sum = 0;
    if ((evidence->groups == GW_GROUPS) && (bits < GW_GROUP_BITS_MAX)) {
        merge_groups(evidence);
        evidence->group_bits = bits + 1;
    }
}

/* Once the longest groups are full, longer listening says nothing new. */
static void add_to_group(gw_evidence *evidence, int32_t level)
{
    const int32_t bits = gw_clamp_i32(evidence->group_bits, 0, GW_GROUP_BITS_MAX);
    const int32_t groups = evidence->groups;

    if ((uint32_t)groups < (uint32_t)GW_GROUPS) {
        evidence->group_sum = gw_add_i32(evidence->group_sum, level);
        evidence->group_filled = counted(evidence->group_filled);
        if (((uint32_t)evidence->group_filled >> (uint32_t)bits) != 0U) {
            end_group(evidence, groups, bits);
        }
    }
}

static void hear_ringing(gw_evidence *evidence, int32_t level)
{
    if (evidence->ring_blocks > 0) {
        add_to_group(evidence, level);
    }
    if (evidence->ring_blocks < GW_RESPONSE_BLOCKS) {
        evidence->response = larger(evidence->response, level);
    }
    evidence->last = level;
    evidence->ring_blocks = counted(evidence->ring_blocks);
}

void gw_evidence_ring_block(gw_evidence *evidence, int32_t level)
{
    if (evidence->hearing == (int32_t)GW_HEARING_NOISE) {
        evidence->ring_noise = larger(evidence->ring_noise, level);
        evidence->ring_most = larger(evidence->ring_most, level);
        evidence->ring_noise_least = smaller(evidence->ring_noise_least, level);
        evidence->noise_blocks = counted(evidence->noise_blocks);
    } else if (evidence->hearing == (int32_t)GW_HEARING_RINGING) {
        hear_ringing(evidence, level);
    } else {
        /* The block belongs to nothing. */
    }
    evidence->blocks = gw_next_count(evidence->blocks);
}

void gw_evidence_burst_block(gw_evidence *evidence, int32_t level)
{
    evidence->burst = level;
    if (evidence->hearing == (int32_t)GW_HEARING_NOISE) {
        evidence->burst_noise = larger(evidence->burst_noise, level);
        evidence->move_noise = larger(evidence->move_noise, level);
    } else if (evidence->hearing == (int32_t)GW_HEARING_RINGING) {
        evidence->burst_peak = larger(evidence->burst_peak, level);
    } else if (evidence->hearing == (int32_t)GW_HEARING_MOVE) {
        evidence->move_noise = larger(evidence->move_noise, level);
    } else {
        /* The block belongs to nothing. */
    }
    evidence->blocks = gw_next_count(evidence->blocks);
}

/* Until this gain's own noise is heard, what the gain before lets expect stands in. */
static int32_t noise_of(const gw_evidence *evidence)
{
    return larger((evidence->noise_blocks > 0) ? evidence->burst_noise : evidence->noise_before, 0);
}

/* More than halves / 2 of what the gain before lets expect is no noise. */
static int32_t has_leapt(int32_t noise, int32_t before, int32_t halves)
{
    const int32_t known = gw_clamp_i32(before, 0, GW_LEVEL_MAX);

    return ((before >= 0) && (noise > (((known * halves) / 2) + GW_NOISE_LEAST))) ? 1 : 0;
}

static int32_t decay_of(const gw_evidence *evidence)
{
    const int32_t earlier = gw_add_i32(evidence->earlier, earlier_now(evidence));
    const int32_t later = gw_add_i32(evidence->later, later_now(evidence));

    const int32_t scale = ((earlier > GW_LEVEL_MAX) || (later > GW_LEVEL_MAX)) ? GW_TOTAL_SCALE : 1;

    return (earlier < 1) ? GW_INPUT_LEVEL_MAX : share(later / scale, earlier / scale);
}

void gw_evidence_findings(const gw_evidence *evidence, int32_t findings[GW_FINDING_COUNT])
{
    /* Each field is read once, before the first finding is written. */
    const int32_t silence = silence_of(evidence);
    const int32_t ring_level = share(evidence->last, silence);
    const int32_t response_level = share(evidence->response, silence);
    const int32_t decay_level = decay_of(evidence);
    const int32_t noise = noise_of(evidence);
    const int32_t noise_before = evidence->noise_before;
    const int32_t move_noise = evidence->move_noise;
    const int32_t move_noise_before = evidence->move_noise_before;
    const int32_t noise_blocks = evidence->noise_blocks;
    const int32_t ring_blocks = evidence->ring_blocks;
    const int32_t burst = evidence->burst;
    const int32_t hidden = evidence->hidden;
    const int32_t grown = evidence->grown;

    findings[GW_FINDING_BURST_LEVEL] = gw_clamp_i32(burst, 0, GW_INPUT_LEVEL_MAX);
    findings[GW_FINDING_NOISE_BLOCKS] = gw_clamp_i32(noise_blocks, 0, GW_BLOCKS_MAX);
    findings[GW_FINDING_NOISE_LEVEL] = gw_clamp_i32(noise, 0, GW_INPUT_LEVEL_MAX);
    findings[GW_FINDING_NOISE_LEAPT] = has_leapt(noise, noise_before, 3);
    findings[GW_FINDING_RING_BLOCKS] = gw_clamp_i32(ring_blocks, 0, GW_BLOCKS_MAX);
    findings[GW_FINDING_RING_LEVEL] = ring_level;
    findings[GW_FINDING_RESPONSE_LEVEL] = response_level;
    findings[GW_FINDING_DECAY_LEVEL] = decay_level;
    findings[GW_FINDING_MOVE_NOISE_LEVEL]
        = (has_leapt(move_noise, move_noise_before, 3) != 0)
              ? 0
              : gw_clamp_i32(move_noise, 0, GW_INPUT_LEVEL_MAX);
    findings[GW_FINDING_NOISE_TRIPLED] = has_leapt(noise, noise_before, 6);
    findings[GW_FINDING_ANSWERS_HIDDEN] = (hidden >= GW_HIDDEN_GAINS) ? 1 : 0;
    findings[GW_FINDING_NOISE_GROWN] = (grown >= GW_GROWN_GAINS) ? 1 : 0;
}

void gw_evidence_no_findings(int32_t findings[GW_FINDING_COUNT])
{
    int32_t i;

    for (i = 0; i < (int32_t)GW_FINDING_COUNT; i++) {
        findings[i] = 0;
    }
    findings[GW_FINDING_DECAY_LEVEL] = GW_INPUT_LEVEL_MAX;
}
