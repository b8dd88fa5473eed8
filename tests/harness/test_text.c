#include "harness/base/error.h"
#include "harness/base/text.h"
#include "tests/unit/cmocka_headers.h"

#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static void numbers_are_read_whole_or_not_at_all(void **state)
{
  (void)state;
  static const struct {
    const char *text;
    bool good;
    double value;
  } cases[] = {
      {"-8", true, -8.0},     {"0.25", true, 0.25}, {"1e3", true, 1000.0}, {".5", true, 0.5},
      {"+3.", true, 3.0},     {"", false, 0},       {"-", false, 0},       {"1,5", false, 0},
      {" 1", false, 0},       {"1 ", false, 0},     {"0x10", false, 0},    {"nan", false, 0},
      {"inf", false, 0},      {"1e999", false, 0},  {"1.2.3", false, 0},   {"1dB", false, 0},
      {"infinity", false, 0},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    double value = 77.0;
    assert_int_equal(planish_text_number(cases[n].text, &value), cases[n].good);
    assert_true(value == (cases[n].good ? cases[n].value : 77.0));
  }
}

static void times_are_seconds_or_minutes_and_seconds(void **state)
{
  (void)state;
  static const struct {
    const char *text;
    double seconds; /* -1: refused */
  } cases[] = {
      {"0", 0},      {"83.5", 83.5}, {"1:23.5", 83.5}, {"10:00", 600}, {"1:60", -1},
      {":5", -1},    {"1:", -1},     {"-3", -1},       {"1:-3", -1},   {"a", -1},
      {"1:2:3", -1}, {"1.5:2", -1},  {"1e2", -1},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    double seconds = -1.0;
    assert_int_equal(planish_text_time(cases[n].text, &seconds), cases[n].seconds >= 0.0);
    assert_true(seconds == cases[n].seconds);
  }
}

static void no_zero_has_a_minus(void **state)
{
  (void)state;
  char text[16];
  static const struct {
    double value;
    const char *told;
  } cases[] = {{-0.0, "0.00"}, {-0.0049, "0.00"}, {-0.0051, "-0.01"}, {0.004, "0.00"}};
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    planish_text_format(text, sizeof text, "%.2f", planish_text_unsigned_zero(cases[n].value, 2));
    assert_string_equal(text, cases[n].told);
  }
}

/* To the nearest thousandth, the minutes with it. */
static void times_are_told_in_minutes(void **state)
{
  (void)state;
  static const struct {
    double seconds;
    const char *text;
  } cases[] = {{0.0, "0:00.000"},
               {0.0004, "0:00.000"},
               {7.25, "0:07.250"},
               {59.9994, "0:59.999"},
               {59.9996, "1:00.000"},
               {3599.9999, "60:00.000"},
               {86400.5, "1440:00.500"},
               {(double)NAN, "-"},
               {-1.0, "-"},
               {1e300, "-"},
               {(double)INFINITY, "-"}};
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char text[PLANISH_TEXT_TIME];
    assert_string_equal(planish_text_of_time(text, cases[n].seconds), cases[n].text);
  }
}

static void a_slip_is_understood_and_nonsense_is_not(void **state)
{
  (void)state;
  static const char *const names[] = {"input_gain", "ceiling", "release", "hold", "b1_gain"};
  static const struct {
    const char *wanted;
    const char *best;
  } cases[] = {
      {"input_gian", "input_gain"},
      {"cieling", "ceiling"},
      {"Release", "release"},
      {"hould", "hold"},
      {"b1gain", "b1_gain"},
      {"loudness", NULL},
      {"x", NULL},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    PlanishNearest nearest = planish_nearest_to(cases[n].wanted);
    for (size_t i = 0; i < sizeof names / sizeof *names; ++i) {
      planish_nearest_consider(&nearest, names[i]);
    }
    if (cases[n].best == NULL) {
      assert_null(nearest.best);
    } else {
      assert_non_null(nearest.best);
      assert_string_equal(nearest.best, cases[n].best);
    }
  }
}

