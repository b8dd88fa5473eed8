/* The stage on music: its ranges, and what automatic make-up leaves of a change of loudness. */
#include "tests/unit/audio_measures.h"
#include "tests/unit/dynamics_fixture.h"

static const char *const names[] = {"stems 1",         "stems 2",  "guitars-dense",
                                    "guitars-dynamic", "lopsided", "quiet"};
enum { PIECES = sizeof names / sizeof *names };

/* At -18 LUFS, the working level of the defaults. */
static bool piece(Audio *audio, int i)
{
  if (i < 2) {
    if (!stems_read(audio, i + 1)) {
      return false;
    }
  } else {
    char name[64];
    char path[1024];
    snprintf(name, sizeof name, "music/%s.flac", names[i]);
    shared_path(path, sizeof path, name);
    *audio = (Audio){0};
    if (!audio_add(audio, path)) {
      return false;
    }
  }
  const double gain = pow(10.0, (-18.0 - audio_loudness(audio)) / 20.0);
  for (size_t n = 0; n < audio->frames; ++n) {
    audio->channel[0][n] *= gain;
    audio->channel[1][n] *= gain;
  }
  return true;
}

static double loudness_range(const Audio *audio)
{
  ebur128_state *meter = ebur128_init(2, (unsigned long)audio->rate, EBUR128_MODE_LRA);
  double found = 0.0;
  for (size_t n = 0; n < audio->frames; ++n) {
    const double frame[2] = {audio->channel[0][n], audio->channel[1][n]};
    ebur128_add_frames_double(meter, frame, 1);
  }
  ebur128_loudness_range(meter, &found);
  ebur128_destroy(&meter);
  return found;
}

typedef struct {
  int port;
  float value;
} Setting;

/* With the latency's silence behind it. */
static Audio treated(const Audio *audio, const Setting *settings, size_t count, double *change)
{
  StageDriver driver;
  Audio result = audio_copy(audio, planish_stage.latency(audio->rate, NULL));
  stage_driver_new(&driver, &planish_stage, audio->rate);
  for (size_t i = 0; i < count; ++i) {
    driver.values[settings[i].port] = settings[i].value;
  }
  *change = 0.0;
  for (size_t at = 0; at < result.frames; at += 32000) {
    const size_t left = result.frames - at;
    double *const part[2] = {result.channel[0] + at, result.channel[1] + at};
    dynamics_run(&driver, part[0], part[1], part[0], part[1], left < 32000 ? left : 32000);
    const double now = (double)driver.values[DYNAMICS_GAIN_CHANGE];
    *change = fabs(now) > fabs(*change) ? now : *change;
  }
  stage_driver_free(&driver);
  return result;
}

/* Largest and smallest gain in dB, frame by frame. */
static void extremes(const Audio *in, const Audio *out, double *most, double *least)
{
  const size_t late = out->frames - in->frames;
  *most = -100.0;
  *least = 100.0;
  for (int c = 0; c < 2; ++c) {
    for (size_t n = 0; n < in->frames; ++n) {
      const double x = in->channel[c][n];
      if (fabs(x) > 1e-9) {
        const double ratio = out->channel[c][n + late] / x;
        *most = fmax(*most, ratio);
        *least = fmin(*least, ratio);
      }
    }
  }
  *most = 20.0 * log10(*most);
  *least = 20.0 * log10(*least);
}

/* Goal: never passed, each way, compressing and lifting, compressing and expanding. */
static void ranges_are_never_passed(void **state)
{
  (void)state;
  bool any = false;
  for (int i = 0; i < PIECES; i += 2) {
    Audio audio;
    if (!piece(&audio, i)) {
      continue;
    }
    any = true;
    for (int lifts = 0; lifts < 2; ++lifts) {
      const Setting settings[] = {
          {DYNAMICS_RATIO, 4.0F},    {DYNAMICS_THRESHOLD, -14.0F},
          {DYNAMICS_KNEE, 2.0F},     {DYNAMICS_ATTACK, 1.0F},
          {DYNAMICS_RELEASE, 40.0F}, {DYNAMICS_DEAD_BAND, 2.0F},
          {DYNAMICS_LINK, 50.0F},    {DYNAMICS_AMOUNT_BELOW, lifts ? 100.0F : -100.0F},
      };
      double change;
      double most;
      double least;
      Audio out = treated(&audio, settings, sizeof settings / sizeof *settings, &change);
      extremes(&audio, &out, &most, &least);
      printf("%-16s %s: %+.6f to %+.6f dB, range 1.5\n", names[i], lifts ? "lift  " : "expand",
             least, most);
      assert_true(most <= 1.5 + 1e-9 && least >= -1.5 - 1e-9);
      assert_true(most <= 1e-9 || lifts);
      assert_true(least < -1.3 && (most > 1.3 || !lifts));
      audio_free(&out);
    }
    audio_free(&audio);
  }
  if (!any) {
    print_message("skipped: ranges_are_never_passed (no music)\n");
    skip();
  }
}

/* Goal: 0.05 LU over the whole file where the loudness range is under 8 LU; above, the gate of the
 * loudness itself moves, and the figure is printed. */
static void check_make_up(int i, const char *what, const Setting *settings, size_t count)
{
  Audio audio;
  if (!piece(&audio, i)) {
    return;
  }
  double change;
  const double range = loudness_range(&audio);
  const double before = audio_loudness(&audio);
  Audio out = treated(&audio, settings, count, &change);
  const double off = audio_loudness(&out) - before;
  audio_free(&out);
  out = treated(&audio, settings + 1, count - 1, &change);
  printf(
      "%-16s %s, LRA %4.1f LU: loudness %+.3f LU with make-up, %+.3f without; %+.2f dB at most\n",
      names[i], what, range, off, audio_loudness(&out) - before, change);
  assert_true(range >= 8.0 || fabs(off) <= 0.05);
  audio_free(&out);
  audio_free(&audio);
}

static void make_up_is_honest(void **state)
{
  (void)state;
  static const Setting whole[] = {
      {DYNAMICS_MAKEUP, DYNAMICS_MAKEUP_AUTO},
      {DYNAMICS_AMOUNT_BELOW, 50.0F},
      {DYNAMICS_DEAD_BAND, 10.0F},
  };
  static const Setting low[] = {
      {DYNAMICS_MAKEUP, DYNAMICS_MAKEUP_AUTO},
      {DYNAMICS_BAND_TYPE, DYNAMICS_BAND_TYPE_LOW_SHELF},
      {DYNAMICS_MAX_ABOVE, 0.5F},
      {DYNAMICS_THRESHOLD, -24.0F},
  };
  for (int i = 0; i < PIECES; ++i) {
    check_make_up(i, "1.5 dB each way", whole, sizeof whole / sizeof *whole);
  }
  for (int i = 0; i < PIECES; ++i) {
    check_make_up(i, "low band, 0.5 dB", low, sizeof low / sizeof *low);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ranges_are_never_passed),
      cmocka_unit_test(make_up_is_honest),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
