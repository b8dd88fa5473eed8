/* planish response on the stages of the bundle: figures, picture, exit codes. */
#include "tests/demo/run_program.h"
#include "tests/harness/program_fixture.h"

#include <complex.h>

enum { MOST = 512, MOST_TEXT = 1 << 20 };

static char text[MOST_TEXT];

/* Leaves the program's JSON in `text`. */
static void respond(const char *const given[])
{
  const char *arguments[16] = {getenv("PLANISH_PROGRAM"), "response", "--json"};
  for (int n = 0; given[n] != NULL; ++n) {
    arguments[n + 3] = given[n];
  }
  assert_int_equal(run_program(arguments, text, sizeof text), 0);
  assert_null(strstr(text, "\"settled\": false"));
}

#define RESPOND(...) respond((const char *const[]){__VA_ARGS__, NULL})

static int read_numbers(const char *key, double *values)
{
  char quoted[80];
  snprintf(quoted, sizeof quoted, "\"%s\": [", key);
  const char *at = strstr(text, quoted);
  assert_non_null(at);
  at += strlen(quoted);
  int count = 0;
  char *end = NULL;
  for (double value = strtod(at, &end); end != at && count < MOST; value = strtod(at, &end)) {
    values[count++] = value;
    at = end + strspn(end, ", \n");
  }
  return count;
}

/* R. Bristow-Johnson, Audio EQ Cookbook, the analog peaking form. */
static double bell(double hz, double centre, double gain, double q)
{
  const double complex s = CMPLX(0.0, hz / centre);
  const double a = pow(10.0, gain / 40.0);
  return 20.0 * log10(cabs((s * s + s * a / q + 1.0) / (s * s + s / (a * q) + 1.0)));
}

static void a_bell_is_its_prototype_where_it_is_and_nothing_elsewhere(void **state)
{
  (void)state;
  double hz[MOST];
  double level[MOST];
  for (int side = 0; side < 2; ++side) {
    RESPOND("ms-eq", "--rate=44100", side ? "--channel=side" : "--channel=mid",
            "--set=b3_type=peaking", "--set=b3_channels=side", "--set=b3_freq=2500",
            "--set=b3_gain=-6", "--set=b3_q=4");
    const int count = read_numbers("frequency_hz", hz);
    assert_int_equal(count, read_numbers("magnitude_db", level));
    assert_true(count > 400 && hz[0] <= 20.5 && hz[count - 1] >= 19950.0);
    double worst = 0.0;
    for (int n = 0; n < count; ++n) {
      worst = fmax(worst, fabs(level[n] - (side ? bell(hz[n], 2500.0, -6.0, 4.0) : 0.0)));
    }
    print_message("%s, bell on the side: within %.5f dB\n", side ? "side" : "mid", worst);
    assert_true(worst <= 0.005);
  }
}

/* The Fourier transform of what --csv gives, against the prototype, with its phase. */
static void a_bell_rings_as_its_prototype(void **state)
{
  (void)state;
  static const double tried[] = {100.0, 800.0, 1000.0, 1200.0, 3000.0, 12000.0};
  const char *const given[] = {getenv("PLANISH_PROGRAM"),
                               "response",
                               "ms-eq",
                               "--csv",
                               "--measure=impulse",
                               "--set=b3_type=peaking",
                               "--set=b3_freq=1000",
                               "--set=b3_gain=-6",
                               "--set=b3_q=4",
                               NULL};
  assert_int_equal(run_program(given, text, sizeof text), 0);
  const char *at = strchr(text, '\n');
  assert_non_null(at);
  assert_int_equal(strncmp(text, "time_ms,amplitude_re_input\n", 27), 0);
  double complex sums[6] = {0.0};
  char *end = NULL;
  for (double time = strtod(at, &end); end != at; time = strtod(at, &end)) {
    assert_int_equal(*end, ',');
    const double value = strtod(end + 1, &end);
    for (int n = 0; n < 6; ++n) {
      sums[n] += value * cexp(CMPLX(0.0, -2.0 * 3.14159265358979323846 * tried[n] * time / 1e3));
    }
    at = end;
  }
  double worst = 0.0;
  for (int n = 0; n < 6; ++n) {
    const double complex s = CMPLX(0.0, tried[n] / 1000.0);
    const double a = pow(10.0, -6.0 / 40.0);
    const double complex wanted = (s * s + s * a / 4.0 + 1.0) / (s * s + s / (a * 4.0) + 1.0);
    worst = fmax(worst, cabs(sums[n] - wanted));
  }
  print_message("transform of the impulse: off the prototype by %.2g\n", worst);
  /* The design keeps the magnitude; its phase is 0.2 degrees off at 12 kHz. */
  assert_true(worst < 0.004);
}

