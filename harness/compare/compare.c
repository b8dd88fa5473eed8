#include "harness/compare/compare.h"

#include "common/dsp/maths.h"
#include "harness/base/interrupt.h"
#include "harness/compare/shifted.h"

#include <stdlib.h>

enum { BLOCK = 4096, PASSES = 3 };

/* Sound that is cut off at its ends moves the delay that is found by less than this. */
#define NEARLY_WHOLE 0.01 /* frames */

typedef struct {
  const PlanishCompareSetup *setup;
  PlanishComparison *result;
  PlanishReader *reader[2];
  unsigned pass;
  double told; /* share of the work */
  float block[2][2 * BLOCK];
  float rest[2 * BLOCK];

  /* First pass. */
  PlanishMeasure *measure[2];
  PlanishThirdOctaves *octaves[3]; /* of A, B and the difference */
  PlanishAligner *aligner;
  bool same;

  /* The others. */
  PlanishShifted *shifted;
  PlanishPunch *punch;
  double sign[2];
  double square[2]; /* of A and B */
  double product;
  double rest_square;
  double rest_at_loudness;
  double largest;
} Comparer;

static bool tell(Comparer *comparer, uint64_t at, uint64_t of, PlanishError *error)
{
  if (comparer->setup->tell != NULL) {
    const double share = ((double)comparer->pass + (double)at / fmax(1.0, (double)of)) / PASSES;
    comparer->told = fmax(comparer->told, share);
    comparer->setup->tell(comparer->setup->user, "comparing", 0, comparer->told);
  }
  return planish_interrupt_check(error);
}

static bool open_one(Comparer *comparer, int n, double rate, PlanishError *error)
{
  const PlanishReaderOptions options = {.silence_bad = comparer->setup->silence_bad, .rate = rate};
  planish_reader_free(comparer->reader[n]);
  comparer->reader[n] = planish_reader_open(comparer->setup->path[n], &options, error);
  return comparer->reader[n] != NULL;
}

static bool open_both(Comparer *comparer, PlanishError *error)
{
  PlanishComparison *result = comparer->result;
  if (!open_one(comparer, 0, 0.0, error) || !open_one(comparer, 1, 0.0, error)) {
    return false;
  }
  for (int n = 0; n < 2; ++n) {
    result->file_rate[n] = planish_reader_rate(comparer->reader[n]);
  }
  result->rate = fmax(result->file_rate[0], result->file_rate[1]);
  for (int n = 0; n < 2; ++n) {
    if (result->file_rate[n] != result->rate && !open_one(comparer, n, result->rate, error)) {
      return false;
    }
    result->frames[n] = planish_reader_frames(comparer->reader[n]);
    result->channels[n] = planish_reader_channels(comparer->reader[n]);
  }
  return true;
}

static bool prepare(Comparer *comparer, PlanishError *error)
{
  const double rate = comparer->result->rate;
  comparer->measure[0] = planish_measure_new(rate, 2);
  comparer->measure[1] = planish_measure_new(rate, 2);
  comparer->aligner = planish_aligner_new(rate);
  comparer->punch = planish_punch_new(rate, 2);
  bool done = comparer->measure[0] != NULL && comparer->measure[1] != NULL &&
              comparer->aligner != NULL && comparer->punch != NULL;
  for (int n = 0; n < 3; ++n) {
    comparer->octaves[n] = planish_third_octaves_new(rate);
    done = done && comparer->octaves[n] != NULL;
  }
  return done || planish_fail_memory(error);
}

/* A whole block, filled up with silence; `got` is how many frames are of the file. */
static bool read_block(PlanishReader *reader, float *block, size_t *got, PlanishError *error)
{
  memset(block, 0, (size_t)2 * BLOCK * sizeof(float));
  *got = 0;
  size_t more = 1;
  while (*got < BLOCK && more > 0) {
    if (!planish_reader_read(reader, block + 2 * *got, BLOCK - *got, &more, error)) {
      return false;
    }
    *got += more;
  }
  return true;
}

