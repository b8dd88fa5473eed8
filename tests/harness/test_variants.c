/* Variants in a sheet: each is the master that a sheet of its own would make, and every mistake in
 * them is told where it stands. */
#include "harness/render/shared_stages.h"
#include "tests/harness/program_fixture.h"
#include "tests/harness/sheet_fixture.h"

static PlanishHost *host;

static const char head[] = "planish: 1\ninput: {loudness: -18}\n";
static const char with_variants[] =
    "planish: 1\n"
    "input: {loudness: -18}\n"
    "target: {loudness: -12, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
    "stages:\n"
    "  - {stage: test-delay, name: late, taps: 777}\n"
    "  - {branch: side-way, take: side, level: -12, stages: [{stage: test-delay, name: inner}]}\n"
    "  - {stage: test-drive, name: drive}\n"
    "  - {stage: test-delay, name: later, taps: 100, gain: -1}\n"
    "automation:\n"
    "  later.gain: [{at: 2, value: 0}]\n"
    "tail: 100 frames\n"
    "variants:\n"
    "  - {name: quiet, target: {loudness: -15}, set: {late.gain: 2, side-way.level: -20}}\n"
    "  - {name: short, without: [side-way, later], fade_out: 0.5, tail_silence: 50 frames}\n"
    "  - {name: other, without: [drive], target: {loudness: -16, by: inner.gain, ceiling_at: "
    "[]}}\n";

static const char *const equals[][2] = {
    {"quiet",
     "target: {loudness: -15, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
     "stages:\n"
     "  - {stage: test-delay, name: late, taps: 777, gain: 2}\n"
     "  - {branch: side-way, take: side, level: -20, stages: [{stage: test-delay, name: inner}]}\n"
     "  - {stage: test-drive, name: drive}\n"
     "  - {stage: test-delay, name: later, taps: 100, gain: -1}\n"
     "automation:\n"
     "  later.gain: [{at: 2, value: 0}]\n"
     "tail: 100 frames\n"},
    {"short",
     "target: {loudness: -12, ceiling: -0.5, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
     "stages:\n"
     "  - {stage: test-delay, name: late, taps: 777}\n"
     "  - {stage: test-drive, name: drive}\n"
     "fade_out: 0.5\n"
     "tail: 100 frames\n"
     "tail_silence: 50 frames\n"},
};

static void each_variant_is_the_master_of_its_own_sheet(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("sheet.yaml", with_variants);
  Outcome outcome =
      RUN("render", "--variants=quiet,short", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_int_equal(count_files(), 2 + 2 * 2);
  for (size_t n = 0; n < 2; ++n) {
    char text[2000];
    char file[80];
    snprintf(text, sizeof text, "%s%s", head, equals[n][1]);
    snprintf(file, sizeof file, "out-%s.wav", equals[n][0]);
    write_text("own.yaml", text);
    outcome = RUN("render", name("own.yaml"), name("mix.wav"), name("own.wav"));
    expect(&outcome, 0, "");
    expect_same_bytes(file, "own.wav");
    snprintf(file, sizeof file, "out-%s.wav.yaml", equals[n][0]);
    outcome = RUN("recall", name(file));
    expect(&outcome, 0, "");
  }
}

static void all_are_made_and_told_beside_the_sheets_own(void **state)
{
  (void)state;
  start_files(NULL);
  write_text("sheet.yaml", with_variants);
  Outcome outcome = RUN("render", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 0, "");
  assert_non_null(strstr(outcome.out, "variants  3 in the sheet"));
  assert_int_equal(count_files(), 2 + 2);
  outcome = RUN("render", "--variants", "all", name("sheet.yaml"), name("mix.wav"),
                name("out.float.wav"));
  assert_true(outcome.code <= 1); /* `other` has next to nothing to land with */
  assert_int_equal(count_files(), 2 + 2 + 2 * 3);
  assert_non_null(strstr(outcome.out, "\nquiet "));
  assert_non_null(strstr(outcome.out, "out-other.float.wav"));
}

static void what_cannot_be_meant_is_refused(void **state)
{
  (void)state;
  static const char *const cases[][3] = {
      {"--variants=quite", NULL, "did you mean quiet?"},
      {"--variants=", NULL, "empty value: --variants=: give one"},
      {"--variants=,", NULL, "no variant of this name"},
      {"--variants=quiet,quiet", NULL, "twice in --variants"},
      {"--variants=all", "--targets=-9", "not together"},
      {"--variants=all", "--without=drive", "not together"},
      {"--variants=all", "--loudness=-9", "not together"},
      {"--variants=all", "--matched=m.wav", "not together"},
      {"--variants=all", "--account", "not together"},
      {"--variants=short", "--set=side-way.level=0", "no stage named side-way"},
  };
  start_files(NULL);
  write_text("sheet.yaml", with_variants);
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *arguments[8] = {"planish", "render", cases[n][0]};
    int count = 3;
    if (cases[n][1] != NULL) {
      arguments[count++] = cases[n][1];
    }
    arguments[count++] = name("sheet.yaml");
    arguments[count++] = name("mix.wav");
    arguments[count++] = name("out.wav");
    const Outcome outcome = finish(launch(arguments));
    expect(&outcome, 2, cases[n][2]);
    assert_int_equal(count_files(), 2);
  }
  write_text("sheet.yaml", sheet_text);
  const Outcome outcome =
      RUN("render", "--variants=all", name("sheet.yaml"), name("mix.wav"), name("out.wav"));
  expect(&outcome, 2, "no variants in the sheet");
}

