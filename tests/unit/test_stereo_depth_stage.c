/* Stereo depth: what the mono sum keeps, what the side gets, by closed forms and on stems. */
#include "common/dsp/maths.h"
#include "tests/unit/audio_measures.h"
#include "tests/unit/stage_driver.h"
#include "tests/unit/stems.h"
#include "tests/unit/tone_fit.h"
#include "ttl/stereo_depth_ports.h"

#include <stdio.h>

enum { MS = 48 };

static StageDriver driver;

static void begin(double rate)
{
  stage_driver_new(&driver, &planish_stage, rate);
}

static void turn(uint32_t port, double value)
{
  driver.values[port] = (float)value;
}

/* Everything at its most. */
static void turn_all_up(void)
{
  static const uint32_t lifts[] = {STEREO_DEPTH_LOW_SIDE_LIFT, STEREO_DEPTH_MIDDLE_SIDE_LIFT,
                                   STEREO_DEPTH_HIGH_SIDE_LIFT};
  static const uint32_t shares[] = {STEREO_DEPTH_LOW_SATURATION, STEREO_DEPTH_MIDDLE_SATURATION,
                                    STEREO_DEPTH_HIGH_SATURATION, STEREO_DEPTH_MIDDLE_ATTACK_PAN,
                                    STEREO_DEPTH_HIGH_ATTACK_PAN};
  for (size_t n = 0; n < sizeof lifts / sizeof *lifts; ++n) {
    turn(lifts[n], 3.0);
  }
  for (size_t n = 0; n < sizeof shares / sizeof *shares; ++n) {
    turn(shares[n], 100.0);
  }
}

static void run(const double *left, const double *right, double *left_out, double *right_out,
                size_t frames)
{
  stage_driver_reset(&driver);
  stage_driver_run(&driver, (const double *const[]){left, right},
                   (double *const[]){left_out, right_out}, 2, frames);
}

static uint32_t late(void)
{
  return planish_stage.latency(48000.0, NULL);
}

/* Hits and noise, wide. */
static void music_like(double *left, double *right, size_t frames)
{
  uint64_t seed = 5;
  for (size_t n = 0; n < frames; ++n) {
    const double t = (double)n / 48000.0;
    const double hit = exp(-20.0 * fmod(t, 0.4));
    double noise[2];
    for (int c = 0; c < 2; ++c) {
      seed = seed * 6364136223846793005u + 1442695040888963407u;
      noise[c] = (double)(seed >> 11) / 4503599627370496.0 - 1.0;
    }
    left[n] = 0.1 * noise[0] + 0.4 * hit * noise[1] + 0.2 * hit * sin(2.0 * PLANISH_PI * 60.0 * t);
    right[n] = 0.1 * noise[1] + 0.4 * hit * noise[1] + 0.2 * hit * sin(2.0 * PLANISH_PI * 60.0 * t);
  }
}

enum { FRAMES = 4 * 48000 };
static double x[2][FRAMES];
static double y[2][FRAMES];

/* As the ports have it: in floats. */
static void the_mono_sum_is_not_changed(void **state)
{
  (void)state;
  begin(48000.0);
  music_like(x[0], x[1], FRAMES);
  turn_all_up();
  run(x[0], x[1], y[0], y[1], FRAMES);
  double change = 0.0;
  double sum = 0.0;
  double moved = 0.0;
  for (size_t n = late(); n < FRAMES; ++n) {
    const double was = (double)(float)x[0][n - late()] + (double)(float)x[1][n - late()];
    const double is = (double)(float)y[0][n] + (double)(float)y[1][n];
    change += (is - was) * (is - was);
    sum += was * was;
    moved += pow(y[0][n] - x[0][n - late()], 2.0);
  }
  printf("    mono sum changed by %.1f dB, the left by %.1f dB\n", 10.0 * log10(change / sum),
         10.0 * log10(moved / sum));
  assert_true(10.0 * log10(change / sum) <= -140.0);
  assert_true(10.0 * log10(moved / sum) > -40.0);
  stage_driver_free(&driver);
}

