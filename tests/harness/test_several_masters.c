/* render --targets and --without: each file is the one that a render of its own would write, and
 * the tables say what each costs. */
#include "tests/harness/program_fixture.h"

static double number_in(const char *text, const char *after, const char *key)
{
  const char *place = strstr(text, after);
  place = place == NULL ? NULL : strstr(place, key);
  assert_non_null(place);
  return atof(place + strlen(key) + 2);
}

static void each_target_is_a_master_of_its_own(void **state)
{
  (void)state;
  start_files(NULL);
  const char *const sheet = name("sheet.yaml");
  const char *const mix = name("mix.wav");
  Outcome outcome = RUN("render", "--targets", "-12,-13.5,-16", sheet, mix, name("out.wav"));
  expect(&outcome, 0, "");
  assert_string_equal(outcome.error, "");
  assert_int_equal(count_files(), 2 + 2 * 3);
  outcome = RUN("render", "--loudness=-13.5", sheet, mix, name("own.wav"));
  assert_int_equal(outcome.code, 0);
  expect_same_bytes("out-13.5.wav", "own.wav");
  outcome = RUN("render", "--loudness=-16", sheet, mix, name("own.wav"));
  assert_int_equal(outcome.code, 0);
  expect_same_bytes("out-16.wav", "own.wav");
}

static void the_table_tells_what_each_costs(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome = RUN("render", "--targets=-9,-16", "--float", "--json", name("sheet.yaml"),
                        name("mix.wav"), name("out.float.wav"));
  expect(&outcome, 0, "");
  const char *loud = strstr(outcome.out, "out-9.float.wav");
  const char *quiet = strstr(outcome.out, "out-16.float.wav");
  assert_non_null(loud);
  assert_non_null(quiet);
  assert_true(number_in(loud, "", "\"target_loudness_lufs\"") == -9.0);
  assert_true(number_in(loud, "", "\"extra_drive_db\"") >
              number_in(quiet, "", "\"extra_drive_db\"") + 0.5);
  assert_true(number_in(loud, "", "\"loudness_won_lu\"") >
              number_in(quiet, "", "\"loudness_won_lu\"") + 0.5);
  assert_true(number_in(loud, "", "\"punch_db\"") < number_in(quiet, "", "\"punch_db\"") - 0.2);
  assert_true(number_in(loud, "", "\"punch_mix_db\"") == number_in(quiet, "", "\"punch_mix_db\""));
  assert_true(number_in(loud, "", "\"distortion_db\"") >
              number_in(quiet, "", "\"distortion_db\"") + 3.0);
  assert_true(number_in(loud, "", "\"audible_share\"") >=
              number_in(quiet, "", "\"audible_share\""));
  /* What is won at equal true peak is what the ratio of peak to loudness has lost. */
  const double lost =
      number_in(outcome.out, "\"mix\"", "\"plr_lu\"") - number_in(loud, "\"master\"", "\"plr_lu\"");
  assert_true(fabs(number_in(loud, "", "\"loudness_won_lu\"") - lost) < 1e-6);
  outcome =
      RUN("render", "--targets=-12,-16", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "punch"));
  assert_non_null(strstr(outcome.out, "-16.00 LUFS"));
  assert_non_null(strstr(outcome.out, "drive\n"));
}

static void a_missed_target_is_told_and_the_others_stand(void **state)
{
  (void)state;
  start_files(NULL);
  Outcome outcome =
      RUN("render", "--targets=-14,-1", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 1, "planish: target missed: ");
  assert_non_null(strstr(outcome.error, "out-1.wav: "));
  assert_non_null(strstr(outcome.out, "missed"));
  assert_int_equal(count_files(), 2 + 2 * 2);
  outcome = RUN("render", "--targets=-2,-1", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 1, "2 of 2 targets missed");
}