/* Each stands alone in a list of variants, in line 9 of the sheet. */
static void mistakes_are_told_at_their_places(void **state)
{
  (void)state;
  static const char sheet[] =
      "planish: 1\n"
      "target: {loudness: -12, by: drive.input_gain, ceiling_at: [drive.ceiling]}\n"
      "stages:\n"
      "  - {stage: test-delay, name: late}\n"
      "  - {branch: way, stages: [{stage: test-delay, name: inner}]}\n"
      "  - {stage: test-drive, name: drive}\n"
      "automation: {late.gain: [{at: 0, value: 1}]}\n"
      "variants:\n"
      "  - %s\n";
  static const struct {
    const char *variant;
    int column;
    const char *says;
  } cases[] = {
      {"{target: {loudness: -9}}", 5, "without a name"},
      {"{name: a.b}", 12, "not a name"},
      {"{name: all}", 12, "all is taken"},
      {"3", 5, "no variant"},
      {"{name: x, gain: 3}", 15, "unknown key in a variant"},
      {"{name: x, without: late}", 24, "no list"},
      {"{name: x, without: [lat]}", 25, "did you mean late?"},
      {"{name: x, without: [inner]}", 25, "leave out the branch"},
      {"{name: x, without: [late, way, late]}", 36, "no stage of this name"},
      {"{name: x, target: {ceiling_at: []}, without: [drive]}", 51,
       "landed on by drive.input_gain"},
      {"{name: x, target: {by: way.level}, without: [drive]}", 50,
       "nothing else holds the ceiling"},
      {"{name: x, set: [late.gain]}", 20, "no map"},
      {"{name: x, set: {gain: 3}}", 21, "give NAME.SYMBOL"},
      {"{name: x, set: {lat.taps: 3}}", 21, "did you mean late?"},
      {"{name: x, set: {late.tap: 3}}", 21, "tap"},
      {"{name: x, set: {late.taps: -3}}", 32, "out of range"},
      {"{name: x, set: {late.gain: 3}}", 21, "the sheet automates it"},
      {"{name: x, set: {way.stages: 3}}", 21, "a branch has level"},
      {"{name: x, set: {drive.listen: 1}}", 21, "listen"},
      {"{name: x, target: {loudness: 1}}", 34, "out of range"},
      {"{name: x, target: {by: drive.ceiling}}", 23, "the same control"},
      {"{name: x, target: {loud: 1}}", 24, "unknown key in target"},
      {"{name: x, fade_in: long}", 24, "fade_in"},
      {"{name: x, tail_silence: 61}", 29, "tail_silence"},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char text[800];
    snprintf(text, sizeof text, sheet, cases[n].variant);
    PlanishMistakes mistakes = {0};
    PlanishSheet *read = planish_sheet_parse(text, strlen(text), host, false, &mistakes);
    if (read != NULL || mistakes.count != 1 || mistakes.list[0].line != 9 ||
        mistakes.list[0].column != cases[n].column ||
        strstr(mistakes.list[0].text, cases[n].says) == NULL) {
      print_error("%s: %zu mistakes, first %d:%d %s\n", cases[n].variant, mistakes.count,
                  mistakes.count > 0 ? mistakes.list[0].line : 0,
                  mistakes.count > 0 ? mistakes.list[0].column : 0,
                  mistakes.count > 0 ? mistakes.list[0].text : "");
      fail();
    }
    planish_mistakes_free(&mistakes);
    planish_sheet_free(read);
  }
}

