/* The clipper stage as the frame drives it. */
#include "tests/unit/limiter_signals.h"
#include "tests/unit/stage_driver.h"
#include "ttl/clipper_ports.h"

#include <stdio.h>

enum { RATE = 44100, FRAMES = 30000, TURN = 12000 };

static double gain(double db)
{
  return pow(10.0, db / 20.0);
}

static double *tone(size_t frames, double hertz, double peak_db)
{
  double *x = calloc(frames, sizeof(double));
  for (size_t n = 0; n < frames; ++n) {
    x[n] = gain(peak_db) * sin(2.0 * PLANISH_PI * hertz * (double)n / RATE);
  }
  return x;
}

static double *noise_and_bass(size_t frames, double peak_db)
{
  double *x = calloc(frames, sizeof(double));
  signal_music(x, frames, RATE);
  const double level = gain(peak_db - reconstruct_peak_db(x, frames));
  for (size_t n = 0; n < frames; ++n) {
    x[n] *= level;
  }
  return x;
}

static void run(StageDriver *driver, double *left, double *right, size_t frames)
{
  double *const out[2] = {left, right};
  const double *const in[2] = {left, right};
  stage_driver_run(driver, in, out, right ? 2 : 1, frames);
}

/* Goal: 192 frames at 44.1 and 48 kHz, whatever the controls say. */
static void latency_depends_on_the_rate_alone(void **state)
{
  (void)state;
  const double rates[] = {44100.0, 48000.0, 88200.0, 96000.0, 192000.0};
  for (size_t i = 0; i < sizeof rates / sizeof *rates; ++i) {
    float values[CLIPPER_PORT_COUNT] = {0};
    const uint32_t latency = planish_stage.latency(rates[i], NULL);
    assert_int_equal(planish_stage.latency(rates[i], values), latency);
    values[CLIPPER_HOLD_TRUE_PEAK] = 1.0F;
    values[CLIPPER_OVERSAMPLING] = 2.0F;
    assert_int_equal(planish_stage.latency(rates[i], values), latency);
    printf("%6.0f Hz: latency %u frames\n", rates[i], latency);
  }
  assert_true(planish_stage.latency(44100.0, NULL) <= 192);
  assert_true(planish_stage.latency(48000.0, NULL) <= 192);
}

/* Peaks 0.05 dB under the threshold, at every setting of what does not touch the threshold. */
static void under_the_threshold_no_bit_changes(void **state)
{
  (void)state;
  const uint32_t latency = planish_stage.latency(RATE, NULL);
  double *source = noise_and_bass(FRAMES, -7.05);
  for (int setting = 0; setting < 12; ++setting) {
    StageDriver driver;
    double *x = noise_and_bass(FRAMES, -7.05);
    double *reference = calloc(FRAMES, sizeof(double));
    const double knee = setting >= 6 ? 2.0 : 0.0;
    const double drive = 6.0 - knee;
    const double factor = planish_gain_of((double)(float)drive);
    stage_driver_new(&driver, &planish_stage, RATE);
    driver.reference[0] = reference;
    driver.values[CLIPPER_INPUT_GAIN] = (float)drive;
    driver.values[CLIPPER_KNEE] = (float)knee;
    driver.values[CLIPPER_OVERSAMPLING] = (float)(setting % 3);
    driver.values[CLIPPER_HOLD_TRUE_PEAK] = (float)(setting / 3 % 2);
    run(&driver, x, NULL, FRAMES);
    for (size_t n = latency; n < FRAMES; ++n) {
      assert_true(x[n] == source[n - latency] * factor);
      assert_true(reference[n] == x[n]);
    }
    assert_true(driver.values[CLIPPER_REDUCTION] == 0.0F);
    assert_true(driver.values[CLIPPER_CLIPPED] == 0.0F);
    stage_driver_free(&driver);
    free(x);
    free(reference);
  }
  free(source);
}

