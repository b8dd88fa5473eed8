/* How much of each bin is attack: 0 what goes on, 1 what has just begun.
 *
 * Three readings of a bin's level (log2 of power):
 *   before   the running median along time, over the last fractions of a second: what goes on
 *            stays in it, what is short does not (Fitzgerald 2010, from memory)
 *   around   the median along frequency, over 4.3 kHz (the same): what begins is broad, what goes
 *            on is made of partials
 *   rise     how far the bins around (within 1 kHz, or half of the frequency) stand over `before`
 *            on the mean, none counted with more than 20 dB: an attack lifts many at once, while
 *            the wavering of a dense sound lifts one and lowers another
 *
 * Above the crossover the share is o / (1 + o) with
 *   o = (0.6 around / before)^power * 10^(2 (rise - 4 dB) / 10), as magnitudes.
 * Below it, where drums have tones too and a median along frequency sees nothing, what counts is
 * what stands over a median two and a half times as long, as powers:
 *   o = (now / before - 1.05) * 10^((rise - 4 dB) / 10), 0 at least.
 * A long note is taken for sustained before that median has it, by a level that follows the power
 * up in 300 ms and down at once, and stands for `before` where it is higher. The rise counts up to
 * 10 dB. Both shares are faded over half an octave around the crossover.
 *
 * The constants were chosen on synthetic stems, by how near the attack comes to the true drums
 * (tests/unit/test_attack_sustain_eq_mixes), and so that clicks, tones and real music keep their
 * goals. Plain masks of the past alone (without 0.6 and rise, 1.3 kHz; below a level that rises in
 * 100 ms) err by 2 dB more, above 250 Hz by 5, and twice as much of dense guitars counts as attack.
 *
 * With look-ahead the medians along time reach so far beyond the bin's own time.
 *
 * A hop: begin, then each step over all parts, in the order of the functions. Thread: one at a
 * time. All but setup are real-time safe. */
#ifndef PLANISH_ATTACK_SUSTAIN_EQ_SHARES_H
#define PLANISH_ATTACK_SUSTAIN_EQ_SHARES_H

#include "common/dsp/arena.h"
#include "common/dsp/running_rank.h"

#include <stdint.h>

/* Bins that share one reading of what is around. */
enum { ATTACK_GROUP = 8 };

typedef struct {
  double crossover;   /* Hz */
  double median_time; /* ms, at most as given to setup */
  double power;
} AttackSharesSettings;

/* Bins from..to-1, and 1 over their count. */
typedef struct {
  uint32_t from;
  uint32_t to;
  double share;
} AttackReach;

typedef struct {
  PlanishRankRows rows;     /* all bins */
  PlanishRankRows low_rows; /* those that may lie below the crossover, over a longer time */
  PlanishRankWindow window;
  float *newest;      /* row of levels under work, by bin */
  float *low_newest;  /* the same of the low ones */
  float *due;         /* levels of the bins whose shares are sought: `ahead` hops old */
  float *sequence;    /* the first of each group */
  float *around;      /* medians along it */
  float *settled;     /* power of the low bins that has settled */
  float *low;         /* their shares below the crossover */
  float settling;     /* share of the way, a hop */
  AttackReach *reach; /* of each group */
  double *risen;      /* running sum over bins of how far they stand over `before` */
  float *octave;      /* log2 of each bin's frequency in Hz */
  uint32_t bins;      /* from 0 on, without half the rate */
  uint32_t low_bins;  /* multiples of PLANISH_RANK_LANES */
  uint32_t ahead;     /* hops */
  double hop_ms;
  float power;
  float crossover; /* log2 of Hz */
} AttackShares;

/* `length` is the engine's frame, `longest` the largest median_time and `most_ahead` the largest
 * look-ahead, hops. */
void attack_shares_setup(AttackShares *shares, PlanishArena *arena, double rate, uint32_t length,
                         double longest, uint32_t most_ahead);

/* Has heard nothing. Shares are those of `ahead` hops ago. */
void attack_shares_reset(AttackShares *shares, uint32_t ahead);

/* A hop begins. A new median time is reached hop by hop. */
void attack_shares_begin(AttackShares *shares, const AttackSharesSettings *settings);

/* Takes the powers of bins from..to-1 in, multiples of PLANISH_RANK_LANES. */
void attack_shares_take(AttackShares *shares, const float *power, uint32_t from, uint32_t to);

/* Along time, the same bins. */
void attack_shares_before(AttackShares *shares, uint32_t from, uint32_t to);

/* Along a longer time, those under low_bins. */
void attack_shares_before_low(AttackShares *shares, uint32_t from, uint32_t to);

/* Ahead of what goes along frequency. */
void attack_shares_begin_around(AttackShares *shares);

/* Along frequency, the same bins; in order from bin 0 on. */
void attack_shares_around(AttackShares *shares, uint32_t from, uint32_t to);

/* How far bins stand over what was, the same bins; in order from bin 0 on. */
void attack_shares_rise(AttackShares *shares, uint32_t from, uint32_t to);

/* What the shares of those under low_bins are below the crossover. */
void attack_shares_low(AttackShares *shares, uint32_t from, uint32_t to);

/* The shares of bins from..to-1, into out[0..to-from-1]. */
void attack_shares_get(const AttackShares *shares, float *out, uint32_t from, uint32_t to);

#endif