/* A mistake in what all share is told once, and those of variants with it. */
static void all_mistakes_are_told_at_once(void **state)
{
  (void)state;
  static const char text[] = "planish: 1\n"
                             "stages: [{stage: test-delay, name: late, taps: -7}]\n"
                             "variants:\n"
                             "  - {name: x, gain: 3, set: {late.gain: 900}}\n"
                             "  - {name: X}\n"
                             "  - {name: y, set: {late.gain: 901}}\n";
  PlanishMistakes mistakes = {0};
  assert_null(planish_sheet_parse(text, strlen(text), host, false, &mistakes));
  assert_int_equal(mistakes.count, 5);
  for (size_t n = 0; n < 5; ++n) {
    static const int lines[] = {2, 4, 4, 5, 6};
    assert_int_equal(mistakes.list[n].line, lines[n]);
  }
  planish_mistakes_free(&mistakes);
}

/* How much of the chain two sheets have in common, and so is rendered once. */
static void what_is_shared_ends_where_sheets_differ(void **state)
{
  (void)state;
  static const char common[] = "planish: 1\nstages:\n"
                               "  - {stage: test-delay, name: a, taps: %s}\n"
                               "  - {branch: b, stages: [{stage: test-delay, name: c, taps: %s}]}\n"
                               "  - {stage: test-drive, name: d, input_gain: %s}\n"
                               "automation: {%s.gain: [{at: %s, value: 1}]}\n";
  static const struct {
    const char *words[5];
    uint32_t shared;
  } cases[] = {
      {{"1", "2", "3", "a", "1"}, 4}, {{"1", "2", "4", "a", "1"}, 3},
      {{"1", "3", "3", "a", "1"}, 1}, {{"2", "2", "3", "a", "1"}, 0},
      {{"1", "2", "3", "a", "2"}, 0}, {{"1", "2", "3", "c", "1"}, 0},
  };
  char text[800];
  snprintf(text, sizeof text, common, "1", "2", "3", "a", "1");
  PlanishSheet *one = sheet_of(host, text);
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    const char *const *words = cases[n].words;
    snprintf(text, sizeof text, common, words[0], words[1], words[2], words[3], words[4]);
    PlanishSheet *other = sheet_of(host, text);
    assert_int_equal(planish_shared_stages(one, other), cases[n].shared);
    assert_int_equal(planish_shared_stages(other, one), cases[n].shared);
    planish_sheet_free(other);
  }
  planish_sheet_free(one);
}

static int open_host(void **state)
{
  PlanishError error = {0};
  host = planish_host_open(&error);
  assert_non_null(host);
  return open_all(state);
}

static int close_host(void **state)
{
  planish_host_free(host);
  return close_all(state);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_variant_is_the_master_of_its_own_sheet),
      cmocka_unit_test(all_are_made_and_told_beside_the_sheets_own),
      cmocka_unit_test(what_cannot_be_meant_is_refused),
      cmocka_unit_test(mistakes_are_told_at_their_places),
      cmocka_unit_test(all_mistakes_are_told_at_once),
      cmocka_unit_test(what_is_shared_ends_where_sheets_differ),
  };
  return cmocka_run_group_tests(tests, open_host, close_host);
}
