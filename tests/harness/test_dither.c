#include "harness/audio/dither.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { FRAMES = 1 << 21, BLOCK = 1000 };

/* Mean, variance and third moment of the error, in LSB, of two channels of a constant. */
typedef struct {
  double mean;
  double variance;
  double third;
  double correlation; /* between the channels */
} Moments;

static Moments moments_of(double lsb, uint64_t seed)
{
  static float in[2 * BLOCK];
  static int32_t out[2 * (BLOCK + PLANISH_DITHER_BLACK)];
  for (int n = 0; n < 2 * BLOCK; ++n) {
    in[n] = (float)(lsb / PLANISH_DITHER_SCALE);
  }
  PlanishDither dither;
  planish_dither_reset(&dither, seed);
  double sums[4] = {0};
  double count = 0.0;
  for (int done = 0; done < FRAMES; done += BLOCK) {
    const size_t frames = planish_dither_process(&dither, in, BLOCK, out);
    assert_int_equal(frames, BLOCK);
    for (size_t n = 0; n < frames; ++n) {
      const double left = out[2 * n] - lsb;
      const double right = out[2 * n + 1] - lsb;
      sums[0] += left + right;
      sums[1] += left * left + right * right;
      sums[2] += left * left * left + right * right * right;
      sums[3] += left * right;
    }
    count += (double)frames;
  }
  return (Moments){sums[0] / (2 * count), sums[1] / (2 * count), sums[2] / (2 * count),
                   sums[3] / count};
}

/* Lipshitz, Wannamaker, Vanderkooy, JAES 40 (1992): with triangular dither the first two moments of
 * the error do not depend on the signal, mean 0 and variance 1/4; the third does. Rectangular
 * dither gives a variance of 0.1875 at a quarter, none 0.0625. */
static void moments_are_those_of_triangular_dither(void **state)
{
  (void)state;
  static const double levels[] = {1000.0, 0.25, 0.37, 0.5, -0.25, 123.75};
  for (size_t n = 0; n < sizeof levels / sizeof *levels; ++n) {
    const Moments m = moments_of(levels[n], n);
    printf("at %8.2f LSB: mean %+.5f, variance %.5f, third %+.4f, left with right %+.5f\n",
           levels[n], m.mean, m.variance, m.third, m.correlation);
    assert_true(fabs(m.mean) < 0.001);
    assert_true(fabs(m.variance - 0.25) < 0.0025);
    assert_true(fabs(m.correlation) < 0.001);
  }
  assert_true(fabs(moments_of(0.25, 9).third - 0.047) < 0.002);
}

/* The error's power with a signal, and its likeness to the signal. */
static void error_is_noise_of_a_quarter_lsb_squared(void **state)
{
  (void)state;
  static float in[2 * BLOCK];
  static int32_t out[2 * (BLOCK + PLANISH_DITHER_BLACK)];
  PlanishDither dither;
  planish_dither_reset(&dither, 1);
  double power = 0.0;
  double likeness = 0.0;
  double next = 0.0; /* with the sample before: white noise has none */
  double before = 0.0;
  for (int done = 0; done < FRAMES; done += BLOCK) {
    for (int n = 0; n < BLOCK; ++n) {
      /* -95 dBFS sine; its frequency shares no period with the rate. */
      in[2 * n] = in[2 * n + 1] = (float)(1.78e-5 * sin(0.1309017 * (done + n)));
    }
    planish_dither_process(&dither, in, BLOCK, out);
    for (int n = 0; n < BLOCK; ++n) {
      const double x = (double)in[2 * n] * PLANISH_DITHER_SCALE;
      const double error = out[2 * n] - x;
      power += error * error;
      likeness += error * x;
      next += error * before;
      before = error;
    }
  }
  const double level = 10.0 * log10(power / FRAMES / (PLANISH_DITHER_SCALE * PLANISH_DITHER_SCALE));
  printf("error power %.3f dB re 1.0 rms (theory -144.494)\n", level);
  assert_true(fabs(level + 144.494) < 0.05);
  assert_true(fabs(likeness / FRAMES) < 0.1);
  assert_true(fabs(next / FRAMES) < 0.001);
}

/* 3000 frames with black stretches of several lengths, in blocks of `block`. */
static size_t run_stretches(size_t block, int32_t *out)
{
  static float in[2 * 3000];
  for (int n = 0; n < 3000; ++n) {
    const int black =
        (n >= 100 && n < 163) || (n >= 200 && n < 264) || (n >= 1000 && n < 2000) || (n >= 2990);
    in[2 * n] = black ? 0.0f : 0.1f;
    in[2 * n + 1] = n % 3 == 0 || black ? 0.0f : -0.1f;
  }
  PlanishDither dither;
  planish_dither_reset(&dither, 5);
  size_t done = 0;
  for (size_t at = 0; at < 3000; at += block) {
    const size_t frames = 3000 - at < block ? 3000 - at : block;
    done += planish_dither_process(&dither, in + 2 * at, frames, out + 2 * done);
  }
  return done + planish_dither_finish(&dither, out + 2 * done);
}

static int count_set(const int32_t *out, int from, int to)
{
  int count = 0;
  for (int n = 2 * from; n < 2 * to; ++n) {
    count += out[n] != 0;
  }
  return count;
}

static void digital_black_stays_black(void **state)
{
  (void)state;
  static int32_t whole[2 * 3100];
  static int32_t split[2 * 3100];
  assert_int_equal(run_stretches(3000, whole), 3000);
  assert_int_equal(count_set(whole, 1000, 2000), 0);
  assert_int_equal(count_set(whole, 200, 264), 0);
  assert_int_equal(count_set(whole, 2990, 3000), 0);
  /* One frame short of a stretch: dithered like the rest (a quarter of the values is not 0). */
  assert_true(count_set(whole, 100, 163) > 10);
  /* One channel at 0 is not black. */
  assert_true(count_set(whole, 0, 100) > 130);
  static const size_t blocks[] = {1, 7, 63, 64, 65, 500};
  for (size_t b = 0; b < sizeof blocks / sizeof *blocks; ++b) {
    assert_int_equal(run_stretches(blocks[b], split), 3000);
    assert_memory_equal(whole, split, sizeof(int32_t) * 2 * 3000);
  }
}

static void full_scale_is_the_end(void **state)
{
  (void)state;
  const float in[6] = {1.0f, -1.0f, 1.5f, -1.5f, 0.999f, -0.999f};
  int32_t out[2 * (3 + PLANISH_DITHER_BLACK)];
  PlanishDither dither;
  planish_dither_reset(&dither, 0);
  planish_dither_process(&dither, in, 3, out);
  assert_int_equal(out[2], 8388607);
  assert_int_equal(out[3], -8388608);
  assert_in_range(abs(out[4] - 8380219), 0, 2);
  assert_in_range(dither.clipped, 3, 4);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(moments_are_those_of_triangular_dither),
      cmocka_unit_test(error_is_noise_of_a_quarter_lsb_squared),
      cmocka_unit_test(digital_black_stays_black),
      cmocka_unit_test(full_scale_is_the_end),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