static bool has_measures(const char *wanted)
{
  static const char *const keys[] = {
      "magnitude", "static_curve", "harmonics", "harmonics_by_frequency",
      "impulse",   "step",         "burst"};
  char found[128] = "";
  for (size_t n = 0; n < sizeof keys / sizeof *keys; ++n) {
    char quoted[64];
    snprintf(quoted, sizeof quoted, "\"%s\": {", keys[n]);
    if (strstr(text, quoted) != NULL) {
      strcat(strcat(found, found[0] == '\0' ? "" : " "), keys[n]);
    }
  }
  print_message("%s\n", found);
  return strcmp(found, wanted) == 0;
}

static void what_tells_something_is_measured(void **state)
{
  (void)state;
  RESPOND("ms-eq");
  assert_true(has_measures("magnitude static_curve"));
  RESPOND("ms-eq", "--set=b3_type=peaking", "--set=b3_gain=-6");
  assert_true(has_measures("magnitude static_curve impulse"));
  RESPOND("limiter", "--set=input_gain=6");
  assert_true(has_measures("magnitude static_curve burst"));
  RESPOND("clipper");
  assert_true(has_measures("magnitude static_curve harmonics burst"));
  RESPOND("clipper", "--measure=step,sweep");
  assert_true(has_measures("harmonics_by_frequency step"));
  RESPOND("ms-eq", "--measure=all");
  assert_true(has_measures("magnitude static_curve harmonics harmonics_by_frequency impulse step "
                           "burst"));
}

/* A decimal point where the locale has a comma; as many fields in each row as in its header; any
 * effect of the LV2 path, one of a single channel too. */
static void tables_for_machines_are_even_in_any_locale(void **state)
{
  (void)state;
  static const char header[] = "frequency_hz,magnitude_db,phase_deg,group_delay_ms\n";
  setenv("LC_ALL", "de_DE.UTF-8", 1);
  const char *const given[] = {getenv("PLANISH_PROGRAM"),
                               "response",
                               "https://example.org/lv2/mono",
                               "--csv",
                               "--set=gain=-3.5",
                               "--measure=frequency,curve",
                               NULL};
  assert_int_equal(run_program(given, text, sizeof text), 0);
  unsetenv("LC_ALL");
  assert_int_equal(strncmp(text, header, strlen(header)), 0);
  int tables = 0;
  int fields = 0;
  char *rest = NULL;
  for (char *line = strtok_r(text, "\n", &rest); line != NULL; line = strtok_r(NULL, "\n", &rest)) {
    int commas = 0;
    for (const char *c = line; *c != '\0'; ++c) {
      commas += *c == ',';
    }
    if (strchr(line, '_') != NULL) {
      tables += 1;
      fields = commas;
    }
    assert_int_equal(commas, fields);
    if (strncmp(line, "-80,", 4) == 0) {
      assert_true(fabs(strtod(line + 4, NULL) + 83.5) < 1e-4);
    }
  }
  assert_int_equal(tables, 2);
}

