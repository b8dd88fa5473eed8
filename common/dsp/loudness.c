#include "common/dsp/loudness.h"

#include "common/dsp/maths.h"
#include "common/dsp/two_lanes.h"

#define BLOCK_STEPS 10 /* 0.4 s blocks overlap by 75 %, 3 s blocks by 2.9 s */
#define RING        PLANISH_LOUDNESS_SHORTTERM_STEPS

/* Relative gates under the mean of what passes the absolute gate: ITU-R BS.1770-4 Annex 1 eq. 6,
 * and EBU Tech 3342. */
#define INTEGRATED_GATE_LU (-10.0)
#define RANGE_GATE_LU      (-20.0)

/* Loudness range goes from the 10th to the 95th percentile (EBU Tech 3342). */
#define RANGE_LOW  0.10
#define RANGE_HIGH 0.95

PlanishStatus planish_loudness_setup(PlanishLoudness *loudness, PlanishArena *arena, double rate,
                                     uint32_t channels)
{
  if (!(rate >= PLANISH_LOUDNESS_MIN_RATE && rate <= PLANISH_LOUDNESS_MAX_RATE)) {
    return PLANISH_BAD_RATE;
  }
  if (channels < 1 || channels > 2) {
    return PLANISH_BAD_ARGUMENT;
  }
  *loudness = (PlanishLoudness){.rate = rate, .channels = channels};
  loudness->coefs = planish_k_weighting_design(rate);
  loudness->powers = planish_arena_take(arena, RING, sizeof(double));
  loudness->mono_powers = planish_arena_take(arena, RING, sizeof(double));
  planish_loudness_histogram_setup(&loudness->blocks, arena);
  planish_loudness_histogram_setup(&loudness->shortterms, arena);
  if (planish_arena_is_filling(arena)) {
    planish_loudness_reset(loudness);
  }
  return PLANISH_OK;
}

void planish_loudness_reset(PlanishLoudness *loudness)
{
  planish_k_weighting_reset(&loudness->k[0]);
  planish_k_weighting_reset(&loudness->k[1]);
  memset(loudness->powers, 0, RING * sizeof(double));
  memset(loudness->mono_powers, 0, RING * sizeof(double));
  loudness->frame = 0;
  loudness->steps = 0;
  loudness->step_start = 0;
  loudness->step_end = planish_loudness_step_end(loudness->rate, 1);
  loudness->sum = 0.0;
  loudness->mono_sum = 0.0;
  loudness->momentary = 0.0;
  loudness->shortterm = 0.0;
  loudness->paused = false;
  planish_loudness_restart(loudness);
}

/* How many steps will have passed when the next whole one begins. */
static uint64_t next_whole_step(const PlanishLoudness *loudness)
{
  return loudness->frame == loudness->step_start ? loudness->steps : loudness->steps + 1;
}

void planish_loudness_pause(PlanishLoudness *loudness, bool paused)
{
  if (loudness->paused && !paused) {
    loudness->since = next_whole_step(loudness);
  }
  loudness->paused = paused;
}

void planish_loudness_restart(PlanishLoudness *loudness)
{
  planish_loudness_histogram_reset(&loudness->blocks);
  planish_loudness_histogram_reset(&loudness->shortterms);
  loudness->momentary_max = (PlanishLoudnessMaximum){0};
  loudness->shortterm_max = (PlanishLoudnessMaximum){0};
  loudness->since = next_whole_step(loudness);
  loudness->counted = 0;
}

/* Steps without a break up to now that are counted. */
static uint64_t counted_in_a_row(const PlanishLoudness *loudness)
{
  return loudness->paused || loudness->steps < loudness->since ? 0
                                                               : loudness->steps - loudness->since;
}

