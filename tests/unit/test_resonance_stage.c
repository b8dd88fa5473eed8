/* The resonance stage on noise, tones and clicks: what it finds, leaves alone, and must not add. */
#include "tests/unit/resonance_fixture.h"

static double before[LOOK_BINS];
static double with_ring[LOOK_BINS];
static double after[LOOK_BINS];

static const Setting deep[] = {{RESONANCE_MAX_CUT, 12.0F}};
enum { DEEP = sizeof deep / sizeof *deep };

static double difference_db(const Audio *a, const Audio *b)
{
  double difference = 0.0;
  double power = 0.0;
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < a->frames; ++n) {
      const double d = a->channel[c][n] - b->channel[c][n];
      difference += d * d;
      power += b->channel[c][n] * b->channel[c][n];
    }
  }
  return 10.0 * log10(difference / power + 1e-40);
}

/* Over the whole file, the time of learning included. A quantile that starts fast, or one of 50 %,
 * gives -50 dB and worse. */
static void pink_noise_passes(void **state)
{
  (void)state;
  for (uint32_t seed = 1; seed <= 3; ++seed) {
    Audio noise = pink_noise(seed);
    Audio out = treated(&noise, NULL, 0);
    const double off = difference_db(&out, &noise);
    printf("pink noise %u: difference %.1f dB over the whole file\n", seed, off);
    assert_true(off <= -100.0);
    audio_free(&out);
    audio_free(&noise);
  }
}

/* Level of the narrow band over the untouched noise, from 6 s on. */
static double left_of(const Audio *noise, double hz, const Setting *settings, size_t count)
{
  Audio ringing = audio_copy(noise, 0);
  ring(&ringing, hz, 12.0, 30.0);
  Audio out = treated(&ringing, settings, count);
  spectrum_of(noise, 6.0, before);
  spectrum_of(&ringing, 6.0, with_ring);
  spectrum_of(&out, 6.0, after);
  const double left = over(after, before, noise->rate, hz, 1.0 / 24.0);
  const Change elsewhere = change_between(after, with_ring, noise->rate, hz);
  printf("12 dB, Q 30 at %.0f Hz of %.0f: stood %.2f, left %.2f dB; elsewhere %.3f dB rms\n", hz,
         noise->rate, over(with_ring, before, noise->rate, hz, 1.0 / 24.0), left, elsewhere.rms);
  assert_true(elsewhere.rms <= 0.01);
  audio_free(&out);
  audio_free(&ringing);
  return left;
}

static void resonances_in_noise_are_undone(void **state)
{
  (void)state;
  Audio noise = pink_noise(4);
  assert_true(fabs(left_of(&noise, 1200.0, deep, DEEP)) <= 1.5);
  assert_true(fabs(left_of(&noise, 2900.0, deep, DEEP)) <= 1.5);
  assert_true(fabs(left_of(&noise, 5000.0, deep, DEEP)) <= 1.5);
  /* Low and narrow: the long window finds it. */
  const Setting longer[] = {{RESONANCE_MAX_CUT, 12.0F}, {RESONANCE_WINDOW, 2.0F}};
  assert_true(fabs(left_of(&noise, 600.0, longer, 2)) <= 3.0);
  /* Half as much where half as much may go. */
  const Setting shallow[] = {{RESONANCE_MAX_CUT, 3.0F}};
  const double left = left_of(&noise, 2900.0, shallow, 1);
  assert_true(left >= 6.4 && left <= 7.4);
  audio_free(&noise);
}

static void frames_follow_the_rate(void **state)
{
  (void)state;
  static const double rates[] = {44100.0, 96000.0};
  Audio noise = pink_noise(5);
  for (size_t i = 0; i < sizeof rates / sizeof *rates; ++i) {
    noise.rate = rates[i];
    /* 96 kHz leave 10.9 s. */
    assert_true(fabs(left_of(&noise, 2900.0, deep, DEEP)) <= 2.0);
  }
  audio_free(&noise);
}

/* A bare tone in faint noise, 1.5 s, and note protection off: by how much a cut of `most` dB goes
 * past it from half a second on. */