static void the_limiter_meets_its_ceiling(void **state)
{
  (void)state;
  double in[MOST];
  double out[MOST];
  RESPOND("limiter", "--set=input_gain=6", "--set=ceiling=-3", "--tone=997");
  const int count = read_numbers("input_dbfs", in);
  assert_int_equal(count, read_numbers("output_dbfs", out));
  assert_int_equal(count, 87);
  assert_true(in[0] == -80.0 && in[86] == 6.0);
  double worst = 0.0;
  double highest = -100.0;
  double lowest = 0.0;
  for (int n = 0; n < count; ++n) {
    if (in[n] <= -10.0) {
      worst = fmax(worst, fabs(out[n] - in[n] - 6.0));
    } else if (in[n] >= -8.0) {
      highest = fmax(highest, out[n]);
      lowest = fmin(lowest, out[n]);
    }
  }
  print_message("below the ceiling within %.5f dB of the gain, above it %.3f to %.3f dBFS\n", worst,
                lowest, highest);
  assert_true(worst <= 0.001);
  assert_true(highest <= -3.0 && lowest >= -3.1);
}

static void exit_codes_are_those_of_the_help(void **state)
{
  empty_folder(state);
  const struct {
    const char *arguments[5];
    int code;
    const char *says;
  } cases[] = {
      {{"response"}, 2, "give STAGE"},
      {{"response", "ms-eq", "limiter"}, 2, "give STAGE"},
      {{"response", "limitr"}, 2, "did you mean limiter?"},
      {{"response", "limiter", "--set=cieling=-3"}, 2, "did you mean ceiling?"},
      {{"response", "limiter", "--set=ceiling"}, 2, "give SYMBOL=VALUE"},
      {{"response", "limiter", "--set=ceiling=-300"}, 2, "ceiling: "},
      {{"response", "limiter", "--set=ceiling=low"}, 2, "no number"},
      {{"response", "limiter", "--set=reduction=1"}, 2, "cannot be set"},
      {{"response", "ms-eq", "--set=b1_type=peak"}, 2, "b1_type"},
      {{"response", "limiter", "--channel=middle"}, 2, "mid, side"},
      {{"response", "limiter", "--bell=1000,6"}, 2, "give up to 8, each HZ,DB,Q"},
      {{"response", "limiter", "--bell=1000,6,2,1"}, 2, "no bell: --bell 1000,6,2,1: "},
      {{"response", "limiter", "--bell=5,6,2"}, 2, "20 to 20000 Hz"},
      {{"response", "limiter", "--bell=1000,60,2"}, 2, "-40 to 40 dB"},
      {{"response", "limiter", "--level=3"}, 2, "out of range: --level"},
      {{"response", "limiter", "--tone=5"}, 2, "out of range: --tone"},
      {{"response", "limiter", "--rate=8000", "--tone=3900"}, 2, "out of range: --tone"},
      {{"response", "limiter", "--drive=7"}, 2, "out of range: --drive"},
      {{"response", "limiter", "--measure=curve,phase"}, 2, "no measure: --measure phase: "},
      {{"response", "limiter", "--measure=curve,"}, 2, "no measure: --measure : "},
      {{"response", "limiter", "--measure="}, 2, "empty value: --measure=: give one"},
      {{"response", "limiter", "--csv", "--json"}, 2, "give one of them"},
      {{"response", "limiter", "--rate=800"}, 2, "out of range: --rate"},
      {{"response", "limiter", "--svg"}, 2, "a value is missing"},
      {{"response", "limiter", "--svg", name("none/picture.svg")}, 4, "cannot write: "},
      {{"response", "limiter", "--svg", name(".")}, 4, "not a plain file: "},
      {{"response", "--bundle=/", "limiter"}, 2, "no LV2 bundle"},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *given[8] = {"planish"};
    memcpy(given + 1, cases[n].arguments, sizeof cases[n].arguments);
    const Outcome outcome = finish(launch(given));
    expect(&outcome, cases[n].code, cases[n].says);
    assert_string_equal(outcome.out, "");
    assert_int_equal(count_files(), 0);
  }
}

