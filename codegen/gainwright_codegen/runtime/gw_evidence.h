/*
 * Gainwright: what the detector's blocks are evidence of.
 *
 * NOT A SAFETY FUNCTION: see gw_fixed.h.
 *
 * A level alone says little: the axis may stand still, an encoder may be coarse, a pump may hum. So
 * the machine's own noise is measured first, moving, without a test pulse; then the pulse is given
 * and each block after it is set against that noise:
 *
 *   response   did the axis answer the pulse at all?
 *   ring       has the ringing fallen to the noise?
 *   decay      does what is left of the ringing die away, from the middle of the listening to its
 *              end, over all listening at this gain?
 *   noise      how near does noise alone come to a burst, and how did it change since the gain
 *              before? Noise grows in proportion to the gain; an oscillation leaps.
 *
 * Levels are those of the detector. Written by the control tick only, and only where a block ends
 * or an order is taken. gainwright.detector.evidence is the same bit for bit.
 */
#ifndef GW_EVIDENCE_H
#define GW_EVIDENCE_H

#include <stdint.h>

#include "gw_detector.h"
#include "gw_trial.h"

/* A level as an input of the trial stops earlier than that of the detector, and so do burst levels
 * wherever they are kept: far below, the search has ended. */
#define GW_INPUT_LEVEL_MAX INT32_C(65535)

/* Silence is above the largest ring level of noise by an eighth of it and 3/2 of the spread of the
 * levels, at most by half of it, and never below this. */
#define GW_SILENCE_LEAST INT32_C(6)
/* Noise is told apart in steps of about this level ... */
#define GW_NOISE_LEAST INT32_C(4)
/* ... and is not expected to grow by more than a quarter and half of that from gain to gain. What
 * there was where the axis turns round is expected again: the gain was found quiet with it. */

/* The burst level of noise that is not known, or as strong. */
#define GW_NOISE_UNKNOWN 65535U

#define GW_BLOCKS_MAX INT32_C(255)
/* Noise that hid the answers at so many gains in a row may hide that the limit was passed. */
#define GW_HIDDEN_GAINS INT32_C(4)
/* ... and fewer than so many have vanished of late: what hides them may be the oscillation itself. */
#define GW_VANISHED_GAINS INT32_C(12)
/* An answer of so many times silence is seen: less may be chance. */
#define GW_RESPONSE_SEEN 2
/* Noise of the speed error hardly follows the gain. The first gains teach what is usual; more than so
 * many times that, at so many gains in a row, is a loop that oscillates within friction; and so is
 * more than the swing level, by which the speed itself swings whatever is usual. What was louder at
 * any gain makes the usual follow, by an eighth a gain. */
#define GW_USUAL_GAINS INT32_C(8)
#define GW_USUAL_LEAST INT32_C(16)
#define GW_GROWN_TIMES INT32_C(4)
#define GW_GROWN_GAINS INT32_C(4)
/* One such gain is enough where answers are hidden at so many. */
#define GW_GROWN_HIDDEN INT32_C(8)
#define GW_USUAL_PART INT32_C(8)
/* A ringing that has lost less than this part from the middle of the listening to its end does not
 * fall. If it is still so many times silence, it stays if the noise heard next at the same gain is so
 * many times silence. */
#define GW_FALLS_PART 8U
#define GW_STAYS_RINGING 4U
#define GW_STAYS_NOISE 2U
/* However little is left of it, one that was well seen and does not fall in so many blocks is a stall:
 * each counts twelve, and one less with each gain since, so that three of fourteen gains are enough,
 * and no two. Noise three times as loud as expected that hides the answer counts thirteen: two such
 * gains are enough, with one between them. Gains at which no answer was seen take nothing back, and
 * where answers are hidden two of any kind in a row are enough. */
#define GW_STALL_BLOCKS INT32_C(16)
#define GW_STALL_COUNTS 12U
#define GW_LEAP_COUNTS 13U
#define GW_STALLS_ENOUGH 25U
#define GW_STALLS_HIDDEN 24U
#define GW_GROUPS 8
#define GW_GROUP_BITS_MAX INT32_C(6)

