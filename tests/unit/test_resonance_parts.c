/* The parts of the resonance stage, each against what its header says in closed form: what stands
 * out, what stands, and how far it is cut. */
#include "tests/unit/cmocka_headers.h"

#include "plugins/resonance/cut.h"
#include "plugins/resonance/excess.h"
#include "plugins/resonance/standing.h"
#include "tests/unit/arena_fixture.h"

#include <math.h>
#include <stdio.h>

enum { LENGTH = 4096, BINS = LENGTH / 2 + 1 };

static const double RATE = 48000.0;
static const double HOP_MS = 1000.0 * LENGTH / 4 / 48000.0;

/* ---- excess ---- */

typedef struct {
  ResonanceExcess excess;
  PlanishSpectralEngine engine; /* its spectrum alone */
  PlanishComplex spectrum[LENGTH];
  float out[BINS];
  void *block;
} Excess;

static void excess_new(Excess *e, double bandwidth)
{
  memset(e, 0, sizeof *e);
  e->engine.length = LENGTH;
  e->engine.spectrum = e->spectrum;
  PlanishArena counting = planish_arena_counting();
  resonance_excess_setup(&e->excess, &counting, RATE, LENGTH);
  PlanishArena arena = arena_for(counting);
  e->block = arena.block;
  resonance_excess_setup(&e->excess, &arena, RATE, LENGTH);
  resonance_excess_reset(&e->excess);
  resonance_excess_set(&e->excess, bandwidth);
}

static void power_to(Excess *e, uint32_t k, double power)
{
  e->spectrum[k].re = (float)sqrt(power);
  e->spectrum[(LENGTH - k) % LENGTH].re = (float)sqrt(power);
}

/* One hop, in parts as the law does. */
static void excess_hop(Excess *e)
{
  for (uint32_t from = 0; from < BINS; from += 128) {
    const uint32_t to = from + 128 < BINS ? from + 128 : BINS;
    resonance_excess_take_power(&e->excess, &e->engine, from, to);
  }
  for (uint32_t from = 0; from < BINS; from += 128) {
    const uint32_t to = from + 128 < BINS ? from + 128 : BINS;
    resonance_excess_take_level(&e->excess, from, to);
  }
  resonance_excess_get(&e->excess, e->out, 0, BINS);
}

/* The sum of x over a band of `octaves` around bin k, at least `reach` bins each way, where bin k
 * lies from k to k + 1; *width: how wide it is. Without running sums. */
static double sum_around(const double *x, uint32_t k, double octaves, double reach, double *width)
{
  const double from = fmax(0.0, fmin(k * exp2(-0.5 * octaves), k - reach) + 0.5);
  const double to = fmin(BINS, fmax(k * exp2(0.5 * octaves), k + reach) + 0.5);
  double sum = 0.0;
  for (uint32_t n = 0; n < BINS; ++n) {
    sum += x[n] * fmax(0.0, fmin(to, n + 1.0) - fmax(from, n));
  }
  *width = to - from;
  return sum;
}

/* As the headers say: the level of a narrow band against the mean level of an octave without its
 * middle eighth, or one and a half of a wider band. */
static void it_stands_out_of_its_octave(void **state)
{
  (void)state;
  static const double bandwidths[] = {1.0 / 48.0, 1.0 / 24.0, 1.0 / 6.0};
  static Excess e;
  static double power[BINS];
  static double level[BINS];
  for (size_t b = 0; b < sizeof bandwidths / sizeof *bandwidths; ++b) {
    excess_new(&e, bandwidths[b]);
    uint32_t seed = 5;
    for (uint32_t k = 0; k < BINS; ++k) {
      seed = seed * 1664525U + 1013904223U;
      /* Steps, a slope, and a peak; nothing changes from hop to hop. */
      power[k] = 1e3 / (k + 1.0) * (seed >> 31 == 0 ? 1.0 : 3.0) * (k == 300 ? 1e3 : 1.0);
      power_to(&e, k, power[k]);
    }
    for (int hop = 0; hop < 60; ++hop) {
      excess_hop(&e);
    }
    double width = 0.0;
    for (uint32_t k = 0; k < BINS; ++k) {
      const double sum = sum_around(power, k, bandwidths[b], 1.5, &width);
      level[k] = 10.0 * log10(sum / width);
    }
    const double middle = fmax(1.0 / 8.0, 1.5 * bandwidths[b]);
    double worst = 0.0;
    for (uint32_t k = 0; k < BINS; ++k) {
      double inner = 0.0;
      const double around = sum_around(level, k, 1.0, 4.5, &width);
      const double within = sum_around(level, k, middle, 2.5, &inner);
      const double truth = level[k] - (around - within) / (width - inner);
      worst = fmax(worst, fabs((double)e.out[k] - truth));
    }
    printf("bandwidth of 1/%.0f octave: excess off by %.2g dB; peak %.2f dB\n", 1.0 / bandwidths[b],
           worst, (double)e.out[300]);
    assert_true(worst <= 1e-3);
    free(e.block);
  }
}