static double past(double hz, double most, uint32_t window, bool linear)
{
  enum { FRAMES = 72000, FROM = 24000 };
  const Setting settings[] = {
      {RESONANCE_MAX_CUT, (float)most},
      {RESONANCE_WINDOW, (float)window},
      {RESONANCE_PHASE, linear ? 1.0F : 0.0F},
      {RESONANCE_NOTE_PROTECTION, 0.0F},
  };
  Audio tone = {.frames = FRAMES, .rate = 48000.0};
  uint32_t seed = 3;
  for (int c = 0; c < 2; ++c) {
    tone.channel[c] = malloc(FRAMES * sizeof(double));
    for (uint32_t n = 0; n < FRAMES; ++n) {
      seed = seed * 1664525U + 1013904223U;
      tone.channel[c][n] =
          0.05 * sin(2.0 * PI * hz / 48000.0 * n) + 0.001 * ((double)seed / 2147483648.0 - 1.0);
    }
  }
  Audio out = treated(&tone, settings, sizeof settings / sizeof *settings);
  double level[2];
  const Audio *const both[2] = {&tone, &out};
  for (int i = 0; i < 2; ++i) {
    double re = 0.0;
    double im = 0.0;
    for (uint32_t n = FROM; n < FRAMES; ++n) {
      const double x =
          (0.5 - 0.5 * cos(2.0 * PI * (n - FROM) / (FRAMES - FROM))) * both[i]->channel[0][n];
      re += x * cos(2.0 * PI * hz / 48000.0 * n);
      im += x * sin(2.0 * PI * hz / 48000.0 * n);
    }
    level[i] = 10.0 * log10(re * re + im * im);
  }
  audio_free(&out);
  audio_free(&tone);
  return level[0] - level[1] - most;
}

/* The largest cut is a bound, in either phase and every window. A cepstrum that fades out by a
 * smooth step goes past it by an eighth: 1.1 dB at 9. */
static void no_tone_is_cut_by_more_than_asked(void **state)
{
  (void)state;
  static const double tones[] = {500.0, 700.0, 1000.0, 1403.0, 2000.0, 2829.0, 5000.0, 9000.0};
  static const double cuts[] = {6.0, 9.0, 12.0, 18.0};
  for (size_t m = 0; m < sizeof cuts / sizeof *cuts; ++m) {
    double most = -100.0;
    double least = 100.0;
    for (uint32_t i = 0; i < 6 * sizeof tones / sizeof *tones; ++i) {
      const double over = past(tones[i / 6], cuts[m], i % 3, i % 6 >= 3);
      most = fmax(most, over);
      least = fmin(least, over);
    }
    printf("largest cut %.0f dB: passed by %.3f to %.3f dB\n", cuts[m], least, most);
    assert_true(most <= 0.002);
    assert_true(least >= -0.06 * cuts[m]);
  }
}

/* A largest cut that is turned down holds at once, however slow the release. */
static void a_largest_cut_turned_down_holds_at_once(void **state)
{
  (void)state;
  enum { FRAMES = 96000, TURNED = 48000 };
  for (int linear = 0; linear <= 1; ++linear) {
    StageDriver driver;
    stage_driver_new(&driver, &planish_stage, 48000.0);
    driver.values[RESONANCE_MAX_CUT] = 12.0F;
    driver.values[RESONANCE_RELEASE] = 2000.0F;
    driver.values[RESONANCE_NOTE_PROTECTION] = 0.0F;
    driver.values[RESONANCE_PHASE] = (float)linear;
    double *const x[2] = {malloc(FRAMES * sizeof(double)), malloc(FRAMES * sizeof(double))};
    for (uint32_t n = 0; n < FRAMES; ++n) {
      x[0][n] = x[1][n] = 0.1 * sin(2.0 * PI * 3000.0 / 48000.0 * n);
    }
    const double *const first[2] = {x[0], x[1]};
    stage_driver_run(&driver, first, x, 2, TURNED);
    const double before_turn = (double)driver.values[RESONANCE_LARGEST_CUT];
    const double at = (double)driver.values[RESONANCE_LARGEST_CUT_FREQ];
    /* A bin is 11.7 Hz wide. */
    assert_true(fabs(at - 3000.0) <= 12.0);
    driver.values[RESONANCE_MAX_CUT] = 3.0F;
    const double *const rest[2] = {x[0] + TURNED, x[1] + TURNED};
    double *const out[2] = {x[0] + TURNED, x[1] + TURNED};
    stage_driver_run(&driver, rest, out, 2, FRAMES - TURNED);
    double power = 0.0;
    for (uint32_t n = TURNED + 12288; n < TURNED + 12288 + 960; ++n) {
      power += x[0][n] * x[0][n] / (960.0 * 0.005);
    }
    const double cut = -10.0 * log10(power);
    printf("%s phase: %.2f dB, a quarter of a second after a turn to 3 dB %.3f dB\n",
           linear ? "linear" : "minimum", before_turn, cut);
    assert_true(before_turn >= 11.8 && before_turn <= 12.0);
    assert_true(cut <= 3.005 && cut >= 2.9);
    stage_driver_free(&driver);
    free(x[0]);
    free(x[1]);
  }
}