static bool read_as_they_stand(Comparer *comparer, PlanishError *error)
{
  const PlanishComparison *result = comparer->result;
  const uint64_t longest =
      result->frames[0] > result->frames[1] ? result->frames[0] : result->frames[1];
  comparer->same =
      result->file_rate[0] == result->file_rate[1] && result->frames[0] == result->frames[1];
  for (uint64_t at = 0; at < longest; at += BLOCK) {
    for (int n = 0; n < 2; ++n) {
      size_t got = 0;
      if (!read_block(comparer->reader[n], comparer->block[n], &got, error)) {
        return false;
      }
      planish_measure_process(comparer->measure[n], comparer->block[n], got);
      planish_third_octaves_process(comparer->octaves[n], comparer->block[n], got);
    }
    for (size_t n = 0; comparer->same && n < (size_t)2 * BLOCK; ++n) {
      comparer->same = comparer->block[0][n] == comparer->block[1][n];
    }
    planish_aligner_process(comparer->aligner, comparer->block[0], comparer->block[1], BLOCK);
    if (!tell(comparer, at, longest, error)) {
      return false;
    }
  }
  return true;
}

/* What the first pass found. */
static void conclude_first(Comparer *comparer)
{
  PlanishComparison *result = comparer->result;
  for (int n = 0; n < 2; ++n) {
    planish_measure_finish(comparer->measure[n], &result->measurement[n]);
    planish_third_octaves_finish(comparer->octaves[n], &result->octaves[n]);
    result->silenced[n] = planish_reader_silenced(comparer->reader[n]);
    result->cut[n] = planish_reader_is_cut(comparer->reader[n]);
  }
  result->same_samples = comparer->same;
  result->loudness_gain = result->measurement[0].integrated - result->measurement[1].integrated;
  result->alignment = planish_aligner_finish(comparer->aligner);
  result->related = result->alignment.correlation >= PLANISH_ALIGNMENT_UNRELATED;
  if (comparer->setup->plain || comparer->same || !result->related) {
    result->alignment.delay = 0.0;
    result->alignment.turned[0] = result->alignment.turned[1] = false;
    result->related = result->related || comparer->setup->plain || comparer->same;
  }
  for (int c = 0; c < 2; ++c) {
    comparer->sign[c] = result->alignment.turned[c] ? -1.0 : 1.0;
  }
}

static void take_block_of_gain(Comparer *comparer, uint64_t at, size_t frames)
{
  PlanishComparison *result = comparer->result;
  for (size_t n = 0; n < frames; ++n) {
    bool differs = false;
    for (size_t c = 0; c < 2; ++c) {
      const double a = (double)comparer->block[0][2 * n + c];
      const double b = comparer->sign[c] * (double)comparer->block[1][2 * n + c];
      comparer->square[0] += a * a;
      comparer->square[1] += b * b;
      comparer->product += a * b;
      differs = differs || a != b;
    }
    if (differs) {
      result->first_difference = result->differing == 0 ? at + n : result->first_difference;
      result->differing += 1;
    }
  }
}

/* The factor of a gain in dB; 0 for one that was not found. */
static double factor_of(double gain)
{
  return isfinite(gain) ? planish_gain_of(gain) : 0.0;
}

static void take_block_of_rest(Comparer *comparer, uint64_t at, size_t frames)
{
  PlanishComparison *result = comparer->result;
  const double gain = factor_of(result->gain);
  const double loudness_gain = factor_of(result->loudness_gain);
  for (size_t n = 0; n < frames; ++n) {
    for (size_t c = 0; c < 2; ++c) {
      const double a = (double)comparer->block[0][2 * n + c];
      const double b = comparer->sign[c] * (double)comparer->block[1][2 * n + c];
      const double rest = a - gain * b;
      const double other = a - loudness_gain * b;
      comparer->rest[2 * n + c] = (float)rest;
      comparer->rest_square += rest * rest;
      comparer->rest_at_loudness += other * other;
      if (fabs(rest) > comparer->largest) {
        comparer->largest = fabs(rest);
        result->largest_at = (double)(at + n);
      }
    }
  }
  planish_third_octaves_process(comparer->octaves[2], comparer->rest, frames);
  const float *const versions[2] = {comparer->block[0], comparer->block[1]};
  planish_punch_process(comparer->punch, versions, frames);
}

