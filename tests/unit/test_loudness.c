/* Check values: ITU-R BS.1770-4 Annex 1, Report ITU-R BS.2217, EBU Tech 3341 (test set v05), EBU
 * Tech 3342. Cases 10, 11, 12, 13 and 14 of Tech 3341 are from memory. */
#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"
#include "tests/unit/arena_fixture.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>

enum { CHUNK = 997 };

typedef struct {
  PlanishLoudness meter;
  void *block;
  uint64_t frame; /* of the signal, so that its phase runs on */
} Fixture;

/* A stretch of sine, the same in both channels; a level of SILENCE is none. */
typedef struct {
  double level;
  double seconds;
} Segment;

#define SILENCE (-1000.0)

/* At each of these the standard's cases are played. */
static const double rates[] = {44100, 48000, 88200, 96000, 192000};
enum { RATES = sizeof rates / sizeof *rates };

static Fixture make(double rate, uint32_t channels)
{
  Fixture f = {.frame = 0};
  PlanishArena arena = planish_arena_counting();
  assert_int_equal(planish_loudness_setup(&f.meter, &arena, rate, channels), PLANISH_OK);
  arena = arena_for(arena);
  f.block = arena.block;
  assert_int_equal(planish_loudness_setup(&f.meter, &arena, rate, channels), PLANISH_OK);
  return f;
}

static void play(Fixture *f, double frequency, Segment segment)
{
  const double rate = f->meter.rate;
  const double peak = segment.level == SILENCE ? 0.0 : pow(10.0, segment.level / 20.0);
  uint64_t left = (uint64_t)(segment.seconds * rate + 0.5);
  while (left > 0) {
    double audio[CHUNK];
    const double *const both[2] = {audio, audio};
    const size_t frames = left < CHUNK ? (size_t)left : CHUNK;
    for (size_t n = 0; n < frames; ++n) {
      audio[n] = peak * sin(2.0 * PLANISH_PI * frequency * (double)(f->frame + n) / rate);
    }
    planish_loudness_process(&f->meter, both, frames);
    f->frame += frames;
    left -= frames;
  }
}

static Fixture played(double rate, double frequency, const Segment *segments, size_t count)
{
  Fixture f = make(rate, 2);
  for (size_t i = 0; i < count; ++i) {
    play(&f, frequency, segments[i]);
  }
  return f;
}

static void within(const char *what, double is, double expected, double tolerance)
{
  printf("    %-42s %9.4f (%.2f +-%g)\n", what, is, expected, tolerance);
  assert_true(fabs(is - expected) <= tolerance);
}

static void same_filter(const PlanishBiquadCoefs *is, const PlanishBiquadCoefs *expected)
{
  assert_true(fabs(is->b0 - expected->b0) <= 1e-12);
  assert_true(fabs(is->b1 - expected->b1) <= 1e-12);
  assert_true(fabs(is->b2 - expected->b2) <= 1e-12);
  assert_true(fabs(is->a1 - expected->a1) <= 1e-12);
  assert_true(fabs(is->a2 - expected->a2) <= 1e-12);
}

static void coefficients_are_those_of_the_standard(void **state)
{
  (void)state;
  /* BS.1770-4 Annex 1 Tables 1 and 2. */
  const PlanishKWeightingCoefs k48 = planish_k_weighting_design(48000.0);
  same_filter(&k48.shelf,
              &(PlanishBiquadCoefs){1.53512485958697, -2.69169618940638, 1.19839281085285,
                                    -1.69065929318241, 0.73248077421585});
  same_filter(&k48.high_pass,
              &(PlanishBiquadCoefs){1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621});
  /* Their prototypes at other rates, computed in double precision. */
  const PlanishKWeightingCoefs k44 = planish_k_weighting_design(44100.0);
  same_filter(&k44.shelf,
              &(PlanishBiquadCoefs){1.53084123005035, -2.65097999515473, 1.16907907992159,
                                    -1.66365511325602, 0.71259542807323});
  assert_true(fabs(k44.high_pass.a1 - -1.98916967362980) <= 1e-12);
  assert_true(fabs(k44.high_pass.a2 - 0.98919903578704) <= 1e-12);
  const PlanishKWeightingCoefs k96 = planish_k_weighting_design(96000.0);
  same_filter(&k96.shelf,
              &(PlanishBiquadCoefs){1.55971422897580, -2.92674157825108, 1.37826120231582,
                                    -1.84460946989011, 0.85584332293064});
  assert_true(fabs(k96.high_pass.a1 - -1.99501754472472) <= 1e-12);
  assert_true(fabs(k96.high_pass.a2 - 0.99502375904092) <= 1e-12);
}