/* Debian's minimal systems have no locale with a decimal comma, so the test makes do with one it
 * can find, and says so where there is none. */
static void a_comma_locale_changes_nothing(void **state)
{
  (void)state;
  static const char *const names[] = {"de_DE.UTF-8", "de_DE.utf8",  "de_DE",
                                      "fr_FR.UTF-8", "nl_NL.UTF-8", "planish_comma"};
  bool found = false;
  for (size_t n = 0; n < sizeof names / sizeof *names && !found; ++n) {
    found = setlocale(LC_ALL, names[n]) != NULL;
  }
  if (!found) {
    print_message("no locale with a decimal comma is installed: skipped\n");
    skip();
  }
  char text[32];
  (void)snprintf(text, sizeof text, "%.1f", 1.5);
  assert_string_equal(text, "1,5");
  planish_text_format(text, sizeof text, "%.1f", 1.5);
  assert_string_equal(text, "1.5");
  double value = 0.0;
  assert_true(planish_text_number("2.25", &value));
  assert_true(value == 2.25);
  PlanishError error = {0};
  planish_fail(&error, PLANISH_BAD_USE, "%g", 0.5);
  assert_string_equal(error.text, "0.5");
  setlocale(LC_ALL, "C");
}

static void a_line_keeps_both_ends(void **state)
{
  (void)state;
  char text[20];
  planish_text_line(text, sizeof text, "%s", "as long as it is ok");
  assert_string_equal(text, "as long as it is ok");
  planish_text_line(text, sizeof text, "cannot read: %s: do it", "a/long/name");
  assert_string_equal(text, "cannot  ... : do it");
  /* Characters of two bytes are left whole on either side: seven bytes hold three of them. */
  planish_text_line(text, sizeof text, "%s",
                    "\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9");
  assert_string_equal(text, "\u00e9\u00e9\u00e9 ... \u00e9\u00e9\u00e9");
  planish_text_line(text, sizeof text, "a\nb\x1b%c\t", 0x7f);
  assert_string_equal(text, "a?b???");
}

static void the_first_failure_is_kept(void **state)
{
  (void)state;
  PlanishError error = {0};
  assert_false(planish_fail_at(&error, 3, 7, "first %d", 1));
  assert_false(planish_fail(&error, PLANISH_BAD_FILE, "second"));
  assert_string_equal(error.text, "first 1");
  assert_int_equal(error.outcome, PLANISH_BAD_USE);
  assert_int_equal(error.line, 3);
  assert_int_equal(error.column, 7);
  assert_false(planish_fail(NULL, PLANISH_BAD_FILE, "nowhere"));
}

/* As a Turtle file says it, not as the float nearest to it. */
static void a_port_has_six_digits(void **state)
{
  (void)state;
  static const struct {
    float value;
    const char *shown;
  } cases[] = {{0.3f, "0.3"},
               {-1.1f, "-1.1"},
               {0.70710678f, "0.707107"},
               {1048576.0f, "1048576"},
               {1e7f, "10000000"},
               {1234.5678f, "1234.57"},
               {0.0f, "0"},
               {-18.0f, "-18"},
               {HUGE_VALF, "inf"}};
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char text[40];
    planish_text_format(text, sizeof text, "%.9g", planish_text_six_digits(cases[n].value));
    assert_string_equal(text, cases[n].shown);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_port_has_six_digits),
      cmocka_unit_test(numbers_are_read_whole_or_not_at_all),
      cmocka_unit_test(times_are_seconds_or_minutes_and_seconds),
      cmocka_unit_test(times_are_told_in_minutes),
      cmocka_unit_test(no_zero_has_a_minus),
      cmocka_unit_test(a_slip_is_understood_and_nonsense_is_not),
      cmocka_unit_test(a_comma_locale_changes_nothing),
      cmocka_unit_test(a_line_keeps_both_ends),
      cmocka_unit_test(the_first_failure_is_kept),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