static void neutral_changes_no_bit(void **state)
{
  (void)state;
  begin(48000.0);
  music_like(x[0], x[1], FRAMES);
  for (int n = 0; n < 2; ++n) {
    if (n == 1) {
      turn_all_up();
      turn(STEREO_DEPTH_AMOUNT, 0.0);
    }
    run(x[0], x[1], y[0], y[1], FRAMES);
    for (int c = 0; c < 2; ++c) {
      assert_memory_equal(y[c] + late(), x[c], (FRAMES - late()) * sizeof(double));
    }
  }
  stage_driver_free(&driver);
}

/* A tone on the side alone: the third harmonic is DEPTH / 4 = 0.025 of it, and its own level stays,
 * at any level. */
static void saturation_is_the_same_at_any_level(void **state)
{
  (void)state;
  static const double levels[] = {0.0, -30.0, -60.0};
  double first = 0.0;
  begin(48000.0);
  turn(STEREO_DEPTH_MIDDLE_SATURATION, 100.0);
  for (size_t k = 0; k < 3; ++k) {
    const double peak = pow(10.0, levels[k] / 20.0);
    for (size_t n = 0; n < FRAMES; ++n) {
      x[0][n] = peak * sin(2.0 * PLANISH_PI * 797.3 / 48000.0 * (double)n);
      x[1][n] = -x[0][n];
    }
    run(x[0], x[1], y[0], y[1], FRAMES);
    const size_t from = FRAMES - 48000;
    const ToneFit tone = tone_fit(y[0] + from, 48000, 797.3, 48000.0);
    const ToneFit third = tone_fit(y[0] + from, 48000, 3.0 * 797.3, 48000.0);
    const double thd = 20.0 * log10(third.amplitude / tone.amplitude);
    printf("    at %.0f dB: third harmonic %.3f dB, the tone %+.4f dB\n", levels[k], thd,
           20.0 * log10(tone.amplitude / peak));
    assert_true(fabs(thd - 20.0 * log10(0.025)) < 0.1);
    assert_true(fabs(20.0 * log10(tone.amplitude / peak)) < 0.02);
    first = k == 0 ? thd : first;
    assert_true(fabs(thd - first) <= 0.1);
  }
  stage_driver_free(&driver);
}

/* A tone with a whole number of periods in one second of frames. */
static void take_out(double *signal, size_t rate, double hz)
{
  const double step = 2.0 * PLANISH_PI * hz / (double)rate;
  double s = 0.0;
  double c = 0.0;
  for (size_t n = 0; n < rate; ++n) {
    s += signal[n] * sin(step * (double)n) * 2.0 / (double)rate;
    c += signal[n] * cos(step * (double)n) * 2.0 / (double)rate;
  }
  for (size_t n = 0; n < rate; ++n) {
    signal[n] -= s * sin(step * (double)n) + c * cos(step * (double)n);
  }
}

/* What is neither the tone nor its third harmonic, where that lies under half the rate. */
static void nothing_folds_back(void **state)
{
  (void)state;
  static const struct {
    size_t rate;
    double hz;
  } cases[] = {{44100, 1237.0},  {44100, 5683.0},  {44100, 9871.0},
               {44100, 14323.0}, {48000, 11113.0}, {48000, 17011.0}};
  for (size_t k = 0; k < sizeof cases / sizeof *cases; ++k) {
    const double rate = (double)cases[k].rate;
    begin(rate);
    turn(STEREO_DEPTH_LOW_SATURATION, 100.0);
    turn(STEREO_DEPTH_MIDDLE_SATURATION, 100.0);
    turn(STEREO_DEPTH_HIGH_SATURATION, 100.0);
    for (size_t n = 0; n < FRAMES; ++n) {
      x[0][n] = 0.7 * sin(2.0 * PLANISH_PI * cases[k].hz / rate * (double)n);
      x[1][n] = -x[0][n];
    }
    run(x[0], x[1], y[0], y[1], FRAMES);
    /* The last second, in which whole periods stand. */
    double *end = y[0] + FRAMES - cases[k].rate;
    const double peak = tone_fit(end, cases[k].rate, cases[k].hz, rate).amplitude;
    take_out(end, cases[k].rate, cases[k].hz);
    if (3.0 * cases[k].hz < 0.5 * rate) {
      take_out(end, cases[k].rate, 3.0 * cases[k].hz);
    }
    double rest = 0.0;
    for (size_t n = 0; n < cases[k].rate; ++n) {
      rest += end[n] * end[n] / rate;
    }
    const double db = 10.0 * log10(rest / (0.5 * peak * peak) + 1e-30);
    printf("    %.0f Hz at %.0f Hz: all else %.1f dB\n", cases[k].hz, rate, db);
    assert_true(db <= -100.0);
    stage_driver_free(&driver);
  }
}