/* All frames that both have, lined up. */
static bool read_lined_up(Comparer *comparer,
                          void (*take)(Comparer *comparer, uint64_t at, size_t frames),
                          PlanishError *error)
{
  const PlanishComparison *result = comparer->result;
  planish_shifted_free(comparer->shifted);
  comparer->shifted = planish_shifted_new(comparer->reader[1],
                                          result->alignment.delay + (double)result->from, error);
  if (comparer->shifted == NULL || !planish_reader_seek(comparer->reader[0], result->from, error)) {
    return false;
  }
  for (uint64_t at = 0; at < result->overlap; at += BLOCK) {
    const uint64_t left = result->overlap - at;
    const size_t frames = left < BLOCK ? (size_t)left : BLOCK;
    size_t got = 0;
    if (!read_block(comparer->reader[0], comparer->block[0], &got, error) ||
        !planish_shifted_read(comparer->shifted, comparer->block[1], frames, error) ||
        !tell(comparer, at, result->overlap, error)) {
      return false;
    }
    take(comparer, result->from + at, frames);
  }
  return true;
}

/* The second pass at a delay: the frames that both have then, and their sums. */
static bool line_up(Comparer *comparer, double delay, PlanishError *error)
{
  PlanishComparison *result = comparer->result;
  const double from = ceil(fmax(0.0, -delay));
  const double to = floor(fmin((double)result->frames[0], (double)result->frames[1] - delay));
  result->alignment.delay = delay;
  result->from = (uint64_t)from;
  result->overlap = to > from ? (uint64_t)(to - from) : 0;
  result->differing = 0;
  comparer->square[0] = comparer->square[1] = comparer->product = 0.0;
  return read_lined_up(comparer, take_block_of_gain, error);
}

/* What the best gain leaves of A, as a share of its power. */
static double least_rest(const Comparer *comparer)
{
  const double both = comparer->square[0] * comparer->square[1];
  return both > 0.0 ? 1.0 - comparer->product * comparer->product / both : 1.0;
}

/* A delay that is nearly whole is whole where that leaves less, or as little. */
static bool read_for_gain(Comparer *comparer, PlanishError *error)
{
  const double delay = comparer->result->alignment.delay;
  const double whole = nearbyint(delay) + 0.0;
  const double part = fabs(delay - whole);
  if (part < PLANISH_SHIFTED_WHOLE || part > NEARLY_WHOLE) {
    return line_up(comparer, part > NEARLY_WHOLE ? delay : whole, error);
  }
  if (!line_up(comparer, delay, error)) {
    return false;
  }
  const double rest = least_rest(comparer);
  return line_up(comparer, whole, error) &&
         (least_rest(comparer) <= rest || line_up(comparer, delay, error));
}

static double ratio(double rest, double louder)
{
  return rest > 0.0 ? 10.0 * log10(rest / louder) : -HUGE_VAL;
}

/* Nothing helps against what is all of it a difference; where A is silent it stands as it is. */
static void conclude_gain(Comparer *comparer)
{
  PlanishComparison *result = comparer->result;
  const bool helps = comparer->product > 0.0 && !comparer->setup->plain;
  result->gain = helps ? 20.0 * log10(comparer->product / comparer->square[1]) : -HUGE_VAL;
  if (comparer->setup->plain || comparer->same || !(comparer->square[0] > 0.0)) {
    result->gain = 0.0;
  }
}

/* The sum of squares of a file from a frame on, up to another. */
static bool sum_of(Comparer *comparer, int n, double from, double to, double *sum,
                   PlanishError *error)
{
  const double end = fmin(to, (double)comparer->result->frames[n]);
  *sum = 0.0;
  if (from >= end) {
    return true;
  }
  bool done = planish_reader_seek(comparer->reader[n], (uint64_t)from, error);
  uint64_t left = (uint64_t)end - (uint64_t)from;
  while (done && left > 0) {
    size_t got = 0;
    done = planish_interrupt_check(error) &&
           read_block(comparer->reader[n], comparer->block[n], &got, error);
    const size_t taken = got < left ? got : (size_t)left;
    for (size_t i = 0; done && i < 2 * taken; ++i) {
      *sum += (double)comparer->block[n][i] * (double)comparer->block[n][i];
    }
    left = got == BLOCK ? left - taken : 0;
  }
  return done;
}

