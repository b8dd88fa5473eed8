#include "tests/unit/limiter_fixture.h"
#include "tests/unit/limiter_signals.h"

#include <stdio.h>

/* The signals end a latency before the buffers do, or the cut itself would ring over the ceiling.
 */
enum { SHORT = 20000, LONG = 60000, TAIL = 1024 };

static const double RATES[] = {44100.0, 48000.0, 96000.0};

static double gain(double db)
{
  return pow(10.0, db / 20.0);
}

static double *copy(const double *x, size_t frames)
{
  double *y = malloc(frames * sizeof(double));
  memcpy(y, x, frames * sizeof(double));
  return y;
}

/* Goal: at most 0.05 dB over, by 32 times FFT reconstruction. The core aims at the ceiling itself;
 * the stage stays a hair inside. */
static void adversarial_signals_stay_under_the_ceiling(void **state)
{
  (void)state;
  static const double lookaheads[] = {1.0, 2.0, 5.0};
  double *source = calloc(SHORT, sizeof(double));
  double worst = -100.0;
  for (size_t r = 0; r < 3; ++r) {
    LimiterFixture *f = limiter_fixture_new(RATES[r]);
    for (int s = 0; s < LIMITER_SIGNAL_COUNT; ++s) {
      limiter_signals[s].fill(source, SHORT - TAIL, RATES[r]);
      const double drive = 6.0 - reconstruct_peak_db(source, SHORT);
      for (size_t l = 0; l < 3; ++l) {
        double *x = copy(source, SHORT);
        for (size_t n = 0; n < SHORT; ++n) {
          x[n] *= gain(drive);
        }
        f->settings.lookahead = lookaheads[l];
        limiter_fixture_run(f, &x, 1, SHORT);
        const double over = reconstruct_peak_db(x, SHORT) - f->settings.ceiling;
        printf("over, %s, %.0f Hz, look-ahead %.0f ms: %+.4f dB at %.2f dB of reduction\n",
               limiter_signals[s].name, RATES[r], lookaheads[l], over, f->most);
        worst = fmax(worst, over);
        assert_true(f->most > 5.0);
        free(x);
      }
    }
    limiter_fixture_free(f);
  }
  printf("over the ceiling, at worst: %+.4f dB\n", worst);
  assert_true(worst <= 0.05);
  free(source);
}

/* Samples at -2 dB whose true peak is 1 dB over: 1/4 of the rate at 45 degrees (closed form). */
static void acts_on_peaks_between_samples(void **state)
{
  (void)state;
  LimiterFixture *f = limiter_fixture_new(48000.0);
  double *x = malloc(SHORT * sizeof(double));
  for (size_t n = 0; n < SHORT; ++n) {
    x[n] = gain(-2.0) * (n % 4 < 2 ? 1.0 : -1.0) * signal_edges(n, SHORT, 48000.0);
  }
  limiter_fixture_run(f, &x, 1, SHORT);
  assert_true(fabs(f->most - 2.0103) < 0.02);
  free(x);
  limiter_fixture_free(f);
}

static void bit_exact_below_the_ceiling(void **state)
{
  (void)state;
  LimiterFixture *f = limiter_fixture_new(44100.0);
  double *source = malloc(LONG * sizeof(double));
  signal_music(source, LONG, 44100.0);
  const double level = gain(-1.1 - reconstruct_peak_db(source, LONG));
  for (size_t n = 0; n < LONG; ++n) {
    source[n] *= level;
  }
  double *x = copy(source, LONG);
  limiter_fixture_run(f, &x, 1, LONG);
  const PlanishPeakLimiterConfig config = {5.0, 30.0, PLANISH_TRUE_PEAK_TAPS};
  const uint32_t latency = planish_peak_limiter_latency(44100.0, &config);
  assert_true(f->most == 0.0);
  assert_int_equal(latency, PLANISH_TRUE_PEAK_TAPS / 2 + 221 - 1);
  assert_memory_equal(x + latency, source, (LONG - latency) * sizeof(double));
  free(x);
  free(source);
  limiter_fixture_free(f);
}

/* Some time after the last peak the gain is exactly 1 again. */
static void exact_again_after_work(void **state)
{
  (void)state;
  enum { FRAMES = 6 * 48000, WORK = 48000 };
  LimiterFixture *f = limiter_fixture_new(48000.0);
  double *source = malloc(FRAMES * sizeof(double));
  for (size_t n = 0; n < FRAMES; ++n) {
    source[n] = (n < WORK ? 1.5 : 0.5) * sin(0.05 * (double)n);
  }
  double *x = copy(source, FRAMES);
  limiter_fixture_run(f, &x, 1, FRAMES);
  const size_t from = FRAMES - 24000;
  assert_true(f->most > 3.0);
  assert_memory_equal(x + from, source + from - f->limiter.latency, 23000 * sizeof(double));
  free(x);
  free(source);
  limiter_fixture_free(f);
}