static void power_is_a_mean_of_50_ms(void **state)
{
  (void)state;
  static Excess e;
  for (int life = 0; life < 2; ++life) {
    if (life == 0) {
      excess_new(&e, 1.0 / 24.0);
    } else {
      resonance_excess_reset(&e.excess);
    }
    for (uint32_t k = 0; k < BINS; ++k) {
      power_to(&e, k, 4.0);
    }
    for (int hop = 1; hop <= 5; ++hop) {
      excess_hop(&e);
      const double truth = 4.0 * (1.0 - exp(-hop * HOP_MS / 50.0));
      assert_true(fabs((double)e.excess.power[100] / truth - 1.0) <= 1e-5);
      assert_true(fabs((double)e.excess.power[BINS - 1] / truth - 1.0) <= 1e-5);
    }
  }
  free(e.block);
}

/* Parseval, as in the engine's test: both channels together at -80 dB re full scale. */
static void under_80_dB_is_silence(void **state)
{
  (void)state;
  static Excess e;
  for (int louder = 0; louder <= 1; ++louder) {
    excess_new(&e, 1.0 / 24.0);
    const double mean_square = pow(10.0, louder ? -7.95 : -8.05);
    for (uint32_t k = 0; k < BINS; ++k) {
      power_to(&e, k, 0.1875 * LENGTH * (double)LENGTH * mean_square / BINS);
    }
    for (int hop = 0; hop < 60; ++hop) {
      excess_hop(&e);
    }
    assert_true(resonance_excess_is_silent(&e.excess) == (louder == 0));
    free(e.block);
  }
}

/* ---- standing ---- */

static void standing_new(ResonanceStanding *s, void **block)
{
  PlanishArena counting = planish_arena_counting();
  resonance_standing_setup(s, &counting, 2, 0.02);
  PlanishArena arena = arena_for(counting);
  *block = arena.block;
  resonance_standing_setup(s, &arena, 2, 0.02);
  resonance_standing_reset(s);
}

/* Steps that balance at 15 %, 13 dB a second over the observation time, up to three times as long
 * from 3 dB on; a mean over half of that time. */
static void steps_are_as_long_as_they_should_be(void **state)
{
  (void)state;
  static const struct {
    float now;
    double steps; /* of 13 dB x 0.02 s / 4 s */
  } cases[] = {{-1.0F, 0.15},       {-2.9F, 0.15},  {0.0F, 0.15},         {3.0F, 2.0 * 0.15},
               {40.0F, 3.0 * 0.15}, {-4.0F, -0.85}, {-7.5F, -1.5 * 0.85}, {-50.0F, -3.0 * 0.85}};
  ResonanceStanding s;
  void *block = NULL;
  standing_new(&s, &block);
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    const float now[2] = {-3.0F, cases[i].now};
    resonance_standing_reset(&s);
    assert_true(s.quantile[1] == -3.0F && s.mean[1] == 0.0F);
    resonance_standing_begin(&s, 4.0, true);
    resonance_standing_learn(&s, now, 0, 2);
    assert_true(s.quantile[1] == -3.0F && s.mean[1] == 0.0F);
    resonance_standing_begin(&s, 4.0, false);
    resonance_standing_learn(&s, now + 1, 1, 2);
    assert_true(fabs((double)s.quantile[1] + 3.0 - 0.065 * cases[i].steps) <= 1e-6);
    assert_true(fabs((double)(s.mean[1] - 0.01F * cases[i].now)) <= 1e-5);
    assert_true(s.quantile[0] == -3.0F);
    /* Half the time, twice the step. */
    resonance_standing_reset(&s);
    resonance_standing_begin(&s, 2.0, false);
    resonance_standing_learn(&s, now + 1, 1, 2);
    assert_true(fabs((double)s.quantile[1] + 3.0 - 0.13 * cases[i].steps) <= 1e-6);
  }
  free(block);
}

