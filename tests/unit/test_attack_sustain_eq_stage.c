/* The attack/sustain equaliser on tones, clicks and noise of which it is known what is what. */
#include "tests/unit/attack_sustain_fixture.h"

enum { RATE = 48000, MS = RATE / 1000 };

static Audio silence(size_t frames)
{
  Audio audio = {.frames = frames, .rate = RATE};
  for (int c = 0; c < 2; ++c) {
    audio.channel[c] = calloc(frames, sizeof(double));
    assert_non_null(audio.channel[c]);
  }
  return audio;
}

static void add_tone(Audio *audio, double hz, double level)
{
  for (size_t n = 0; n < audio->frames; ++n) {
    const double x = level * sin(2.0 * PI * hz / RATE * (double)n);
    audio->channel[0][n] += x;
    audio->channel[1][n] += 0.5 * x;
  }
}

static void add_click(Audio *audio, size_t at, double level)
{
  audio->channel[0][at] += level;
  audio->channel[1][at] += level;
}

static Audio noise(size_t frames, uint32_t seed)
{
  Audio audio = silence(frames);
  for (size_t n = 0; n < frames; ++n) {
    for (int c = 0; c < 2; ++c) {
      double sum = 0.0;
      for (int i = 0; i < 4; ++i) {
        seed = seed * 1664525U + 1013904223U;
        sum += (double)(int32_t)seed / 4294967296.0;
      }
      audio.channel[c][n] = 0.2 * sum;
    }
  }
  return audio;
}

/* Power of a difference over some frames. */
static double change(const Audio *a, const Audio *b, size_t from, size_t to)
{
  double sum = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (size_t n = from; n < to; ++n) {
      const double d = a->channel[c][n] - b->channel[c][n];
      sum += d * d;
    }
  }
  return sum;
}

static double power_in(const Audio *a, size_t from, size_t to)
{
  double sum = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (size_t n = from; n < to; ++n) {
      sum += a->channel[c][n] * a->channel[c][n];
    }
  }
  return sum;
}

/* A part of a signal: what `port` at +12 dB adds, by what it should. */
static Audio part_of(const Audio *in, uint32_t port)
{
  Audio out = treated(in, &(Setting){port, 12.0F}, 1);
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < in->frames; ++n) {
      out.channel[c][n] = (out.channel[c][n] - in->channel[c][n]) / (pow(10.0, 0.6) - 1.0);
    }
  }
  return out;
}

static void neutral_is_the_input_bit_for_bit(void **state)
{
  (void)state;
  Audio in = noise(RATE, 1);
  for (int ahead = 0; ahead <= 2; ++ahead) {
    const Setting settings[] = {{ATTACK_SUSTAIN_EQ_LOOKAHEAD, (float)ahead},
                                {ATTACK_SUSTAIN_EQ_ATTACK_BELL1_FREQ, 777.0F},
                                {ATTACK_SUSTAIN_EQ_SUSTAIN_HIGH_FREQ, 12345.0F},
                                {ATTACK_SUSTAIN_EQ_SUSTAIN_BELL2_Q, 3.3F}};
    Audio out = treated(&in, settings, 4);
    for (int c = 0; c < 2; ++c) {
      assert_memory_equal(out.channel[c], in.channel[c], in.frames * sizeof(double));
    }
    audio_free(&out);
  }
  audio_free(&in);
}

/* Both at the same gain, or under the same curve: a plain gain, or a plain equaliser. */
static void both_parts_add_up_to_the_input(void **state)
{
  (void)state;
  Audio in = noise(RATE, 2);
  add_click(&in, RATE / 2, 1.0);
  const Setting settings[] = {{ATTACK_SUSTAIN_EQ_ATTACK_GAIN, 6.0F},
                              {ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN, 6.0F}};
  Audio out = treated(&in, settings, 2);
  Audio truth = audio_mixed(&in, &in, pow(10.0, 0.3) - 1.0);
  const double off = decibels(change(&out, &truth, 0, in.frames) / power_in(&truth, 0, in.frames));
  printf("    both at +6 dB: off by %.1f dB\n", off);
  assert_true(off <= -130.0);
  audio_free(&in);
  audio_free(&out);
  audio_free(&truth);
}