/* Saturation turned off and on again at once, in the midst of a tone on the side: what is added
 * glides, without a step (that of a sine between two frames is its peak times w), and the side has
 * its level all the time. */
static void saturation_comes_and_goes_without_a_step(void **state)
{
  (void)state;
  static const double tones[] = {55.3, 997.3, 6900.7};
  enum { QUARTER = FRAMES / 4 };
  for (size_t k = 0; k < sizeof tones / sizeof *tones; ++k) {
    const double w = 2.0 * PLANISH_PI * tones[k] / 48000.0;
    begin(48000.0);
    for (size_t n = 0; n < FRAMES; ++n) {
      x[0][n] = 0.9 * sin(w * (double)n);
      x[1][n] = -x[0][n];
    }
    stage_driver_reset(&driver);
    for (size_t part = 0; part < 4; ++part) {
      const double amount = part % 2 == 0 ? 100.0 : 0.0;
      turn(STEREO_DEPTH_LOW_SATURATION, amount);
      turn(STEREO_DEPTH_MIDDLE_SATURATION, amount);
      turn(STEREO_DEPTH_HIGH_SATURATION, amount);
      const size_t at = part * QUARTER;
      stage_driver_run(&driver, (const double *const[]){x[0] + at, x[1] + at},
                       (double *const[]){y[0] + at, y[1] + at}, 2, QUARTER);
    }
    double most = 0.0;
    for (size_t n = QUARTER / 2; n < FRAMES; ++n) {
      const double change = (y[0][n] - x[0][n - late()]) - (y[0][n - 1] - x[0][n - 1 - late()]);
      most = fmax(most, fabs(change));
    }
    /* The third harmonic, and less than as much of the tone as the residue has. */
    const double usual = 0.9 * 0.1 * (0.25 * planish_min(3.0 * w, 2.0) + 0.75 * w);
    double furthest = 0.0;
    for (size_t n = QUARTER; n + 4800 <= FRAMES; n += 480) {
      const double level = tone_fit(y[0] + n, 4800, tones[k], 48000.0).amplitude;
      furthest = fmax(furthest, fabs(20.0 * log10(level / 0.9)));
    }
    printf("    %.1f Hz: steps of at most %.5f (usual %.5f), level within %.3f dB\n", tones[k],
           most, usual, furthest);
    assert_true(most <= usual && furthest <= 0.05);
    stage_driver_free(&driver);
  }
}

/* A tone on the side, a hit in the middle of the same band: the tone rises with it by 3 dB. */
static void the_side_rises_with_the_middle(void **state)
{
  (void)state;
  begin(48000.0);
  turn(STEREO_DEPTH_MIDDLE_SIDE_LIFT, 3.0);
  for (size_t n = 0; n < FRAMES; ++n) {
    const double t = (double)n / 48000.0;
    const double side = 0.05 * sin(2.0 * PLANISH_PI * 800.0 * t);
    const double mid = n < 96000 ? 0.0 : 0.3 * sin(2.0 * PLANISH_PI * 700.0 * (t - 2.0));
    x[0][n] = mid + side;
    x[1][n] = mid - side;
  }
  run(x[0], x[1], y[0], y[1], FRAMES);
  for (size_t n = 0; n < FRAMES; ++n) {
    y[0][n] = 0.5 * (y[0][n] - y[1][n]);
  }
  const double *side = y[0] + late() + 96000;
  const double before = tone_fit(side - 9600, 4800, 800.0, 48000.0).amplitude;
  const double hit = tone_fit(side + 3 * MS, 10 * MS, 800.0, 48000.0).amplitude;
  const double after = tone_fit(side + 400 * MS, 4800, 800.0, 48000.0).amplitude;
  printf("    side %+.3f dB before, %+.3f dB at the hit, %+.3f dB after\n",
         20.0 * log10(before / 0.05), 20.0 * log10(hit / 0.05), 20.0 * log10(after / 0.05));
  assert_true(fabs(20.0 * log10(before / 0.05)) < 0.001);
  assert_true(20.0 * log10(hit / 0.05) > 2.5 && 20.0 * log10(hit / 0.05) < 3.01);
  assert_true(fabs(20.0 * log10(after / 0.05)) < 0.05);
  assert_true(driver.values[STEREO_DEPTH_SIDE_CHANGE] <= 3.0F);
  stage_driver_free(&driver);
}

