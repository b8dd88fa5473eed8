/* The transient shaper on bursts, steady sounds and decays, by its gain frame by frame. */
#include "common/dsp/maths.h"
#include "tests/unit/linked_gain.h"
#include "ttl/transient_shaper_ports.h"

#include <stdio.h>

enum { RATE = 48000, MS = RATE / 1000 };

static StageDriver driver;

static int start(void **state)
{
  (void)state;
  stage_driver_new(&driver, &planish_stage, RATE);
  return 0;
}

static int stop(void **state)
{
  (void)state;
  stage_driver_free(&driver);
  return 0;
}

/* All at their defaults but the two gains; from silence. */
static void begin(double attack, double sustain)
{
  for (uint32_t n = 0; n < transient_shaper_ports.port_count; ++n) {
    driver.values[n] = transient_shaper_port_table[n].initial;
  }
  driver.values[TRANSIENT_SHAPER_ATTACK_GAIN] = (float)attack;
  driver.values[TRANSIENT_SHAPER_SUSTAIN_GAIN] = (float)sustain;
  stage_driver_reset(&driver);
}

static double mean_of(const double *x, size_t from, size_t to)
{
  double sum = 0.0;
  for (size_t n = from; n < to; ++n) {
    sum += x[n];
  }
  return sum / (double)(to - from);
}

static double most_of(const double *x, size_t from, size_t to)
{
  double most = 0.0;
  for (size_t n = from; n < to; ++n) {
    assert_true(isfinite(x[n]));
    most = fmax(most, fabs(x[n]));
  }
  return most;
}

/* A burst of 1 kHz that begins at `at` and goes on. */
static double *burst(size_t frames, size_t at, double peak)
{
  double *x = calloc(frames, sizeof(double));
  for (size_t n = at; n < frames; ++n) {
    x[n] = peak * sin(2.0 * PLANISH_PI * 1000.0 / RATE * (double)(n - at));
  }
  return x;
}

enum { AT = RATE / 2, LENGTH = AT + RATE };

static void gain_on_burst(double attack, double peak, double *gain)
{
  double *x = burst(LENGTH, AT, peak);
  begin(attack, 0.0);
  linked_gain(&driver, x, gain, LENGTH);
  free(x);
}

/* Goals at 3 dB: 2.8 in the first 5 ms, 2.5 over the first 15, at most 0.4 from 100 to 200 ms. */
static void a_burst_gets_its_gain(void **state)
{
  (void)state;
  static double up[LENGTH];
  static double down[LENGTH];
  static double soft[LENGTH];
  gain_on_burst(3.0, 0.5, up);
  gain_on_burst(-3.0, 0.5, down);
  gain_on_burst(3.0, 0.5 * pow(10.0, -30.0 / 20.0), soft);
  const double peak = most_of(up, AT, AT + 5 * MS);
  const double first = mean_of(up, AT, AT + 15 * MS);
  const double later = mean_of(up, AT + 100 * MS, AT + 200 * MS);
  printf("    peak %.3f dB, first 15 ms %.3f, 100 to 200 ms later %.3f\n", peak, first, later);
  assert_true(peak >= 2.8 && peak <= 3.0 && first >= 2.5 && later <= 0.4);
  double furthest = 0.0;
  double lopsided = 0.0;
  for (size_t n = 0; n + 100 < LENGTH; ++n) {
    furthest = fmax(furthest, fabs(up[n] - soft[n]));
    lopsided = fmax(lopsided, fabs(up[n] + down[n]));
  }
  printf("    30 dB down the same within %.4f dB; softened the same within %.2g dB\n", furthest,
         lopsided);
  assert_true(furthest <= 0.1 && lopsided < 1e-9);
}

static double steady(const char *what, const double *x, size_t frames, double attack,
                     double sustain, double *mean)
{
  double *gain = calloc(frames, sizeof(double));
  begin(attack, sustain);
  linked_gain(&driver, x, gain, frames);
  const size_t end = frames - planish_stage.latency(RATE, NULL);
  const double most = most_of(gain, RATE, end);
  *mean = mean_of(gain, RATE, end);
  printf("    %-34s mean %.4f, at most %.4f dB\n", what, *mean, most);
  free(gain);
  return most;
}

