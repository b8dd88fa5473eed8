/* Bands of the equaliser that move, under automation: no clicks, the same in any blocks, and
 * nothing for those that stand still. */
#include "common/dsp/eq_design.h"
#include "common/dsp/held_envelope.h"
#include "plugins/ms-eq/eq_voice.h"
#include "tests/unit/ms_eq_moving_fixture.h"

enum { LENGTH = 48000 };

/* Calls, and frames that are listened to, counted by the linker's --wrap. */
static unsigned corrections;
static unsigned section_designs;
static unsigned range_points; /* designs of sections and correction at once */
static unsigned detections;
void __real_planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                                  double *taps);
void __real_planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections);
void __real_planish_eq_design(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                              PlanishEqSections *sections, double *taps);
void __real_planish_held_envelope_process(PlanishHeldEnvelope *envelope, const double *x,
                                          double *power, uint32_t frames, uint32_t hold);
void __wrap_planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                                  double *taps);
void __wrap_planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections);
void __wrap_planish_eq_design(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                              PlanishEqSections *sections, double *taps);
void __wrap_planish_held_envelope_process(PlanishHeldEnvelope *envelope, const double *x,
                                          double *power, uint32_t frames, uint32_t hold);

void __wrap_planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                                  double *taps)
{
  ++corrections;
  __real_planish_eq_correction(fit, prototype, taps);
}

void __wrap_planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections)
{
  ++section_designs;
  __real_planish_eq_sections(prototype, sections);
}

void __wrap_planish_eq_design(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                              PlanishEqSections *sections, double *taps)
{
  ++range_points;
  __real_planish_eq_design(fit, prototype, sections, taps);
}

void __wrap_planish_held_envelope_process(PlanishHeldEnvelope *envelope, const double *x,
                                          double *power, uint32_t frames, uint32_t hold)
{
  detections += frames;
  __real_planish_held_envelope_process(envelope, x, power, frames, hold);
}

static const Moving peak = {{MS_EQ_B1_TYPE_PEAKING, 0, 800.0, 0.0, 1.0, 2}, -3.0, -40.0, 10, 80};

/* A tone over the threshold all along; in the middle one thing changes. */
static double disturbance(const Moving *from, const Moving *to)
{
  StageDriver driver = driver_with(from);
  Signal signal = sine(LENGTH, 100.0, RATE);
  run(&driver, &signal, 0, LENGTH / 2);
  put_band(&driver, 0, to->band);
  put_move(&driver, 0, to->move, to->threshold);
  driver.values[MS_EQ_MOVE_ATTACK] = (float)to->attack;
  driver.values[MS_EQ_MOVE_RELEASE] = (float)to->release;
  run(&driver, &signal, LENGTH / 2, LENGTH / 2);
  const double energy = energy_above(signal.channel[0], LENGTH, 1500.0, RATE);
  free_signal(&signal);
  stage_driver_free(&driver);
  return energy;
}

/* Goals as for bands that stand still (test_ms_eq_motion.c). */
static void controls_are_silent(void **state)
{
  (void)state;
  const Moving start = {{MS_EQ_B1_TYPE_LOW_SHELF, 0, 150.0, 0.0, 0.7071, 2}, -3.0, -12.0, 10, 80};
  static const struct {
    const char *name;
    Band band;
    double move;
    double threshold;
    double goal;
  } ends[] = {
      {"stand still", {2, 0, 150.0, 0.0, 0.7071, 2}, 0.0, -12.0, -100.0},
      {"the other way", {2, 0, 150.0, 0.0, 0.7071, 2}, 3.0, -12.0, -100.0},
      {"threshold", {2, 0, 150.0, 0.0, 0.7071, 2}, -3.0, -3.0, -100.0},
      {"gain", {2, 0, 150.0, 3.0, 0.7071, 2}, -3.0, -12.0, -100.0},
      {"frequency", {2, 0, 300.0, 0.0, 0.7071, 2}, -3.0, -12.0, -75.0},
      {"peak", {1, 0, 150.0, 0.0, 1.0, 2}, -3.0, -12.0, -100.0},
      {"pass", {4, 0, 30.0, 0.0, 0.7071, 2}, -3.0, -12.0, -100.0},
      {"side", {2, 2, 150.0, 0.0, 0.7071, 2}, -3.0, -12.0, -100.0},
      {"off", {0, 0, 150.0, 0.0, 0.7071, 2}, -3.0, -12.0, -100.0},
  };
  for (size_t i = 0; i < sizeof ends / sizeof *ends; ++i) {
    const Moving end = {ends[i].band, ends[i].move, ends[i].threshold, 10, 80};
    const double there = disturbance(&start, &end);
    const double back = disturbance(&end, &start);
    printf("%s: %.1f and back %.1f dB above 1.5 kHz (goal %.0f)\n", ends[i].name, there, back,
           ends[i].goal);
    assert_true(there <= ends[i].goal && back <= ends[i].goal);
  }
}