/* The middle goes up by 9 dB, a whole attack; the lift is gone after a while of the length, and
 * told meanwhile. */
static void the_lift_goes_by_rise_and_length(void **state)
{
  (void)state;
  enum { AT = 96000, END = AT + 24000 };
  static const double lengths[] = {10.0, 100.0};
  double lift[2][2];
  for (int k = 0; k < 2; ++k) {
    begin(48000.0);
    turn(STEREO_DEPTH_MIDDLE_SIDE_LIFT, 3.0);
    turn(STEREO_DEPTH_LENGTH, lengths[k]);
    for (size_t n = 0; n < END; ++n) {
      const double t = (double)n / 48000.0;
      const double side = 0.05 * sin(2.0 * PLANISH_PI * 1000.0 * t);
      const double mid = (n < AT ? 0.1 : 0.2818) * sin(2.0 * PLANISH_PI * 700.0 * t);
      x[0][n] = mid + side;
      x[1][n] = mid - side;
    }
    run(x[0], x[1], y[0], y[1], END);
    for (size_t n = 0; n < END; ++n) {
      y[0][n] = 0.5 * (y[0][n] - y[1][n]);
    }
    const double *side = y[0] + late() + AT;
    lift[k][0] = 20.0 * log10(tone_fit(side + 4 * MS, 4 * MS, 1000.0, 48000.0).amplitude / 0.05);
    lift[k][1] = 20.0 * log10(tone_fit(side + 60 * MS, 4 * MS, 1000.0, 48000.0).amplitude / 0.05);
    const double told = (double)driver.values[STEREO_DEPTH_SIDE_CHANGE];
    printf("    length %.0f ms: side %+.3f dB at a rise of 9 dB, %+.3f 60 ms later, told %.3f dB\n",
           lengths[k], lift[k][0], lift[k][1], told);
    assert_true(told >= lift[k][0] && told <= 3.0);
    stage_driver_free(&driver);
  }
  /* 9 e^(-t/100), less the dead zone of half a decibel, in the closed form of a share. */
  const double early = 3.0 * tanh(1.5 * (9.0 * exp(-0.06) - 0.5) / 9.0);
  const double later = 3.0 * tanh(1.5 * (9.0 * exp(-0.62) - 0.5) / 9.0);
  assert_true(fabs(lift[1][0] - early) < 0.15 && fabs(lift[1][1] - later) < 0.15);
  assert_true(lift[0][1] < 0.02);
}

/* A hit in the middle leans by at most 1 dB, to the side that was asked for; a low one stays. */
static void attacks_lean_and_kicks_do_not(void **state)
{
  (void)state;
  static const double hz[] = {60.0, 800.0, 7000.0};
  for (int k = 0; k < 3; ++k) {
    for (int to = -1; to <= 1; to += 2) {
      begin(48000.0);
      turn(STEREO_DEPTH_MIDDLE_ATTACK_PAN, to * 100.0);
      turn(STEREO_DEPTH_HIGH_ATTACK_PAN, to * 100.0);
      for (size_t n = 0; n < FRAMES; ++n) {
        const double t = (double)n / 48000.0 - 2.0;
        x[0][n] = x[1][n] = t < 0.0 ? 0.0 : 0.4 * sin(2.0 * PLANISH_PI * hz[k] * t);
      }
      run(x[0], x[1], y[0], y[1], FRAMES);
      double lean[2];
      for (int when = 0; when < 2; ++when) {
        double power[2] = {0.0, 0.0};
        const size_t from = (size_t)late() + 96000 + (size_t)(when == 0 ? 5 : 400) * MS;
        for (size_t n = from; n < from + 17 * MS; ++n) {
          power[0] += y[0][n] * y[0][n];
          power[1] += y[1][n] * y[1][n];
        }
        lean[when] = 10.0 * log10(power[1] / power[0]);
      }
      printf("    hit of %.0f Hz to %+d: %+.3f dB to the right, %+.4f dB later\n", hz[k], to,
             lean[0], lean[1]);
      assert_true(fabs(lean[1]) < 0.02);
      if (k == 0) {
        assert_true(fabs(lean[0]) < 0.05);
      } else {
        assert_true(to * lean[0] > 0.7 && to * lean[0] <= 1.0);
      }
      stage_driver_free(&driver);
    }
  }
}

