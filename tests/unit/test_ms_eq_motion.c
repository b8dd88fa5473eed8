/* The mid/side equaliser while its controls move. */
#include "plugins/ms-eq/eq_voice.h"
#include "tests/unit/ms_eq_fixture.h"

enum { RATE = 48000, LENGTH = 48000 };

/* Calls of the designs, counted by the linker's --wrap. */
static unsigned corrections;
static unsigned section_designs;
void __real_planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                                  double *taps);
void __real_planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections);
void __wrap_planish_eq_correction(const PlanishEqFit *fit, const PlanishEqPrototype *prototype,
                                  double *taps);
void __wrap_planish_eq_sections(const PlanishEqPrototype *prototype, PlanishEqSections *sections);

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

/* A change from one band to another in the middle of a tone; energy above 1.5 kHz. */
static double disturbance(Band from, Band to, double tone)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  put_band(&driver, 0, from);
  stage_driver_reset(&driver);
  Signal signal = sine(LENGTH, tone, RATE);
  run(&driver, &signal, 0, LENGTH / 2);
  put_band(&driver, 0, to);
  run(&driver, &signal, LENGTH / 2, LENGTH / 2);
  const double energy = energy_above(signal.channel[0], LENGTH, 1500.0, RATE);
  free_signal(&signal);
  stage_driver_free(&driver);
  return energy;
}

static void gain_steps_are_silent(void **state)
{
  (void)state;
  static const double steps[][2] = {{0.0, 6.0}, {6.0, 0.0}, {-3.0, 3.0}, {12.0, 6.0}};
  for (int type = MS_EQ_B1_TYPE_PEAKING; type <= MS_EQ_B1_TYPE_HIGH_SHELF; ++type) {
    for (size_t i = 0; i < sizeof steps / sizeof *steps; ++i) {
      Band from = {type, 0, 100.0, steps[i][0], 1.0, 2};
      Band to = from;
      to.gain = steps[i][1];
      const double energy = disturbance(from, to, 100.0);
      printf("type %d, gain %g to %g dB under 100 Hz: %.1f dB above 1.5 kHz (goal -100)\n", type,
             from.gain, to.gain, energy);
      assert_true(energy <= -100.0);
    }
  }
}

/* The same sweep with coefficients held for a whole block, as is often done. */
static double blockwise_sweep(unsigned hold)
{
  Signal signal = sine(LENGTH, 100.0, RATE);
  PlanishSvf svf = {0};
  PlanishEqSections sections = {0};
  for (int n = 0; n < LENGTH; ++n) {
    if ((unsigned)n % hold == 0) {
      const double way = planish_smoothstep((n - LENGTH / 2) / (0.02 * RATE));
      const PlanishEqSetting setting = {PLANISH_EQ_PEAKING, 2, 80.0 * pow(100.0, way), 6.0, 1.0};
      PlanishEqPrototype prototype;
      planish_eq_prototype(&setting, RATE, &prototype);
      __real_planish_eq_sections(&prototype, &sections);
    }
    PlanishTwo x = planish_both(signal.channel[0][n]);
    planish_svf_process(&svf, &sections.section[0], &x, 1);
    signal.channel[0][n] = x[0];
  }
  const double energy = energy_above(signal.channel[0], LENGTH, 1500.0, RATE);
  free_signal(&signal);
  return energy;
}

static void sweeps_are_smooth(void **state)
{
  (void)state;
  const Band from = {MS_EQ_B1_TYPE_PEAKING, 0, 80.0, 6.0, 1.0, 2};
  Band to = from;
  to.frequency = 8000.0;
  const double up = disturbance(from, to, 100.0);
  const double down = disturbance(to, from, 100.0);
  printf("80 Hz to 8 kHz in 20 ms, +6 dB, under 100 Hz: %.1f dB above 1.5 kHz, back %.1f "
         "(goal -75)\n",
         up, down);
  printf("sections per frame %.1f, held for 16 frames %.1f, 32: %.1f, 64: %.1f dB\n",
         blockwise_sweep(1), blockwise_sweep(16), blockwise_sweep(32), blockwise_sweep(64));
  assert_true(up <= -75.0 && down <= -75.0);
  assert_true(blockwise_sweep(64) > -75.0);
}