static void tones_go_on_and_clicks_begin(void **state)
{
  (void)state;
  Audio tone = silence(4 * RATE);
  add_tone(&tone, 440.0, 0.3);
  add_tone(&tone, 1230.0, 0.2);
  add_tone(&tone, 82.4, 0.3);
  Audio attack = part_of(&tone, ATTACK_SUSTAIN_EQ_ATTACK_GAIN);
  /* Where they stop something begins, too. */
  const size_t end = 4 * RATE - 60 * MS;
  const double left = decibels(power_in(&attack, 2 * RATE, end) / power_in(&tone, 2 * RATE, end));
  Audio click = silence(2 * RATE);
  add_click(&click, RATE, 0.9);
  Audio sustain = part_of(&click, ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN);
  const double kept = decibels(power_in(&sustain, 0, 2 * RATE) / power_in(&click, 0, 2 * RATE));
  printf("    tones left in the attack %.1f dB, a click left in the sustain %.1f dB\n", left, kept);
  assert_true(left <= -60.0 && kept <= -45.0);
  audio_free(&tone);
  audio_free(&attack);
  audio_free(&click);
  audio_free(&sustain);
}

/* Of a low tone a frame holds two or three periods, and its power wavers from frame to frame. Under
 * 45 Hz more of it is left. */
static void low_tones_go_on(void **state)
{
  (void)state;
  static const double tones[] = {30.9, 41.2, 45.0, 49.0, 55.0, 58.3, 61.7, 73.4};
  for (size_t n = 0; n < sizeof tones / sizeof *tones; ++n) {
    Audio tone = silence(4 * RATE);
    add_tone(&tone, tones[n], 0.5);
    Audio attack = part_of(&tone, ATTACK_SUSTAIN_EQ_ATTACK_GAIN);
    const size_t end = 4 * RATE - 60 * MS;
    const double left = decibels(power_in(&attack, 2 * RATE, end) / power_in(&tone, 2 * RATE, end));
    printf("    %.1f Hz left in the attack %.1f dB\n", tones[n], left);
    assert_true(left <= (tones[n] < 45.0 ? -40.0 : -60.0));
    audio_free(&tone);
    audio_free(&attack);
  }
}

/* A click in tones, attack at +6 dB: the click's change lies in a millisecond around it. */
static void nothing_is_heard_ahead_of_a_click(void **state)
{
  (void)state;
  Audio tone = silence(4 * RATE);
  add_tone(&tone, 440.0, 0.1);
  add_tone(&tone, 2000.0, 0.05);
  Audio with = audio_copy(&tone, 0);
  add_click(&with, 3 * RATE, 0.9);
  Audio out = treated(&with, &(Setting){ATTACK_SUSTAIN_EQ_ATTACK_GAIN, 6.0F}, 1);
  const double at = change(&out, &with, 3 * RATE - 5, 3 * RATE + 5);
  const double ahead = change(&out, &with, 3 * RATE - 50 * MS, 3 * RATE - 5);
  /* Of the tone, whose change 10 ms and more before is held against its own level. */
  const double early = change(&out, &with, 3 * RATE - 50 * MS, 3 * RATE - 10 * MS);
  const double level = power_in(&tone, 3 * RATE - 50 * MS, 3 * RATE - 10 * MS);
  printf("    ahead of a click %.1f dB re its change; tone changed 10 ms before by %.1f dB\n",
         decibels(ahead / at), decibels(early / level));
  assert_true(decibels(ahead / at) <= -24.0);
  assert_true(decibels(early / level) <= -50.0);
  audio_free(&tone);
  audio_free(&with);
  audio_free(&out);
}

static void noise_stays_noise(void **state)
{
  (void)state;
  Audio in = noise(20 * RATE, 3);
  const double before = kurtosis(&in);
  Audio more_attack = treated(&in, &(Setting){ATTACK_SUSTAIN_EQ_ATTACK_GAIN, 3.0F}, 1);
  Audio more_sustain = treated(&in, &(Setting){ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN, 3.0F}, 1);
  Audio sustain = part_of(&in, ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN);
  const double attack_ratio = kurtosis(&more_attack) / before;
  const double sustain_ratio = kurtosis(&more_sustain) / before;
  printf("    kurtosis ratio: attack +3 dB %.3f, sustain +3 dB %.3f, sustain alone %.3f\n",
         attack_ratio, sustain_ratio, kurtosis(&sustain) / before);
  assert_true(attack_ratio >= 0.95 && attack_ratio <= 1.05);
  assert_true(sustain_ratio >= 0.95 && sustain_ratio <= 1.05);
  audio_free(&in);
  audio_free(&more_attack);
  audio_free(&more_sustain);
  audio_free(&sustain);
}