/* Up to half the rate, where that lies within the range: the last bin too. */
static void the_last_bin_is_cut_like_all_others(void **state)
{
  (void)state;
  enum { FRAMES = 16000, RATE = 8000 };
  for (int linear = 0; linear <= 1; ++linear) {
    Audio tone = {.frames = FRAMES, .rate = RATE};
    for (int c = 0; c < 2; ++c) {
      tone.channel[c] = malloc(FRAMES * sizeof(double));
      for (uint32_t n = 0; n < FRAMES; ++n) {
        tone.channel[c][n] = n % 2 == 0 ? 0.05 : -0.05;
      }
    }
    const Setting settings[] = {{RESONANCE_NOTE_PROTECTION, 0.0F},
                                {RESONANCE_MAX_CUT, 9.0F},
                                {RESONANCE_PHASE, (float)linear}};
    Audio out = treated(&tone, settings, 3);
    const double cut = -20.0 * log10(fabs(out.channel[0][12000]) / 0.05);
    printf("half of 8 kHz, %s phase: %.2f dB\n", linear ? "linear" : "minimum", cut);
    assert_true(cut >= 8.8 && cut <= 9.01);
    audio_free(&out);
    audio_free(&tone);
  }
}

/* What was learnt is forgotten with a reset. */
static void a_second_life_is_like_the_first(void **state)
{
  (void)state;
  enum { FRAMES = 288000 };
  double *lives[2];
  Audio noise = pink_noise(12);
  ring(&noise, 2900.0, 12.0, 30.0);
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, noise.rate);
  driver.values[RESONANCE_OBSERVATION_TIME] = 1.0F;
  for (int life = 0; life < 2; ++life) {
    Audio out = audio_copy(&noise, 0);
    const double *const in[2] = {out.channel[0], out.channel[1]};
    driver.values[RESONANCE_LARGEST_CUT] = 0.0F;
    stage_driver_reset(&driver);
    stage_driver_run(&driver, in, out.channel, 2, FRAMES);
    assert_true(driver.values[RESONANCE_LARGEST_CUT] >= 3.0F);
    lives[life] = out.channel[0];
    free(out.channel[1]);
  }
  assert_memory_equal(lives[0], lives[1], FRAMES * sizeof(double));
  free(lives[0]);
  free(lives[1]);
  stage_driver_free(&driver);
  audio_free(&noise);
}

/* A tone under a largest cut that moves by 10 dB, twice a second: energy further than 150 Hz off,
 * re all, under a Blackman-Harris window of 0.7 s. */