/* Crossovers the wrong way round: the high one counts as the low one, to the bit. */
static void crossovers_may_cross(void **state)
{
  (void)state;
  static double crossed[2][FRAMES];
  begin(48000.0);
  music_like(x[0], x[1], FRAMES);
  turn_all_up();
  turn(STEREO_DEPTH_CROSSOVER_LOW, 2000.0);
  turn(STEREO_DEPTH_CROSSOVER_HIGH, 500.0);
  run(x[0], x[1], crossed[0], crossed[1], FRAMES);
  turn(STEREO_DEPTH_CROSSOVER_HIGH, 2000.0);
  run(x[0], x[1], y[0], y[1], FRAMES);
  for (int c = 0; c < 2; ++c) {
    assert_memory_equal(crossed[c], y[c], sizeof y[c]);
    for (size_t n = 0; n < FRAMES; ++n) {
      assert_true(fabs(y[c][n]) < 2.0); /* not of what is no number */
    }
  }
  stage_driver_free(&driver);
}

/* Goals: 0.05 LU at gentle settings, 0.3 LU with everything at its most; true peak published. */
static void stems_keep_their_loudness(void **state)
{
  (void)state;
  Audio stems;
  if (!stems_read(&stems, 1)) {
    print_message("skipped: no stems\n");
    skip();
  }
  for (int full = 0; full < 2; ++full) {
    begin(stems.rate);
    if (full == 1) {
      turn_all_up();
    } else {
      turn(STEREO_DEPTH_MIDDLE_SIDE_LIFT, 1.0);
      turn(STEREO_DEPTH_HIGH_SIDE_LIFT, 1.5);
      turn(STEREO_DEPTH_MIDDLE_SATURATION, 20.0);
      turn(STEREO_DEPTH_HIGH_SATURATION, 30.0);
    }
    Audio out = audio_copy(&stems, 0);
    run(stems.channel[0], stems.channel[1], out.channel[0], out.channel[1], stems.frames);
    const double change = audio_loudness(&out) - audio_loudness(&stems);
    printf("    %s: %+.3f LU, true peak %+.2f dB\n", full == 1 ? "at the most" : "gentle", change,
           audio_true_peak(&out) - audio_true_peak(&stems));
    assert_true(fabs(change) <= (full == 1 ? 0.3 : 0.05));
    audio_free(&out);
    stage_driver_free(&driver);
  }
  audio_free(&stems);
}

/* A harmonic of a tone on the side, dB re that tone as it came in, over some seconds from a time
 * on. */
static double harmonic(double hz, int order, double level, double from, double seconds)
{
  const size_t first = (size_t)(from * 48000.0);
  const size_t count = (size_t)(seconds * 48000.0);
  double re = 0.0;
  double im = 0.0;
  for (size_t n = first; n < first + count; ++n) {
    const double side = 0.5 * (y[0][n] - y[1][n]);
    const double turn_at = 2.0 * PLANISH_PI * order * hz * (double)n / 48000.0;
    re += side * cos(turn_at);
    im += side * sin(turn_at);
  }
  return 20.0 * log10(2.0 * sqrt(re * re + im * im) / (double)count / level);
}

/* Before `change` seconds at one level, then at another. */
static void side_tone(double hz, double level, double change, double later)
{
  for (size_t n = 0; n < FRAMES; ++n) {
    const double t = (double)n / 48000.0;
    x[0][n] = (t < change ? level : later) * sin(2.0 * PLANISH_PI * hz * t);
    x[1][n] = -x[0][n];
  }
}