/* Response of BS.1770-4 Tables 1 and 2, computed in double precision. */
static const struct {
  double frequency;
  double db;
} k_response[] = {
    {20, -13.275}, {50, -3.934},  {100, -1.134}, {200, -0.265},  {500, 0.043},   {997, 0.691},
    {1000, 0.698}, {2000, 3.071}, {4000, 3.968}, {10000, 4.042}, {20000, 4.043},
};

enum { RESPONSES = sizeof k_response / sizeof *k_response };

static void response_is_that_of_the_tables(void **state)
{
  (void)state;
  const PlanishKWeightingCoefs k = planish_k_weighting_design(48000.0);
  for (size_t i = 0; i < RESPONSES; ++i) {
    const double f = k_response[i].frequency;
    const double power = planish_k_weighting_power(&k, f / 48000.0);
    assert_true(fabs(10.0 * log10(power) - k_response[i].db) <= 0.001);
    /* A sine of 0 dBFS in both channels has the power 1 before weighting. */
    Fixture m = played(48000.0, f, &(Segment){0.0, 8.0}, 1);
    assert_true(fabs(planish_loudness_shortterm(&m.meter) + 0.691 - k_response[i].db) <= 0.001);
    free(m.block);
  }
}

static void response_is_the_same_at_every_rate(void **state)
{
  (void)state;
  static const double more_rates[] = {8000, 22050, 32000, 44100, 88200, 96000, 192000, 384000};
  for (size_t r = 0; r < sizeof more_rates / sizeof *more_rates; ++r) {
    const PlanishKWeightingCoefs k = planish_k_weighting_design(more_rates[r]);
    double worst = 0.0;
    for (size_t i = 0; i < RESPONSES && k_response[i].frequency < 0.1 * more_rates[r]; ++i) {
      const double power = planish_k_weighting_power(&k, k_response[i].frequency / more_rates[r]);
      worst = fmax(worst, fabs(10.0 * log10(power) - k_response[i].db));
    }
    printf("    %6.0f Hz: within %.4f dB below a tenth of the rate\n", more_rates[r], worst);
    /* The bilinear transform bends the shelf a little; where b of the high pass stays 1, -2, 1,
     * the deviation is 0.036 dB at 384 kHz. */
    assert_true(worst <= (more_rates[r] < 44100.0 ? 0.05 : 0.01));
  }
}

static void one_channel_of_997_hz_reads_minus_3_01(void **state)
{
  (void)state;
  /* BS.1770-4 Annex 1, note after eq. 2. At the lowest rates the bilinear transform bends the
   * shelf. */
  static const double more_rates[] = {44100, 48000, 96000, 192000, 11025, 12347};
  for (size_t r = 0; r < sizeof more_rates / sizeof *more_rates; ++r) {
    Fixture f = make(more_rates[r], 1);
    play(&f, 997.0, (Segment){0.0, 10.0});
    char what[64];
    snprintf(what, sizeof what, "997 Hz in one channel at %.0f Hz", more_rates[r]);
    within(what, planish_loudness_integrated(&f.meter), -3.01,
           more_rates[r] < 44100.0 ? 0.15 : 0.01);
    free(f.block);
  }
}

static void compliance_tones_read_minus_23(void **state)
{
  (void)state;
  /* Report BS.2217: stereo sines of 29 s. */
  static const double tones[][2] = {{25, -11.91},  {100, -21.17},  {500, -22.35},
                                    {1000, -23.0}, {2000, -25.37}, {10000, -26.35}};
  for (size_t i = 0; i < sizeof tones / sizeof *tones; ++i) {
    for (int lower = 0; lower < 2; ++lower) {
      Fixture f = played(48000.0, tones[i][0], &(Segment){tones[i][1] - lower, 29.0}, 1);
      char what[64];
      snprintf(what, sizeof what, "BS.2217 %.0f Hz", tones[i][0]);
      within(what, planish_loudness_integrated(&f.meter), -23.0 - lower, 0.1);
      free(f.block);
    }
  }
  Fixture one = make(48000.0, 1);
  play(&one, 1000.0, (Segment){-19.99, 29.0});
  within("BS.2217 one channel", planish_loudness_integrated(&one.meter), -23.0, 0.1);
  free(one.block);
}

static void tech_3341_integrated(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    double expected;
    Segment segments[5];
    size_t count;
  } cases[] = {
      {"Tech 3341 #1", -23.0, {{-23, 20}}, 1},
      {"Tech 3341 #2", -33.0, {{-33, 20}}, 1},
      {"Tech 3341 #3", -23.0, {{-36, 10}, {-23, 60}, {-36, 10}}, 3},
      {"Tech 3341 #4", -23.0, {{-72, 10}, {-36, 10}, {-23, 60}, {-36, 10}, {-72, 10}}, 5},
      {"Tech 3341 #5", -23.0, {{-26, 20}, {-20, 20.1}, {-26, 20}}, 3},
  };
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    for (size_t r = 0; r < RATES; ++r) {
      Fixture f = played(rates[r], 1000.0, cases[i].segments, cases[i].count);
      within(cases[i].name, planish_loudness_integrated(&f.meter), cases[i].expected, 0.1);
      if (cases[i].count == 1) {
        within("  momentary", planish_loudness_momentary(&f.meter), cases[i].expected, 0.1);
        within("  short-term", planish_loudness_shortterm(&f.meter), cases[i].expected, 0.1);
      }
      free(f.block);
    }
  }
}

