/* What planish response measures of plugins whose phase, delay, harmonics and time response are
 * known in closed form. */
#include "harness/response/frequency_response.h"
#include "harness/response/level_curve.h"
#include "harness/response/time_response.h"
#include "tests/harness/response_fixture.h"

#include <math.h>

enum { LOW_PASS, ALL_PASS, POLYNOMIAL, CLIP, BY_LEVEL, HIDDEN_DELAY };

static PlanishProbeSetup law(int number, float amount)
{
  PlanishProbeSetup setup = setup_of("test-law", PLANISH_PROBE_LEFT);
  set(&setup, "law", (float)number);
  set(&setup, "amount", amount);
  return setup;
}

/* As planish response asks: 1/48 octave apart. */
enum { MOST = 512 };

static PlanishFrequencyResponse *respond(const PlanishProbeSetup *setup)
{
  double hz[MOST];
  size_t count = 0;
  for (; count < MOST && 20.0 * exp2((double)count / 48.0) <= 20000.0; ++count) {
    hz[count] = 20.0 * exp2((double)count / 48.0);
  }
  PlanishFrequencyResponse *response =
      planish_frequency_response_new(setup, &(PlanishNoise){.level = -40.0}, hz, count, NULL);
  assert_non_null(response);
  assert_true(response->settled && response->count > 400);
  return response;
}

/* The bilinear transform puts the analog 1 / (1 + j W/Wc) at W = tan(pi f / rate). */
static void a_low_pass_has_its_phase_and_delay(void **state)
{
  (void)state;
  const PlanishProbeSetup setup = law(LOW_PASS, 1000.0f);
  PlanishFrequencyResponse *response = respond(&setup);
  const double corner = tan(pi * 1000.0 / RATE);
  double phase = 0.0;
  double level = 0.0;
  double delay = 0.0;
  for (size_t n = 0; n < response->count; ++n) {
    const double x = tan(pi * response->hz[n] / RATE) / corner;
    /* -d phase / d omega, omega = 2 pi f / rate, in seconds. */
    const double tau = (1.0 + corner * corner * x * x) / (2.0 * corner) / (1.0 + x * x) / RATE;
    phase = fmax(phase, fabs(response->phases[n] + atan(x) * 180.0 / pi));
    level = fmax(level, fabs(response->levels[n] + 10.0 * log10(1.0 + x * x)));
    delay = fmax(delay, fabs(response->delays[n] - tau));
  }
  print_message("low pass: within %.2g degrees, %.2g dB, %.2g ms\n", phase, level, 1e3 * delay);
  assert_true(phase < 1e-4 && level < 1e-4 && delay < 1e-7);
  planish_frequency_response_free(response);
}

/* (c + 1/z) / (1 + c/z): group delay (1 - c^2) / (1 + 2 c cos w + c^2) frames. */
static void an_all_pass_has_its_delay(void **state)
{
  (void)state;
  static const float amounts[] = {0.5f, -0.9f};
  for (int a = 0; a < 2; ++a) {
    const double c = (double)amounts[a];
    const PlanishProbeSetup setup = law(ALL_PASS, amounts[a]);
    PlanishFrequencyResponse *response = respond(&setup);
    double worst = 0.0;
    for (size_t n = 0; n < response->count; ++n) {
      const double tau =
          (1.0 - c * c) / (1.0 + 2.0 * c * cos(2.0 * pi * response->hz[n] / RATE) + c * c);
      worst = fmax(worst, fabs(response->delays[n] * RATE - tau));
      assert_true(fabs(response->levels[n]) < 1e-4);
    }
    print_message("all-pass of %.1f: delay within %.2g frames\n", c, worst);
    assert_true(worst < 0.001);
    planish_frequency_response_free(response);
  }
}

/* What is late and does not say so: no level is lost, the phase falls without a jump. */
static void a_delay_that_is_not_reported_is_one(void **state)
{
  (void)state;
  static const float delays[] = {1.0f, 480.0f, 20000.0f};
  for (int d = 0; d < 3; ++d) {
    const double frames = (double)delays[d];
    const PlanishProbeSetup setup = law(HIDDEN_DELAY, delays[d]);
    PlanishFrequencyResponse *response = respond(&setup);
    const double first = response->phases[0] + 360.0 * response->hz[0] * frames / RATE;
    double delay = 0.0;
    double level = 0.0;
    double phase = 0.0;
    for (size_t n = 0; n < response->count; ++n) {
      const double expected = first - 360.0 * response->hz[n] * frames / RATE;
      delay = fmax(delay, fabs(response->delays[n] * RATE - frames));
      level = fmax(level, fabs(response->levels[n]));
      phase = fmax(phase, fabs(response->phases[n] - expected));
    }
    print_message("%5.0f frames: within %.2g frames, %.2g dB, %.2g degrees\n", frames, delay, level,
                  phase);
    assert_true(fabs(first / 360.0 - nearbyint(first / 360.0)) < 1e-4);
    assert_true(delay < 1e-3 && level < 1e-5 && phase < 1e-2);
    planish_frequency_response_free(response);
  }
}

