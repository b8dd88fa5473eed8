/* The mid/side equaliser under automation: stable, the same in any blocks, exact at the end, even
 * in its work. */
#include "common/dsp/eq_design.h"
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
    const float mono_from = (float)(20.5 + 300.0 * uniform(&seed));
    const float mono_to = (float)(20.5 + 300.0 * uniform(&seed));
    put_band(&moved, 0, from);
    moved.values[MS_EQ_MONO_BELOW] = mono_from;
    stage_driver_reset(&moved);
    Signal a = new_signal(AFTER + HEARD);
    Signal b = new_signal(HEARD);
    a.channel[0][AFTER] = b.channel[0][0] = 1.0;
    put_band(&fresh, 0, to);
    fresh.values[MS_EQ_MONO_BELOW] = mono_to;
    stage_driver_reset(&fresh);
    run(&moved, &a, 0, PLANISH_GRID);
    put_band(&moved, 0, to);
    moved.values[MS_EQ_MONO_BELOW] = mono_to;
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
      cmocka_unit_test(automation_is_stable_and_splits_into_any_blocks),
      cmocka_unit_test(moves_end_exactly),
      cmocka_unit_test(round_off_is_inaudible),
      cmocka_unit_test(work_is_even),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