/* After a second, at 6 dB: nothing that stands is an attack or a decay. */
static void steady_tones_are_not_touched(void **state)
{
  (void)state;
  static const double hz[] = {40.0, 41.3, 55.0, 97.7, 440.0, 1000.0, 7040.9};
  enum { FRAMES = 3 * RATE };
  double *x = calloc(FRAMES, sizeof(double));
  double mean;
  for (size_t k = 0; k < sizeof hz / sizeof *hz; ++k) {
    for (size_t n = 0; n < FRAMES; ++n) {
      x[n] = 0.3 * sin(2.0 * PLANISH_PI * hz[k] / RATE * (double)n);
    }
    char what[40];
    snprintf(what, sizeof what, "sine of %.1f Hz", hz[k]);
    assert_true(steady(what, x, FRAMES, 6.0, 6.0, &mean) <= 0.01);
  }
  free(x);
}

/* Of saws, 40 partials each: root and fifth of the tempered scale, and the octave, whose partials
 * beat. In phase they stand highest; at other phases their peaks wander. */
static void chord(double *x, size_t frames, double root, double octave, double phase)
{
  static const double voices[] = {1.0, 1.4983, 2.0};
  for (size_t n = 0; n < frames; ++n) {
    x[n] = 0.0;
    for (int v = 0; v < 3; ++v) {
      const double w = 2.0 * PLANISH_PI * voices[v] * root / RATE;
      for (int h = 1; h <= 40; ++h) {
        x[n] += (v < 2 ? 0.1 : octave) / h * sin(w * h * (double)n + phase * (v + 1) * h);
      }
    }
  }
}

static void a_sustained_chord_is_not_touched(void **state)
{
  (void)state;
  enum { FRAMES = 4 * RATE };
  double *x = calloc(FRAMES, sizeof(double));
  static const double roots[] = {82.4, 110.0};
  static const double phases[] = {0.0, 0.3, 1.1};
  double mean;
  for (int r = 0; r < 2; ++r) {
    for (int p = 0; p < 3; ++p) {
      char what[40];
      chord(x, FRAMES, roots[r], p == 0 ? 0.0 : 0.1, phases[p]);
      snprintf(what, sizeof what, "power chord on %.1f Hz, phase %.1f", roots[r], phases[p]);
      assert_true(steady(what, x, FRAMES, 3.0, 3.0, &mean) <= 0.05);
    }
  }
  free(x);
}

static double uniform(uint64_t *seed)
{
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return ((double)(*seed >> 11) + 0.5) / 9007199254740992.0;
}

/* Of a normal distribution (Box & Muller 1958), whose peaks know no bound: noise of numbers that
 * are even up to a bound has the same peak at all times, and would flatter whatever holds peaks. */
static void steady_noise_is_left_alone(void **state)
{
  (void)state;
  enum { FRAMES = 12 * RATE };
  double *x = calloc(FRAMES, sizeof(double));
  double mean;
  for (uint64_t seed = 1; seed <= 3; ++seed) {
    uint64_t at = seed;
    for (size_t n = 0; n < FRAMES; ++n) {
      const double far = sqrt(-2.0 * log(uniform(&at)));
      x[n] = 0.1 * far * cos(2.0 * PLANISH_PI * uniform(&at));
    }
    assert_true(steady("white noise, attack 3 dB", x, FRAMES, 3.0, 0.0, &mean) <= 0.3);
    assert_true(mean <= 0.05);
    assert_true(steady("white noise, sustain 3 dB", x, FRAMES, 0.0, 3.0, &mean) <= 0.3);
    assert_true(mean <= 0.05);
  }
  free(x);
}

/* A note that dies by 60 dB a second. */
static void a_decay_gets_its_gain(void **state)
{
  (void)state;
  enum { FRAMES = 2 * RATE };
  double *x = calloc(FRAMES, sizeof(double));
  static double up[FRAMES];
  static double down[FRAMES];
  for (size_t n = RATE / 4; n < FRAMES; ++n) {
    const double t = ((double)n - 0.25 * RATE) / RATE;
    x[n] = 0.5 * pow(10.0, -3.0 * t) * sin(2.0 * PLANISH_PI * 300.0 * t);
  }
  begin(0.0, 6.0);
  linked_gain(&driver, x, up, FRAMES);
  begin(0.0, -6.0);
  linked_gain(&driver, x, down, FRAMES);
  /* Each follower lags by r tau (1 - e^(-t/tau)), r = 60 dB/s; the hold takes 20 ms of 0.75 s. */
  const double t = 0.75 - 0.02;
  const double way = 60.0 * (0.24 * (1.0 - exp(-t / 0.24)) - 0.06 * (1.0 - exp(-t / 0.06)));
  const double expected = 6.0 * tanh(1.5 * (way - 1.5) / 12.0);
  printf("    0.75 s on: %.3f and %.3f dB (%.3f)\n", up[RATE], down[RATE], expected);
  assert_true(fabs(up[RATE] - expected) < 0.02 && fabs(down[RATE] + expected) < 0.02);
  assert_true(most_of(up, RATE / 4, RATE / 4 + 20 * MS) < 0.01);
  free(x);
}