static double db(double amplitude, double tone)
{
  return 20.0 * log10(fabs(amplitude / tone));
}

/* a x^2 gives a A^2 / 2 at twice the frequency, b x^3 gives b A^3 / 4 at three times it and adds
 * 3 b A^3 / 4 to the tone. */
static void a_polynomial_has_its_harmonics(void **state)
{
  (void)state;
  static const double in[] = {-20.0, 0.0};
  static const double tones[] = {20.0, 997.0, 1000.0, 5000.0, 8000.0};
  const PlanishProbeSetup setup = law(POLYNOMIAL, 0.0f);
  for (size_t t = 0; t < sizeof tones / sizeof *tones; ++t) {
    PlanishToneReading readings[2];
    bool settled = false;
    assert_true(planish_tone_readings(&setup, tones[t], in, readings, 2, &settled, NULL));
    assert_true(settled);
    for (int n = 0; n < 2; ++n) {
      const double a = pow(10.0, in[n] / 20.0);
      const double tone = a + 0.75 * 0.2 * a * a * a;
      const double *harmonics = readings[n].harmonics;
      assert_true(fabs(readings[n].tone - db(tone, 1.0)) < 1e-4);
      assert_true(fabs(harmonics[0] - db(0.3 * a * a / 2.0, tone)) < 1e-3);
      assert_true(tones[t] == 8000.0 ? isnan(harmonics[1])
                                     : fabs(harmonics[1] - db(0.2 * a * a * a / 4.0, tone)) < 1e-3);
      assert_true(isnan(harmonics[2]) || harmonics[2] < -130.0);
      /* At 8 kHz the third folds back to a line of its own. */
      assert_true(tones[t] == 8000.0 || readings[n].rest < -130.0);
    }
    print_message("%5.0f Hz: second %.3f, third %.3f, fourth %.1f, rest %.1f dB\n", tones[t],
                  readings[1].harmonics[0], readings[1].harmonics[1], readings[1].harmonics[2],
                  readings[1].rest);
  }
}

/* The Fourier series of sin t held at +-c: with p = asin c, for odd n over 1
 *   b = 2/pi (sin((n-1) p) / (n-1) - sin((n+1) p) / (n+1)) + 4 c / (n pi) cos(n p),
 *   and 2/pi (p + c cos p) for n = 1. */
static double clipped(int n, double c)
{
  const double p = asin(c);
  return n == 1 ? 2.0 / pi * (p + c * cos(p))
                : 2.0 / pi * (sin((n - 1) * p) / (n - 1) - sin((n + 1) * p) / (n + 1)) +
                      4.0 * c / (n * pi) * cos(n * p);
}

static void a_hard_clip_has_its_fourier_series(void **state)
{
  (void)state;
  static const double in[] = {-0.5, 0.0, 6.0};
  static const double tones[] = {100.0, 997.0, 1000.0};
  const PlanishProbeSetup setup = law(CLIP, 0.8f);
  for (size_t t = 0; t < sizeof tones / sizeof *tones; ++t) {
    PlanishToneReading readings[3];
    bool settled = false;
    double worst = 0.0;
    assert_true(planish_tone_readings(&setup, tones[t], in, readings, 3, &settled, NULL));
    for (int n = 0; n < 3; ++n) {
      const double c = (double)0.8f / pow(10.0, in[n] / 20.0);
      const double tone = clipped(1, c);
      double power = 1.0 / 2.0 * tone * tone;
      for (int order = 3; order <= 9; order += 2) {
        worst = fmax(worst, fabs(readings[n].harmonics[order - 2] - db(clipped(order, c), tone)));
      }
      assert_true(readings[n].harmonics[0] < -120.0 && readings[n].harmonics[8] < -120.0);
      /* All power (Parseval): what is not in the tone and under half the rate folds back. */
      const double p = asin(c);
      const double all = (p - sin(2.0 * p) / 2.0) / pi + c * c * (1.0 - 2.0 * p / pi);
      for (int order = 3; order * tones[t] < RATE / 2.0; order += 2) {
        power += 0.5 * clipped(order, c) * clipped(order, c);
      }
      const double rest = 10.0 * log10((all - power) / (0.5 * tone * tone));
      worst = fmax(worst, tones[t] > 500.0 ? fabs(readings[n].rest - rest) : 0.0);
    }
    print_message("%5.0f Hz: harmonics, and what folds back, within %.4f dB\n", tones[t], worst);
    assert_true(settled && worst < 0.01);
  }
}

