/* The quiet lift, through the limiter stage: what it raises, what it leaves alone, and its edges.
 */
#include "tests/unit/limiter_signals.h"
#include "tests/unit/stage_driver.h"
#include "ttl/limiter_ports.h"

#include <stdio.h>

#define RATE 48000.0

/* Loud, hiss, quiet, loud again, and a tail for the latency. */
enum { PART = 4 * 48000, TAIL = 1024, FRAMES = 4 * PART + TAIL, PERIOD = 48000 };

static double gain(double db)
{
  return pow(10.0, db / 20.0);
}

static double rms_db(const double *x, size_t from, size_t to)
{
  double sum = 0.0;
  for (size_t n = from; n < to; ++n) {
    sum += x[n] * x[n];
  }
  return 10.0 * log10(sum / (double)(to - from) + 1e-30);
}

/* Music-like with an RMS of -30 dB in the quiet part; noise at -70 dB; loud peaks at `loud_db`. */
static double *scene(double loud_db)
{
  double *x = calloc(FRAMES, sizeof(double));
  double *music = calloc(PERIOD, sizeof(double));
  uint64_t seed = 11;
  signal_music(music, PERIOD, RATE);
  const double loud = gain(loud_db - reconstruct_peak_db(music, PERIOD));
  const double quiet = gain(-30.0 - rms_db(music, 0, PERIOD));
  for (size_t n = 0; n < (size_t)4 * PART; ++n) {
    const size_t part = n / PART;
    const double hiss = gain(-70.0) * sqrt(3.0) * signal_uniform(&seed);
    x[n] = part == 1 ? hiss : music[n % PERIOD] * (part == 2 ? quiet : loud);
  }
  free(music);
  return x;
}

static double *processed(double loud_db, float drive, float lift)
{
  StageDriver driver;
  double *x = scene(loud_db);
  double *const out[2] = {x, NULL};
  const double *const in[2] = {x, NULL};
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[LIMITER_INPUT_GAIN] = drive;
  driver.values[LIMITER_QUIET_LIFT] = lift;
  stage_driver_run(&driver, in, out, 1, FRAMES);
  stage_driver_free(&driver);
  return x;
}

/* Goals: quiet up by 1.8 to 2.0 dB, loud by 0.0, noise at -70 dBFS by at most 0.05 dB, under the
 * ceiling. */
static void raises_the_quiet_part_alone(void **state)
{
  (void)state;
  const size_t latency = planish_stage.latency(RATE, NULL);
  double *plain = processed(2.0, 0.0F, 0.0F);
  double *lifted = processed(2.0, 0.0F, 2.0F);
  double change[4];
  for (size_t part = 0; part < 4; ++part) {
    /* The loud parts whole, the others once the lift has come or gone. */
    const size_t from = part * PART + latency + (part % 3 ? PART / 2 : 0);
    const size_t to = (part + 1) * PART + (part == 3 ? latency : 0) - (part == 2 ? 2000 : 0);
    change[part] = rms_db(lifted, from, to) - rms_db(plain, from, to);
  }
  const double over = reconstruct_peak_db(lifted, FRAMES) + 1.0;
  printf("lift 2 dB: loud %+.4f, hiss %+.4f, quiet %+.4f, loud %+.4f dB; over the ceiling %+.4f\n",
         change[0], change[1], change[2], change[3], over);
  assert_true(fabs(change[0]) < 0.005 && fabs(change[3]) < 0.005);
  assert_true(change[2] >= 1.8 && change[2] <= 2.0);
  assert_true(fabs(change[1]) <= 0.05);
  assert_true(over <= 0.05);
  free(plain);
  free(lifted);
}