static void link_moves_both_channels_or_one(void **state)
{
  (void)state;
  LimiterFixture *f = limiter_fixture_new(48000.0);
  for (int half = 0; half <= 2; ++half) {
    double *loud = malloc(SHORT * sizeof(double));
    double *soft = malloc(SHORT * sizeof(double));
    for (size_t n = 0; n < SHORT; ++n) {
      loud[n] = gain(5.0) * sin(0.1 * (double)n);
      soft[n] = 0.1;
    }
    double *const audio[2] = {loud, soft};
    f->settings.link = 0.5 * half;
    limiter_fixture_run(f, audio, 2, SHORT);
    const double reduction = -20.0 * log10(soft[SHORT - 1] / 0.1);
    assert_true(fabs(reduction - 6.0 * f->settings.link) < 0.01);
    free(loud);
    free(soft);
  }
  limiter_fixture_free(f);
}

/* Everything that may move, moves. */
static void automate_all(LimiterFixture *f, size_t frame)
{
  const size_t grid = frame / PLANISH_GRID;
  f->settings.ceiling = grid / 7 % 3 == 0 ? -4.0 : (grid / 7 % 3 == 1 ? -1.0 : -2.5);
  f->settings.lookahead = 1.0 + (double)(grid / 60 % 5);
  f->settings.hold = grid / 11 % 2 ? 5.0 : 30.0;
  f->settings.link = (double)(grid / 5 % 3) / 2.0;
  f->settings.slow_share = (double)(grid / 9 % 2);
  f->settings.release = grid / 13 % 2 ? 5.0 : 300.0;
  f->settings.lift = grid / 17 % 2 ? 6.0 : 0.0;
}

/* What the ceiling was when frame n came in. */
static double ceiling_of(size_t frame)
{
  LimiterFixture f = {0};
  automate_all(&f, frame);
  return f.settings.ceiling;
}

static void fill_stereo(double *const *audio, size_t frames, double rate)
{
  for (uint32_t c = 0; c < 2; ++c) {
    memset(audio[c], 0, frames * sizeof(double));
    limiter_signals[c == 0 ? 5 : 4].fill(audio[c], frames - TAIL, rate);
    const double level = gain(5.0 - reconstruct_peak_db(audio[c], frames));
    for (size_t n = 0; n < frames; ++n) {
      audio[c][n] *= level;
    }
  }
}

/* Each frame of the result, by reconstruction, under the ceiling that was set when it came in. Two
 * frames around each step may take either side. */
static void a_moving_ceiling_holds_at_every_frame(void **state)
{
  (void)state;
  double worst = -100.0;
  for (size_t r = 0; r < 2; ++r) {
    LimiterFixture *f = limiter_fixture_new(RATES[r]);
    double *audio[2] = {malloc(LONG * sizeof(double)), malloc(LONG * sizeof(double))};
    double *peaks = malloc(LONG * sizeof(double));
    fill_stereo(audio, LONG, RATES[r]);
    f->automate = automate_all;
    limiter_fixture_run(f, audio, 2, LONG);
    for (uint32_t c = 0; c < 2; ++c) {
      reconstruct_frame_peaks(audio[c], LONG, peaks);
      for (size_t n = f->limiter.latency; n < LONG; ++n) {
        const size_t frame = n - f->limiter.latency;
        const double ceiling = ceiling_of(frame);
        worst = fmax(worst, 20.0 * log10(fmax(peaks[n], 1e-9)) - ceiling);
      }
      free(audio[c]);
    }
    free(peaks);
    limiter_fixture_free(f);
  }
  printf("everything moving, over the ceiling at worst: %+.4f dB\n", worst);
  assert_true(worst <= 0.05);
}

static void bits_do_not_depend_on_blocks(void **state)
{
  (void)state;
  static const uint32_t limits[] = {PLANISH_GRID, 1, 7, 31};
  LimiterFixture *f = limiter_fixture_new(48000.0);
  double *source[2] = {malloc(LONG * sizeof(double)), malloc(LONG * sizeof(double))};
  double *whole[2] = {NULL, NULL};
  fill_stereo(source, LONG, 48000.0);
  f->automate = automate_all;
  for (size_t l = 0; l < 4; ++l) {
    double *audio[2] = {copy(source[0], LONG), copy(source[1], LONG)};
    f->block_limit = limits[l];
    limiter_fixture_run(f, audio, 2, LONG);
    for (uint32_t c = 0; c < 2; ++c) {
      if (l == 0) {
        whole[c] = audio[c];
      } else {
        assert_memory_equal(audio[c], whole[c], LONG * sizeof(double));
        free(audio[c]);
      }
    }
  }
  for (uint32_t c = 0; c < 2; ++c) {
    free(source[c]);
    free(whole[c]);
  }
  limiter_fixture_free(f);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(adversarial_signals_stay_under_the_ceiling),
      cmocka_unit_test(acts_on_peaks_between_samples),
      cmocka_unit_test(bit_exact_below_the_ceiling),
      cmocka_unit_test(exact_again_after_work),
      cmocka_unit_test(link_moves_both_channels_or_one),
      cmocka_unit_test(a_moving_ceiling_holds_at_every_frame),
      cmocka_unit_test(bits_do_not_depend_on_blocks),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