/* Four sums side by side, so that none waits for the one before. */
static double sum_of(const double *values, uint32_t count)
{
  double sums[4] = {0.0};
  uint32_t i = 0;
  for (; i + 4 <= count; i += 4) {
    for (uint32_t k = 0; k < 4; ++k) {
      sums[k] += values[i + k];
    }
  }
  for (; i < count; ++i) {
    sums[0] += values[i];
  }
  return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

/* Mean of the last `steps` steps in a ring. Summed anew each time: a running sum would drift. */
static double mean_of_last(const PlanishLoudness *loudness, const double *ring, uint32_t steps)
{
  const uint32_t first = (uint32_t)((loudness->steps - steps) % RING);
  const uint32_t to_end = RING - first < steps ? RING - first : steps;
  return (sum_of(ring + first, to_end) + sum_of(ring, steps - to_end)) / steps;
}

static void note_maximum(PlanishLoudnessMaximum *maximum, double power, uint64_t step)
{
  if (power > maximum->power) {
    *maximum = (PlanishLoudnessMaximum){power, step};
  }
}

static void note_momentary(PlanishLoudness *loudness)
{
  const uint64_t counted = counted_in_a_row(loudness);
  loudness->momentary = mean_of_last(loudness, loudness->powers, PLANISH_LOUDNESS_MOMENTARY_STEPS);
  if (counted < PLANISH_LOUDNESS_MOMENTARY_STEPS) {
    return;
  }
  note_maximum(&loudness->momentary_max, loudness->momentary, loudness->steps);
  if (counted % BLOCK_STEPS == 0) {
    const double mono =
        mean_of_last(loudness, loudness->mono_powers, PLANISH_LOUDNESS_MOMENTARY_STEPS);
    planish_loudness_histogram_add(&loudness->blocks, loudness->momentary, mono);
  }
}

static void note_shortterm(PlanishLoudness *loudness)
{
  const uint64_t counted = counted_in_a_row(loudness);
  loudness->shortterm = mean_of_last(loudness, loudness->powers, PLANISH_LOUDNESS_SHORTTERM_STEPS);
  if (counted < PLANISH_LOUDNESS_SHORTTERM_STEPS) {
    return;
  }
  note_maximum(&loudness->shortterm_max, loudness->shortterm, loudness->steps);
  if (counted % BLOCK_STEPS == 0) {
    planish_loudness_histogram_add(&loudness->shortterms, loudness->shortterm, 0.0);
  }
}

/* What rings on after the end of the sound must not become denormal, which is slow. */
static void drop_residue(PlanishBiquad *biquad)
{
  if (fabs(biquad->s1) + fabs(biquad->s2) < 1e-100) {
    planish_biquad_reset(biquad);
  }
}

static void finish_step(PlanishLoudness *loudness)
{
  const double frames = (double)(loudness->step_end - loudness->step_start);
  loudness->powers[loudness->steps % RING] = loudness->sum / frames;
  loudness->mono_powers[loudness->steps % RING] = loudness->mono_sum / frames;
  loudness->sum = 0.0;
  loudness->mono_sum = 0.0;
  ++loudness->steps;
  loudness->step_start = loudness->step_end;
  loudness->step_end = planish_loudness_step_end(loudness->rate, loudness->steps + 1);
  for (uint32_t c = 0; c < loudness->channels; ++c) {
    drop_residue(&loudness->k[c].shelf);
    drop_residue(&loudness->k[c].high_pass);
  }
  loudness->counted += counted_in_a_row(loudness) > 0 ? 1 : 0;
  if (loudness->steps >= PLANISH_LOUDNESS_MOMENTARY_STEPS) {
    note_momentary(loudness);
  }
  if (loudness->steps >= PLANISH_LOUDNESS_SHORTTERM_STEPS) {
    note_shortterm(loudness);
  }
}

/* A biquad on both channels at once. */
typedef struct {
  PlanishTwo s1;
  PlanishTwo s2;
} TwoBiquads;

static TwoBiquads join(const PlanishBiquad *left, const PlanishBiquad *right)
{
  return (TwoBiquads){{left->s1, right->s1}, {left->s2, right->s2}};
}

static void part(const TwoBiquads *both, PlanishBiquad *left, PlanishBiquad *right)
{
  *left = (PlanishBiquad){both->s1[0], both->s2[0]};
  *right = (PlanishBiquad){both->s1[1], both->s2[1]};
}

/* planish_biquad_process() */
static inline PlanishTwo filter(TwoBiquads *both, const PlanishBiquadCoefs *coefs, PlanishTwo x)
{
  const PlanishTwo y = planish_both(coefs->b0) * x + both->s1;
  both->s1 = planish_both(coefs->b1) * x - planish_both(coefs->a1) * y + both->s2;
  both->s2 = planish_both(coefs->b2) * x - planish_both(coefs->a2) * y;
  return y;
}

/* Adds to the step's sums one frame at a time, so that they do not depend on the blocks. One
 * channel has silence beside it. Weighting is linear: what is weighted in left and right need only
 * be added for mono. */
static void add_frames(PlanishLoudness *loudness, const double *left, const double *right,
                       size_t frames)
{
  const PlanishKWeightingCoefs coefs = loudness->coefs;
  PlanishKWeighting *k = loudness->k;
  TwoBiquads shelf = join(&k[0].shelf, &k[1].shelf);
  TwoBiquads high_pass = join(&k[0].high_pass, &k[1].high_pass);
  double sum = loudness->sum;
  double mono_sum = loudness->mono_sum;
  for (size_t n = 0; n < frames; ++n) {
    const PlanishTwo x = {left[n], right != NULL ? right[n] : 0.0};
    const PlanishTwo y = filter(&high_pass, &coefs.high_pass, filter(&shelf, &coefs.shelf, x));
    const PlanishTwo square = y * y;
    const double both = y[0] + y[1];
    sum += square[0] + square[1];
    mono_sum += 0.5 * (both * both);
  }
  loudness->sum = sum;
  loudness->mono_sum = mono_sum;
  part(&shelf, &k[0].shelf, &k[1].shelf);
  part(&high_pass, &k[0].high_pass, &k[1].high_pass);
}

void planish_loudness_process(PlanishLoudness *loudness, const double *const *audio, size_t frames)
{
  size_t done = 0;
  while (done < frames) {
    const uint64_t left_in_step = loudness->step_end - loudness->frame;
    const size_t piece = frames - done < left_in_step ? frames - done : (size_t)left_in_step;
    add_frames(loudness, audio[0] + done, loudness->channels == 2 ? audio[1] + done : NULL, piece);
    loudness->frame += piece;
    done += piece;
    if (loudness->frame == loudness->step_end) {
      finish_step(loudness);
    }
  }
}

double planish_loudness_momentary(const PlanishLoudness *loudness)
{
  return planish_loudness_of(loudness->momentary);
}

double planish_loudness_shortterm(const PlanishLoudness *loudness)
{
  return planish_loudness_of(loudness->shortterm);
}

double planish_loudness_momentary_max(const PlanishLoudness *loudness)
{
  return planish_loudness_of(loudness->momentary_max.power);
}

double planish_loudness_shortterm_max(const PlanishLoudness *loudness)
{
  return planish_loudness_of(loudness->shortterm_max.power);
}

double planish_loudness_integrated(const PlanishLoudness *loudness)
{
  const PlanishLoudnessBin over =
      planish_loudness_histogram_gated(&loudness->blocks, INTEGRATED_GATE_LU);
  return over.count == 0 ? -HUGE_VAL : planish_loudness_of(over.power / (double)over.count);
}

double planish_loudness_mono_loss(const PlanishLoudness *loudness)
{
  const PlanishLoudnessBin over =
      planish_loudness_histogram_gated(&loudness->blocks, INTEGRATED_GATE_LU);
  return over.count == 0 ? (double)NAN
                         : planish_loudness_of(over.power) - planish_loudness_of(over.mono);
}

double planish_loudness_range(const PlanishLoudness *loudness)
{
  const uint64_t count =
      planish_loudness_histogram_gated(&loudness->shortterms, RANGE_GATE_LU).count;
  if (count == 0) {
    return (double)NAN;
  }
  /* Rounded to the nearest rank, as the reference code of EBU Tech 3342 does (from memory). */
  const double last = (double)(count - 1);
  const uint64_t low = (uint64_t)(last * RANGE_LOW + 0.5);
  const uint64_t high = (uint64_t)(last * RANGE_HIGH + 0.5);
  return planish_loudness_histogram_ranked(&loudness->shortterms, count - 1 - high) -
         planish_loudness_histogram_ranked(&loudness->shortterms, count - 1 - low);
}