/* Largest true peak of the 20 ms after a tone jumps from -30 dB (RMS) to peaks of -3 dB. */
static double peak_after_jump(float lift, float lookahead)
{
  enum { LENGTH = 3 * 48000, JUMP = 2 * 48000 };
  StageDriver driver;
  double *x = calloc(LENGTH, sizeof(double));
  double *peaks = calloc(LENGTH, sizeof(double));
  double *const out[2] = {x, NULL};
  const double *const in[2] = {x, NULL};
  for (size_t n = 0; n < LENGTH; ++n) {
    const double level = gain(n < JUMP ? -27.0 : -3.0);
    x[n] = level * sin(2.0 * PLANISH_PI * 1000.0 / RATE * (double)n);
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[LIMITER_QUIET_LIFT] = lift;
  driver.values[LIMITER_LOOKAHEAD] = lookahead;
  stage_driver_run(&driver, in, out, 1, LENGTH);
  stage_driver_free(&driver);
  reconstruct_frame_peaks(x, LENGTH, peaks);
  double largest = 0.0;
  const size_t jump = JUMP + planish_stage.latency(RATE, NULL);
  for (size_t n = jump; n < jump + 960; ++n) {
    largest = fmax(largest, peaks[n]);
  }
  free(x);
  free(peaks);
  return 20.0 * log10(largest);
}

/* The lift has left by the time that the loud sound comes: nothing passes the peaks that are there
 * without it. A lift that falls once the sound has come overshoots by up to its own size. */
static void no_overshoot_where_it_gets_loud(void **state)
{
  (void)state;
  for (int lift = 2; lift <= 6; lift += 4) {
    for (int lookahead = 1; lookahead <= 5; lookahead += 2) {
      const double over =
          peak_after_jump((float)lift, (float)lookahead) - peak_after_jump(0.0F, (float)lookahead);
      printf("lift %d dB, look-ahead %d ms: overshoot %+.4f dB\n", lift, lookahead, over);
      assert_true(over <= 0.01);
    }
  }
}

/* A quiet mix over a ceiling that is lower still, the lift turned on and off: the ceiling holds in
 * both and on the way, and turning makes no click. */
static void the_ceiling_holds_under_the_lift(void **state)
{
  (void)state;
  enum { LENGTH = 4 * 48000, STEP = 9600 };
  StageDriver driver;
  double *x = calloc(LENGTH, sizeof(double));
  double *const audio[2] = {x, NULL};
  signal_music(x, LENGTH - TAIL, RATE);
  const double level = gain(-30.0 - rms_db(x, 0, LENGTH));
  for (size_t n = 0; n < LENGTH; ++n) {
    x[n] *= level;
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[LIMITER_CEILING] = -20.0F;
  for (size_t at = 0; at < LENGTH; at += STEP) {
    double *const out[2] = {audio[0] + at, NULL};
    const double *const in[2] = {out[0], NULL};
    driver.values[LIMITER_QUIET_LIFT] = at / STEP % 4 < 3 ? 6.0F : 0.0F;
    stage_driver_run(&driver, in, out, 1, STEP);
  }
  const double over = reconstruct_peak_db(x, LENGTH) + 20.0;
  printf("lift of 6 dB on and off over a ceiling of -20 dBTP: %+.4f dB over\n", over);
  assert_true(over <= 0.05 && over >= -0.5);
  stage_driver_free(&driver);
  free(x);
}

/* The gain, read off a quiet constant, has no corner where the lift goes. */
static void the_lift_goes_without_a_click(void **state)
{
  (void)state;
  enum { LENGTH = 96000, TURN = 48000 };
  StageDriver driver;
  double *x = malloc(LENGTH * sizeof(double));
  double *const out[2] = {x, NULL};
  double *const rest[2] = {x + TURN, NULL};
  for (size_t n = 0; n < LENGTH; ++n) {
    x[n] = 0.02;
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[LIMITER_QUIET_LIFT] = 6.0F;
  stage_driver_run(&driver, (const double *const[2]){x, NULL}, out, 1, TURN);
  driver.values[LIMITER_QUIET_LIFT] = 0.0F;
  stage_driver_run(&driver, (const double *const[2]){x + TURN, NULL}, rest, 1, LENGTH - TURN);
  double steepest = 0.0;
  for (size_t n = TURN; n + 1 < LENGTH; ++n) {
    steepest = fmax(steepest, fabs(20.0 * log10(x[n + 1] / x[n])));
  }
  printf("6 dB of lift go: steepest %.4f dB a frame (a straight line of 20 ms: %.4f)\n", steepest,
         6.0 / 960.0);
  assert_true(x[TURN] > 0.039 && x[LENGTH - 1] == 0.02);
  assert_true(steepest <= 0.02);
  stage_driver_free(&driver);
  free(x);
}

/* The settled lift of a constant on one or two channels, of `power_db`. */
static double settled_lift(double power_db, double floor_db, uint32_t channels)
{
  enum { LENGTH = 3 * 48000 };
  StageDriver driver;
  double *x[2] = {malloc(LENGTH * sizeof(double)), malloc(LENGTH * sizeof(double))};
  for (size_t n = 0; n < LENGTH; ++n) {
    x[0][n] = x[1][n] = gain(power_db);
  }
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[LIMITER_QUIET_LIFT] = 2.0F;
  driver.values[LIMITER_LIFT_FLOOR] = (float)floor_db;
  stage_driver_run(&driver, (const double *const[2]){x[0], x[1]}, x, channels, LENGTH);
  const double lift = 20.0 * log10(x[0][LENGTH - 1]) - power_db;
  stage_driver_free(&driver);
  free(x[0]);
  free(x[1]);
  return lift;
}

/* Full down to the floor, half of it 4 dB under, none from 8 dB under it; full up to -24 dB, half
 * at -18 dB, none from -12 dB. Two equal channels are as loud as one. */
static void the_lift_keeps_to_its_curve(void **state)
{
  (void)state;
  static const double points[][3] = {
      {-50.0, -50.0, 2.0}, {-50.0, -46.0, 1.0}, {-50.0, -42.0, 0.0}, {-24.0, -60.0, 2.0},
      {-18.0, -60.0, 1.0}, {-12.0, -60.0, 0.0}, {-50.0, -60.0, 2.0},
  };
  for (size_t i = 0; i < sizeof points / sizeof *points; ++i) {
    for (uint32_t channels = 1; channels <= 2; ++channels) {
      const double lift = settled_lift(points[i][0], points[i][1], channels);
      printf("%.0f dB, floor %.0f dB, %u channels: lift %.3f dB\n", points[i][0], points[i][1],
             channels, lift);
      assert_true(fabs(lift - points[i][2]) <= 0.01);
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(raises_the_quiet_part_alone),
      cmocka_unit_test(no_overshoot_where_it_gets_loud),
      cmocka_unit_test(the_ceiling_holds_under_the_lift),
      cmocka_unit_test(the_lift_goes_without_a_click),
      cmocka_unit_test(the_lift_keeps_to_its_curve),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