/* The audio EQ cookbook's analog bell and shelves (R. Bristow-Johnson), |H| in dB. */
static double bell(double hz, double centre, double gain, double q)
{
  const double a = pow(10.0, gain / 40.0);
  const double x = hz / centre - centre / hz;
  return decibels((x * x + a * a / (q * q)) / (x * x + 1.0 / (a * a * q * q)));
}

static double shelf(double hz, double middle, double gain, bool high)
{
  const double a = pow(10.0, gain / 40.0);
  const double w = high ? hz / middle : middle / hz;
  const double q2 = 2.0;
  const double up = (1.0 - a * w * w) * (1.0 - a * w * w) + a * q2 * w * w;
  const double under = (a - w * w) * (a - w * w) + a * q2 * w * w;
  return decibels(a * a * up / under);
}

typedef struct {
  double hz;
  double from; /* where the curve is held against its law, Hz */
  float gain;
  float q;
  int kind;    /* low shelf, bell, high shelf */
  double most; /* dB off; frames of 43 ms blur what is narrower than 100 Hz */
} Curve;

/* The same curve on both parts: a steady tone's gain is the curve's. */
static void curves_are_those_of_analog_filters(void **state)
{
  (void)state;
  static const Curve curves[] = {
      {400.0, 100.0, 6.0F, 1.0F, 1, 0.1},   {3000.0, 100.0, -9.0F, 2.0F, 1, 0.1},
      {1000.0, 100.0, 12.0F, 0.5F, 1, 0.1}, {250.0, 100.0, 6.0F, 1.0F, 0, 0.1},
      {5000.0, 100.0, -6.0F, 1.0F, 2, 0.1}, {1000.0, 100.0, 6.0F, 4.0F, 1, 0.1},
      {120.0, 30.0, 6.0F, 1.0F, 0, 0.15},   {60.0, 30.0, 6.0F, 1.0F, 0, 0.4},
      {200.0, 50.0, 6.0F, 2.0F, 1, 0.6},
  };
  for (size_t i = 0; i < sizeof curves / sizeof *curves; ++i) {
    const Curve *const c = &curves[i];
    static const uint32_t bases[2] = {ATTACK_SUSTAIN_EQ_ATTACK_GAIN,
                                      ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN};
    const uint32_t freq = c->kind == 0 ? 1 : (c->kind == 1 ? 3 : 9);
    Setting settings[6];
    for (uint32_t p = 0; p < 2; ++p) {
      settings[3 * p] = (Setting){bases[p] + freq, (float)c->hz};
      settings[3 * p + 1] = (Setting){bases[p] + freq + 1, c->gain};
      settings[3 * p + 2] = (Setting){bases[p] + 5, c->q};
    }
    double worst = 0.0;
    for (double hz = c->from; hz <= 16000.0; hz *= exp2(0.25)) {
      Audio in = silence(RATE);
      add_tone(&in, hz, 0.1);
      Audio out = treated(&in, settings, 6);
      const double found = decibels(power_in(&out, RATE / 2, RATE) / power_in(&in, RATE / 2, RATE));
      const double law = c->kind == 1 ? bell(hz, c->hz, (double)c->gain, (double)c->q)
                                      : shelf(hz, c->hz, (double)c->gain, c->kind == 2);
      worst = fmax(worst, fabs(found - law));
      audio_free(&in);
      audio_free(&out);
    }
    printf("    %s at %.0f Hz, %+.0f dB, Q %.1f: off by %.3f dB at most\n",
           c->kind == 1 ? "bell" : "shelf", c->hz, (double)c->gain, (double)c->q, worst);
    assert_true(worst <= c->most);
  }
}