static void protection_counts_what_stands(void **state)
{
  (void)state;
  ResonanceStanding s;
  void *block = NULL;
  standing_new(&s, &block);
  s.quantile[0] = 2.0F;
  s.mean[0] = 5.0F;
  s.quantile[1] = 9.0F;
  s.mean[1] = -4.0F;
  static const double protections[] = {0.0, 0.25, 1.0};
  for (size_t i = 0; i < 3; ++i) {
    const double p = protections[i];
    float excess[2] = {6.0F, 6.0F};
    float reach[2];
    resonance_standing_protect(&s, p, excess, reach, 0, 2);
    assert_true(fabs((double)excess[0] - (6.0 - 4.0 * p)) <= 1e-6);
    assert_true(fabs((double)excess[1] - 6.0) <= 1e-6);
    assert_true(fabs((double)reach[0] - (6.0 - p)) <= 1e-6);
    assert_true(fabs((double)reach[1] - fmax(0.0, 6.0 - 10.0 * p)) <= 1e-6);
  }
  free(block);
}

/* ---- cut ---- */

static const ResonanceCutSettings usual = {
    .threshold = 3.0,
    .per_db = 2.0,
    .most = 9.0,
    .attack = 10.0,
    .release = 120.0,
    .range_low = 400.0,
    .range_high = 12000.0,
};

static void cut_new(ResonanceCut *cut, void **block, const ResonanceCutSettings *settings)
{
  PlanishArena counting = planish_arena_counting();
  resonance_cut_setup(cut, &counting, RATE, LENGTH);
  PlanishArena arena = arena_for(counting);
  *block = arena.block;
  resonance_cut_setup(cut, &arena, RATE, LENGTH);
  resonance_cut_reset(cut);
  resonance_cut_set(cut, settings);
}

/* dB that bin k is cut by after so many hops of an excess. */
static double cut_of(ResonanceCut *cut, uint32_t k, double excess, double reach, int hops)
{
  float log_gain = 0.0F;
  for (int hop = 0; hop < hops; ++hop) {
    const float far = (float)reach;
    log_gain = (float)excess;
    resonance_cut_process(cut, &far, &log_gain, k, k + 1);
  }
  return -20.0 * log10(2.0) * (double)log_gain;
}

static uint32_t bin_of(double hz)
{
  return (uint32_t)lround(hz * LENGTH / RATE);
}

static void the_curve_is_a_line_with_a_knee(void **state)
{
  (void)state;
  static const struct {
    double excess;
    double reach;
    double cut; /* 2 dB a dB over 3 dB, with a parabola from 2 to 4 dB, to 9 dB at most */
  } cases[] = {{1.9, 20.0, 0.0},  {2.0, 20.0, 0.0}, {2.5, 20.0, 0.125},
               {3.0, 20.0, 0.5},  {4.0, 20.0, 2.0}, {6.0, 20.0, 6.0},
               {30.0, 20.0, 9.0}, {30.0, 4.0, 4.0}, {6.0, 0.0, 0.0}};
  ResonanceCut cut;
  void *block = NULL;
  cut_new(&cut, &block, &usual);
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    resonance_cut_reset(&cut);
    const double db = cut_of(&cut, 200, cases[i].excess, cases[i].reach, 100);
    assert_true(fabs(db - cases[i].cut) <= 1e-4);
  }
  /* Under a thousandth of a dB there is no cut at all. */
  resonance_cut_reset(&cut);
  assert_true(cut_of(&cut, 200, 2.0 + 0.04, 20.0, 100) == 0.0);
  free(block);
}

static void cuts_deepen_and_let_go_in_their_times(void **state)
{
  (void)state;
  static const double times[][2] = {{10.0, 120.0}, {80.0, 900.0}};
  for (size_t i = 0; i < 2; ++i) {
    ResonanceCutSettings settings = usual;
    settings.attack = times[i][0];
    settings.release = times[i][1];
    ResonanceCut cut;
    void *block = NULL;
    cut_new(&cut, &block, &settings);
    const double up = cut_of(&cut, 200, 6.0, 20.0, 2);
    assert_true(fabs(up - 6.0 * (1.0 - exp(-2.0 * HOP_MS / settings.attack))) <= 1e-4);
    const double down = cut_of(&cut, 200, 0.0, 20.0, 3);
    assert_true(fabs(down - up * exp(-3.0 * HOP_MS / settings.release)) <= 1e-4);
    free(block);
  }
}