/* A pulse of which less than so many times silence is seen is given twice as high next time, as long
 * as the torque answers less than enough (level, 256: a burst), and four times as high where the
 * torque hardly answers; one that it answers too strongly, or that strong noise makes needless, half
 * as high. A lower gain answers less, so that its pulse is given twice as high, unless plenty was seen
 * of the last one. */
#define GW_BOOST_MAX INT32_C(3)
#define GW_RESPONSE_WANTED 4
#define GW_RESPONSE_PLENTY 16
/* The answer to a pulse is in its own block and the next. */
#define GW_RESPONSE_BLOCKS 2
#define GW_ANSWER_LITTLE INT32_C(1)
#define GW_ANSWER_ENOUGH INT32_C(6)
#define GW_NOISE_ENOUGH INT32_C(16)
#define GW_ANSWER_TOO_MUCH INT32_C(20)

/* What a block that ends now belongs to. */
enum gw_hearing {
    GW_HEARING_NOTHING,
    GW_HEARING_NOISE,
    GW_HEARING_RINGING,
    GW_HEARING_RESPONSE, /* to nothing: the test signal is given, see gw_loop_response.h */
    GW_HEARING_MOVE
};

typedef struct {
    int32_t ring_noise_least; /* smallest ring level of noise at this gain */
    int32_t ring_noise;   /* largest of it */
    int32_t silence;      /* ring level of silence, of both */
    int32_t ring_most;    /* largest ring_noise of all hearings at this gain */
    uint32_t earlier; /* what groups in the middle had above noise, all listening at this gain */
    uint32_t later;   /* ... and last groups */
    uint32_t earlier_before; /* the same without this listening */
    uint32_t later_before;
    int32_t stays;   /* noise above which a ringing at this gain goes on; 0: each was seen to fall */
    int32_t response;     /* largest ring level of the first two blocks since the pulse began */
    int32_t last;         /* ring level of the last of them */
    int32_t ring_usual;   /* what gains so far let expect of ring_most */
    int32_t steps_level;  /* ringing that is no louder is nothing: encoder steps alone may be */
    uint32_t group[5]; /* mean ring levels of equal stretches since the pulse's own block, as far as
                        * they are needed, and the sum of the one being filled */
    uint16_t burst;        /* burst level of the last block */
    uint16_t burst_noise;  /* largest burst level of the time of ring_noise */
    uint16_t move_noise;   /* largest burst level without a pulse at this gain, moves included */
    uint16_t noise_before; /* burst_noise of the gain before, without leaps, or GW_NOISE_UNKNOWN; it
                            * stays as it was while the speed error is far noisier than usual */
    uint16_t move_noise_before; /* move_noise of the gain before, or GW_NOISE_UNKNOWN */
    uint8_t burst_peak;   /* largest burst level since the pulse began, 0 to 255 */
    uint8_t groups;       /* complete ones */
    uint8_t group_bits;   /* blocks in each are 2^group_bits, 0 to GW_GROUP_BITS_MAX */
    uint8_t group_filled; /* blocks in the one being filled */
    uint8_t ring_blocks;  /* since the pulse began, its own block included, 0 to GW_BLOCKS_MAX */
    uint8_t noise_blocks; /* ring blocks of noise at this gain, 0 to GW_BLOCKS_MAX */
    uint8_t hidden;       /* gains in a row whose last pulse was not seen, or faintly, 0 to GW_BLOCKS_MAX */
    uint8_t is_hidden;    /* 1: at GW_HIDDEN_GAINS or more */
    uint8_t has_vanished; /* 1: but at fewer than GW_VANISHED_GAINS */
    uint8_t boost;        /* test pulses are 2^boost times as high as the table says */
    uint8_t hearing;      /* enum gw_hearing */
    uint8_t lasted;       /* 1: the ringing heard last did not fall; judged where hearing begins */
    uint8_t staying;      /* 1: a ringing at this gain goes on while noise is heard */
    uint8_t stalled;      /* 1: a ringing at this gain */
    uint8_t stalls;       /* and leaps of noise at gains before, up to GW_STALLS_ENOUGH */
    uint8_t has_stalled;  /* 1: enough; GW_STALLS_HIDDEN, where answers are hidden */
    int8_t grown;         /* gains in a row with far more, to INT8_MAX; below 0: gains to learn */
    uint8_t has_grown;    /* 1: GW_GROWN_GAINS or more; one, where answers are hidden at GW_GROWN_HIDDEN */
    uint8_t blocks;       /* changes with everything else here, and last; counted round */
} gw_evidence;

