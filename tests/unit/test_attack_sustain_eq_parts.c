/* The share of each bin that is attack, against its law written out in double precision with the C
 * library's sort and logarithms. */
#include "tests/unit/cmocka_headers.h"

#include "plugins/attack-sustain-eq/shares.h"
#include "tests/unit/arena_fixture.h"

#include <math.h>
#include <stdio.h>

enum { LENGTH = 1024, BINS = LENGTH / 2, HOPS = 150, STEP = 32 };

static const double RATE = 24000.0;
static const double HOP_MS = 250.0 * LENGTH / 24000.0;

static float power[HOPS][BINS];
static double level[HOPS][BINS];
static float found[BINS];

/* Noise over 40 dB with events on many bins, and tones. */
static void fill(void)
{
  uint32_t seed = 1;
  for (int h = 0; h < HOPS; ++h) {
    const double event = h % 29 < 4 ? 30.0 : 0.0;
    for (int k = 0; k < BINS; ++k) {
      seed = seed * 1664525U + 1013904223U;
      const double tone = k % 37 == 5 ? 35.0 : 0.0;
      const double db = 20.0 * seed / 4294967296.0 + event * (k % 3 != 0) + tone;
      power[h][k] = (float)pow(10.0, db / 10.0);
      level[h][k] = log2((double)power[h][k]);
    }
  }
}

static int rising(const void *a, const void *b)
{
  const double x = *(const double *)a;
  const double y = *(const double *)b;
  return x < y ? -1 : x > y;
}

static double median(double *values, int count)
{
  qsort(values, (size_t)count, sizeof *values, rising);
  return values[(count - 1) / 2];
}

static double before(int last, int count, int k)
{
  double values[HOPS];
  for (int i = 0; i < count; ++i) {
    values[i] = level[last - i][k];
  }
  return median(values, count);
}

static double around(int due, int k)
{
  double values[PLANISH_RANK_WINDOW];
  const int groups = BINS / ATTACK_GROUP;
  for (int i = 0; i < PLANISH_RANK_WINDOW; ++i) {
    int at = abs(k / ATTACK_GROUP + i - PLANISH_RANK_WINDOW / 2);
    at = at < groups ? at : 2 * (groups - 1) - at;
    values[i] = level[due][at * ATTACK_GROUP];
  }
  return median(values, PLANISH_RANK_WINDOW);
}

static double rise(int due, int last, int count, int k)
{
  const int middle = k / ATTACK_GROUP * ATTACK_GROUP + ATTACK_GROUP / 2;
  const int least = 1 + (int)(1000.0 * LENGTH / RATE);
  const int reach = middle / 2 > least ? middle / 2 : least;
  const int from = middle > reach ? middle - reach : 1;
  const int to = middle + reach < BINS ? middle + reach : BINS;
  double sum = 0.0;
  for (int i = from; i < to; ++i) {
    const double db = 10.0 * log10(2.0) * (level[due][i] - before(last, count, i));
    sum += fmax(-20.0, fmin(20.0, db));
  }
  return sum / (to - from);
}

/* Power that follows up in 300 ms and down at once. */
static double settled(int due, int k)
{
  double at = 0.0;
  for (int h = 0; h <= due; ++h) {
    const double now = (double)power[h][k];
    at = fmin(now, at + (1.0 - exp(-HOP_MS / 300.0)) * (now - at));
  }
  return at;
}

static double share(int last, int ahead, const AttackSharesSettings *s, int k)
{
  const int count = (int)(s->median_time / HOP_MS + 0.5) + ahead;
  const int low_count = (int)(2.5 * s->median_time / HOP_MS + 0.5) + ahead;
  const int due = last - ahead;
  const double over_usual = fmin(rise(due, last, count, k) - 4.0, 20.0 * log10(2.0));
  const double magnitudes = 0.6 * exp2(0.5 * (around(due, k) - before(last, count, k)));
  const double upper = pow(magnitudes, s->power) * pow(10.0, 2.0 * over_usual / 10.0);
  const double stands = fmax(exp2(before(last, low_count, k)), settled(due, k));
  const double lower =
      fmax(0.0, (double)power[due][k] / stands - 1.05) * pow(10.0, over_usual / 10.0);
  const double hz = (k == 0 ? 0.25 : k) * RATE / LENGTH;
  const double place = fmax(0.0, fmin(1.0, 2.0 * log2(hz / s->crossover) + 0.5));
  return place * upper / (1.0 + upper) + (1.0 - place) * lower / (1.0 + lower);
}

static void check(const AttackSharesSettings *settings, uint32_t ahead)
{
  AttackShares shares = {0};
  PlanishArena counting = planish_arena_counting();
  attack_shares_setup(&shares, &counting, RATE, LENGTH, 400.0, 10);
  PlanishArena arena = arena_for(counting);
  attack_shares_setup(&shares, &arena, RATE, LENGTH, 400.0, 10);
  attack_shares_reset(&shares, ahead);
  double worst = 0.0;
  double sum = 0.0;
  for (int h = 0; h < HOPS; ++h) {
    attack_shares_begin(&shares, settings);
    for (uint32_t k = 0; k < BINS; k += STEP) {
      attack_shares_take(&shares, power[h] + k, k, k + STEP);
      attack_shares_before(&shares, k, k + STEP);
    }
    attack_shares_before_low(&shares, 0, shares.low_bins);
    attack_shares_begin_around(&shares);
    for (uint32_t k = 0; k < BINS; k += STEP) {
      attack_shares_around(&shares, k, k + STEP);
      attack_shares_rise(&shares, k, k + STEP);
    }
    attack_shares_low(&shares, 0, shares.low_bins);
    attack_shares_get(&shares, found, 0, BINS);
    for (int k = 0; h >= 117 && h % 7 == 0 && k < BINS; k += 3) {
      const double law = share(h, (int)ahead, settings, k);
      worst = fmax(worst, fabs((double)found[k] - law));
      sum += law;
    }
  }
  printf("    crossover %.0f Hz, median %.0f ms, power %.1f, ahead %u: off by %.2g (mean share "
         "%.3f)\n",
         settings->crossover, settings->median_time, settings->power, ahead, worst,
         sum / (5.0 * (BINS + 2) / 3.0));
  assert_true(worst <= 2e-5);
  free(arena.block);
}

static void shares_follow_their_law(void **state)
{
  (void)state;
  fill();
  check(&(AttackSharesSettings){250.0, 220.0, 3.0}, 0);
  check(&(AttackSharesSettings){600.0, 400.0, 1.0}, 0);
  check(&(AttackSharesSettings){60.0, 120.0, 4.0}, 5);
  check(&(AttackSharesSettings){120.0, 300.0, 2.0}, 10);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(shares_follow_their_law),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