/* Plays `a` and `b` in turn and checks that `read` stands still once `settled` s have passed. */
static void stands_still(double rate, const char *name, Segment a, Segment b, int turns,
                         double settled, double (*read)(const PlanishLoudness *))
{
  Fixture f = make(rate, 2);
  double lowest = 0.0;
  double highest = SILENCE;
  for (int i = 0; i < turns; ++i) {
    const Segment pair[2] = {a, b};
    for (int p = 0; p < 2; ++p) {
      const int steps = (int)(pair[p].seconds * 100.0 + 0.5);
      for (int step = 0; step < steps; ++step) {
        play(&f, 1000.0, (Segment){pair[p].level, 0.01});
        if ((double)f.frame >= settled * rate) {
          lowest = fmin(lowest, read(&f.meter));
          highest = fmax(highest, read(&f.meter));
        }
      }
    }
  }
  within(name, lowest, -23.0, 0.1);
  within(name, highest, -23.0, 0.1);
  free(f.block);
}

static void tech_3341_constant_readings(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATES; ++r) {
    stands_still(rates[r], "Tech 3341 #9 short-term", (Segment){-20, 1.34}, (Segment){-30, 1.66}, 5,
                 3.0, planish_loudness_shortterm);
    stands_still(rates[r], "Tech 3341 #12 momentary", (Segment){-20, 0.18}, (Segment){-30, 0.22},
                 25, 1.0, planish_loudness_momentary);
  }
}

/* Cases 10 and 13 play one burst a file, 11 and 14 bursts that rise by 1 dB in one programme. */
static void bursts(double rate, double length, double delay,
                   double (*read)(const PlanishLoudness *), const char *names[2])
{
  double worst = 0.0;
  double worst_live = 0.0;
  Fixture live = make(rate, 2);
  for (int i = 0; i < 20; ++i) {
    const Segment file[] = {{SILENCE, delay * i}, {-23, length}, {SILENCE, 1.0}};
    Fixture f = played(rate, 1000.0, file, 3);
    worst = fmax(worst, fabs(read(&f.meter) + 23.0));
    free(f.block);
    const double level = -38.0 + i;
    play(&live, 1000.0, (Segment){SILENCE, delay * i});
    play(&live, 1000.0, (Segment){level, length});
    play(&live, 1000.0, (Segment){SILENCE, length - delay * i});
    worst_live = fmax(worst_live, fabs(read(&live.meter) - level));
  }
  within(names[0], worst, 0.0, 0.1);
  within(names[1], worst_live, 0.0, 0.1);
  free(live.block);
}

static void tech_3341_maxima(void **state)
{
  (void)state;
  for (size_t r = 0; r < RATES; ++r) {
    bursts(rates[r], 3.0, 0.15, planish_loudness_shortterm_max,
           (const char *[]){"Tech 3341 #10 short-term max, error",
                            "Tech 3341 #11 short-term max live, error"});
    bursts(rates[r], 0.4, 0.02, planish_loudness_momentary_max,
           (const char *[]){"Tech 3341 #13 momentary max, error",
                            "Tech 3341 #14 momentary max live, error"});
  }
}

static void tech_3342_range(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    double expected;
    Segment segments[5];
    size_t count;
  } cases[] = {
      {"Tech 3342 #1", 10, {{-20, 20}, {-30, 20}}, 2},
      {"Tech 3342 #2", 5, {{-20, 20}, {-15, 20}}, 2},
      {"Tech 3342 #3", 20, {{-40, 20}, {-20, 20}}, 2},
      {"Tech 3342 #4", 15, {{-50, 20}, {-35, 20}, {-20, 20}, {-35, 20}, {-50, 20}}, 5},
  };
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    for (size_t r = 0; r < RATES; ++r) {
      Fixture f = played(rates[r], 1000.0, cases[i].segments, cases[i].count);
      within(cases[i].name, planish_loudness_range(&f.meter), cases[i].expected, 0.05);
      free(f.block);
    }
  }
}

/* 24 s of parts whose level changes every 2 s, begun at ten places of a second. With a window a
 * second the range differs by 4 LU from one to another. */