/* What one has before the other begins; and once it has ended, but for as much as the delay moved
 * out of reach. */
static bool read_beyond(Comparer *comparer, PlanishError *error)
{
  PlanishComparison *result = comparer->result;
  const double delay = result->alignment.delay;
  const double rounding = result->file_rate[0] == result->file_rate[1] ? 0.0 : 2.0;
  const double end = (double)(result->from + result->overlap) + rounding;
  const double ends[2] = {end + ceil(fmax(0.0, delay)), ceil(end + fmax(0.0, delay))};
  const double gain = isfinite(result->gain) ? planish_gain_of(result->gain) : 1.0;
  double ahead[2];
  double beyond[2];
  double all[2];
  for (int n = 0; n < 2; ++n) {
    const double later = n == 0 ? -delay : delay;
    if (!sum_of(comparer, n, 0.0, floor(fmax(0.0, later - rounding)), &ahead[n], error) ||
        !sum_of(comparer, n, ends[n], HUGE_VAL, &beyond[n], error)) {
      return false;
    }
    all[n] = ahead[n] + comparer->square[n] + beyond[n];
  }
  const double louder = fmax(all[0], gain * gain * all[1]);
  for (int n = 0; n < 2; ++n) {
    const double own = n == 0 ? 1.0 : gain * gain;
    result->ahead[n] = ratio(own * ahead[n], louder);
    result->beyond[n] = ratio(own * beyond[n], louder);
  }
  return true;
}

static void conclude_rest(Comparer *comparer)
{
  PlanishComparison *result = comparer->result;
  const double gain = factor_of(result->gain);
  const double loudness_gain = factor_of(result->loudness_gain);
  const double *square = comparer->square;
  result->null_depth = ratio(comparer->rest_square, fmax(square[0], gain * gain * square[1]));
  result->null_at_loudness =
      ratio(comparer->rest_at_loudness, fmax(square[0], loudness_gain * loudness_gain * square[1]));
  if (!isfinite(result->loudness_gain)) {
    result->loudness_gain = (double)NAN;
    result->null_at_loudness = (double)NAN;
  }
  result->largest_difference =
      comparer->largest > 0.0 ? 20.0 * log10(comparer->largest) : -HUGE_VAL;
  planish_third_octaves_finish(comparer->octaves[2], &result->difference);
  result->punch[0] = planish_punch_result(comparer->punch, 0);
  result->punch[1] = planish_punch_result(comparer->punch, 1);
}

static bool run(Comparer *comparer, PlanishError *error)
{
  if (!open_both(comparer, error) || !prepare(comparer, error) ||
      !read_as_they_stand(comparer, error)) {
    return false;
  }
  conclude_first(comparer);
  comparer->pass = 1;
  if (!read_for_gain(comparer, error)) {
    return false;
  }
  conclude_gain(comparer);
  comparer->pass = 2;
  if (!read_lined_up(comparer, take_block_of_rest, error)) {
    return false;
  }
  conclude_rest(comparer);
  return read_beyond(comparer, error);
}

bool planish_compare(const PlanishCompareSetup *setup, PlanishComparison *result,
                     PlanishError *error)
{
  Comparer *comparer = calloc(1, sizeof *comparer);
  if (comparer == NULL) {
    return planish_fail_memory(error);
  }
  *result = (PlanishComparison){0};
  comparer->setup = setup;
  comparer->result = result;
  const bool done = run(comparer, error);
  for (int n = 0; n < 2; ++n) {
    planish_reader_free(comparer->reader[n]);
    planish_measure_free(comparer->measure[n]);
  }
  for (int n = 0; n < 3; ++n) {
    planish_third_octaves_free(comparer->octaves[n]);
  }
  planish_aligner_free(comparer->aligner);
  planish_shifted_free(comparer->shifted);
  planish_punch_free(comparer->punch);
  free(comparer);
  return done;
}