static void changes_of_shape_are_faded(void **state)
{
  (void)state;
  const Band peak = {MS_EQ_B1_TYPE_PEAKING, 0, 150.0, 6.0, 1.0, 2};
  static const Band others[] = {
      {MS_EQ_B1_TYPE_OFF, 0, 150.0, 6.0, 1.0, 2},
      {MS_EQ_B1_TYPE_LOW_SHELF, 0, 150.0, 6.0, 1.0, 2},
      {MS_EQ_B1_TYPE_HIGH_PASS, 0, 50.0, 0.0, 0.7, 4},
      {MS_EQ_B1_TYPE_LOW_PASS, 0, 5000.0, 0.0, 0.7, 8},
      {MS_EQ_B1_TYPE_PEAKING, MS_EQ_B1_CHANNELS_SIDE, 150.0, 6.0, 1.0, 2},
      {MS_EQ_B1_TYPE_PEAKING, MS_EQ_B1_CHANNELS_LEFT, 150.0, 6.0, 1.0, 2},
  };
  for (size_t i = 0; i < sizeof others / sizeof *others; ++i) {
    const double there = disturbance(peak, others[i], 100.0);
    const double back = disturbance(others[i], peak, 100.0);
    printf("shape %zu: %.1f and %.1f dB above 1.5 kHz (goal -90)\n", i, there, back);
    assert_true(there <= -90.0 && back <= -90.0);
  }
}

/* In the middle of the fastest sweep, between two designs. */
static void response_holds_while_moving(void **state)
{
  (void)state;
  PlanishEqFit fit;
  planish_eq_fit_setup(&fit, 44100.0);
  double worst = 0.0;
  for (double from = 80.0; from < 7000.0; from *= 1.2) {
    static PlanishEqVoice voice;
    /* 80 Hz to 8 kHz in 20 ms is at most 0.5 octaves in a grid interval. */
    const double octaves = 2.0 * log2(100.0) / (0.02 * 44100.0 / PLANISH_GRID);
    PlanishEqSetting setting = {PLANISH_EQ_PEAKING, 2, from, 6.0, 1.0};
    PlanishEqPath path;
    for (int i = 0; i < PLANISH_EQ_STEPS; ++i) {
      path.end[i] = setting;
      path.end[i].frequency = from * exp2(octaves * (i + 1) / PLANISH_EQ_STEPS);
    }
    const PlanishEqShape shape = {true, PLANISH_EQ_PEAKING, 2, PLANISH_EQ_STEREO};
    planish_eq_voice_start(&voice, &fit, shape, &setting, true);
    planish_eq_voice_aim(&voice, &fit, &path.end[PLANISH_EQ_STEPS - 1]);
    const uint32_t at = PLANISH_GRID / 2 - PLANISH_EQ_STEP / 2;
    PlanishTwo x[PLANISH_GRID] = {{0.0}};
    PlanishTwo difference[PLANISH_GRID];
    planish_eq_voice_difference(&voice, fit.rate, &path, x, difference, 0, at);
    PlanishEqSections sections = {1, {voice.coefs[0]}};
    double taps[PLANISH_EQ_TAPS];
    for (int k = 0; k < PLANISH_EQ_TAPS; ++k) {
      taps[k] = voice.taps[k] + at * voice.tap_change[k];
    }
    setting.frequency = from * exp2(octaves * at / PLANISH_GRID);
    PlanishEqPrototype prototype;
    planish_eq_prototype(&setting, fit.rate, &prototype);
    for (double hz = 20.0; hz <= 20000.0; hz *= 1.02) {
      const double w = 2.0 * PLANISH_PI * hz / fit.rate;
      const double power = planish_eq_power(&sections, taps, w);
      worst = fmax(worst, fabs(10.0 * log10(power / planish_eq_prototype_power(&prototype, w))));
    }
  }
  printf("in the middle of the fastest sweep: %.3f dB from the analog response (goal 0.25)\n",
         worst);
  assert_true(worst <= 0.25);
}

