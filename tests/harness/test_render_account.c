/* What render says of the price of a master: around its loudest moment always, in full with
 * --account; a warning where it ruins. */
#include "tests/harness/program_fixture.h"

#include <poll.h>
#include <stdbool.h>

static double number_in(const char *text, const char *after, const char *key)
{
  const char *place = strstr(text, after);
  place = place == NULL ? NULL : strstr(place, key);
  assert_non_null(place);
  return atof(place + strlen(key) + 2);
}

enum { LONG = 6 * LENGTH, LOUD = 4 * LENGTH };

static const char share_key[] = "\"audible_share_of_loudest_30_s\"";

static void a_chain_that_is_pushed_to_ruin_warns(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome =
      RUN("render", "--json", name("sheet.yaml"), name("mix.wav"), name("modest.wav"));
  expect(&outcome, 0, "");
  const double modest = number_in(outcome.out, "", share_key);
  assert_string_equal(outcome.error, "");
  outcome = RUN("render", "--json", "--loudness=-3", name("sheet.yaml"), name("mix.wav"),
                name("pushed.wav"));
  const double pushed = number_in(outcome.out, "", share_key);
  print_message("over the mask: %.3f at -12 LUFS, %.3f at -3 LUFS\n", modest, pushed);
  assert_true(modest < 0.05 && pushed > 0.1);
  char words[80];
  snprintf(words, sizeof words, "warning: distortion is over the mask %.0f %% of the time around",
           100.0 * pushed);
  assert_non_null(strstr(outcome.error, words));
  outcome = RUN("render", "--loudness=-3", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  snprintf(words, sizeof words,
           "\nprice     distortion over the mask %.1f %% of the loudest 10 s\n", 100.0 * pushed);
  assert_non_null(strstr(outcome.out, words));
}

/* A minute, all but ten seconds of it by a gain. */
static void write_long_mix(float gain_of_rest)
{
  float *mix = malloc((size_t)2 * LONG * sizeof *mix);
  for (size_t n = 0; n < (size_t)2 * LONG; ++n) {
    const size_t frame = n / 2;
    const bool loud = frame >= LOUD && frame < LOUD + LENGTH;
    mix[n] = (loud ? 1.0f : gain_of_rest) * music[n % ((size_t)2 * LENGTH)];
  }
  write_audio("mix.wav", WAV24, RATE, 2, mix, LONG);
  free(mix);
}

/* Clean for a minute but for ten seconds, which are louder. */
static void what_is_loudest_is_judged(void **state)
{
  (void)state;
  start_files(NULL);
  write_long_mix(0.05f);
  write_text("sheet.yaml", "planish: 1\n"
                           "target: {loudness: -9, by: drive.input_gain}\n"
                           "head_silence: 25\n"
                           "stages:\n"
                           "  - {stage: test-drive, name: drive}\n");
  Outcome outcome = RUN("render", "--json", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  const double around = number_in(outcome.out, "", share_key);
  outcome =
      RUN("render", "--json", "--account", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  const double whole = number_in(outcome.out, "\"whole\"", "\"audible_share\"");
  print_message("over the mask: %.3f of the 30 s around, %.3f of the minute\n", around, whole);
  assert_true(whole > 0.02);
  assert_true(fabs(around - 2.0 * whole) < 0.02);
}

static void an_account_tells_of_each_stage_and_of_the_chain(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", "--account", "--loudness=-3", name("sheet.yaml"), name("mix.wav"),
                        name("out.wav"));
  const char *rows[] = {"\naccount   ", "\nlate  ", "\ndrive  ", "\nwhole chain  "};
  const char *at = outcome.out;
  for (size_t n = 0; n < 4 && at != NULL; ++n) {
    at = strstr(at, rows[n]);
  }
  assert_non_null(at);
  assert_null(strstr(outcome.out, "\nprice "));
  assert_non_null(strstr(outcome.error, "most of it from stage drive"));
  assert_null(strstr(outcome.error, "around the loudest"));
  outcome =
      RUN("render", "--account", "--json", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  const char *account = strstr(outcome.out, "\"account\": {");
  assert_non_null(account);
  static const char *const keys[] = {
      "\"whole\"",           "\"status\": \"done\"", "\"stretch_s\": 10",
      "\"loudness_won_lu\"", "\"plr_change_lu\"",    "\"gain_lowest_db\"",
      "\"gain_highest_db\"", "\"gain_mean_db\"",     "\"not_linear_db\"",
      "\"level_db\"",        "\"distortion_db\"",    "\"audible_share\"",
      "\"nmr_p95_db\"",      "\"ruins\": false",     "\"stages\"",
      "\"name\": \"late\"",  "\"distortion_db\": -", "\"name\": \"drive\"",
      "\"distortion_db\": -"};
  for (size_t n = 0; n < sizeof keys / sizeof *keys; ++n) {
    const char *next = strstr(account, keys[n]);
    if (next == NULL) {
      print_error("%s is missing\n", keys[n]);
    }
    assert_non_null(next);
    account = next;
  }
  /* A delay and a gain are no distortion. */
  assert_true(number_in(strstr(outcome.out, "\"account\": {"), "\"name\": \"late\"",
                        "\"distortion_db\"") < -90.0);
}

static void under_ten_seconds_it_is_said_that_there_is_none(void **state)
{
  (void)state;
  start_files(NULL);
  write_audio("mix.wav", WAV24, RATE, 2, music, LENGTH - 1);
  Outcome outcome =
      RUN("render", "--account", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "\naccount   too short for an account: 10 s are needed\n"));
  outcome =
      RUN("render", "--account", "--json", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  assert_non_null(strstr(outcome.out, "\"status\": \"too_short\""));
  outcome = RUN("render", "--json", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  assert_non_null(strstr(outcome.out, "\"audible_share_of_loudest_30_s\": null"));
}

/* The account takes longer by far than the test to see the master. */
static void an_interrupted_account_says_that_the_master_is_there(void **state)
{
  (void)state;
  start_files(NULL);
  write_long_mix(0.5f);
  const pid_t child =
      launch((const char *const[]){"planish", "render", "--no-recall", "--account",
                                   name("sheet.yaml"), name("mix.wav"), name("out.wav"), NULL});
  while (access(in_folder("out.wav"), F_OK) != 0) {
    poll(NULL, 0, 2);
  }
  kill(child, SIGINT);
  Outcome outcome = finish(child);
  expect(&outcome, 130, "out.wav is written, what was to be told of it is not made");
  assert_null(strstr(outcome.error, "nothing was written"));
  assert_non_null(strstr(outcome.out, "\nlanded    "));
  assert_int_equal(count_files(), 2 + 1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_chain_that_is_pushed_to_ruin_warns),
      cmocka_unit_test(what_is_loudest_is_judged),
      cmocka_unit_test(an_account_tells_of_each_stage_and_of_the_chain),
      cmocka_unit_test(an_interrupted_account_says_that_the_master_is_there),
      cmocka_unit_test(under_ten_seconds_it_is_said_that_there_is_none),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