/* What the evidence says is written over inputs of the trial, 0 to GW_INPUT_LEVEL_MAX each. Where they
 * stand gw_trial.h says, GW_PLACE_OF_...; -1 where the trial does not look at one:
 *
 *   BURST_LEVEL       of the last block: 256 at the threshold of a burst
 *   NOISE_BLOCKS      blocks of noise heard at this gain, 0 to GW_BLOCKS_MAX
 *   NOISE_LEVEL       largest burst level of noise; before it is heard, that expected
 *   NOISE_LEAPT       1: half as much again as expected, and more: no noise
 *   RING_BLOCKS       blocks since the pulse began, 0 to GW_BLOCKS_MAX
 *   RING_LEVEL        of the last block: 256 at silence
 *   RESPONSE_LEVEL    largest ring level of its first two blocks: 256 at silence
 *   DECAY_LEVEL       256: no decay; GW_INPUT_LEVEL_MAX: not known
 *   MOVE_NOISE_LEVEL  largest burst level without a pulse; 0: above 3/2 of what is expected
 *   NOISE_TRIPLED     1: above three times what is expected
 *   ANSWERS_HIDDEN    1: no answer, or a faint one, was seen at the last GW_HIDDEN_GAINS gains or more
 *   NOISE_GROWN       1: GW_GROWN_TIMES the usual, or the swing level, at GW_GROWN_GAINS gains or more;
 *                     at one, where answers are hidden at GW_GROWN_HIDDEN gains or more
 *   RINGING_STAYS     1: a ringing at this gain was not seen to fall, and noise is louder since then
 *   RINGING_STALLS    1: at several gains a ringing that was well seen did not fall to its end, or noise
 *                     was three times as loud as expected
 *   ANSWERS_VANISHED  1: ANSWERS_HIDDEN, at fewer than GW_VANISHED_GAINS gains
 */
#define GW_FINDING_COUNT 15

/* Places are constants: nothing is compiled of a finding that the trial does not look at. */
static inline void gw_put(int32_t inputs[GW_INPUT_SLOTS], int32_t place, int32_t value)
{
    if (place >= 0) {
        inputs[place] = value;
    }
}

void gw_evidence_reset(gw_evidence *evidence);
/* The gain has changed: what was measured counts no more, but says how much noise to expect. */
void gw_evidence_new_gain(gw_evidence *evidence, int32_t lower, int32_t swing_level);
/* From here on blocks belong to something else; any word but the three counts as nothing. */
void gw_evidence_hear(gw_evidence *evidence, int32_t hearing);

/* The parts of both, for who wants to spread them over ticks, in this order. Height of the next
 * pulse; before noise, what this listening says of a decay; what is heard now. */
void gw_evidence_end_hearing(gw_evidence *evidence);
void gw_evidence_end_listening(gw_evidence *evidence, int32_t next);
void gw_evidence_begin_hearing(gw_evidence *evidence, int32_t hearing);
/* Whether the pulse was seen; whether noise is more than usual; what noise to expect. */
void gw_evidence_end_gain(gw_evidence *evidence, int32_t lower);
void gw_evidence_compare_gain(gw_evidence *evidence, int32_t lower, int32_t swing_level);
void gw_evidence_begin_gain(gw_evidence *evidence);

/* A block has ended; levels 0 to GW_LEVEL_MAX. */
void gw_evidence_ring_block(gw_evidence *evidence, int32_t level);
void gw_evidence_burst_block(gw_evidence *evidence, int32_t level);

/* Findings, written over the inputs that the trial has for them; all others stay. */
void gw_evidence_findings(const gw_evidence *evidence, int32_t inputs[GW_INPUT_SLOTS]);
/* Findings of a detector that has heard nothing. */
void gw_evidence_no_findings(int32_t inputs[GW_INPUT_SLOTS]);

#endif
