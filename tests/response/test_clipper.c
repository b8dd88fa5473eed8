/* The clipper through the LV2 ABI against the closed form of a hard-clipped sine.
 *
 * y = clip(d sin t, +-1), t0 = asin(1/d): b1 = 2/pi (d t0 + sqrt(1 - 1/d^2)); odd n > 1:
 * bn = 4/pi (d (sin((n-1) t0)/(2(n-1)) - sin((n+1) t0)/(2(n+1))) + cos(n t0)/n), by Fourier
 * integration. Drive 3 dB: h3, h5, h7 at -17.772, -31.670, -34.716 dB re h1. */
#include "tests/response/response.h"
#include "tests/unit/cmocka_headers.h"

#include <math.h>
#include <stdio.h>

enum { RATE = 48000 };

static const double pi = 3.14159265358979323846;

static double closed_form(double d, int n)
{
  const double t0 = asin(1.0 / d);
  if (n == 1) {
    return 2.0 / pi * (d * t0 + sqrt(1.0 - 1.0 / (d * d)));
  }
  return 4.0 / pi *
         (d * (sin((n - 1) * t0) / (2.0 * (n - 1)) - sin((n + 1) * t0) / (2.0 * (n + 1))) +
          cos(n * t0) / n);
}

static Audio clipped_tone(double hz, float drive, float hold)
{
  Audio in = audio_sine(2 * RATE, RATE, hz, 1.0f);
  Take take = take_of(stage_named("clipper"), RATE);
  take_move(&take, 0, "ceiling", 0.0f);
  take_move(&take, 0, "input_gain", drive);
  take_move(&take, 0, "hold_true_peak", hold);
  Audio out = take_run(&take, &in, NULL);
  audio_free(&in);
  return out;
}

static void harmonics_are_those_of_a_clipped_sine(void **state)
{
  (void)state;
  static const float drives[] = {1.0f, 3.0f, 6.0f, 12.0f};
  double worst = 0.0;
  for (size_t i = 0; i < sizeof drives / sizeof *drives; ++i) {
    Audio out = clipped_tone(50.0, drives[i], 0.0f);
    const double d = pow(10.0, (double)drives[i] / 20.0);
    for (int n = 1; n <= 15; n += 2) {
      const double line = line_of(&out, 0, RATE, RATE, 50.0 * n / RATE);
      worst = fmax(worst, fabs(20.0 * log10(line / fabs(closed_form(d, n)))));
    }
    audio_free(&out);
  }
  printf("  harmonics 1 to 15 of 50 Hz at 1 to 12 dB over: within %.4f dB\n", worst);
  assert_true(worst <= 0.1);
}

/* 5 kHz has its harmonics on multiples of 5 kHz; folded ones fall between. Clipping at the base
 * rate leaves lines at -26 to -32 dB. */
static void what_is_no_harmonic_stays_low(void **state)
{
  (void)state;
  Audio out = clipped_tone(5003.0, 3.0f, 0.0f);
  static double lines[RATE / 2 + 1]; /* by Hz */
  lines_of(&out, 0, RATE, RATE, lines);
  double worst = 0.0;
  for (int hz = 20; hz < 20000; ++hz) {
    worst = hz % 5003 == 0 ? worst : fmax(worst, lines[hz]);
  }
  const double level = 20.0 * log10(worst / lines[5003]);
  printf("  worst line of 5003 Hz that is no harmonic: %.1f dB\n", level);
  assert_true(level <= -95.0);
  audio_free(&out);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(harmonics_are_those_of_a_clipped_sine),
      cmocka_unit_test(what_is_no_harmonic_stays_low),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