static Band any_band(uint32_t *seed)
{
  return (Band){(int)(7.0 * uniform(seed)),        (int)(5.0 * uniform(seed)),
                10.0 * pow(2000.0, uniform(seed)), -18.0 + 36.0 * uniform(seed),
                0.1 * pow(200.0, uniform(seed)),   1 + (int)(8.0 * uniform(seed))};
}

static void any_move(StageDriver *driver, uint32_t *seed)
{
  const int number = (int)(BANDS * uniform(seed));
  Band band = any_band(seed);
  if (uniform(seed) < 0.7) { /* mostly moves that glide */
    band.type = (int)driver->values[number * BAND_STRIDE + MS_EQ_B1_TYPE];
    band.channels = (int)driver->values[number * BAND_STRIDE + MS_EQ_B1_CHANNELS];
    band.order = (int)driver->values[number * BAND_STRIDE + MS_EQ_B1_ORDER];
  }
  put_band(driver, number, band);
  driver->values[MS_EQ_MONO_BELOW] = (float)(20.0 + fmax(0.0, 500.0 * uniform(seed) - 120.0));
  driver->values[MS_EQ_MONO_AMOUNT] = (float)(100.0 * uniform(seed));
  driver->values[MS_EQ_LISTEN_BAND] = uniform(seed) < 0.1 ? (float)(1 + number) : 0.0F;
}

/* 400 moves at random times; the values after each are the same for any block split. */
static Signal automation(uint32_t block_limit, double rate)
{
  enum { MOVES = 400 };
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, rate);
  driver.block_limit = block_limit;
  Signal signal = noise(MOVES * 640, 9);
  uint32_t seed = 21;
  size_t at = 0;
  for (int i = 0; i < MOVES; ++i) {
    any_move(&driver, &seed);
    const size_t frames = PLANISH_GRID * (size_t)(1.0 + 20.0 * uniform(&seed));
    run(&driver, &signal, at, frames);
    at += frames;
  }
  /* All off: nothing may ring on. */
  for (int i = 0; i < BANDS; ++i) {
    driver.values[i * BAND_STRIDE + MS_EQ_B1_TYPE] = 0.0F;
  }
  driver.values[MS_EQ_MONO_BELOW] = 20.0F;
  driver.values[MS_EQ_LISTEN_BAND] = 0.0F;
  run(&driver, &signal, at, (size_t)(0.1 * rate));
  at += (size_t)(0.1 * rate);
  Signal untouched = noise(MOVES * 640, 9);
  double *const tail[2] = {signal.channel[0] + at, signal.channel[1] + at};
  run(&driver, &signal, at, 960);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(tail[c], untouched.channel[c] + at, 960 * sizeof(double));
  }
  free_signal(&untouched);
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
    printf("400 random moves at %.0f Hz: largest output %.1f dB re full scale\n", rates[r],
           20.0 * log10(largest));
    /* Eight bands of 18 dB on noise of -6 dB, and Q 20 on the passes. */
    assert_true(largest < 1e6);
    for (uint32_t limit = 1; limit < PLANISH_GRID && r == 0; limit = limit * 3 + 2) {
      Signal cut = automation(limit, rates[r]);
      for (int c = 0; c < 2; ++c) {
        assert_memory_equal(cut.channel[c], whole.channel[c], whole.length * sizeof(double));
      }
      free_signal(&cut);
    }
    free_signal(&whole);
  }
}

/* 50 ms after a move the stage is where a fresh one stands. */
static void moves_end_exactly(void **state)
{
  (void)state;
  enum { AFTER = 2400, HEARD = 9600 };
  StageDriver moved;
  StageDriver fresh;
  stage_driver_new(&moved, &planish_stage, RATE);
  stage_driver_new(&fresh, &planish_stage, RATE);
  uint32_t seed = 33;
  double worst = 0.0;
  for (int i = 0; i < 50; ++i) {
    Band from = any_band(&seed);
    Band to = any_band(&seed);
    if (i % 2 == 0) { /* a glide; else a change of shape */
      to.type = from.type;
      to.channels = from.channels;
    }
    put_band(&moved, 0, from);
    stage_driver_reset(&moved);
    Signal a = new_signal(AFTER + HEARD);
    Signal b = new_signal(HEARD);
    a.channel[0][AFTER] = b.channel[0][0] = 1.0;
    put_band(&fresh, 0, to);
    stage_driver_reset(&fresh);
    run(&moved, &a, 0, PLANISH_GRID);
    put_band(&moved, 0, to);
    run(&moved, &a, PLANISH_GRID, AFTER + HEARD - PLANISH_GRID);
    run(&fresh, &b, 0, HEARD);
    for (int n = 0; n < HEARD; ++n) {
      worst = fmax(worst, fabs(a.channel[0][AFTER + n] - b.channel[0][n]));
    }
    free_signal(&a);
    free_signal(&b);
  }
  printf("50 ms after a move, against a fresh stage: %.2g of an impulse\n", worst);
  assert_true(worst <= 1e-12);
  stage_driver_free(&moved);
  stage_driver_free(&fresh);
}