static void an_impulse_and_a_step_are_those_of_the_filter(void **state)
{
  (void)state;
  const PlanishProbeSetup setup = law(LOW_PASS, 1000.0f);
  const double k = tan(pi * 1000.0 / RATE);
  const double b = k / (1.0 + k);
  const double a = (1.0 - k) / (1.0 + k);
  for (int event = PLANISH_TIME_IMPULSE; event <= PLANISH_TIME_STEP; ++event) {
    PlanishTimeResponse *response =
        planish_time_response_new(&setup, (PlanishTimeEvent)event, -20.0, NULL);
    assert_non_null(response);
    double worst = 0.0;
    double impulse = 0.0;
    double step = 0.0;
    double before = 0.0;
    for (size_t n = 0; n < response->count; ++n) {
      const double at = response->seconds[n] * RATE;
      assert_true(fabs(at - nearbyint(at)) < 1e-6);
      const double now = lrint(at) == 0 ? 1.0 : 0.0;
      impulse = a * impulse + b * (now + before);
      before = now;
      step += impulse;
      worst = fmax(worst, fabs(response->values[n] - (event == 0 ? impulse : step)));
    }
    print_message("%s: %zu frames, within %.2g\n", event == 0 ? "impulse" : "step", response->count,
                  worst);
    assert_true(response->count > 50 && response->count < 400 && worst < 1e-6);
    planish_time_response_free(response);
  }
}

static void a_reported_delay_moves_no_event(void **state)
{
  (void)state;
  PlanishProbeSetup setup = setup_of("test-delay", PLANISH_PROBE_SIDE);
  set(&setup, "taps", 777.0f);
  PlanishTimeResponse *response =
      planish_time_response_new(&setup, PLANISH_TIME_IMPULSE, -20.0, NULL);
  assert_non_null(response);
  for (size_t n = 0; n < response->count; ++n) {
    assert_true(response->values[n] == (response->seconds[n] == 0.0 ? 1.0 : 0.0));
  }
  planish_time_response_free(response);
  response = planish_burst_response_new(&setup, 997.0, 0.0, NULL);
  assert_non_null(response);
  for (size_t n = 0; n < response->count; ++n) {
    assert_true(fabs(response->values[n]) < 1e-6);
  }
  planish_time_response_free(response);
}

/* The gain falls to a half by e^(-t/T) while it is loud, from the first frame over 0.1 on, and
 * rises from 100 frames after the last. */
static void a_burst_shows_how_a_gain_moves(void **state)
{
  (void)state;
  const double seconds = (double)0.05f;
  const PlanishProbeSetup setup = law(BY_LEVEL, 0.05f);
  PlanishTimeResponse *response = planish_burst_response_new(&setup, 997.0, 0.0, NULL);
  assert_non_null(response);
  const double held = PLANISH_BURST_LENGTH + 100.0 / RATE;
  double worst = 0.0;
  for (size_t n = 0; n < response->count; ++n) {
    const double t = response->seconds[n];
    const double low = 0.5 + 0.5 * exp(-t / seconds);
    const double low_end = 0.5 + 0.5 * exp(-held / seconds);
    const double gain = t < 0.0    ? 1.0
                        : t < held ? low
                                   : 1.0 + (low_end - 1.0) * exp(-(t - held) / seconds);
    const bool is_edge = fabs(t) < 2.1 / 997.0 || fabs(t - held) < 4.0 / 997.0;
    worst = fmax(worst, is_edge ? 0.0 : fabs(response->values[n] - 20.0 * log10(gain)));
  }
  print_message("burst: within %.3f dB\n", worst);
  assert_true(response->count > 1500 && worst < 0.03);
  planish_time_response_free(response);
}

int main(void)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_low_pass_has_its_phase_and_delay),
      cmocka_unit_test(an_all_pass_has_its_delay),
      cmocka_unit_test(a_delay_that_is_not_reported_is_one),
      cmocka_unit_test(a_polynomial_has_its_harmonics),
      cmocka_unit_test(a_hard_clip_has_its_fourier_series),
      cmocka_unit_test(an_impulse_and_a_step_are_those_of_the_filter),
      cmocka_unit_test(a_reported_delay_moves_no_event),
      cmocka_unit_test(a_burst_shows_how_a_gain_moves),
  };
  const int failed = host == NULL ? 1 : cmocka_run_group_tests(tests, NULL, NULL);
  planish_host_free(host);
  return failed;
}