/* Attack and sustain as one listens to them, with curves of their own: together the result. */
static void points_add_up_to_the_result(void **state)
{
  (void)state;
  enum { FRAMES = 2 * RATE };
  StageDriver driver;
  Audio in = noise(FRAMES, 5);
  add_click(&in, RATE + 777, 1.0);
  static double result[2][FRAMES];
  static double point[2][2][FRAMES];
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[ATTACK_SUSTAIN_EQ_ATTACK_GAIN] = 4.0F;
  driver.values[ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN] = -20.0F + 8.0F;
  stage_driver_reset(&driver);
  driver.stage->set(driver.state, driver.values);
  for (size_t n = 0; n < FRAMES; n += PLANISH_GRID) {
    double *points[2][2] = {{point[0][0] + n, point[0][1] + n}, {point[1][0] + n, point[1][1] + n}};
    PlanishBlock block = {.channels = 2, .frames = PLANISH_GRID, .points = points};
    for (int c = 0; c < 2; ++c) {
      memcpy(result[c] + n, in.channel[c] + n, PLANISH_GRID * sizeof(double));
      block.audio[c] = result[c] + n;
    }
    driver.stage->process(driver.state, &block);
  }
  const Setting settings[] = {{ATTACK_SUSTAIN_EQ_ATTACK_GAIN, 4.0F},
                              {ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN, -12.0F}};
  Audio alone = treated(&in, settings, 2);
  Audio attack = part_of(&in, ATTACK_SUSTAIN_EQ_ATTACK_GAIN);
  const size_t late = planish_stage.latency(RATE, driver.values);
  double off = 0.0;
  double part_off = 0.0;
  double part = 0.0;
  double sum = 0.0;
  for (size_t n = late; n < FRAMES; ++n) {
    for (int c = 0; c < 2; ++c) {
      assert_true(result[c][n] == alone.channel[c][n - late]);
      const double together = point[0][c][n] + point[1][c][n];
      off += (together - result[c][n]) * (together - result[c][n]);
      sum += result[c][n] * result[c][n];
      const double truth = pow(10.0, 0.2) * attack.channel[c][n - late];
      part_off += (point[0][c][n] - truth) * (point[0][c][n] - truth);
      part += truth * truth;
    }
  }
  printf("    both points together off by %.1f dB, attack's by %.1f dB\n", decibels(off / sum),
         decibels(part_off / part));
  assert_true(decibels(off / sum) <= -130.0 && decibels(part_off / part) <= -100.0);
  stage_driver_free(&driver);
  audio_free(&in);
  audio_free(&alone);
  audio_free(&attack);
}

static void values_tell_what_happens(void **state)
{
  (void)state;
  StageDriver driver;
  Audio in = silence(2 * RATE);
  add_tone(&in, 1000.0, 0.3);
  stage_driver_new(&driver, &planish_stage, RATE);
  driver.values[ATTACK_SUSTAIN_EQ_SUSTAIN_GAIN] = -3.0F;
  stage_driver_run(&driver, (const double *const[2]){in.channel[0], in.channel[1]}, in.channel, 2,
                   in.frames);
  driver.stage->report(driver.state, driver.values, 1);
  printf("    a tone, sustain -3 dB: attack share %.4f %%, gain change %.4f dB\n",
         (double)driver.values[ATTACK_SUSTAIN_EQ_ATTACK_SHARE],
         (double)driver.values[ATTACK_SUSTAIN_EQ_GAIN_CHANGE]);
  assert_true(driver.values[ATTACK_SUSTAIN_EQ_ATTACK_SHARE] < 0.1F);
  assert_true(fabs((double)driver.values[ATTACK_SUSTAIN_EQ_GAIN_CHANGE] + 3.0) < 0.01);
  printf("largest change %.2f dB at %.0f Hz\n",
         (double)driver.values[ATTACK_SUSTAIN_EQ_LARGEST_CHANGE],
         (double)driver.values[ATTACK_SUSTAIN_EQ_LARGEST_CHANGE_FREQ]);
  assert_true(fabs((double)driver.values[ATTACK_SUSTAIN_EQ_LARGEST_CHANGE] + 3.0) < 0.1);
  stage_driver_free(&driver);
  audio_free(&in);
}

/* At 96 kHz, tones of 12 and 30 kHz under a high shelf, which lifts the higher one by more. */
static void what_lies_over_hearing_is_not_told(void **state)
{
  (void)state;
  StageDriver driver;
  Audio in = silence(4 * RATE);
  add_tone(&in, 6000.0, 0.2);
  add_tone(&in, 15000.0, 0.2);
  stage_driver_new(&driver, &planish_stage, 2 * RATE);
  driver.values[ATTACK_SUSTAIN_EQ_SUSTAIN_HIGH_FREQ] = 8000.0F;
  driver.values[ATTACK_SUSTAIN_EQ_SUSTAIN_HIGH_GAIN] = 4.0F;
  stage_driver_run(&driver, (const double *const[2]){in.channel[0], in.channel[1]}, in.channel, 2,
                   in.frames);
  driver.stage->report(driver.state, driver.values, 1);
  const double hz = (double)driver.values[ATTACK_SUSTAIN_EQ_LARGEST_CHANGE_FREQ];
  printf("    largest change at %.0f Hz\n", hz);
  assert_true(fabs(hz - 12000.0) < 500.0);
  stage_driver_free(&driver);
  audio_free(&in);
}