/* From stereo to mid a signal in the middle keeps its movement: goal 0.1 dB. */
static void a_new_shape_takes_the_movement_over(void **state)
{
  (void)state;
  const Moving start = {{MS_EQ_B1_TYPE_PEAKING, 0, 1000.0, 0.0, 1.0, 2}, -3.0, -20.0, 10, 20};
  StageDriver driver = driver_with(&start);
  Signal signal = new_signal(LENGTH);
  for (size_t n = 0; n < LENGTH; ++n) {
    const double angle = 2.0 * PLANISH_PI * 1000.0 / RATE * (double)n;
    signal.channel[0][n] = sin(angle);
    signal.channel[1][n] = sin(angle);
  }
  run(&driver, &signal, 0, LENGTH / 2);
  driver.values[MS_EQ_B1_CHANNELS] = MS_EQ_B1_CHANNELS_MID;
  run(&driver, &signal, LENGTH / 2, LENGTH / 2);
  double least = 1e9;
  double most = 0.0;
  for (size_t from = LENGTH / 2 - 480; from < LENGTH - 48; from += 48) {
    double power = 0.0;
    for (size_t n = from; n < from + 48; ++n) {
      power += signal.channel[0][n] * signal.channel[0][n];
    }
    least = fmin(least, power);
    most = fmax(most, power);
  }
  const double apart = 10.0 * log10(most / least);
  printf("a moved tone, its band turned from stereo to mid: within %.4f dB (goal 0.1)\n", apart);
  assert_true(apart <= 0.1);
  free_signal(&signal);
  stage_driver_free(&driver);
}

static void any_move(StageDriver *driver, uint32_t *seed)
{
  const int number = (int)(4.0 * uniform(seed));
  float *values = driver->values + (ptrdiff_t)number * BAND_STRIDE;
  Band band = {(int)values[MS_EQ_B1_TYPE],       (int)values[MS_EQ_B1_CHANNELS],
               20.0 * pow(900.0, uniform(seed)), -6.0 + 12.0 * uniform(seed),
               0.3 * pow(20.0, uniform(seed)),   2};
  if (uniform(seed) < 0.3) {
    band.type = (int)(7.0 * uniform(seed));
    band.channels = (int)(5.0 * uniform(seed));
  }
  if (uniform(seed) < 0.2) {
    band.gain = 0.0;
  }
  put_band(driver, number, band);
  put_move(driver, number, uniform(seed) < 0.3 ? 0.0 : -6.0 + 12.0 * uniform(seed),
           -60.0 * uniform(seed));
  driver->values[MS_EQ_MOVE_ATTACK] = (float)(0.1 * pow(2000.0, uniform(seed)));
  driver->values[MS_EQ_MOVE_RELEASE] = (float)(5.0 * pow(400.0, uniform(seed)));
  driver->values[MS_EQ_LISTEN_BAND] = uniform(seed) < 0.1 ? (float)(1 + number) : 0.0F;
}

/* 300 moves at random times, then all movement ends. */
static Signal automation(uint32_t block_limit, double rate)
{
  enum { MOVES = 300 };
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, rate);
  driver.block_limit = block_limit;
  Signal signal = music(MOVES * 640);
  Signal dry = music(MOVES * 640);
  uint32_t seed = 77;
  size_t at = 0;
  for (int i = 0; i < MOVES; ++i) {
    any_move(&driver, &seed);
    const size_t frames = PLANISH_GRID * (size_t)(1.0 + 18.0 * uniform(&seed));
    run(&driver, &signal, at, frames);
    at += frames;
  }
  for (int i = 0; i < 4; ++i) {
    driver.values[MS_EQ_B1_GAIN + i * BAND_STRIDE] = 0.0F;
    put_move(&driver, i, 0.0, -60.0);
    driver.values[MS_EQ_B1_TYPE + i * BAND_STRIDE] = MS_EQ_B1_TYPE_PEAKING;
  }
  driver.values[MS_EQ_LISTEN_BAND] = 0.0F;
  run(&driver, &signal, at, (size_t)(0.1 * rate));
  at += (size_t)(0.1 * rate);
  run(&driver, &signal, at, 960);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(signal.channel[c] + at, dry.channel[c] + at, 960 * sizeof(double));
  }
  free_signal(&dry);
  stage_driver_free(&driver);
  return signal;
}