/* What comes in when a switch is turned has filled its filters before it is heard. */
static void switches_change_no_bit_there_either(void **state)
{
  (void)state;
  enum { STEP = 75 * PLANISH_GRID };
  const uint32_t latency = planish_stage.latency(RATE, NULL);
  double *source = noise_and_bass(FRAMES, -1.05);
  double *x = noise_and_bass(FRAMES, -1.05);
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  for (size_t at = 0; at < FRAMES; at += STEP) {
    const size_t step = at / STEP;
    driver.values[CLIPPER_HOLD_TRUE_PEAK] = (float)(step % 2);
    driver.values[CLIPPER_OVERSAMPLING] = (float)(step % 3);
    run(&driver, x + at, NULL, FRAMES - at < STEP ? FRAMES - at : STEP);
  }
  for (size_t n = latency; n < FRAMES; ++n) {
    assert_true(x[n] == source[n - latency]);
  }
  stage_driver_free(&driver);
  free(x);
  free(source);
}

/* Controls move all the while; blocks of any size give the same bits. */
static double *automated(uint32_t block_limit)
{
  StageDriver driver;
  double *x = noise_and_bass(FRAMES, 3.0);
  double *right = tone(FRAMES, 5003.0, 2.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.block_limit = block_limit;
  for (size_t at = 0; at < FRAMES;) {
    const size_t count = FRAMES - at < 992 ? FRAMES - at : 992;
    const size_t step = at / 992;
    driver.values[CLIPPER_CEILING] = -1.0F - (float)(step % 5);
    driver.values[CLIPPER_KNEE] = (float)(step / 3 % 4);
    driver.values[CLIPPER_INPUT_GAIN] = (float)(step / 2 % 3);
    driver.values[CLIPPER_OVERSAMPLING] = (float)(step / 2 % 3);
    driver.values[CLIPPER_HOLD_TRUE_PEAK] = (float)(step / 4 % 2);
    run(&driver, x + at, right + at, count);
    at += count;
  }
  stage_driver_free(&driver);
  free(right);
  return x;
}

static void blocks_change_no_bit(void **state)
{
  (void)state;
  const uint32_t limits[] = {1, 7, 31};
  double *whole = automated(PLANISH_GRID);
  for (size_t i = 0; i < sizeof limits / sizeof *limits; ++i) {
    double *cut = automated(limits[i]);
    assert_memory_equal(whole, cut, FRAMES * sizeof(double));
    free(cut);
  }
  free(whole);
}

static void a_reset_forgets_everything(void **state)
{
  (void)state;
  StageDriver driver;
  double *first = noise_and_bass(FRAMES, 3.0);
  double *again = noise_and_bass(FRAMES, 3.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  run(&driver, first, NULL, FRAMES);
  stage_driver_reset(&driver);
  run(&driver, again, NULL, FRAMES);
  assert_memory_equal(first, again, FRAMES * sizeof(double));
  stage_driver_free(&driver);
  free(first);
  free(again);
}

/* The largest third difference: what a click raises. */
static double roughness(const double *x, size_t from, size_t to)
{
  double largest = 0.0;
  for (size_t n = from + 3; n < to; ++n) {
    largest = fmax(largest, fabs(x[n] - 3.0 * x[n - 1] + 3.0 * x[n - 2] - x[n - 3]));
  }
  return largest;
}

/* A clipped tone (of a period that shares nothing with the rate) while a control stands at `before`
 * up to frame TURN and at `after` from there on. */
static double *turned(uint32_t port, float before, float after)
{
  StageDriver driver;
  double *x = tone(FRAMES, 437.3, 2.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[port] = before;
  run(&driver, x, NULL, TURN);
  driver.values[port] = after;
  run(&driver, x + TURN, NULL, FRAMES - TURN);
  stage_driver_free(&driver);
  return x;
}

/* No rougher than the roughest setting on the way would be if it stood (of a switch: than the
 * rougher of both), and in the end the same as if the new setting had always stood. */
static void check_turn(uint32_t port, float before, float after, const char *name)
{
  const bool glides = !clipper_port_table[port].whole;
  double standing = 0.0;
  for (int k = 0; k <= 20; ++k) {
    const float way = glides ? (float)k / 20.0F : (float)(k % 2);
    double *x = turned(port, before + way * (after - before), before + way * (after - before));
    standing = fmax(standing, roughness(x, 1000, FRAMES));
    free(x);
    if (!glides && k == 1) {
      break;
    }
  }
  double *moved = turned(port, before, after);
  double *new = turned(port, after, after);
  const double turning = roughness(moved, 1000, FRAMES);
  double apart = 0.0;
  for (size_t n = FRAMES - 6000; n < FRAMES; ++n) {
    apart = fmax(apart, fabs(moved[n] - new[n]));
  }
  printf("%s %g to %g: roughness %.4f, standing %.4f; in the end %.2g from the new setting\n", name,
         (double)before, (double)after, turning, standing, apart);
  assert_true(turning <= 1.02 * standing);
  assert_true(apart <= 1e-7);
  free(moved);
  free(new);
}

static void controls_turn_without_a_click(void **state)
{
  (void)state;
  check_turn(CLIPPER_OVERSAMPLING, 1.0F, 0.0F, "oversampling");
  check_turn(CLIPPER_OVERSAMPLING, 0.0F, 2.0F, "oversampling");
  check_turn(CLIPPER_HOLD_TRUE_PEAK, 0.0F, 1.0F, "hold_true_peak");
  check_turn(CLIPPER_HOLD_TRUE_PEAK, 1.0F, 0.0F, "hold_true_peak");
  check_turn(CLIPPER_CEILING, -1.0F, -2.0F, "ceiling");
  check_turn(CLIPPER_KNEE, 0.0F, 3.0F, "knee");
  check_turn(CLIPPER_INPUT_GAIN, 1.0F, 0.0F, "input_gain");
}

/* A slow sine d times the ceiling: 20 lg d comes off, and it is clipped for 1 - 2/pi asin(1/d) of
 * the time. */
static void the_readings_are_those_of_a_clipped_sine(void **state)
{
  (void)state;
  StageDriver driver;
  enum { LONG = 3 * RATE };
  double *x = tone(LONG, 100.0, 2.0);
  stage_driver_new(&driver, &planish_stage, RATE);
  run(&driver, x, NULL, LONG);
  const double expected = 100.0 * (1.0 - 2.0 / PLANISH_PI * asin(1.0 / gain(3.0)));
  printf("sine 3 dB over: reduction %.4f dB, clipped %.2f %% (closed form %.2f)\n",
         (double)driver.values[CLIPPER_REDUCTION], (double)driver.values[CLIPPER_CLIPPED],
         expected);
  assert_true(fabs((double)driver.values[CLIPPER_REDUCTION] - 3.0) < 0.001);
  assert_true(fabs((double)driver.values[CLIPPER_CLIPPED] - expected) < 0.6);
  double *silence = calloc(LONG, sizeof(double));
  /* A second long: half of it is still there after half a second. */
  run(&driver, silence, NULL, RATE / 2);
  assert_true(fabs((double)driver.values[CLIPPER_CLIPPED] - 0.5 * expected) < 4.0);
  run(&driver, silence, NULL, LONG);
  assert_true(driver.values[CLIPPER_REDUCTION] == 0.0F);
  assert_true(driver.values[CLIPPER_CLIPPED] == 0.0F);
  /* And then all is exact again. */
  double *quiet = tone(FRAMES, 441.0, -3.0);
  double *source = tone(FRAMES, 441.0, -3.0);
  const uint32_t latency = planish_stage.latency(RATE, NULL);
  run(&driver, quiet, NULL, FRAMES);
  assert_memory_equal(quiet + latency, source, (FRAMES - latency) * sizeof(double));
  stage_driver_free(&driver);
  free(x);
  free(silence);
  free(quiet);
  free(source);
}

/* A tone at a quarter of the rate whose samples all lie under the ceiling and whose peaks between
 * them do not: without hold, what comes off is the clipper's own work. */
static void peaks_between_samples_are_clipped(void **state)
{
  (void)state;
  StageDriver driver;
  double *x = malloc(FRAMES * sizeof(double));
  for (size_t n = 0; n < FRAMES; ++n) {
    x[n] = gain(1.0) * sin(0.5 * PLANISH_PI * (double)n + 0.25 * PLANISH_PI); /* 2 dB over */
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[CLIPPER_HOLD_TRUE_PEAK] = 0.0F;
  run(&driver, x, NULL, FRAMES);
  printf("peaks 2 dB over between samples 1 dB under: reduction %.3f dB, clipped %.1f %%\n",
         (double)driver.values[CLIPPER_REDUCTION], (double)driver.values[CLIPPER_CLIPPED]);
  assert_true(fabs((double)driver.values[CLIPPER_REDUCTION] - 2.0) < 0.2);
  assert_true(driver.values[CLIPPER_CLIPPED] > 10.0F);
  stage_driver_free(&driver);
  free(x);
}

/* Channels are clipped each on its own. */
static void one_channel_sounds_like_one_of_two(void **state)
{
  (void)state;
  double *alone = noise_and_bass(FRAMES, 3.0);
  double *left = noise_and_bass(FRAMES, 3.0);
  double *right = tone(FRAMES, 5003.0, -6.0);
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  run(&driver, alone, NULL, FRAMES);
  stage_driver_reset(&driver);
  run(&driver, left, right, FRAMES);
  assert_memory_equal(alone, left, FRAMES * sizeof(double));
  stage_driver_free(&driver);
  free(alone);
  free(left);
  free(right);
}

/* How far the reconstructed true peak of a signal, brought to the ceiling of -1 dBTP and driven by
 * `drive`, comes out over that ceiling. */
static double over_ceiling(const LimiterSignal *signal, double drive, double knee, bool hold)
{
  StageDriver driver;
  double *x = calloc(FRAMES, sizeof(double));
  signal->fill(x, FRAMES - 1000, RATE);
  const double level = gain(-1.0 - reconstruct_peak_db(x, FRAMES));
  for (size_t n = 0; n < FRAMES; ++n) {
    x[n] *= level;
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[CLIPPER_INPUT_GAIN] = (float)drive;
  driver.values[CLIPPER_KNEE] = (float)knee;
  driver.values[CLIPPER_HOLD_TRUE_PEAK] = hold ? 1.0F : 0.0F;
  run(&driver, x, NULL, FRAMES);
  const double over = reconstruct_peak_db(x, FRAMES) + 1.0;
  stage_driver_free(&driver);
  free(x);
  return over;
}

/* Signals limited to 20 kHz that are hard on true-peak detectors. */
static void hard_signals_stay_under_the_ceiling(void **state)
{
  (void)state;
  static const double drives[] = {1.0, 3.0, 6.0, 12.0};
  for (int s = 0; s < LIMITER_SIGNAL_COUNT; ++s) {
    for (size_t i = 0; i < sizeof drives / sizeof *drives; ++i) {
      const double held = over_ceiling(&limiter_signals[s], drives[i], 0.0, true);
      const double not_held = over_ceiling(&limiter_signals[s], drives[i], 0.0, false);
      printf("%-14s %.0f dB over: held %+.4f dB over the ceiling, not held %+.2f\n",
             limiter_signals[s].name, drives[i], held, not_held);
      assert_true(held <= 0.02);
    }
  }
}

/* What the knee has rounded, later passes must not press down again: driven 6 dB past a knee of
 * 2 dB, peaks still come out at the ceiling. */
static void a_knee_costs_no_headroom(void **state)
{
  (void)state;
  for (int s = 0; s < LIMITER_SIGNAL_COUNT; ++s) {
    const double over = over_ceiling(&limiter_signals[s], 6.0, 2.0, true);
    printf("%-14s 6 dB over, knee 2 dB: held %+.4f dB over the ceiling\n", limiter_signals[s].name,
           over);
    assert_true(over <= 0.02 && over >= -0.1);
  }
}

static double largest_within(const double *peaks, size_t from, size_t to)
{
  double largest = 0.0;
  for (size_t n = from; n < to; ++n) {
    largest = fmax(largest, peaks[n]);
  }
  return 20.0 * log10(largest);
}

/* The ceiling goes with its audio: the old one holds up to the frame at which a higher one was set,
 * and a lower one holds as soon as the glide to it is over. */
static void a_moving_ceiling_goes_with_its_audio(void **state)
{
  (void)state;
  enum { RAISED = 300 * PLANISH_GRID, LOWERED = 600 * PLANISH_GRID, GLIDE = 960 };
  StageDriver driver;
  double *x = calloc(FRAMES, sizeof(double));
  double *peaks = calloc(FRAMES, sizeof(double));
  const size_t latency = planish_stage.latency(RATE, NULL);
  limiter_signals[0].fill(x, FRAMES - 1000, RATE);
  const double level = gain(3.0 - reconstruct_peak_db(x, FRAMES));
  for (size_t n = 0; n < FRAMES; ++n) {
    x[n] *= level;
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[CLIPPER_CEILING] = -6.0F;
  run(&driver, x, NULL, RAISED);
  driver.values[CLIPPER_CEILING] = -1.0F;
  run(&driver, x + RAISED, NULL, LOWERED - RAISED);
  driver.values[CLIPPER_CEILING] = -6.0F;
  run(&driver, x + LOWERED, NULL, FRAMES - LOWERED);
  reconstruct_frame_peaks(x, FRAMES, peaks);
  const double before = largest_within(peaks, 0, RAISED + latency) + 6.0;
  const double while_up = largest_within(peaks, RAISED + latency, LOWERED + latency) + 1.0;
  const double after = largest_within(peaks, LOWERED + latency + GLIDE, FRAMES) + 6.0;
  printf("over the old ceiling %+.4f dB, over the raised one %+.4f dB, over the lowered one "
         "%+.4f dB\n",
         before, while_up, after);
  assert_true(before <= 0.02 && before >= -0.1);
  assert_true(while_up <= 0.02 && while_up >= -0.1);
  assert_true(after <= 0.02 && after >= -0.1);
  stage_driver_free(&driver);
  free(x);
  free(peaks);
}

/* What is laid out once while the ceiling stands is laid out for all of it: after a ceiling has
 * moved and come back, and stood for long, the next move is as if it had never moved. */
static void a_ceiling_that_stands_has_forgotten(void **state)
{
  (void)state;
  enum { AWAY = 64 * PLANISH_GRID, BACK = 128 * PLANISH_GRID, DOWN = 500 * PLANISH_GRID };
  double *out[2];
  for (int moved = 0; moved < 2; ++moved) {
    StageDriver driver;
    double *x = noise_and_bass(FRAMES, 3.0);
    const float away = moved ? -4.0F : -1.0F;
    stage_driver_new(&driver, &planish_stage, RATE);
    run(&driver, x, NULL, AWAY);
    driver.values[CLIPPER_CEILING] = away;
    run(&driver, x + AWAY, NULL, BACK - AWAY);
    driver.values[CLIPPER_CEILING] = -1.0F;
    run(&driver, x + BACK, NULL, DOWN - BACK);
    driver.values[CLIPPER_CEILING] = -3.0F;
    run(&driver, x + DOWN, NULL, FRAMES - DOWN);
    stage_driver_free(&driver);
    out[moved] = x;
  }
  double apart = 0.0;
  for (size_t n = DOWN - 2000; n < FRAMES; ++n) {
    apart = fmax(apart, fabs(out[0][n] - out[1][n]));
  }
  printf("a ceiling that had moved before: %.2g apart\n", apart);
  assert_true(apart <= 1e-9);
  free(out[0]);
  free(out[1]);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(latency_depends_on_the_rate_alone),
      cmocka_unit_test(under_the_threshold_no_bit_changes),
      cmocka_unit_test(switches_change_no_bit_there_either),
      cmocka_unit_test(blocks_change_no_bit),
      cmocka_unit_test(a_reset_forgets_everything),
      cmocka_unit_test(controls_turn_without_a_click),
      cmocka_unit_test(the_readings_are_those_of_a_clipped_sine),
      cmocka_unit_test(peaks_between_samples_are_clipped),
      cmocka_unit_test(one_channel_sounds_like_one_of_two),
      cmocka_unit_test(hard_signals_stay_under_the_ceiling),
      cmocka_unit_test(a_knee_costs_no_headroom),
      cmocka_unit_test(a_moving_ceiling_goes_with_its_audio),
      cmocka_unit_test(a_ceiling_that_stands_has_forgotten),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