static void edges_fade_over_a_third_of_an_octave(void **state)
{
  (void)state;
  ResonanceCut cut;
  void *block = NULL;
  cut_new(&cut, &block, &usual);
  const double edges[2] = {400.0, 12000.0};
  for (int e = 0; e < 2; ++e) {
    for (double octaves = -0.3; octaves <= 0.3; octaves += 0.05) {
      const uint32_t k = bin_of(edges[e] * exp2(octaves));
      const double at = log2(k * RATE / LENGTH / edges[e]) * (e == 0 ? 1.0 : -1.0);
      const double share = fmin(1.0, fmax(0.0, 0.5 + 3.0 * at));
      resonance_cut_reset(&cut);
      assert_true(fabs(cut_of(&cut, k, 6.0, 20.0, 100) - 6.0 * share) <= 2e-3);
    }
  }
  ResonanceCutSettings empty = usual;
  empty.range_low = 2000.0;
  empty.range_high = 2000.0;
  resonance_cut_set(&cut, &empty);
  resonance_cut_reset(&cut);
  assert_true(cut_of(&cut, bin_of(2000.0), 30.0, 20.0, 100) == 0.0);
  free(block);
}

/* Part by part, of any length, in place: each gain by its neighbours as they were. */
static void gains_are_deepened_by_their_neighbours(void **state)
{
  (void)state;
  static float before[BINS];
  static float after[BINS];
  ResonanceCut cut;
  void *block = NULL;
  uint32_t seed = 1;
  cut_new(&cut, &block, &usual);
  for (uint32_t k = 0; k < BINS; ++k) {
    seed = seed * 1664525U + 1013904223U;
    before[k] = after[k] = -(float)(seed >> 8) / 16777216.0F;
  }
  for (uint32_t from = 0, count = 1; from < BINS; from += count, count += 23) {
    count = count < BINS - from ? count : BINS - from;
    resonance_cut_deepen(&cut, after, from, from + count);
  }
  for (uint32_t k = 0; k < BINS; ++k) {
    const float under = before[k == 0 ? 1 : k - 1];
    const float over = before[k == BINS - 1 ? k - 1 : k + 1];
    const float deeper = before[k] + 0.4F * (2.0F * before[k] - under - over);
    assert_true(after[k] == fminf(0.0F, fmaxf(cut.deepest, deeper)));
  }
  free(block);
}

/* Peaks get 0.4 of what they are over their neighbours, both together, more; plateaus, slopes and
 * the largest cut stay; parts change nothing. */
static void peaks_are_deepened_within_the_largest_cut(void **state)
{
  (void)state;
  static float log_gain[BINS];
  static float again[BINS];
  ResonanceCut cut;
  void *block = NULL;
  cut_new(&cut, &block, &usual);
  const double most = 9.0 - 2e-6 * 6561.0; /* less what phase adds */
  memset(log_gain, 0, sizeof log_gain);
  for (uint32_t k = 200; k < 210; ++k) {
    log_gain[k] = -1.0F;                          /* a plateau of 6.02 dB */
    log_gain[k + 100] = -0.1F * (float)(k - 199); /* a slope */
  }
  log_gain[400] = -0.5F;                 /* a peak */
  log_gain[127] = log_gain[128] = -1.4F; /* 8.43 dB, across a border of parts */
  log_gain[BINS - 1] = -0.25F;
  memcpy(again, log_gain, sizeof again);
  resonance_cut_deepen(&cut, log_gain, 0, BINS);
  for (uint32_t from = 0; from < BINS; from += 128) {
    resonance_cut_deepen(&cut, again, from, from + 128 < BINS ? from + 128 : BINS);
  }
  assert_memory_equal(log_gain, again, sizeof again);
  const double db = 20.0 * log10(2.0);
  assert_true(fabs((double)log_gain[205] + 1.0) <= 1e-6);
  assert_true(fabs((double)log_gain[305] + 0.6) <= 1e-6);
  assert_true(fabs((double)log_gain[400] + 0.9) <= 1e-6);
  assert_true(log_gain[399] == 0.0F && log_gain[401] == 0.0F);
  assert_true(fabs((double)log_gain[200] + 1.4) <= 1e-6);
  assert_true(fabs(-db * (double)log_gain[127] - most) <= 1e-4);
  assert_true(log_gain[127] == log_gain[128]);
  assert_true(fabs((double)log_gain[BINS - 1] + 0.45) <= 1e-6);
  free(block);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(it_stands_out_of_its_octave),
      cmocka_unit_test(power_is_a_mean_of_50_ms),
      cmocka_unit_test(under_80_dB_is_silence),
      cmocka_unit_test(steps_are_as_long_as_they_should_be),
      cmocka_unit_test(protection_counts_what_stands),
      cmocka_unit_test(the_curve_is_a_line_with_a_knee),
      cmocka_unit_test(cuts_deepen_and_let_go_in_their_times),
      cmocka_unit_test(edges_fade_over_a_third_of_an_octave),
      cmocka_unit_test(gains_are_deepened_by_their_neighbours),
      cmocka_unit_test(peaks_are_deepened_within_the_largest_cut),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
