#include "harness/distortion/tier_fit.h"

#include "common/dsp/maths.h"
#include "harness/base/interrupt.h"
#include "harness/distortion/level_tier.h"
#include "harness/distortion/linear_tier.h"
#include "harness/distortion/masking.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_LINEAR_PASSES = 10, MOST_ROUNDS = 5, PIECE = 4096 };

static const double worth_it = 0.05;   /* of the rest's power, that another pass has to win */
static const double settled = 3e-11;   /* of the power of `after`: no need for more passes */
static const double negligible = 1e-9; /* likewise for rounds */

/* What a pass is for. */
typedef enum { LEARN, LINEAR, LEVEL, JUDGE } Purpose;

/* Sums of squares over the stretch, both channels. */
typedef struct {
  double before;
  double after;
  double level;
  double rest;
  bool same; /* not one sample differs */
} Powers;

struct PlanishTierFit {
  const PlanishFitPlans *plans;
  PlanishLinearTier *linear;
  PlanishLevelTier *level;
  PlanishMasking *masking;
  float *piece;
  PlanishPair *before; /* of a block each */
  PlanishPair *spectrum;
  PlanishPair *filtered;
  PlanishPair *after; /* of core and margins each */
  PlanishPair *rest;
  PlanishPair *change;
  double *ratios; /* of frames of the masking model */
  size_t ratio_room;
  size_t ratio_count;
  size_t audible;
  /* The pair at hand. */
  PlanishTrack *from;
  PlanishTrack *to;
  int64_t first;
  int64_t end;
};

PlanishTierFit *planish_tier_fit_new(const PlanishFitPlans *plans)
{
  PlanishTierFit *fit = calloc(1, sizeof *fit);
  if (fit == NULL) {
    return NULL;
  }
  const size_t block = PLANISH_FIT_BLOCK * plans->unit;
  const size_t span = (PLANISH_FIT_CORE + 2 * PLANISH_FIT_MARGIN) * plans->unit;
  fit->plans = plans;
  fit->linear = planish_linear_tier_new(plans);
  fit->level = planish_level_tier_new(plans);
  fit->masking = planish_masking_new(plans);
  fit->piece = calloc((size_t)2 * PIECE, sizeof *fit->piece);
  fit->before = planish_fit_buffer(block);
  fit->spectrum = planish_fit_buffer(block);
  fit->filtered = planish_fit_buffer(block);
  fit->after = planish_fit_buffer(span);
  fit->rest = planish_fit_buffer(span);
  fit->change = planish_fit_buffer(span);
  if (fit->linear == NULL || fit->level == NULL || fit->masking == NULL || fit->piece == NULL ||
      fit->before == NULL || fit->spectrum == NULL || fit->filtered == NULL || fit->after == NULL ||
      fit->rest == NULL || fit->change == NULL) {
    planish_tier_fit_free(fit);
    return NULL;
  }
  return fit;
}

void planish_tier_fit_free(PlanishTierFit *fit)
{
  if (fit == NULL) {
    return;
  }
  planish_linear_tier_free(fit->linear);
  planish_level_tier_free(fit->level);
  planish_masking_free(fit->masking);
  free(fit->piece);
  free(fit->ratios);
  fftw_free(fit->before);
  fftw_free(fit->spectrum);
  fftw_free(fit->filtered);
  fftw_free(fit->after);
  fftw_free(fit->rest);
  fftw_free(fit->change);
  free(fit);
}

/* Frames from `at` on as pairs; silence outside of low..high and of the track. */
static bool read_pairs(PlanishTierFit *fit, PlanishTrack *track, int64_t at, size_t frames,
                       int64_t low, int64_t high, PlanishPair *pairs, PlanishError *error)
{
  low = low < 0 ? 0 : low;
  memset(pairs, 0, frames * sizeof *pairs);
  int64_t from = at > low ? at : low;
  const int64_t to = at + (int64_t)frames < high ? at + (int64_t)frames : high;
  while (from < to) {
    const size_t count = to - from < PIECE ? (size_t)(to - from) : PIECE;
    if (!planish_track_read(track, (uint64_t)from, fit->piece, count, error)) {
      return false;
    }
    for (size_t n = 0; n < count; ++n) {
      const double left = (double)fit->piece[2 * n];
      const double right = (double)fit->piece[2 * n + 1];
      pairs[from - at + (int64_t)n] = (PlanishPair){0.5 * (left + right), 0.5 * (left - right)};
    }
    from += (int64_t)count;
  }
  return true;
}