static void the_range_does_not_depend_on_the_start(void **state)
{
  (void)state;
  double lowest = HUGE_VAL;
  double highest = 0.0;
  for (int tenth = 0; tenth < 10; ++tenth) {
    Fixture f = make(48000.0, 2);
    play(&f, 1000.0, (Segment){SILENCE, 0.1 * tenth + 0.03});
    for (int part = 0; part < 12; ++part) {
      play(&f, 1000.0, (Segment){-30.0 + 3.0 * (part * 5 % 7), 2.0});
    }
    play(&f, 1000.0, (Segment){SILENCE, 1.0});
    lowest = fmin(lowest, planish_loudness_range(&f.meter));
    highest = fmax(highest, planish_loudness_range(&f.meter));
    free(f.block);
  }
  printf("    range from %.3f to %.3f LU by the start\n", lowest, highest);
  assert_true(highest - lowest <= 0.2);
}

static void nothing_is_read_of_silence_and_too_little(void **state)
{
  (void)state;
  Fixture f = make(48000.0, 2);
  play(&f, 1000.0, (Segment){-20.0, 0.399});
  assert_true(planish_loudness_integrated(&f.meter) == -HUGE_VAL);
  assert_true(planish_loudness_momentary_max(&f.meter) == -HUGE_VAL);
  play(&f, 1000.0, (Segment){-20.0, 0.001});
  within("first block ends at 400 ms", planish_loudness_integrated(&f.meter), -20.0, 0.1);
  assert_true(planish_loudness_shortterm_max(&f.meter) == -HUGE_VAL);
  assert_true(isnan(planish_loudness_range(&f.meter)));

  planish_loudness_reset(&f.meter);
  play(&f, 1000.0, (Segment){SILENCE, 10.0});
  play(&f, 1000.0, (Segment){-70.2, 10.0});
  assert_true(planish_loudness_integrated(&f.meter) == -HUGE_VAL);
  assert_true(isnan(planish_loudness_range(&f.meter)));
  free(f.block);
}

static void blocks_and_reset_change_no_bit(void **state)
{
  (void)state;
  enum { FRAMES = 200000 };
  double *noise = malloc(FRAMES * sizeof *noise);
  assert_non_null(noise);
  uint32_t seed = 7;
  for (int n = 0; n < FRAMES; ++n) {
    seed = seed * 1664525U + 1013904223U;
    noise[n] = (double)(seed >> 8) / 16777216.0 - 0.5;
  }
  Fixture f = make(44100.0, 2);
  double first[3] = {0};
  static const size_t patterns[] = {FRAMES, 1, 63, 8192};
  for (size_t p = 0; p < 4; ++p) {
    planish_loudness_reset(&f.meter);
    for (size_t n = 0; n < FRAMES; n += patterns[p]) {
      const size_t frames = FRAMES - n < patterns[p] ? FRAMES - n : patterns[p];
      const double *const both[2] = {noise + n, noise + n};
      planish_loudness_process(&f.meter, both, frames);
    }
    const double now[3] = {planish_loudness_integrated(&f.meter),
                           planish_loudness_momentary_max(&f.meter),
                           planish_loudness_shortterm_max(&f.meter)};
    if (p == 0) {
      memcpy(first, now, sizeof first);
    }
    assert_memory_equal(first, now, sizeof first);
  }
  free(f.block);
  free(noise);
}

static void bad_arguments_are_refused(void **state)
{
  (void)state;
  PlanishLoudness meter;
  PlanishArena arena = planish_arena_counting();
  assert_int_equal(planish_loudness_setup(&meter, &arena, 7999.0, 2), PLANISH_BAD_RATE);
  assert_int_equal(planish_loudness_setup(&meter, &arena, 384001.0, 2), PLANISH_BAD_RATE);
  assert_int_equal(planish_loudness_setup(&meter, &arena, (double)NAN, 2), PLANISH_BAD_RATE);
  assert_int_equal(planish_loudness_setup(&meter, &arena, 48000.0, 0), PLANISH_BAD_ARGUMENT);
  assert_int_equal(planish_loudness_setup(&meter, &arena, 48000.0, 3), PLANISH_BAD_ARGUMENT);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(coefficients_are_those_of_the_standard),
      cmocka_unit_test(response_is_that_of_the_tables),
      cmocka_unit_test(response_is_the_same_at_every_rate),
      cmocka_unit_test(one_channel_of_997_hz_reads_minus_3_01),
      cmocka_unit_test(compliance_tones_read_minus_23),
      cmocka_unit_test(tech_3341_integrated),
      cmocka_unit_test(tech_3341_constant_readings),
      cmocka_unit_test(tech_3341_maxima),
      cmocka_unit_test(tech_3342_range),
      cmocka_unit_test(the_range_does_not_depend_on_the_start),
      cmocka_unit_test(nothing_is_read_of_silence_and_too_little),
      cmocka_unit_test(blocks_and_reset_change_no_bit),
      cmocka_unit_test(bad_arguments_are_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