static void automation_is_stable_and_splits_into_any_blocks(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 8000.0, 192000.0};
  for (int r = 0; r < 3; ++r) {
    Signal whole = automation(PLANISH_GRID, rates[r]);
    double largest = 0.0;
    for (size_t n = 0; n < whole.length; ++n) {
      assert_true(isfinite(whole.channel[0][n]) && isfinite(whole.channel[1][n]));
      largest = fmax(largest, fabs(whole.channel[0][n]));
    }
    printf("300 random moves at %.0f Hz: largest output %.1f dB re full scale\n", rates[r],
           20.0 * log10(largest));
    assert_true(largest < 1000.0);
    for (uint32_t limit = 1; limit < PLANISH_GRID; limit = limit * 3 + 2) {
      Signal cut = automation(limit, rates[r]);
      for (int c = 0; c < 2; ++c) {
        assert_memory_equal(cut.channel[c], whole.channel[c], whole.length * sizeof(double));
      }
      free_signal(&cut);
    }
    free_signal(&whole);
  }
}

/* Under its threshold a band at 0 dB changes no bit. */
static void under_the_threshold_nothing_changes(void **state)
{
  (void)state;
  for (int channels = MS_EQ_B1_CHANNELS_STEREO; channels <= MS_EQ_B1_CHANNELS_RIGHT; ++channels) {
    Signal wet = noise(LENGTH, 4);
    Signal dry = noise(LENGTH, 4);
    Moving moving = {{MS_EQ_B1_TYPE_HIGH_SHELF, channels, 5000.0, 0.0, 0.7, 2}, -3.0, 0.0, 10, 80};
    for (size_t n = 0; n < LENGTH; ++n) {
      for (int c = 0; c < 2; ++c) {
        wet.channel[c][n] *= 0.5;
        dry.channel[c][n] *= 0.5;
      }
    }
    StageDriver driver = driver_with(&moving);
    run(&driver, &wet, 0, LENGTH);
    for (int c = 0; c < 2; ++c) {
      assert_memory_equal(wet.channel[c], dry.channel[c], LENGTH * sizeof(double));
    }
    stage_driver_free(&driver);
    free_signal(&wet);
    free_signal(&dry);
  }
}

static Signal still_bands(double threshold, float attack)
{
  StageDriver driver;
  Signal signal = noise(LENGTH, 8);
  stage_driver_new(&driver, &planish_stage, RATE);
  uint32_t seed = 6;
  for (size_t at = 0; at < LENGTH; at += 4800) {
    for (int i = 0; i < BANDS; ++i) {
      put_band(&driver, i,
               (Band){(int)(7.0 * uniform(&seed)), (int)(5.0 * uniform(&seed)),
                      20.0 * pow(900.0, uniform(&seed)), 3.0, 1.0, 3});
      if (i < 4) {
        put_move(&driver, i, 0.0, threshold - i);
      }
    }
    driver.values[MS_EQ_MOVE_ATTACK] = attack;
    run(&driver, &signal, at, 4800);
  }
  assert_true(driver.values[MS_EQ_LARGEST_MOVE] == 0.0F);
  stage_driver_free(&driver);
  return signal;
}

/* A band that stands still has no detector, and the ports of movement are nothing to it. */
static void still_bands_cost_and_sound_as_ever(void **state)
{
  (void)state;
  detections = 0;
  Signal a = still_bands(-24.0, 10.0F);
  Signal b = still_bands(-57.0, 0.1F);
  assert_int_equal(detections, 0);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(a.channel[c], b.channel[c], LENGTH * sizeof(double));
  }
  free_signal(&a);
  free_signal(&b);
}

/* Work of one moving band beside seven still ones: none while it rests, and when it moves the same
 * in every grid interval. */