static double square(PlanishPair pair)
{
  return pair.re * pair.re + pair.im * pair.im;
}

/* The block whose core begins at `core`: as it was, and its spectrum. */
static bool read_before(PlanishTierFit *fit, int64_t core, PlanishError *error)
{
  const int64_t unit = (int64_t)fit->plans->unit;
  const size_t block = (size_t)(PLANISH_FIT_BLOCK * unit);
  if (!read_pairs(fit, fit->from, core - PLANISH_FIT_BEFORE * unit, block,
                  fit->first - PLANISH_FIT_BEFORE * unit,
                  fit->end + (PLANISH_FIT_MARGIN + PLANISH_FIT_AHEAD) * unit, fit->before, error)) {
    return false;
  }
  memcpy(fit->spectrum, fit->before, block * sizeof *fit->before);
  planish_fit_run(fit->plans->block_forward, fit->spectrum);
  return true;
}

static void learn(PlanishTierFit *fit)
{
  const size_t unit = fit->plans->unit;
  const size_t start = PLANISH_FIT_BEFORE * unit;
  const size_t count = PLANISH_FIT_CORE * unit;
  memset(fit->filtered, 0, PLANISH_FIT_BLOCK * unit * sizeof *fit->filtered);
  memcpy(fit->filtered + start, fit->before + start, count * sizeof *fit->filtered);
  planish_fit_run(fit->plans->block_forward, fit->filtered);
  planish_linear_tier_learn(fit->linear, fit->spectrum, fit->filtered);
}

/* The linear tier's part, core and margins, and what it lacks; outside of the stretch nothing. */
static PlanishPair *filter(PlanishTierFit *fit, int64_t core, Purpose purpose)
{
  const int64_t unit = (int64_t)fit->plans->unit;
  const size_t block = (size_t)(PLANISH_FIT_BLOCK * unit);
  const size_t span = (size_t)((PLANISH_FIT_CORE + 2 * PLANISH_FIT_MARGIN) * unit);
  PlanishPair *linear = fit->filtered + (PLANISH_FIT_BEFORE - PLANISH_FIT_MARGIN) * unit;
  if (purpose == LEARN) {
    memset(linear, 0, span * sizeof *linear);
  } else {
    planish_linear_tier_apply(fit->linear, fit->spectrum, fit->filtered);
    planish_fit_run(fit->plans->block_back, fit->filtered);
  }
  const double scale = 1.0 / (double)block;
  for (size_t n = 0; n < span; ++n) {
    const int64_t frame = core - PLANISH_FIT_MARGIN * unit + (int64_t)n;
    const double counts = frame >= fit->first && frame < fit->end ? 1.0 : 0.0;
    linear[n].re *= scale;
    linear[n].im *= scale;
    fit->rest[n].re = counts * (fit->after[n].re - linear[n].re);
    fit->rest[n].im = counts * (fit->after[n].im - linear[n].im);
  }
  return linear;
}

static void take_off_change(PlanishTierFit *fit, PlanishPair *linear)
{
  const size_t span = (PLANISH_FIT_CORE + 2 * PLANISH_FIT_MARGIN) * fit->plans->unit;
  planish_level_tier_process(fit->level, linear, fit->rest, fit->change);
  for (size_t n = 0; n < span; ++n) {
    linear[n].re += fit->change[n].re;
    linear[n].im += fit->change[n].im;
    fit->rest[n].re -= fit->change[n].re;
    fit->rest[n].im -= fit->change[n].im;
  }
}