/* The gain in dB after a tone of 1 kHz goes up by `rise` dB at AT, for an attack of 3 dB. */
static void gain_on_rise(double rise, double range, double length, double *gain)
{
  double *x = burst(LENGTH, 0, 0.05);
  for (size_t n = AT; n < LENGTH; ++n) {
    x[n] *= pow(10.0, rise / 20.0);
  }
  begin(3.0, 0.0);
  driver.values[TRANSIENT_SHAPER_ONSET_RANGE] = (float)range;
  driver.values[TRANSIENT_SHAPER_LENGTH] = (float)length;
  stage_driver_reset(&driver);
  linked_gain(&driver, x, gain, LENGTH);
  free(x);
}

/* tanh 1.5 = 0.905, less what the dead zone and the slow follower have of the rise. */
static void a_rise_of_the_range_gets_nine_tenths(void **state)
{
  (void)state;
  static double gain[LENGTH];
  static const double ranges[] = {4.0, 8.0, 20.0};
  for (int n = 0; n < 3; ++n) {
    gain_on_rise(ranges[n], ranges[n], 100.0, gain);
    const double share = most_of(gain, AT, AT + 50 * MS) / 3.0;
    printf("    a rise of %.0f dB, the range: %.3f of the gain\n", ranges[n], share);
    assert_true(share > 0.8 && share < 0.91);
  }
}

/* 6 dB up in a range of 24, `late` ms after the slow follower began: 3 tanh(1.5 way / range). It is
 * also still on its way from 40 dB under the tone that began 500 ms before. */
static double gain_left(double length, double late)
{
  const double rise = 6.0 + 40.0 * exp(-500.0 / length);
  return 3.0 * tanh(1.5 * (rise * exp(-late / length) - 0.5) / 24.0);
}

/* After the length 1 / e of the way is left, less the dead zone; the mean of the power and what
 * rounds the gain make it late by some 3 ms. */
static void an_attack_is_as_long_as_it_says(void **state)
{
  (void)state;
  static double gain[LENGTH];
  static const double lengths[] = {10.0, 30.0, 100.0};
  for (int n = 0; n < 3; ++n) {
    const double length = lengths[n];
    gain_on_rise(6.0, 24.0, length, gain);
    const double least = gain_left(length, length);
    const double most = gain_left(length, length - 4.0);
    const double found = gain[AT + (size_t)(length * MS)];
    printf("    after a length of %.0f ms: %.3f dB (%.3f to %.3f)\n", length, found, least, most);
    assert_true(found > least - 0.005 && found < most);
  }
}

/* A hit on the right alone, while the left goes on: both get the gain. What is told is the largest
 * change of the last second, with its sign. */
static void either_channel_is_heard(void **state)
{
  (void)state;
  enum { FRAMES = AT + RATE / 4 };
  for (int sign = -1; sign <= 1; sign += 2) {
    double *left = burst(FRAMES, 0, 0.01);
    double *right = burst(FRAMES, AT, 0.5);
    double *out[2] = {calloc(FRAMES, sizeof(double)), calloc(FRAMES, sizeof(double))};
    begin(3.0 * sign, 0.0);
    stage_driver_run(&driver, (const double *const[]){left, right}, out, 2, FRAMES);
    double in_power = 0.0;
    double out_power = 0.0;
    for (size_t n = AT + 2 * MS; n < AT + 10 * MS; ++n) {
      in_power += left[n] * left[n];
      out_power += out[0][n + 96] * out[0][n + 96];
    }
    const double change = 10.0 * log10(out_power / in_power);
    const double told = (double)driver.values[TRANSIENT_SHAPER_GAIN_CHANGE];
    printf("    beside a hit on the right %+.3f dB on the left; told %+.3f dB\n", change, told);
    assert_true(sign * change > 2.5 && fabs(told - 3.0 * sign) < 0.1);
    const double lift = (double)driver.values[TRANSIENT_SHAPER_LARGEST_LIFT];
    const double cut = (double)driver.values[TRANSIENT_SHAPER_LARGEST_CUT];
    assert_true(fabs(lift - (sign > 0 ? told : 0.0)) < 1e-6);
    assert_true(fabs(cut - (sign > 0 ? 0.0 : -told)) < 1e-6);
    free(left);
    free(right);
    free(out[0]);
    free(out[1]);
  }
}