static double sidebands(bool linear)
{
  enum { FRAMES = 98304, FROM = 49152, COUNT = 32768 };
  static const double hz = 2900.0;
  StageDriver driver;
  double *const x = fftw_malloc(FRAMES * sizeof *x);
  Bin *const bins = fftw_malloc((COUNT / 2 + 1) * sizeof *bins);
  fftw_plan plan = fftw_plan_dft_r2c_1d(COUNT, x + FROM, (fftw_complex *)bins, FFTW_ESTIMATE);
  stage_driver_new(&driver, &planish_stage, 48000.0);
  driver.values[RESONANCE_NOTE_PROTECTION] = 0.0F;
  driver.values[RESONANCE_PHASE] = linear ? 1.0F : 0.0F;
  double deepest = 0.0;
  double shallowest = 100.0;
  for (uint32_t at = 0; at < FRAMES; at += 32) {
    for (uint32_t n = at; n < at + 32; ++n) {
      x[n] = 0.5 * sin(2.0 * PI * hz / 48000.0 * n);
    }
    driver.values[RESONANCE_MAX_CUT] = (float)(6.0 - 5.0 * cos(4.0 * PI * at / 48000.0));
    double *const audio[2] = {x + at, NULL};
    stage_driver_run(&driver, (const double *const *)audio, audio, 1, 32);
    if (at >= FROM) {
      deepest = fmax(deepest, (double)driver.values[RESONANCE_LARGEST_CUT]);
      shallowest = fmin(shallowest, (double)driver.values[RESONANCE_LARGEST_CUT]);
    }
  }
  stage_driver_free(&driver);
  for (uint32_t n = 0; n < COUNT; ++n) {
    const double u = 2.0 * PI * (n + 0.5) / COUNT;
    x[FROM + n] *= 0.35875 - 0.48829 * cos(u) + 0.14128 * cos(2.0 * u) - 0.01168 * cos(3.0 * u);
  }
  fftw_execute(plan);
  double near = 0.0;
  double far = 0.0;
  for (uint32_t k = 0; k <= COUNT / 2; ++k) {
    const double power = bins[k][0] * bins[k][0] + bins[k][1] * bins[k][1];
    *(fabs(k * 48000.0 / COUNT - hz) > 150.0 ? &far : &near) += power;
  }
  fftw_destroy_plan(plan);
  fftw_free(x);
  fftw_free(bins);
  const double db = 10.0 * log10(far / (near + far));
  printf("a cut that moves from %.1f to %.1f dB, %s phase: sidebands %.1f dB\n", shallowest,
         deepest, linear ? "linear" : "minimum", db);
  assert_true(deepest >= 9.0 && shallowest <= 3.0);
  return db;
}

static void a_moving_cut_makes_no_sidebands(void **state)
{
  (void)state;
  assert_true(sidebands(false) <= -80.0);
  assert_true(sidebands(true) <= -80.0);
}

static void nothing_is_cut_outside_the_range(void **state)
{
  (void)state;
  const Setting above[] = {{RESONANCE_RANGE_LOW, 4000.0F}};
  const Setting empty[] = {{RESONANCE_RANGE_LOW, 5000.0F}, {RESONANCE_RANGE_HIGH, 1000.0F}};
  const Setting none[] = {{RESONANCE_CUT_PER_DB, 0.0F}};
  Audio noise = pink_noise(6);
  ring(&noise, 2900.0, 12.0, 30.0);
  const struct {
    const Setting *settings;
    size_t count;
    double most; /* dB of difference */
  } cases[] = {{above, 1, -100.0}, {empty, 2, -390.0}, {none, 1, -390.0}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; ++i) {
    Audio out = treated(&noise, cases[i].settings, cases[i].count);
    assert_true(difference_db(&out, &noise) <= cases[i].most);
    audio_free(&out);
  }
  audio_free(&noise);
}

