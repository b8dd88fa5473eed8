#include "harness/distortion/linear_tier.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_ITERATIONS = 80, MOST_IDLE = 4 };

static const double floor_share = 1e-11; /* of the largest bin's power */
static const double near_enough = 1e-12; /* of the residual's power, preconditioned */
static const double worth_it = 1e-3; /* of the rest's power, that an iteration has to win, ... */
static const double nearly_linear =
    1e-7; /* ... less where the rest is less than this of the whole */

/* A spectrum or sequence for each input, mid and side; mid + i side of the output each. */
typedef PlanishPair *Both[2];

/* A Hermitian matrix of two by two at a bin: from mid, from side, and across. */
typedef struct {
  double mid;
  double side;
  double re; /* of the product of side's spectrum with the conjugate of mid's */
  double im;
} Power;

/* One sum for each output: mid's, side's. */
typedef struct {
  double of[2];
} Sums;

struct PlanishLinearTier {
  const PlanishFitPlans *plans;
  size_t taps;
  size_t block;
  Both filter;   /* taps, the first of them ahead of time zero */
  Both last;     /* as it was last solved */
  Both response; /* of the block's length */
  Both own;      /* sums of products of the input with itself; block's length */
  Both missing;  /* with the rest */
  Power *power;  /* of 2 taps bins */
  Power *inverse;
  bool prepared;
  /* Conjugate gradients. */
  Both solution;
  Both residual;
  Both direction;
  Both image; /* 2 taps: what an operator makes of a sequence */
};

static bool allocate(Both both, size_t count)
{
  both[0] = planish_fit_buffer(count);
  both[1] = planish_fit_buffer(count);
  return both[0] != NULL && both[1] != NULL;
}

static void clear(Both both, size_t count)
{
  memset(both[0], 0, count * sizeof *both[0]);
  memset(both[1], 0, count * sizeof *both[1]);
}

PlanishLinearTier *planish_linear_tier_new(const PlanishFitPlans *plans)
{
  PlanishLinearTier *tier = calloc(1, sizeof *tier);
  if (tier == NULL) {
    return NULL;
  }
  tier->plans = plans;
  tier->taps = PLANISH_FIT_TAPS * plans->unit;
  tier->block = PLANISH_FIT_BLOCK * plans->unit;
  tier->power = calloc(2 * tier->taps, sizeof *tier->power);
  tier->inverse = calloc(2 * tier->taps, sizeof *tier->inverse);
  if (tier->power == NULL || tier->inverse == NULL || !allocate(tier->filter, tier->taps) ||
      !allocate(tier->last, tier->taps) || !allocate(tier->response, tier->block) ||
      !allocate(tier->own, tier->block) || !allocate(tier->missing, tier->block) ||
      !allocate(tier->solution, tier->taps) || !allocate(tier->residual, tier->taps) ||
      !allocate(tier->direction, tier->taps) || !allocate(tier->image, 2 * tier->taps)) {
    planish_linear_tier_free(tier);
    return NULL;
  }
  return tier;
}

void planish_linear_tier_free(PlanishLinearTier *tier)
{
  if (tier == NULL) {
    return;
  }
  for (int i = 0; i < 2; ++i) {
    fftw_free(tier->filter[i]);
    fftw_free(tier->last[i]);
    fftw_free(tier->response[i]);
    fftw_free(tier->own[i]);
    fftw_free(tier->missing[i]);
    fftw_free(tier->solution[i]);
    fftw_free(tier->residual[i]);
    fftw_free(tier->direction[i]);
    fftw_free(tier->image[i]);
  }
  free(tier->power);
  free(tier->inverse);
  free(tier);
}

void planish_linear_tier_reset(PlanishLinearTier *tier)
{
  clear(tier->filter, tier->taps);
  clear(tier->last, tier->taps);
  clear(tier->response, tier->block);
  clear(tier->own, tier->block);
  clear(tier->missing, tier->block);
  tier->prepared = false;
}

/* sum[i] += what * conjugate of before's channel i */
static void correlate(Both sum, const PlanishPair *before, const PlanishPair *what, size_t block)
{
  for (size_t k = 0; k < block; ++k) {
    PlanishPair x[2];
    planish_pair_open(before[k], before[(block - k) & (block - 1)], &x[0], &x[1]);
    for (int i = 0; i < 2; ++i) {
      sum[i][k].re += what[k].re * x[i].re + what[k].im * x[i].im;
      sum[i][k].im += what[k].im * x[i].re - what[k].re * x[i].im;
    }
  }
}

void planish_linear_tier_learn(PlanishLinearTier *tier, const PlanishPair *before,
                               const PlanishPair *core)
{
  correlate(tier->own, before, core, tier->block);
}

void planish_linear_tier_miss(PlanishLinearTier *tier, const PlanishPair *before,
                              const PlanishPair *rest)
{
  correlate(tier->missing, before, rest, tier->block);
}