static bool make_room(PlanishTierFit *fit, PlanishError *error)
{
  const size_t hop = PLANISH_FIT_MASK_HOP * fit->plans->unit;
  const size_t room = (size_t)(fit->end - fit->first) / hop + 1;
  if (room > fit->ratio_room) {
    free(fit->ratios);
    fit->ratios = calloc(room, sizeof *fit->ratios);
    fit->ratio_room = fit->ratios == NULL ? 0 : room;
  }
  return fit->ratios != NULL || planish_fail_memory(error);
}

/* Frames that begin in the core and lie in the stretch. */
static void judge(PlanishTierFit *fit, int64_t core, const PlanishPair *masker)
{
  const int64_t unit = (int64_t)fit->plans->unit;
  const int64_t length = PLANISH_FIT_MASK_FRAME * unit;
  for (int64_t n = 0; n < PLANISH_FIT_CORE; n += PLANISH_FIT_MASK_HOP) {
    const int64_t at = core + n * unit;
    if (at >= fit->first && at + length <= fit->end && fit->ratio_count < fit->ratio_room) {
      const int64_t place = (PLANISH_FIT_MARGIN + n) * unit;
      const PlanishMaskingFrame frame =
          planish_masking_process(fit->masking, masker + place, fit->rest + place);
      fit->ratios[fit->ratio_count++] = frame.ratio;
      fit->audible += frame.audible ? 1 : 0;
    }
  }
}

/* Sums over the core, and what the linear tier is to be told. */
static void note(PlanishTierFit *fit, int64_t core, Purpose purpose, Powers *powers)
{
  const int64_t unit = (int64_t)fit->plans->unit;
  PlanishPair *told = fit->filtered;
  memset(told, 0, (size_t)(PLANISH_FIT_BLOCK * unit) * sizeof *told);
  for (int64_t n = 0; n < PLANISH_FIT_CORE * unit; ++n) {
    if (core + n < fit->first || core + n >= fit->end) {
      continue;
    }
    const PlanishPair rest = fit->rest[PLANISH_FIT_MARGIN * unit + n];
    const PlanishPair after = fit->after[PLANISH_FIT_MARGIN * unit + n];
    const PlanishPair before = fit->before[PLANISH_FIT_BEFORE * unit + n];
    const PlanishPair change = fit->change[PLANISH_FIT_MARGIN * unit + n];
    powers->before += square(before);
    powers->after += square(after);
    powers->rest += square(rest);
    powers->same = powers->same && before.re == after.re && before.im == after.im;
    if (purpose >= LEVEL) {
      powers->level += square(change);
    }
    told[PLANISH_FIT_BEFORE * unit + n] = rest;
  }
  if (purpose != JUDGE) {
    planish_fit_run(fit->plans->block_forward, told);
    planish_linear_tier_miss(fit->linear, fit->spectrum, told);
  }
}

static bool run_chunk(PlanishTierFit *fit, int64_t core, Purpose purpose, Powers *powers,
                      PlanishError *error)
{
  const int64_t unit = (int64_t)fit->plans->unit;
  const bool idle = core + PLANISH_FIT_CORE * unit <= fit->first || core >= fit->end;
  if (idle && purpose != LEARN) {
    return true;
  }
  const size_t span = (size_t)((PLANISH_FIT_CORE + 2 * PLANISH_FIT_MARGIN) * unit);
  if (!planish_interrupt_check(error) || !read_before(fit, core, error) ||
      !read_pairs(fit, fit->to, core - PLANISH_FIT_MARGIN * unit, span, INT64_MIN, INT64_MAX,
                  fit->after, error)) {
    return false;
  }
  if (purpose == LEARN) {
    learn(fit);
  }
  PlanishPair *linear = filter(fit, core, purpose);
  if (purpose >= LEVEL) {
    take_off_change(fit, linear);
  }
  if (purpose == JUDGE) {
    judge(fit, core, linear);
  }
  note(fit, core, purpose, powers);
  return true;
}

static bool run_pass(PlanishTierFit *fit, Purpose purpose, Powers *powers, PlanishError *error)
{
  const int64_t unit = (int64_t)fit->plans->unit;
  const int64_t last = fit->end + (PLANISH_FIT_MARGIN + PLANISH_FIT_AHEAD) * unit;
  *powers = (Powers){.same = true};
  planish_level_tier_begin(fit->level);
  for (int64_t core = fit->first - PLANISH_FIT_BEFORE * unit; core < last;
       core += PLANISH_FIT_CORE * unit) {
    if (!run_chunk(fit, core, purpose, powers, error)) {
      return false;
    }
  }
  return true;
}