/* A preset that works on the side alone does nothing to a signal that is the same on both. */
static void a_preset_is_measured_where_it_says_that_it_works(void **state)
{
  (void)state;
  double level[MOST];
  static const struct {
    const char *given[4];
    const char *preset;
    const char *channel;
    bool moves;
  } cases[] = {
      {{"ms-eq", "--preset=Air on the sides"}, "Air on the sides", "side", true},
      {{"ms-eq", "--preset=Firm up a kick"}, "Firm up a kick", "mid", true},
      {{"ms-eq", "--preset=A little warmer"}, "A little warmer", "stereo", true},
      {{"ms-eq", "--preset=air on the sides", "--channel=mid"}, "Air on the sides", "mid", false},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char wanted[128];
    RESPOND("--measure=frequency", cases[n].given[0], cases[n].given[1], cases[n].given[2]);
    snprintf(wanted, sizeof wanted, "\"preset\": \"%s\"", cases[n].preset);
    assert_non_null(strstr(text, wanted));
    snprintf(wanted, sizeof wanted, "\"channel\": \"%s\"", cases[n].channel);
    assert_non_null(strstr(text, wanted));
    const int count = read_numbers("magnitude_db", level);
    double largest = 0.0;
    for (int k = 0; k < count; ++k) {
      largest = fmax(largest, fabs(level[k]));
    }
    assert_true(cases[n].moves == (largest > 0.3));
  }
  const Outcome outcome = RUN("response", "ms-eq", "--preset=Air on the sides");
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "48000 Hz, side, "));
  assert_non_null(strstr(outcome.out, "\npreset Air on the sides\n"));
  RESPOND("ms-eq", "--measure=frequency");
  assert_non_null(strstr(text, "\"preset\": null"));
}

/* What stands 14 dB out of the noise is brought down by the preset's 6 dB, and nothing else is. */
static void noise_with_a_bell_gives_a_stage_something_to_find(void **state)
{
  (void)state;
  double hz[MOST];
  double in[MOST];
  double out[MOST];
  double change[MOST];
  const char *const given[] = {getenv("PLANISH_PROGRAM"),
                               "response",
                               "--json",
                               "resonance",
                               "--preset=The worst alone",
                               "--measure=frequency",
                               "--bell=2900,14,10",
                               NULL};
  assert_int_equal(run_program(given, text, sizeof text), 0);
  const int count = read_numbers("frequency_hz", hz);
  assert_int_equal(read_numbers("input_re_pink_db", in), count);
  assert_int_equal(read_numbers("output_re_pink_db", out), count);
  assert_int_equal(read_numbers("magnitude_db", change), count);
  for (int n = 0; n < count; ++n) {
    assert_true(fabs(in[n] - bell(hz[n], 2900.0, 14.0, 10.0)) < 1e-6);
    assert_true(fabs(out[n] - in[n] - change[n]) < 1e-6);
    if (fabs(log2(hz[n] / 2900.0)) < 0.02) {
      assert_true(change[n] < -5.0);
    } else if (fabs(log2(hz[n] / 2900.0)) > 0.5) {
      assert_true(fabs(change[n]) < 0.2);
    }
  }
}

static int count_nulls(const char *key)
{
  char quoted[80];
  snprintf(quoted, sizeof quoted, "\"%s\": [", key);
  const char *at = strstr(text, quoted);
  assert_non_null(at);
  const char *end = strchr(at, ']');
  int count = 0;
  for (at = strstr(at, "null"); at != NULL && at < end; at = strstr(at + 1, "null")) {
    count += 1;
  }
  return count;
}

/* Gains that move all the time scatter the phase, and what a turn of it would be is not known;
 * those that stand have a delay everywhere, where it is 0 too. */