static void the_ports_say_what_is_cut(void **state)
{
  (void)state;
  Audio noise = pink_noise(7);
  StageDriver driver;
  ring(&noise, 2900.0, 12.0, 30.0);
  stage_driver_new(&driver, &planish_stage, noise.rate);
  driver.values[RESONANCE_MAX_CUT] = 4.0F;
  const double *const in[2] = {noise.channel[0], noise.channel[1]};
  stage_driver_run(&driver, in, noise.channel, 2, 48000);
  assert_true(driver.values[RESONANCE_LARGEST_CUT] == 0.0F);
  assert_true(driver.values[RESONANCE_LARGEST_CUT_FREQ] == 0.0F);
  const double *const rest[2] = {noise.channel[0] + 48000, noise.channel[1] + 48000};
  double *const out[2] = {noise.channel[0] + 48000, noise.channel[1] + 48000};
  stage_driver_run(&driver, rest, out, 2, noise.frames - 48000);
  printf("reported: %.2f dB at %.0f Hz\n", (double)driver.values[RESONANCE_LARGEST_CUT],
         (double)driver.values[RESONANCE_LARGEST_CUT_FREQ]);
  assert_true(fabs((double)driver.values[RESONANCE_LARGEST_CUT] - 4.0) <= 0.1);
  assert_true(fabs((double)driver.values[RESONANCE_LARGEST_CUT_FREQ] / 2900.0 - 1.0) <= 0.03);
  stage_driver_free(&driver);
  audio_free(&noise);
}

/* A click half a second after 15 s of ringing noise, while the cut still stands: energy ahead of it
 * re all of it. */
static double pre_echo(bool linear)
{
  enum { LEARNT = 720000, CLICK = LEARNT + 24000, ALL = CLICK + 48000 };
  const Setting settings[] = {{RESONANCE_MAX_CUT, 12.0F}, {RESONANCE_PHASE, linear ? 1.0F : 0.0F}};
  Audio noise = pink_noise(8);
  ring(&noise, 2900.0, 12.0, 30.0);
  noise.frames = ALL;
  for (int c = 0; c < 2; ++c) {
    memset(noise.channel[c] + LEARNT, 0, (ALL - LEARNT) * sizeof(double));
    noise.channel[c][CLICK] = 1.0;
  }
  Audio out = treated(&noise, settings, 2);
  double ahead = 0.0;
  double all = 0.0;
  /* The end of the noise rings on for less than a window. */
  for (size_t n = LEARNT + 12000; n < ALL; ++n) {
    const double power = out.channel[0][n] * out.channel[0][n];
    ahead += n < CLICK ? power : 0.0;
    all += power;
  }
  const double change = fabs(out.channel[0][CLICK] - 1.0);
  audio_free(&out);
  audio_free(&noise);
  assert_true(change >= 1e-3); /* the cut stands */
  return 10.0 * log10(ahead / all + 1e-40);
}

static void a_click_has_no_echo_ahead(void **state)
{
  (void)state;
  const double minimum = pre_echo(false);
  const double linear = pre_echo(true);
  printf("ahead of a click: minimum phase %.1f dB, linear %.1f dB\n", minimum, linear);
  assert_true(minimum <= -100.0);
  assert_true(linear >= -60.0);
}

/* Ratio of E[p^2] / E[p]^2, p the power of each short spectrum in the worked band: under 1 where
 * fluctuation is flattened, over 1 where single tones stick out. */
static double kurtosis(const Audio *audio, double hz)
{
  enum { SIZE = 4096, BINS = SIZE / 2 + 1 };
  double *const x = fftw_malloc(SIZE * sizeof *x);
  Bin *const bins = fftw_malloc(BINS * sizeof *bins);
  fftw_plan plan = fftw_plan_dft_r2c_1d(SIZE, x, (fftw_complex *)bins, FFTW_ESTIMATE);
  const uint32_t low = (uint32_t)(hz / 1.01 * SIZE / audio->rate);
  const uint32_t high = (uint32_t)(hz * 1.01 * SIZE / audio->rate);
  double ratio = 0.0;
  for (uint32_t k = low; k <= high; ++k) {
    double first = 0.0;
    double second = 0.0;
    uint32_t count = 0;
    for (size_t at = 6 * 48000; at + SIZE <= audio->frames; at += SIZE / 2, ++count) {
      for (uint32_t n = 0; n < SIZE; ++n) {
        x[n] = audio->channel[0][at + n] * (0.5 - 0.5 * cos(2.0 * PI * n / SIZE));
      }
      fftw_execute(plan);
      const double power = bins[k][0] * bins[k][0] + bins[k][1] * bins[k][1];
      first += power;
      second += power * power;
    }
    ratio += second / count / (first / count * first / count);
  }
  fftw_destroy_plan(plan);
  fftw_free(x);
  fftw_free(bins);
  return ratio / (high - low + 1);
}