/* The linear tier alone. */
static bool fit_linear(PlanishTierFit *fit, Powers *powers, PlanishError *error)
{
  planish_linear_tier_solve(fit->linear, powers->rest, powers->after);
  for (int pass = 0; pass < MOST_LINEAR_PASSES; ++pass) {
    if (!run_pass(fit, LINEAR, powers, error)) {
      return false;
    }
    const double won = planish_linear_tier_solve(fit->linear, powers->rest, powers->after);
    if (won < worth_it * powers->rest || powers->rest < settled * powers->after) {
      break;
    }
    planish_linear_tier_push(fit->linear, (double)pass / (pass + 3));
  }
  return true;
}

static bool fit_level(PlanishTierFit *fit, Powers *powers, PlanishError *error)
{
  for (int round = 0; round < MOST_ROUNDS; ++round) {
    if (!run_pass(fit, LEVEL, powers, error)) {
      return false;
    }
    const double won = planish_linear_tier_solve(fit->linear, powers->rest, powers->after);
    if (round > 0 && won < worth_it * powers->rest) {
      break;
    }
  }
  return true;
}

static int by_size(const void *a, const void *b)
{
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return (x > y) - (x < y);
}

static double level_re(double power, double whole)
{
  return planish_max(planish_level_of_power(power / whole), PLANISH_DISTORTION_NONE);
}

static void tell(PlanishTierFit *fit, const Powers *powers, double not_linear,
                 PlanishDistortion *result)
{
  const PlanishLevelRange range = planish_level_tier_range(fit->level);
  result->gain_lowest = range.lowest;
  result->gain_highest = range.highest;
  result->gain_mean = range.mean;
  result->not_linear = level_re(not_linear, powers->after);
  result->level = level_re(powers->level, powers->after);
  result->distortion = level_re(powers->rest, powers->after);
  result->audible = (double)fit->audible / (double)fit->ratio_count;
  qsort(fit->ratios, fit->ratio_count, sizeof *fit->ratios, by_size);
  result->nmr_p95 = fit->ratios[(size_t)(0.95 * (double)(fit->ratio_count - 1) + 0.5)];
}

static void tell_same(PlanishDistortion *result)
{
  result->gain_lowest = 0.0;
  result->gain_highest = 0.0;
  result->gain_mean = 0.0;
  result->not_linear = PLANISH_DISTORTION_NONE;
  result->level = PLANISH_DISTORTION_NONE;
  result->distortion = PLANISH_DISTORTION_NONE;
  result->audible = 0.0;
  result->nmr_p95 = PLANISH_DISTORTION_NONE;
}

bool planish_tier_fit_run(PlanishTierFit *fit, PlanishTrack *before, PlanishTrack *after,
                          PlanishDistortion *result, PlanishError *error)
{
  fit->from = before;
  fit->to = after;
  fit->first = (int64_t)result->stretch.first;
  fit->end = fit->first + (int64_t)result->stretch.frames;
  fit->ratio_count = 0;
  fit->audible = 0;
  planish_linear_tier_reset(fit->linear);
  planish_level_tier_reset(fit->level);
  Powers powers;
  if (!make_room(fit, error) || !run_pass(fit, LEARN, &powers, error)) {
    return false;
  }
  if (!(powers.before > 0.0) || !(powers.after > 0.0)) {
    result->status = PLANISH_DISTORTION_SILENT;
    return true;
  }
  result->status = PLANISH_DISTORTION_DONE;
  if (powers.same) {
    tell_same(result);
    return true;
  }
  if (!fit_linear(fit, &powers, error)) {
    return false;
  }
  const double not_linear = powers.rest;
  if ((not_linear > negligible * powers.after && !fit_level(fit, &powers, error)) ||
      !run_pass(fit, JUDGE, &powers, error)) {
    return false;
  }
  tell(fit, &powers, not_linear, result);
  return true;
}