/* The settings where the whole has landed, without the stage. */
static void without_a_stage_is_the_sheet_less_that_stage(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("three.yaml", "planish: 1\n"
                           "input: {loudness: -18}\n"
                           "target: {loudness: -12, ceiling: -0.5, by: drive.input_gain}\n"
                           "stages:\n"
                           "  - {stage: test-delay, name: late, taps: 777, gain: 2}\n"
                           "  - {stage: test-drive, name: drive, ceiling: -2}\n"
                           "  - {stage: test-delay, name: later, taps: 100, gain: -1.5}\n");
  Outcome outcome = RUN("render", "--json", "--without", "later", "--without=late",
                        name("three.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_int_equal(count_files(), 3 + 2 * 3);
  char set[80];
  snprintf(set, sizeof set, "--set=drive.input_gain=%.9g",
           number_in(outcome.out, "\"masters\"", "\"moved_to\""));
  const double whole = number_in(outcome.out, "\"masters\"", "\"integrated_lufs\"");
  const double without = number_in(outcome.out, "out-without-later.wav", "\"integrated_lufs\"");
  assert_true(fabs(without - whole - 1.5) < 0.01);
  assert_true(fabs(number_in(outcome.out, "out-without-later.wav", "\"loudness_won_lu\"")) < 0.01);
  outcome = RUN("render", name("three.yaml"), name("mix.wav"), name("whole.wav"));
  assert_int_equal(outcome.code, 0);
  expect_same_bytes("out.wav", "whole.wav");
  static const char *const sheets[][3] = {
      {"later.yaml", "out-without-later.wav",
       "stages:\n"
       "  - {stage: test-delay, name: late, taps: 777, gain: 2}\n"
       "  - {stage: test-drive, name: drive, ceiling: -2}\n"},
      {"late.yaml", "out-without-late.wav",
       "stages:\n"
       "  - {stage: test-drive, name: drive, ceiling: -2}\n"
       "  - {stage: test-delay, name: later, taps: 100, gain: -1.5}\n"}};
  for (size_t n = 0; n < 2; ++n) {
    char text[400];
    snprintf(text, sizeof text, "planish: 1\ninput: {loudness: -18}\n%s", sheets[n][2]);
    write_text(sheets[n][0], text);
    outcome = RUN("render", set, name(sheets[n][0]), name("mix.wav"), name("own.wav"));
    expect(&outcome, 0, "");
    expect_same_bytes(sheets[n][1], "own.wav");
  }
}

static void what_cannot_be_meant_is_refused(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("out-9.wav", "no audio");
  const char *const sheet = name("sheet.yaml");
  const char *const mix = name("mix.wav");
  const char *const out = name("out.wav");
  const struct {
    const char *arguments[3];
    const char *says;
  } cases[] = {
      {{"--targets=-9,loud"}, "no loudness: \"loud\""},
      {{"--targets=-9,"}, "no loudness: \"\""},
      {{"--targets=-9,-12,-9"}, "twice in --targets: -9"},
      {{"--targets=-12,-12.0000001"}, "twice in --targets: -12"},
      {{"--targets=-9,9"}, "out of range"},
      {{"--targets=-9", "--loudness=-8"}, "--targets and --loudness"},
      {{"--targets=-9", "--without=late"}, "--targets and --without"},
      {{"--targets=-9", "--from=1"}, "--targets and --from"},
      {{"--targets=-9", "--account"}, "--targets and --account"},
      {{"--without=lat"}, "did you mean late?"},
      {{"--without=late", "--without=late"}, "twice: --without late"},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *arguments[8] = {"planish", "render"};
    int count = 2;
    for (int a = 0; cases[n].arguments[a] != NULL; ++a) {
      arguments[count++] = cases[n].arguments[a];
    }
    arguments[count++] = sheet;
    arguments[count++] = mix;
    arguments[count++] = out;
    const Outcome outcome = finish(launch(arguments));
    expect(&outcome, 2, cases[n].says);
    assert_int_equal(count_files(), 3);
  }
  /* A target's file must not be the mix. */
  rename(in_folder("mix.wav"), in_folder("out-12.wav"));
  const Outcome outcome = RUN("render", "--targets=-14,-12", sheet, name("out-12.wav"), out);
  expect(&outcome, 2, "written over");
  assert_int_equal(count_files(), 3);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_target_is_a_master_of_its_own),
      cmocka_unit_test(the_table_tells_what_each_costs),
      cmocka_unit_test(a_missed_target_is_told_and_the_others_stand),
      cmocka_unit_test(without_a_stage_is_the_sheet_less_that_stage),
      cmocka_unit_test(what_cannot_be_meant_is_refused),
  };
  return cmocka_run_group_tests(tests, open_all, close_all);
}