static void neutral_changes_no_bit(void **state)
{
  (void)state;
  enum { FRAMES = 2 * RATE };
  double *x = burst(FRAMES, 1000, 0.7);
  double *right = calloc(FRAMES, sizeof(double));
  double *out[2] = {calloc(FRAMES, sizeof(double)), calloc(FRAMES, sizeof(double))};
  const uint32_t late = planish_stage.latency(RATE, NULL);
  for (int type = 0; type < 3; ++type) {
    begin(0.0, 0.0);
    driver.values[TRANSIENT_SHAPER_BAND_TYPE] = (float)type;
    stage_driver_reset(&driver);
    stage_driver_run(&driver, (const double *const[]){x, right}, out, 2, FRAMES);
    assert_memory_equal(out[0] + late, x, (FRAMES - late) * sizeof(double));
  }
  free(x);
  free(right);
  free(out[0]);
  free(out[1]);
}

/* With 2 ms ahead the gain stands 2 ms earlier against the audio. */
static void lookahead_is_as_long_as_it_says(void **state)
{
  (void)state;
  static double gain[LENGTH];
  static double early[LENGTH];
  double *x = burst(LENGTH, AT, 0.5);
  begin(3.0, 0.0);
  linked_gain(&driver, x, gain, LENGTH);
  begin(3.0, 0.0);
  driver.values[TRANSIENT_SHAPER_LOOKAHEAD] = 2.0F;
  stage_driver_reset(&driver);
  linked_gain(&driver, x, early, LENGTH);
  double furthest = 0.0;
  for (size_t n = AT - 2 * MS; n + 1000 < LENGTH; ++n) {
    furthest = fmax(furthest, fabs(early[n] - gain[n + 2 * MS]));
  }
  printf("    gain 2 ms earlier within %.2g dB\n", furthest);
  assert_true(furthest < 1e-9);
  assert_int_equal(planish_stage.latency(RATE, driver.values), 96);
  free(x);
}

/* A hit of 60 Hz beside a steady tone of 5 kHz: only what lies below is lifted, and only what lies
 * there is listened to. */
static void a_band_is_shaped_alone(void **state)
{
  (void)state;
  static double left[LENGTH];
  static double right[LENGTH];
  static double out[2][LENGTH];
  const uint32_t late = planish_stage.latency(RATE, NULL);
  double level[2];
  for (int type = 1; type <= 2; ++type) {
    for (size_t n = 0; n < LENGTH; ++n) {
      const double t = (double)n / RATE;
      left[n] = 0.1 * sin(2.0 * PLANISH_PI * 5000.0 * t);
      right[n] = left[n];
      left[n] += n < AT ? 0.0 : 0.4 * sin(2.0 * PLANISH_PI * 60.0 * (t - 0.5));
    }
    begin(6.0, 0.0);
    driver.values[TRANSIENT_SHAPER_BAND_TYPE] = (float)type;
    driver.values[TRANSIENT_SHAPER_BAND_FREQ] = type == 1 ? 250.0F : 1000.0F;
    stage_driver_reset(&driver);
    stage_driver_run(&driver, (const double *const[]){left, right},
                     (double *const[]){out[0], out[1]}, 2, LENGTH);
    /* The right channel has the tone alone: its level while the hit is lifted. */
    double power = 0.0;
    for (size_t n = AT; n < AT + 10 * MS; ++n) {
      power += out[1][n + late] * out[1][n + late] / (10 * MS);
    }
    level[type - 1] = 10.0 * log10(power / 0.005);
  }
  printf("    5 kHz beside a hit of 60 Hz: %.3f dB in low, %.3f dB in high\n", level[0], level[1]);
  assert_true(fabs(level[0]) < 0.05); /* the shelf of the low band does not reach it */
  assert_true(fabs(level[1]) < 0.5);  /* the high band hardly hears the hit */
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_burst_gets_its_gain),
      cmocka_unit_test(steady_tones_are_not_touched),
      cmocka_unit_test(a_sustained_chord_is_not_touched),
      cmocka_unit_test(steady_noise_is_left_alone),
      cmocka_unit_test(a_decay_gets_its_gain),
      cmocka_unit_test(a_rise_of_the_range_gets_nine_tenths),
      cmocka_unit_test(an_attack_is_as_long_as_it_says),
      cmocka_unit_test(either_channel_is_heard),
      cmocka_unit_test(neutral_changes_no_bit),
      cmocka_unit_test(lookahead_is_as_long_as_it_says),
      cmocka_unit_test(a_band_is_shaped_alone),
  };
  return cmocka_run_group_tests(tests, start, stop);
}