static void only_moving_bands_pay(void **state)
{
  (void)state;
  StageDriver driver = driver_with(&peak);
  for (int i = 1; i < BANDS; ++i) {
    put_band(&driver, i, (Band){MS_EQ_B1_TYPE_PEAKING, 0, 300.0 * i, 2.0, 1.0, 2});
  }
  stage_driver_reset(&driver);
  Signal signal = noise(LENGTH, 8);
  for (size_t n = 0; n < LENGTH / 2; ++n) {
    signal.channel[0][n] *= 1e-4;
    signal.channel[1][n] *= 1e-4;
  }
  run(&driver, &signal, 0, PLANISH_GRID);
  corrections = section_designs = range_points = detections = 0;
  run(&driver, &signal, PLANISH_GRID, LENGTH / 2 - PLANISH_GRID);
  assert_int_equal(corrections + section_designs + range_points, 0);
  assert_int_equal(detections, LENGTH - 2 * PLANISH_GRID);
  unsigned most_corrections = 0;
  unsigned most_sections = 0;
  for (size_t at = LENGTH / 2; at < LENGTH; at += PLANISH_GRID) {
    corrections = section_designs = 0;
    run(&driver, &signal, at, PLANISH_GRID);
    most_corrections = corrections > most_corrections ? corrections : most_corrections;
    most_sections = section_designs > most_sections ? section_designs : most_sections;
  }
  printf("one band moves: at most %u correction and %u section designs a grid interval\n",
         most_corrections, most_sections);
  assert_int_equal(most_corrections, 1);
  assert_int_equal(most_sections, PLANISH_EQ_STEPS);
  free_signal(&signal);
  stage_driver_free(&driver);
}

/* A band learns its range while it moves, a point in a grid interval, and then designs nothing. */
static void a_known_range_is_looked_up(void **state)
{
  (void)state;
  StageDriver driver = driver_with(&peak);
  Signal signal = music(LENGTH);
  unsigned points = 0;
  for (size_t at = 0; at < LENGTH; at += PLANISH_GRID) {
    corrections = section_designs = range_points = 0;
    run(&driver, &signal, at, PLANISH_GRID);
    assert_true(range_points <= 1);
    points += range_points;
    if (points == PLANISH_EQ_RANGE_POINTS && range_points == 0) {
      assert_int_equal(corrections + section_designs, 0);
    }
  }
  assert_int_equal(points, PLANISH_EQ_RANGE_POINTS);
  /* Another frequency, another range. */
  driver.values[MS_EQ_B1_FREQ] = 500.0F;
  range_points = 0;
  run(&driver, &signal, 0, LENGTH);
  assert_int_equal(range_points, PLANISH_EQ_RANGE_POINTS);
  free_signal(&signal);
  stage_driver_free(&driver);
}

/* Movement of the second band, under another one. */
static float moved_beside(double other_gain, double own_gain)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  put_band(&driver, 0, (Band){MS_EQ_B1_TYPE_PEAKING, 0, 800.0, other_gain, 1.0, 2});
  put_band(&driver, 1, (Band){MS_EQ_B1_TYPE_PEAKING, 0, 800.0, own_gain, 1.0, 2});
  put_move(&driver, 1, -3.0, -40.0);
  stage_driver_reset(&driver);
  Signal signal = sine(LENGTH, 800.0, RATE);
  for (size_t n = 0; n < LENGTH; ++n) {
    signal.channel[0][n] *= 0.012;
    signal.channel[1][n] *= 0.012;
  }
  run(&driver, &signal, 0, LENGTH);
  free_signal(&signal);
  const float moved = driver.values[MS_EQ_LARGEST_MOVE];
  stage_driver_free(&driver);
  return moved;
}

/* The level is that of the stage's input: no band, and no gain of its own, moves another. */
static void bands_do_not_move_each_other(void **state)
{
  (void)state;
  const float alone = moved_beside(0.0, 0.0);
  assert_true(alone < -0.5F && alone > -2.0F);
  assert_true(moved_beside(12.0, 0.0) == alone);
  assert_true(moved_beside(-12.0, 6.0) == alone);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(controls_are_silent),
      cmocka_unit_test(a_new_shape_takes_the_movement_over),
      cmocka_unit_test(automation_is_stable_and_splits_into_any_blocks),
      cmocka_unit_test(under_the_threshold_nothing_changes),
      cmocka_unit_test(still_bands_cost_and_sound_as_ever),
      cmocka_unit_test(only_moving_bands_pay),
      cmocka_unit_test(a_known_range_is_looked_up),
      cmocka_unit_test(bands_do_not_move_each_other),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