void planish_linear_tier_apply(const PlanishLinearTier *tier, const PlanishPair *before,
                               PlanishPair *after)
{
  const size_t block = tier->block;
  for (size_t k = 0; k < block; ++k) {
    PlanishPair mid;
    PlanishPair side;
    planish_pair_open(before[k], before[(block - k) & (block - 1)], &mid, &side);
    const PlanishPair a = tier->response[0][k];
    const PlanishPair b = tier->response[1][k];
    after[k].re = a.re * mid.re - a.im * mid.im + b.re * side.re - b.im * side.im;
    after[k].im = a.re * mid.im + a.im * mid.re + b.re * side.im + b.im * side.re;
  }
}

/* Spectra of the input's own correlations, weighted by lag, as `power`. own[i] holds, in time, the
 * products of mid + i side with channel i that stands `lag` frames earlier; for negative lags the
 * two change places. */
static void spectra_of_own(PlanishLinearTier *tier, bool weighted, Power *power)
{
  const size_t taps = tier->taps;
  clear(tier->image, 2 * taps);
  /* image[0]: mid with mid + i (side with side), both even; image[1]: side on earlier mid. */
  for (size_t lag = 0; lag < taps; ++lag) {
    const double weight = weighted ? 1.0 - (double)lag / (double)taps : 1.0;
    const PlanishPair mid = tier->own[0][lag];
    const PlanishPair side = tier->own[1][lag];
    const size_t mirror = lag == 0 ? 0 : 2 * taps - lag;
    tier->image[0][lag] = (PlanishPair){weight * mid.re, weight * side.im};
    tier->image[0][mirror] = tier->image[0][lag];
    tier->image[1][lag].re = weight * mid.im;
    tier->image[1][mirror].re = weight * side.re;
  }
  planish_fit_run(tier->plans->filter_forward, tier->image[0]);
  planish_fit_run(tier->plans->filter_forward, tier->image[1]);
  for (size_t k = 0; k < 2 * taps; ++k) {
    const PlanishPair alone = tier->image[0][k];
    const PlanishPair across = tier->image[1][k];
    power[k] = (Power){alone.re, alone.im, across.re, across.im};
  }
}

static void invert(const Power *power, double floor, Power *inverse)
{
  const double mid = fmax(power->mid, 0.0) + floor;
  const double side = fmax(power->side, 0.0) + floor;
  const double determinant =
      fmax(mid * side - power->re * power->re - power->im * power->im, floor * floor);
  *inverse = (Power){side / determinant, mid / determinant, -power->re / determinant,
                     -power->im / determinant};
}

/* After all blocks were learnt: the equations, and what they are preconditioned with. */
static void prepare(PlanishLinearTier *tier)
{
  const size_t bins = 2 * tier->taps;
  planish_fit_run(tier->plans->block_back, tier->own[0]);
  planish_fit_run(tier->plans->block_back, tier->own[1]);
  spectra_of_own(tier, true, tier->inverse);
  double largest = 0.0;
  for (size_t k = 0; k < bins; ++k) {
    largest = fmax(largest, tier->inverse[k].mid + tier->inverse[k].side);
  }
  const double floor = floor_share * largest + 1e-280;
  for (size_t k = 0; k < bins; ++k) {
    invert(&tier->inverse[k], floor, &tier->inverse[k]);
  }
  spectra_of_own(tier, false, tier->power);
  for (size_t k = 0; k < bins; ++k) {
    tier->power[k].mid += floor;
    tier->power[k].side += floor;
  }
}

/* image = operator on `from`: its first taps count. */
static void operate(PlanishLinearTier *tier, const Power *power, Both from)
{
  const size_t taps = tier->taps;
  for (int i = 0; i < 2; ++i) {
    memcpy(tier->image[i], from[i], taps * sizeof *from[i]);
    memset(tier->image[i] + taps, 0, taps * sizeof *from[i]);
    planish_fit_run(tier->plans->filter_forward, tier->image[i]);
  }
  const double scale = 1.0 / (double)(2 * taps);
  for (size_t k = 0; k < 2 * taps; ++k) {
    const Power p = power[k];
    const PlanishPair mid = {tier->image[0][k].re * scale, tier->image[0][k].im * scale};
    const PlanishPair side = {tier->image[1][k].re * scale, tier->image[1][k].im * scale};
    tier->image[0][k] = (PlanishPair){p.mid * mid.re + p.re * side.re - p.im * side.im,
                                      p.mid * mid.im + p.re * side.im + p.im * side.re};
    tier->image[1][k] = (PlanishPair){p.side * side.re + p.re * mid.re + p.im * mid.im,
                                      p.side * side.im + p.re * mid.im - p.im * mid.re};
  }
  planish_fit_run(tier->plans->filter_back, tier->image[0]);
  planish_fit_run(tier->plans->filter_back, tier->image[1]);
}

