/* What a render plays ahead of the mix for the stages that listen for seconds before they work: the
 * first bar sounds like the second, and the same sheet and mix give the same bytes. */
#include "tests/harness/program_fixture.h"

enum { BAR = 6 * RATE, FLOAT_WAV = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

static const double pi = 3.14159265358979323846;

/* One bar twice: noise that decays with each beat, and a resonance that rings at 2.9 kHz. */
static void write_bars(void)
{
  float *bars = malloc((size_t)4 * BAR * sizeof *bars);
  const double width = 2.0 * pi * 2900.0 / 30.0 / RATE;
  const double a1 = 2.0 * exp(-width / 2.0) * cos(2.0 * pi * 2900.0 / RATE);
  const double a2 = -exp(-width);
  double y1 = 0.0;
  double y2 = 0.0;
  uint32_t seed = 1;
  for (size_t n = 0; n < BAR; ++n) {
    seed = seed * 1664525U + 1013904223U;
    const double beat = 0.02 + 0.1 * exp(-(double)(n % 24000) / 8000.0);
    const double x = beat * ((double)seed / 2147483648.0 - 1.0);
    const double y = 0.02 * x + a1 * y1 + a2 * y2;
    y2 = y1;
    y1 = y;
    for (size_t again = 0; again < 2; ++again) {
      bars[2 * (n + again * BAR)] = (float)(x + y);
      bars[2 * (n + again * BAR) + 1] = (float)(x + 0.7 * y);
    }
  }
  write_audio("bars.wav", FLOAT_WAV, RATE, 2, bars, 2 * BAR);
  free(bars);
}

static float *rendered(const char *sheet, const char *out)
{
  write_text("sheet.yaml", sheet);
  const Outcome outcome = RUN("render", "--float", name("sheet.yaml"), name("bars.wav"), name(out));
  expect(&outcome, 0, "");
  SF_INFO info;
  size_t frames = 0;
  float *samples = read_audio(in_folder(out), &frames, &info);
  assert_int_equal(frames, 2 * BAR);
  return samples;
}

/* How far the first bar is off the second, dB re it; the first beat of each is left out, in which
 * the bar before, or none, rings on. */
static double bars_apart(const float *samples)
{
  double power = 0.0;
  double difference = 0.0;
  for (size_t n = 2 * 24000; n < 2 * (size_t)BAR; ++n) {
    const double second = (double)samples[n + 2 * (size_t)BAR];
    const double d = (double)samples[n] - second;
    power += second * second;
    difference += d * d;
  }
  return 10.0 * log10(difference / power + 1e-40);
}

static const char stages[] = "planish: 1\n"
                             "stages: [{stage: resonance, name: calm, max_cut: 12}]\n";

static void the_first_bar_sounds_like_the_second(void **state)
{
  (void)state;
  float *ahead = rendered(stages, "ahead.wav");
  float *at_once = rendered("planish: 1\npreroll: 0\n"
                            "stages: [{stage: resonance, name: calm, max_cut: 12}]\n",
                            "at-once.wav");
  const double off = bars_apart(ahead);
  const double without = bars_apart(at_once);
  printf("first bar against the second: %.1f dB (without a pre-roll %.1f dB)\n", off, without);
  assert_true(off <= -40.0);
  assert_true(without >= -20.0);
  free(ahead);
  free(at_once);
}

static void two_renders_are_the_same_bytes(void **state)
{
  (void)state;
  enum { MOST = 8 * 1024 * 1024 };
  char *bytes[2];
  size_t sizes[2];
  for (int i = 0; i < 2; ++i) {
    static const char *const outs[] = {"once.wav", "again.wav"};
    free(rendered(stages, outs[i]));
    bytes[i] = malloc(MOST);
    FILE *file = fopen(in_folder(outs[i]), "rb");
    assert_non_null(file);
    sizes[i] = fread(bytes[i], 1, MOST, file);
    fclose(file);
  }
  assert_true(sizes[0] > 2 * 2 * BAR * sizeof(float) && sizes[0] < MOST);
  assert_int_equal(sizes[0], sizes[1]);
  assert_memory_equal(bytes[0], bytes[1], sizes[0]);
  free(bytes[0]);
  free(bytes[1]);
}

/* The number that follows a name in what a command printed. */
static double figure(const Outcome *outcome, const char *what)
{
  const char *at = strstr(outcome->out, what);
  assert_non_null(at);
  return strtod(at + strlen(what), NULL);
}

/* A mix that begins loud, so that its beginning twice would read louder by 1.6 LU. */
static void a_meter_leaves_out_what_is_played_ahead(void **state)
{
  (void)state;
  enum { LONG = 12 * RATE, LOUD = 3 * RATE };
  float *samples = malloc((size_t)2 * LONG * sizeof *samples);
  assert_non_null(samples);
  uint32_t seed = 7;
  for (size_t n = 0; n < 2 * (size_t)LONG; ++n) {
    seed = seed * 1664525U + 1013904223U;
    samples[n] = (n < 2 * (size_t)LOUD ? 0.5F : 0.25F) * ((float)(seed >> 8) / 8388608.0F - 1.0F);
  }
  write_audio("loud-first.wav", FLOAT_WAV, RATE, 2, samples, LONG);
  free(samples);
  /* A look-ahead in front, so that the mix comes to the meter late. */
  static const char *const sheets[] = {
      "planish: 1\npreroll: 4\nstages: [{stage: limiter, name: a}, {stage: meter, name: b}]\n",
      "planish: 1\npreroll: 0\nstages: [{stage: limiter, name: a}, {stage: meter, name: b}]\n"};
  for (size_t i = 0; i < 2; ++i) {
    write_text("sheet.yaml", sheets[i]);
    const Outcome rendered =
        RUN("render", "--float", name("sheet.yaml"), name("loud-first.wav"), name("metered.wav"));
    expect(&rendered, 0, "");
    const Outcome measured = RUN("measure", name("metered.wav"));
    const double meter = figure(&rendered, "integrated ");
    const double file = figure(&measured, "integrated ");
    const double seconds = figure(&rendered, "measured_time ");
    printf("the meter reads %.2f LUFS over %.2f s, the file has %.2f\n", meter, seconds, file);
    assert_true(fabs(meter - file) <= 0.02);
    assert_true(fabs(seconds - 12.0) <= 0.03);
  }
}

/* Noise without a pre-roll: until 0.4 or 3 s of it were heard a meter shows values that are no
 * reading, -70 LUFS, 0 LU or 0. White noise of one level has one loudness, one ratio of peak to
 * loudness and one correlation (here 1): its least and its most lie close together. */
static void what_is_no_reading_does_not_count(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    double apart; /* the most less the least, at most */
  } steady[] = {{"momentary ", 1.0}, {"short_term ", 0.3}, {"psr ", 1.0}, {"correlation ", 1e-6}};
  enum { LONG = 10 * RATE };
  float *samples = malloc((size_t)2 * LONG * sizeof *samples);
  assert_non_null(samples);
  uint32_t seed = 7;
  for (size_t n = 0; n < LONG; ++n) {
    seed = seed * 1664525U + 1013904223U;
    samples[2 * n] = 0.25F * ((float)(seed >> 8) / 8388608.0F - 1.0F);
    samples[2 * n + 1] = samples[2 * n];
  }
  write_audio("steady.wav", FLOAT_WAV, RATE, 2, samples, LONG);
  write_text("sheet.yaml", "planish: 1\npreroll: 0\n"
                           "stages: [{stage: meter, name: a, compare_loudness: -30}]\n");
  const Outcome table =
      RUN("render", "--float", name("sheet.yaml"), name("steady.wav"), name("metered.wav"));
  expect(&table, 0, "");
  for (size_t n = 0; n < sizeof steady / sizeof *steady; ++n) {
    const char *at = strstr(table.out, steady[n].name);
    double least = 0.0;
    double most = 0.0;
    double mean = 0.0;
    assert_non_null(at);
    assert_int_equal(
        sscanf(at + strlen(steady[n].name), "%lf to %lf, mean %lf", &least, &most, &mean), 3);
    printf("%s%.2f to %.2f, mean %.2f\n", steady[n].name, least, most, mean);
    assert_true(most - least <= steady[n].apart && mean >= least && mean <= most);
  }
  assert_null(strstr(table.out, " \n"));
  /* The last difference alone, of the integrated loudness. */
  const double difference = figure(&table, "difference ");
  assert_true(fabs(difference - (figure(&table, "integrated ") + 30.0)) <= 0.011);
  const char *line = strstr(table.out, "difference ");
  assert_null(memchr(line, ',', strcspn(line, "\n")));
  const Outcome json = RUN("render", "--json", "--float", name("sheet.yaml"), name("steady.wav"),
                           name("metered.wav"));
  expect(&json, 0, "");
  const char *momentary = strstr(json.out, "\"momentary\"");
  assert_non_null(momentary);
  const char *lowest = strstr(momentary, "\"lowest\": ");
  assert_non_null(lowest);
  assert_true(strtod(lowest + strlen("\"lowest\": "), NULL) > -25.0);

  memset(samples, 0, (size_t)2 * LONG * sizeof *samples);
  write_audio("silent.wav", FLOAT_WAV, RATE, 2, samples, LONG);
  free(samples);
  const Outcome silent =
      RUN("render", "--float", name("sheet.yaml"), name("silent.wav"), name("metered.wav"));
  expect(&silent, 0, "");
  assert_non_null(strstr(silent.out, "    integrated                -\n"));
}

static int open_bars(void **state)
{
  if (make_folder(state) != 0) {
    return -1;
  }
  write_bars();
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_first_bar_sounds_like_the_second),
      cmocka_unit_test(a_meter_leaves_out_what_is_played_ahead),
      cmocka_unit_test(what_is_no_reading_does_not_count),
      cmocka_unit_test(two_renders_are_the_same_bytes),
  };
  return cmocka_run_group_tests(tests, open_bars, remove_folder);
}