static void a_group_delay_that_is_not_sure_is_none(void **state)
{
  (void)state;
  RESPOND("ms-eq", "--preset=Firm up a kick", "--measure=frequency");
  assert_int_equal(count_nulls("group_delay_ms"), 0);
  RESPOND("attack-sustain-eq", "--preset=Brighter tone, same drums", "--measure=frequency");
  double delay[MOST];
  double hz[MOST];
  const int nulls = count_nulls("group_delay_ms");
  const int count = read_numbers("frequency_hz", hz);
  print_message("%d of %d delays are not known\n", nulls, count);
  assert_true(nulls > 80 && nulls < count / 2);
  assert_int_equal(count_nulls("magnitude_db"), 0);
  /* Up to the first that is none. */
  const int known = read_numbers("group_delay_ms", delay);
  assert_true(known > 200 && hz[known] > 1000.0);
}

static void the_picture_is_whole_small_and_the_same_each_time(void **state)
{
  empty_folder(state);
  static char first[MOST_TEXT];
  for (int n = 0; n < 2; ++n) {
    const Outcome outcome =
        RUN("response", "clipper", "--set=input_gain=3", "--svg", name("picture.svg"));
    expect(&outcome, 0, "");
    assert_string_equal(outcome.out, "");
    assert_string_equal(outcome.error, "");
    assert_int_equal(count_files(), 1);
    read_text("picture.svg", n == 0 ? first : text, n == 0 ? sizeof first : sizeof text);
  }
  print_message("%zu bytes\n", strlen(first));
  assert_true(strlen(first) < 150000);
  assert_int_equal(strncmp(first, "<?xml", 5), 0);
  assert_non_null(strstr(first, "</svg>"));
  assert_string_equal(first, text);
}

/* A pipe or a device stays what it is, and a link is written through. */
static void a_picture_replaces_nothing_but_files(void **state)
{
  empty_folder(state);
  struct stat facts;
  assert_int_equal(mkfifo(in_folder("pipe.svg"), 0600), 0);
  Outcome outcome = RUN("response", "limiter", "--svg", name("pipe.svg"));
  expect(&outcome, 4, "not a plain file: ");
  assert_int_equal(stat(in_folder("pipe.svg"), &facts), 0);
  assert_true(S_ISFIFO(facts.st_mode));
  write_text("picture.svg", "old");
  assert_int_equal(symlink("picture.svg", in_folder("link.svg")), 0);
  outcome = RUN("response", "limiter", "--svg", name("link.svg"));
  expect(&outcome, 0, "");
  assert_int_equal(lstat(in_folder("link.svg"), &facts), 0);
  assert_true(S_ISLNK(facts.st_mode));
  assert_int_equal(count_files(), 3);
  read_text("picture.svg", text, sizeof text);
  assert_int_equal(strncmp(text, "<?xml", 5), 0);
}

static void the_table_names_third_octaves_and_settings(void **state)
{
  (void)state;
  const Outcome outcome = RUN("response", "clipper", "--set=input_gain=3", "--rate=8000");
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "input_gain 3 dB"));
  assert_non_null(strstr(outcome.out, "      31.5        3.00"));
  assert_non_null(strstr(outcome.out, "      3150        "));
  assert_null(strstr(outcome.out, "      4000        "));
  assert_non_null(strstr(outcome.out, "    -80.00      -77.00        3.00"));
  const Outcome help = RUN("response", "--help");
  expect(&help, 0, "");
  assert_non_null(strstr(help.out, "Usage: planish response"));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_bell_is_its_prototype_where_it_is_and_nothing_elsewhere),
      cmocka_unit_test(a_bell_rings_as_its_prototype),
      cmocka_unit_test(what_tells_something_is_measured),
      cmocka_unit_test(tables_for_machines_are_even_in_any_locale),
      cmocka_unit_test(the_limiter_meets_its_ceiling),
      cmocka_unit_test(exit_codes_are_those_of_the_help),
      cmocka_unit_test(a_preset_is_measured_where_it_says_that_it_works),
      cmocka_unit_test(noise_with_a_bell_gives_a_stage_something_to_find),
      cmocka_unit_test(a_group_delay_that_is_not_sure_is_none),
      cmocka_unit_test(the_picture_is_whole_small_and_the_same_each_time),
      cmocka_unit_test(a_picture_replaces_nothing_but_files),
      cmocka_unit_test(the_table_names_third_octaves_and_settings),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