/* The two outputs are two problems with one matrix, side by side. */
static Sums product(Both a, Both b, size_t count)
{
  Sums sums = {{0.0, 0.0}};
  for (int i = 0; i < 2; ++i) {
    for (size_t n = 0; n < count; ++n) {
      sums.of[0] += a[i][n].re * b[i][n].re;
      sums.of[1] += a[i][n].im * b[i][n].im;
    }
  }
  return sums;
}

/* to = from * factor + plus */
static void combine(Both to, Both from, const double factor[2], Both plus, size_t count)
{
  for (int i = 0; i < 2; ++i) {
    for (size_t n = 0; n < count; ++n) {
      to[i][n].re = factor[0] * from[i][n].re + plus[i][n].re;
      to[i][n].im = factor[1] * from[i][n].im + plus[i][n].im;
    }
  }
}

/* The rest's correlations at the lags of the taps become the residual to be solved for. */
static void start(PlanishLinearTier *tier)
{
  const size_t taps = tier->taps;
  const size_t ahead = PLANISH_FIT_AHEAD * tier->plans->unit;
  for (int i = 0; i < 2; ++i) {
    planish_fit_run(tier->plans->block_back, tier->missing[i]);
    memcpy(tier->residual[i], tier->missing[i] + tier->block - ahead,
           ahead * sizeof *tier->residual[i]);
    memcpy(tier->residual[i] + ahead, tier->missing[i], (taps - ahead) * sizeof *tier->residual[i]);
  }
  clear(tier->missing, tier->block);
  clear(tier->solution, taps);
  clear(tier->direction, taps);
}

static double share(double part, double whole)
{
  return whole > 0.0 ? part / whole : 0.0;
}

/* Returns by how much the rest's sum of squares falls, in the scale of `missing`. */
static double conjugate_gradients(PlanishLinearTier *tier, double rest, double whole)
{
  const size_t taps = tier->taps;
  Sums first = {{0.0, 0.0}};
  Sums last = {{0.0, 0.0}};
  double won = 0.0;
  int idle = 0;
  for (int n = 0; n < MOST_ITERATIONS && idle < MOST_IDLE; ++n) {
    operate(tier, tier->inverse, tier->residual);
    const Sums now = product(tier->residual, tier->image, taps);
    first = n == 0 ? now : first;
    if (now.of[0] <= near_enough * first.of[0] && now.of[1] <= near_enough * first.of[1]) {
      break;
    }
    const double turn[2] = {share(now.of[0], last.of[0]), share(now.of[1], last.of[1])};
    combine(tier->direction, tier->direction, turn, tier->image, taps);
    operate(tier, tier->power, tier->direction);
    const Sums along = product(tier->direction, tier->image, taps);
    const double step[2] = {share(now.of[0], along.of[0]), share(now.of[1], along.of[1])};
    const double back[2] = {-step[0], -step[1]};
    combine(tier->solution, tier->direction, step, tier->solution, taps);
    combine(tier->residual, tier->image, back, tier->residual, taps);
    const double wins = step[0] * now.of[0] + step[1] * now.of[1];
    won += wins;
    const double left = rest - won;
    idle = wins < worth_it * left * fmin(left / (nearly_linear * whole), 1.0) ? idle + 1 : 0;
    last = now;
  }
  return won;
}

static void respond(PlanishLinearTier *tier)
{
  const size_t taps = tier->taps;
  const size_t ahead = PLANISH_FIT_AHEAD * tier->plans->unit;
  clear(tier->response, tier->block);
  for (int i = 0; i < 2; ++i) {
    memcpy(tier->response[i] + tier->block - ahead, tier->filter[i],
           ahead * sizeof *tier->filter[i]);
    memcpy(tier->response[i], tier->filter[i] + ahead, (taps - ahead) * sizeof *tier->filter[i]);
    planish_fit_run(tier->plans->block_forward, tier->response[i]);
  }
}

double planish_linear_tier_solve(PlanishLinearTier *tier, double rest, double whole)
{
  static const double one[2] = {1.0, 1.0};
  static const double less[2] = {-1.0, -1.0};
  const double scale = (double)tier->block;
  if (!tier->prepared) {
    prepare(tier);
    tier->prepared = true;
  }
  start(tier);
  const double won = conjugate_gradients(tier, rest * scale, whole * scale);
  combine(tier->filter, tier->solution, one, tier->filter, tier->taps);
  combine(tier->solution, tier->last, less, tier->filter, tier->taps);
  for (int i = 0; i < 2; ++i) {
    memcpy(tier->last[i], tier->filter[i], tier->taps * sizeof *tier->last[i]);
  }
  respond(tier);
  return won / scale;
}

void planish_linear_tier_push(PlanishLinearTier *tier, double share)
{
  const double both[2] = {share, share};
  combine(tier->filter, tier->solution, both, tier->filter, tier->taps);
  respond(tier);
}
