/* The meter through pauses, resets and overload, at any blocks; noise by its correlation; how near
 * to half the rate it sees true peaks. */
#include "tests/unit/cmocka_headers.h"
#include "tests/unit/meter_fixture.h"
#include "tests/unit/reconstruct.h"

static const double RATE = 48000.0;

static double noise(uint64_t *seed)
{
  *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return (double)(*seed >> 11) / 4503599627370496.0 - 1.0;
}

static void within(const char *what, double is, double expected, double tolerance)
{
  printf("    %-46s %9.4f (%g +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

static void reads(const Meter *meter, const char *what, int port, double expected, double tolerance)
{
  within(what, meter_read(meter, port), expected, tolerance);
}

/* The documented values of nothing. */
static void reads_nothing(const Meter *meter)
{
  static const int levels[] = {METER_INTEGRATED, METER_MOMENTARY_MAX, METER_SHORT_TERM_MAX};
  static const int zeros[] = {METER_LOUDNESS_RANGE, METER_PLR, METER_MONO_LOSS, METER_DIFFERENCE,
                              METER_MEASURED_TIME};
  for (size_t i = 0; i < sizeof levels / sizeof *levels; ++i) {
    assert_true(meter_read(meter, levels[i]) == -70.0);
  }
  for (size_t i = 0; i < sizeof zeros / sizeof *zeros; ++i) {
    assert_true(meter_read(meter, zeros[i]) == 0.0);
  }
  assert_true(meter_read(meter, METER_TRUE_PEAK) == -120.0);
  assert_true(meter_read(meter, METER_SAMPLE_PEAK) == -120.0);
}

static void within_ranges(const Meter *meter)
{
  for (uint32_t i = 0; i < meter_ports.port_count; ++i) {
    const PlanishPort *port = &meter_port_table[i];
    const float value = meter->driver.values[i];
    assert_true(port->kind != PLANISH_PORT_OUTPUT ||
                (value >= port->minimum && value <= port->maximum));
  }
}

static void silence_and_overload_stay_in_range(void **state)
{
  (void)state;
  Meter meter = meter_new(RATE);
  meter_play(&meter, 1000.0, (Segment){METER_SILENCE, 5.0});
  assert_true(meter_read(&meter, METER_MEASURED_TIME) == 5.0);
  meter_free(&meter);

  meter = meter_new(RATE);
  meter_play(&meter, 1000.0, (Segment){METER_SILENCE, 0.005});
  reads_nothing(&meter);
  static const int live[] = {METER_MOMENTARY,   METER_SHORT_TERM, METER_TRUE_PEAK_NOW, METER_PSR,
                             METER_CORRELATION, METER_MID_LEVEL,  METER_SIDE_LEVEL};
  static const double nothing[] = {-70.0, -70.0, -120.0, 0.0, 0.0, -120.0, -120.0};
  for (size_t i = 0; i < sizeof live / sizeof *live; ++i) {
    assert_true(meter_read(&meter, live[i]) == nothing[i]);
  }
  /* As loud as the frame lets in, in opposite channels: all is at an end of its range. */
  meter_play_beside(&meter, 1000.0, (Segment){120.0, 5.0}, -1.0);
  within_ranges(&meter);
  reads(&meter, "left against right at +120 dBFS: mono loss", METER_MONO_LOSS, 60.0, 0.0);
  reads(&meter, "correlation", METER_CORRELATION, -1.0, 1e-6);
  meter_free(&meter);
}

/* Noise of common and own parts, so that channels of equal power correlate by r: what mono loses of
 * the power is 10 lg((1 + r) / 2), and mid stands over side by 10 lg((1 + r) / (1 - r)). */
static void noise_reads_by_its_correlation(void **state)
{
  (void)state;
  enum { FRAMES = 48000 * 8 };
  static double x[2][FRAMES];
  static const double correlations[] = {0.9, 0.5, 0.0, -0.5, -0.9};
  for (size_t i = 0; i < sizeof correlations / sizeof *correlations; ++i) {
    const double r = correlations[i];
    uint64_t seed = 5 + i;
    for (size_t n = 0; n < FRAMES; ++n) {
      const double mid = noise(&seed) * sqrt(0.5 * (1.0 + r));
      const double side = noise(&seed) * sqrt(0.5 * (1.0 - r));
      x[0][n] = 0.3 * (mid + side);
      x[1][n] = 0.3 * (mid - side);
    }
    Meter meter = meter_new(RATE);
    meter_run(&meter, x[0], x[1], FRAMES);
    printf("  correlation %.1f\n", r);
    reads(&meter, "correlation", METER_CORRELATION, r, 0.01);
    reads(&meter, "mono loss", METER_MONO_LOSS, -10.0 * log10(0.5 * (1.0 + r)), 0.05);
    within("mid over side",
           meter_read(&meter, METER_MID_LEVEL) - meter_read(&meter, METER_SIDE_LEVEL),
           10.0 * log10((1.0 + r) / (1.0 - r)), 0.05);
    meter_free(&meter);
  }
}

/* A pause of something much louder: what was measured stands, what is live runs on. Afterwards a
 * window counts only once it holds nothing of the pause; one that did would read over -20. */
static void a_pause_does_not_count(void **state)
{
  (void)state;
  Meter meter = meter_new(RATE);
  meter_play(&meter, 1000.0, (Segment){-23.0, 10.0});
  const double range = meter_read(&meter, METER_LOUDNESS_RANGE);
  meter.driver.values[METER_MEASURING] = 0.0F;
  meter_play(&meter, 1000.0, (Segment){-3.0, 7.777});
  reads(&meter, "integrated, in the pause", METER_INTEGRATED, -23.0, 0.02);
  reads(&meter, "short-term runs on", METER_SHORT_TERM, -3.0, 0.02);
  reads(&meter, "true peak of 3 s runs on", METER_TRUE_PEAK_NOW, -3.0, 0.02);
  /* What comes bends the signal between the last frames before it a little. */
  reads(&meter, "true peak stands", METER_TRUE_PEAK, -23.0, 0.1);
  reads(&meter, "measured time stands", METER_MEASURED_TIME, 10.0, 0.011);
  meter.driver.values[METER_MEASURING] = 1.0F;
  meter_play(&meter, 1000.0, (Segment){-23.0, 10.0});
  reads(&meter, "integrated, after it", METER_INTEGRATED, -23.0, 0.02);
  reads(&meter, "largest momentary", METER_MOMENTARY_MAX, -23.0, 0.05);
  reads(&meter, "largest short-term", METER_SHORT_TERM_MAX, -23.0, 0.05);
  reads(&meter, "loudness range", METER_LOUDNESS_RANGE, range, 0.05);
  reads(&meter, "sample peak", METER_SAMPLE_PEAK, -23.0, 0.02);
  reads(&meter, "measured time", METER_MEASURED_TIME, 20.0, 0.021);
  meter_free(&meter);
}

static void a_reset_forgets(void **state)
{
  (void)state;
  Meter meter = meter_new(RATE);
  meter_play(&meter, 1000.0, (Segment){-3.0, 10.0});
  meter.driver.values[METER_RESET] = 1.0F;
  /* The trigger and the end of the loud tone come at the same frame: its true peaks that are still
   * on their way must not count. */
  meter_play(&meter, 1000.0, (Segment){METER_SILENCE, 0.03});
  reads(&meter, "true peak of 3 s runs on", METER_TRUE_PEAK_NOW, -3.0, 0.5);
  assert_true(meter_read(&meter, METER_INTEGRATED) == -70.0);
  assert_true(meter_read(&meter, METER_PLR) == 0.0);
  assert_true(meter_read(&meter, METER_SAMPLE_PEAK) == -120.0);
  /* What rings of the end is sound, and counts. */
  printf("    held true peak %.2f dBTP\n", meter_read(&meter, METER_TRUE_PEAK));
  assert_true(meter_read(&meter, METER_TRUE_PEAK) < -20.0);
  /* Held at 1 it does nothing more, and goes on again only from 0. */
  meter_play(&meter, 1000.0, (Segment){-23.0, 5.0});
  reads(&meter, "integrated after the reset", METER_INTEGRATED, -23.0, 0.1);
  reads(&meter, "measured time", METER_MEASURED_TIME, 5.03, 0.011);
  meter.driver.values[METER_RESET] = 0.0F;
  meter_play(&meter, 1000.0, (Segment){-23.0, 1.0});
  reads(&meter, "measured time", METER_MEASURED_TIME, 6.03, 0.011);
  /* In a pause: starts once it is over. */
  meter.driver.values[METER_MEASURING] = 0.0F;
  meter.driver.values[METER_RESET] = 1.0F;
  meter_play(&meter, 1000.0, (Segment){-3.0, 1.0});
  reads_nothing(&meter);
  meter.driver.values[METER_MEASURING] = 1.0F;
  meter_play(&meter, 1000.0, (Segment){-30.0, 5.0});
  reads(&meter, "integrated, measured from the pause on", METER_INTEGRATED, -30.0, 0.1);
  assert_true(meter_read(&meter, METER_TRUE_PEAK) < -25.0);
  meter_free(&meter);
}

/* A low tone, paused from crest to trough and reset at a crest. A meter that skips the sound of a
 * pause, or clears its filters at a reset, sees a step that is not there: 2.1 and 1.1 dB of true
 * peak. */
static void pauses_and_resets_make_no_peaks(void **state)
{
  (void)state;
  const double level = 20.0 * log10(0.9);
  const double quarter = 0.25 / 50.0;
  Meter meter = meter_new(RATE);
  meter_play(&meter, 50.0, (Segment){level, 4.0 + quarter});
  const double before = meter_read(&meter, METER_INTEGRATED);
  meter.driver.values[METER_MEASURING] = 0.0F;
  meter_play(&meter, 50.0, (Segment){level, 2.0 * quarter});
  meter.driver.values[METER_MEASURING] = 1.0F;
  meter_play(&meter, 50.0, (Segment){level, 4.0});
  reads(&meter, "paused from crest to trough: true peak", METER_TRUE_PEAK, level, 0.01);
  reads(&meter, "integrated", METER_INTEGRATED, before, 0.005);
  meter_play(&meter, 50.0, (Segment){level, 2.0 * quarter});
  meter.driver.values[METER_RESET] = 1.0F;
  meter_play(&meter, 50.0, (Segment){level, 4.0});
  reads(&meter, "reset at a crest: true peak", METER_TRUE_PEAK, level, 0.01);
  reads(&meter, "integrated", METER_INTEGRATED, before, 0.005);
  meter_free(&meter);
}

/* A meter behind a gain of -3 dB reads that of the one ahead of it. */
static void two_meters_compare(void **state)
{
  (void)state;
  Meter ahead = meter_new(RATE);
  Meter behind = meter_new(RATE);
  static const int ports[] = {METER_INTEGRATED, METER_SHORT_TERM, METER_MOMENTARY};
  for (int type = 0; type < 3; ++type) {
    behind.driver.values[METER_COMPARE_TYPE] = (float)type;
    behind.driver.values[METER_COMPARE_LOUDNESS] = ahead.driver.values[ports[type]];
    if (type == 0) {
      behind.driver.values[METER_COMPARE_LOUDNESS] = -20.0F;
    }
    meter_play(&ahead, 1000.0, (Segment){-20.0, 4.0});
    meter_play(&behind, 1000.0, (Segment){-23.0, 4.0});
    reads(&behind, "difference", METER_DIFFERENCE, -3.0, 0.02);
  }
  meter_free(&ahead);
  meter_free(&behind);
}

/* Every reading after each 1000 frames, whatever the blocks; and the sound itself. */
static void blocks_change_no_bit(void **state)
{
  (void)state;
  enum { FRAMES = 200000, LOOK = 1000, LOOKS = FRAMES / LOOK };
  static double x[2][FRAMES];
  static float first[LOOKS][METER_PORT_COUNT];
  uint64_t seed = 3;
  for (size_t n = 0; n < FRAMES; ++n) {
    const double level = pow(10.0, -(double)(n / 30000 % 3));
    x[0][n] = level * noise(&seed);
    x[1][n] = 0.5 * x[0][n] + 0.5 * level * noise(&seed);
  }
  static const uint32_t limits[] = {32, 1, 7, 31};
  for (size_t p = 0; p < sizeof limits / sizeof *limits; ++p) {
    Meter meter = meter_new(44100.0);
    meter.driver.block_limit = limits[p];
    for (size_t k = 0; k < LOOKS; ++k) {
      double out[2][LOOK];
      meter.driver.values[METER_MEASURING] = k >= 70 && k < 90 ? 0.0F : 1.0F;
      meter.driver.values[METER_RESET] = k == 130 ? 1.0F : 0.0F;
      stage_driver_run(&meter.driver, (const double *const[]){x[0] + k * LOOK, x[1] + k * LOOK},
                       (double *const[]){out[0], out[1]}, 2, LOOK);
      assert_memory_equal(out[0], x[0] + k * LOOK, sizeof out[0]);
      assert_memory_equal(out[1], x[1] + k * LOOK, sizeof out[1]);
      if (p == 0) {
        memcpy(first[k], meter.driver.values, sizeof first[k]);
      }
      assert_memory_equal(first[k], meter.driver.values, sizeof first[k]);
    }
    meter_free(&meter);
  }
}

/* A steady sine at a share of the rate, faded in and out, at the worst of eight phases. */
static double error_at(double rate, double share)
{
  enum { FRAMES = 12000, FADE = 4000, PHASES = 8 };
  static double x[FRAMES];
  double worst = 0.0;
  for (int phase = 0; phase < PHASES; ++phase) {
    for (int n = 0; n < FRAMES; ++n) {
      const double edge = planish_smoothstep(fmin(1.0, fmin(n, FRAMES - 1 - n) / (double)FADE));
      x[n] = edge * sin(2.0 * PLANISH_PI * (share * n + phase / (2.0 * PHASES)));
    }
    Meter meter = meter_new(rate);
    meter_run(&meter, x, x, FRAMES);
    const double error = meter_read(&meter, METER_TRUE_PEAK);
    worst = fabs(error) > fabs(worst) ? error : worst;
    meter_free(&meter);
  }
  return worst;
}

/* Near half the rate any filter goes blind: how far this one sees. */
static void true_peak_of_tones_up_to_half_the_rate(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 96000.0, 192000.0};
  static const double last_seen[] = {0.49, 0.48, 0.47};
  static const double shares[] = {0.25, 0.33, 0.40, 0.4535, 0.47, 0.48, 0.49, 0.495, 0.499};
  for (size_t r = 0; r < 3; ++r) {
    printf("    %6.0f Hz:", rates[r]);
    for (size_t i = 0; i < sizeof shares / sizeof *shares; ++i) {
      const double error = error_at(rates[r], shares[i]);
      printf(" %.4f %+.3f", shares[i], error);
      assert_true(shares[i] > last_seen[r] || fabs(error) <= 0.05);
    }
    printf(" dB\n");
  }
}

/* White noise clipped at its own deviation, right up to half the rate. */
static void true_peak_of_clipped_noise(void **state)
{
  (void)state;
  enum { FRAMES = 200000 };
  static double x[FRAMES + 1024];
  static const double rates[] = {44100.0, 96000.0, 192000.0};
  for (size_t r = 0; r < 3; ++r) {
    uint64_t seed = 11;
    for (size_t n = 0; n < FRAMES; ++n) {
      double sum = 0.0;
      for (int k = 0; k < 12; ++k) {
        sum += noise(&seed);
      }
      x[n] = planish_clamp(0.5 * sum, -1.0, 1.0);
    }
    Meter meter = meter_new(rates[r]);
    meter_run(&meter, x, x, FRAMES + 1024);
    const double truth = reconstruct_peak_db(x, FRAMES);
    const double error = meter_read(&meter, METER_TRUE_PEAK) - truth;
    printf("    %6.0f Hz: true peak %+.3f dBTP, off by %+.3f dB\n", rates[r], truth, error);
    /* The samples alone, and 12 taps a phase, are off by 2 dB and more. */
    assert_true(fabs(error) <= 0.5);
    meter_free(&meter);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(silence_and_overload_stay_in_range),
      cmocka_unit_test(noise_reads_by_its_correlation),
      cmocka_unit_test(a_pause_does_not_count),
      cmocka_unit_test(a_reset_forgets),
      cmocka_unit_test(pauses_and_resets_make_no_peaks),
      cmocka_unit_test(two_meters_compare),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(true_peak_of_tones_up_to_half_the_rate),
      cmocka_unit_test(true_peak_of_clipped_noise),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