/* Linearity shows round-off: the response to 0.7313 x is not quite 0.7313 times that to x. */
static void round_off_is_inaudible(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  for (int i = 0; i < BANDS; ++i) {
    put_band(&driver, i, (Band){1, 0, 20.0 * pow(450.0, i / 7.0), i % 2 ? 6.0 : -6.0, 4.0, 2});
  }
  Signal one = noise(LENGTH, 5);
  Signal other = noise(LENGTH, 5);
  for (size_t n = 0; n < LENGTH; ++n) {
    other.channel[0][n] *= 0.7313;
  }
  stage_driver_reset(&driver);
  run(&driver, &one, 0, LENGTH);
  stage_driver_reset(&driver);
  run(&driver, &other, 0, LENGTH);
  double error = 0.0;
  double power = 0.0;
  for (size_t n = 0; n < LENGTH; ++n) {
    const double wanted = 0.7313 * one.channel[0][n];
    error += (other.channel[0][n] - wanted) * (other.channel[0][n] - wanted);
    power += wanted * wanted;
  }
  const double level = 10.0 * log10(error / power + 1e-40);
  printf("round-off of 8 bands, Q 4, 20 Hz-9 kHz: %.1f dB (goal -200)\n", level);
  assert_true(level <= -200.0);
  free_signal(&one);
  free_signal(&other);
  stage_driver_free(&driver);
}

/* All eight bands move at once, then stop: the same work in every grid interval of the move. */
static void work_is_even(void **state)
{
  (void)state;
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  for (int i = 0; i < BANDS; ++i) {
    put_band(&driver, i, (Band){1, 0, 100.0 * (i + 1), 3.0, 1.0, 2});
  }
  stage_driver_reset(&driver);
  Signal signal = noise(4800, 6);
  run(&driver, &signal, 0, PLANISH_GRID);
  for (int i = 0; i < BANDS; ++i) {
    put_band(&driver, i, (Band){1, 0, 150.0 * (i + 1), -3.0, 2.0, 2});
  }
  unsigned most_corrections = 0;
  unsigned most_sections = 0;
  unsigned busy = 0;
  unsigned total = 0;
  for (size_t at = PLANISH_GRID; at < 4800; at += PLANISH_GRID) {
    corrections = 0;
    section_designs = 0;
    run(&driver, &signal, at, PLANISH_GRID);
    most_corrections = corrections > most_corrections ? corrections : most_corrections;
    most_sections = section_designs > most_sections ? section_designs : most_sections;
    busy += corrections > 0;
    total += corrections;
  }
  printf("eight bands moving: at most %u corrections and %u section designs a grid interval, the "
         "mean of the %u busy ones is %.2f corrections\n",
         most_corrections, most_sections, busy, (double)total / busy);
  assert_int_equal(most_corrections, BANDS);
  assert_int_equal(most_sections, BANDS * PLANISH_EQ_STEPS);
  assert_int_equal(total, busy * BANDS);
  free_signal(&signal);
  stage_driver_free(&driver);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(gain_steps_are_silent),
      cmocka_unit_test(sweeps_are_smooth),
      cmocka_unit_test(changes_of_shape_are_faded),
      cmocka_unit_test(response_holds_while_moving),
      cmocka_unit_test(automation_is_stable_and_splits_into_any_blocks),
      cmocka_unit_test(moves_end_exactly),
      cmocka_unit_test(round_off_is_inaudible),
      cmocka_unit_test(work_is_even),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