/* Clicks at many places of a hop, each lifted by 6 dB: what is told while one sounds is of it,
 * however long the stage has looked ahead. */
static void values_are_of_what_sounds(void **state)
{
  (void)state;
  enum { CLICKS = 24, APART = 15013 };
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  for (int ahead = 0; ahead <= 2; ++ahead) {
    Audio in = silence(CLICKS * APART + 3 * RATE / 2);
    double least = HUGE_VAL;
    add_tone(&in, 1000.0, 1e-4);
    for (int k = 0; k < CLICKS; ++k) {
      in.channel[0][RATE + k * APART] = in.channel[1][RATE + k * APART] = 0.8;
    }
    driver.values[ATTACK_SUSTAIN_EQ_ATTACK_GAIN] = 6.0F;
    driver.values[ATTACK_SUSTAIN_EQ_LOOKAHEAD] = (float)ahead;
    stage_driver_reset(&driver);
    const size_t late = planish_stage.latency(RATE, driver.values);
    size_t done = 0;
    for (int k = 0; k < CLICKS; ++k) {
      double most = -HUGE_VAL;
      const size_t click = RATE + (size_t)k * APART + late;
      for (size_t until = click - RATE / 50; until < click + RATE / 20; until += 8 * PLANISH_GRID) {
        const size_t to = until / PLANISH_GRID * PLANISH_GRID;
        stage_driver_run(&driver,
                         (const double *const[2]){in.channel[0] + done, in.channel[1] + done},
                         (double *[2]){in.channel[0] + done, in.channel[1] + done}, 2, to - done);
        done = to;
        driver.stage->report(driver.state, driver.values, 1);
        most = fmax(most, (double)driver.values[ATTACK_SUSTAIN_EQ_GAIN_CHANGE]);
      }
      least = fmin(least, most);
    }
    printf("    look-ahead %d: clicks lifted by 6 dB read %.2f dB at least\n", ahead, least);
    assert_true(least >= 5.0);
    audio_free(&in);
  }
  stage_driver_free(&driver);
}

/* The frame lasts as long at every rate, and look-ahead adds whole hops near what it says. */
static void latency_is_that_of_frame_and_look_ahead(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
  for (size_t i = 0; i < sizeof rates / sizeof *rates; ++i) {
    float values[STAGE_DRIVER_MAX_PORTS] = {0.0F};
    double ms[3];
    for (int ahead = 0; ahead <= 2; ++ahead) {
      values[ATTACK_SUSTAIN_EQ_LOOKAHEAD] = (float)ahead;
      ms[ahead] = 1000.0 * planish_stage.latency(rates[i], values) / rates[i];
    }
    printf("    %6.0f Hz: %.1f, %.1f, %.1f ms\n", rates[i], ms[0], ms[1], ms[2]);
    assert_true(ms[0] > 53.0 && ms[0] < 58.1);
    assert_true(fabs(ms[1] - ms[0] - 50.0) <= 6.0 && fabs(ms[2] - ms[0] - 100.0) <= 6.0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(neutral_is_the_input_bit_for_bit),
      cmocka_unit_test(both_parts_add_up_to_the_input),
      cmocka_unit_test(tones_go_on_and_clicks_begin),
      cmocka_unit_test(low_tones_go_on),
      cmocka_unit_test(nothing_is_heard_ahead_of_a_click),
      cmocka_unit_test(noise_stays_noise),
      cmocka_unit_test(curves_are_those_of_analog_filters),
      cmocka_unit_test(points_add_up_to_the_result),
      cmocka_unit_test(values_tell_what_happens),
      cmocka_unit_test(what_lies_over_hearing_is_not_told),
      cmocka_unit_test(values_are_of_what_sounds),
      cmocka_unit_test(latency_is_that_of_frame_and_look_ahead),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