/* A band saturates what is its own: a tone two octaves and a half outside of it gets next to
 * nothing. */
static void each_band_saturates_its_own(void **state)
{
  (void)state;
  static const struct {
    uint32_t port;
    double inside;
    double outside;
  } cases[] = {{STEREO_DEPTH_LOW_SATURATION, 50.0, 1000.0},
               {STEREO_DEPTH_MIDDLE_SATURATION, 800.0, 40.0},
               {STEREO_DEPTH_HIGH_SATURATION, 6000.0, 600.0}};
  for (size_t k = 0; k < sizeof cases / sizeof *cases; ++k) {
    begin(48000.0);
    turn(cases[k].port, 100.0);
    side_tone(cases[k].inside, 0.3, 4.0, 0.0);
    run(x[0], x[1], y[0], y[1], FRAMES);
    const double own = harmonic(cases[k].inside, 3, 0.3, 2.0, 1.0);
    side_tone(cases[k].outside, 0.3, 4.0, 0.0);
    run(x[0], x[1], y[0], y[1], FRAMES);
    const double other = harmonic(cases[k].outside, 3, 0.3, 2.0, 1.0);
    printf("    band %zu: third harmonic of %.0f Hz %.1f dB, of %.0f Hz %.1f dB\n", k,
           cases[k].inside, own, cases[k].outside, other);
    assert_true(own > -33.5 && other < -70.0);
    stage_driver_free(&driver);
  }
}

/* The level that saturation goes by stands still within half a period of 25 Hz: so a low tone gets
 * a third harmonic and no fifth. After a fall by 20 dB it comes down with 200 ms, so that what
 * rings on is saturated less at first. */
static void saturation_goes_by_a_calm_level(void **state)
{
  (void)state;
  begin(48000.0);
  turn(STEREO_DEPTH_LOW_SATURATION, 100.0);
  side_tone(30.0, 0.3, 4.0, 0.0);
  run(x[0], x[1], y[0], y[1], FRAMES);
  const double third = harmonic(30.0, 3, 0.3, 2.0, 1.0);
  const double fifth = harmonic(30.0, 5, 0.3, 2.0, 1.0);
  printf("    30 Hz: third harmonic %.1f dB, fifth %.1f dB\n", third, fifth);
  assert_true(third > -33.0 && fifth < -85.0);
  stage_driver_free(&driver);

  begin(48000.0);
  turn(STEREO_DEPTH_MIDDLE_SATURATION, 100.0);
  side_tone(1000.0, 0.3, 2.0, 0.03);
  run(x[0], x[1], y[0], y[1], FRAMES);
  const double soon = harmonic(1000.0, 3, 0.03, 2.2, 0.05);
  const double settled = harmonic(1000.0, 3, 0.03, 3.8, 0.15);
  /* 225 ms after the fall, 20 of them held: the power stands at 1 + 99 e^(-205/200) times what
   * comes. */
  const double expected = settled - 20.0 * log10(1.0 + 99.0 * exp(-205.0 / 200.0));
  printf("    after a fall by 20 dB: third harmonic %.1f dB (%.1f expected), settled %.1f dB\n",
         soon, expected, settled);
  assert_true(fabs(soon - expected) < 1.5);
  stage_driver_free(&driver);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_mono_sum_is_not_changed),
      cmocka_unit_test(neutral_changes_no_bit),
      cmocka_unit_test(saturation_is_the_same_at_any_level),
      cmocka_unit_test(nothing_folds_back),
      cmocka_unit_test(saturation_comes_and_goes_without_a_step),
      cmocka_unit_test(the_side_rises_with_the_middle),
      cmocka_unit_test(the_lift_goes_by_rise_and_length),
      cmocka_unit_test(attacks_lean_and_kicks_do_not),
      cmocka_unit_test(crossovers_may_cross),
      cmocka_unit_test(each_band_saturates_its_own),
      cmocka_unit_test(saturation_goes_by_a_calm_level),
      cmocka_unit_test(stems_keep_their_loudness),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