static void noise_stays_noise(void **state)
{
  (void)state;
  /* Bounded by nothing, every moment that stands out is pressed down. */
  const Setting unprotected[] = {
      {RESONANCE_NOTE_PROTECTION, 0.0F}, {RESONANCE_MAX_CUT, 18.0F}, {RESONANCE_RELEASE, 10.0F}};
  Audio noise = pink_noise(9);
  ring(&noise, 2900.0, 12.0, 30.0);
  Audio out = treated(&noise, NULL, 0);
  Audio flat = treated(&noise, unprotected, 3);
  const double was = kurtosis(&noise, 2900.0);
  const double ratio = kurtosis(&out, 2900.0) / was;
  const double without = kurtosis(&flat, 2900.0) / was;
  printf("kurtosis after re before: %.3f (without note protection %.3f)\n", ratio, without);
  assert_true(ratio >= 0.95 && ratio <= 1.15);
  assert_true(without < 0.95);
  audio_free(&flat);
  audio_free(&out);
  audio_free(&noise);
}

/* What was learnt outlasts a pause: after it the cut is there at once. */
static void silence_is_not_learnt_from(void **state)
{
  (void)state;
  enum { PAUSE_FROM = 480000, PAUSE = 240000 };
  Audio noise = pink_noise(10);
  Audio ringing = audio_copy(&noise, 0);
  ring(&ringing, 2900.0, 12.0, 30.0);
  for (int c = 0; c < 2; ++c) {
    memset(ringing.channel[c] + PAUSE_FROM, 0, PAUSE * sizeof(double));
  }
  Audio out = treated(&ringing, deep, DEEP);
  spectrum_of(&noise, 15.3, before);
  spectrum_of(&out, 15.3, after);
  const double left = over(after, before, 48000.0, 2900.0, 1.0 / 24.0);
  printf("from 0.3 s after a pause of 5 s: left %.2f dB\n", left);
  assert_true(fabs(left) <= 2.0);
  audio_free(&out);
  audio_free(&ringing);
  audio_free(&noise);
}

/* A tone that never stops counts as a resonance, as the words of the port say; DC does not. */
static void a_tone_that_never_stops_is_cut(void **state)
{
  (void)state;
  Audio noise = pink_noise(11);
  for (size_t n = 0; n < noise.frames; ++n) {
    const double tone = 0.02 * sin(2.0 * PI * 2000.0 / 48000.0 * (double)n);
    noise.channel[0][n] += 0.25 + tone;
    noise.channel[1][n] += 0.25 + tone;
  }
  Audio out = treated(&noise, deep, DEEP);
  spectrum_of(&noise, 8.0, before);
  spectrum_of(&out, 8.0, after);
  const double tone = over(after, before, 48000.0, 2000.0, 1.0 / 24.0);
  printf("constant tone: %.2f dB; DC: %.4f dB\n", tone, 10.0 * log10(after[0] / before[0]));
  assert_true(tone <= -8.0);
  assert_true(fabs(10.0 * log10(after[0] / before[0])) <= 0.001);
  audio_free(&out);
  audio_free(&noise);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(pink_noise_passes),
      cmocka_unit_test(resonances_in_noise_are_undone),
      cmocka_unit_test(frames_follow_the_rate),
      cmocka_unit_test(no_tone_is_cut_by_more_than_asked),
      cmocka_unit_test(a_largest_cut_turned_down_holds_at_once),
      cmocka_unit_test(the_last_bin_is_cut_like_all_others),
      cmocka_unit_test(a_second_life_is_like_the_first),
      cmocka_unit_test(a_moving_cut_makes_no_sidebands),
      cmocka_unit_test(nothing_is_cut_outside_the_range),
      cmocka_unit_test(the_ports_say_what_is_cut),
      cmocka_unit_test(a_click_has_no_echo_ahead),
      cmocka_unit_test(noise_stays_noise),
      cmocka_unit_test(silence_is_not_learnt_from),
      cmocka_unit_test(a_tone_that_never_stops_is_cut),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
