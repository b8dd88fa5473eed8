/* planish stages on the stages of the bundle: columns that stand under each other, numbers that can
 * be read. */
#include "tests/harness/program_fixture.h"

/* Where the third word of a line begins. */
static size_t third(const char *line)
{
  size_t at = strspn(line, " ");
  at += strcspn(line + at, " ");
  at += strspn(line + at, " ");
  at += strcspn(line + at, " ");
  return at + strspn(line + at, " ");
}

/* largest_change_freq has 19 letters. */
static void columns_fit_the_longest_symbol(void **state)
{
  (void)state;
  Outcome outcome = RUN("stages", "attack-sustain-eq");
  expect(&outcome, 0, "");
  const char *head = strstr(outcome.out, "  SYMBOL ");
  assert_non_null(head);
  const size_t column = third(head);
  int outputs = 0;
  char *rest = NULL;
  for (char *line = strtok_r(outcome.out, "\n", &rest); line != NULL;
       line = strtok_r(NULL, "\n", &rest)) {
    if (strstr(line, " reported ") != NULL && strncmp(line, "      ", 6) != 0) {
      outputs += 1;
      assert_int_equal(third(line), column);
    }
  }
  assert_true(outputs >= 6);
}

/* A float has more digits than anybody has set. */
static void numbers_have_six_digits_at_most(void **state)
{
  (void)state;
  static const char *const stages[] = {"resonance", "ms-eq", "dynamics"};
  for (size_t n = 0; n < sizeof stages / sizeof *stages; ++n) {
    const Outcome outcome = RUN("stages", "--json", stages[n]);
    expect(&outcome, 0, "");
    for (const char *at = strchr(outcome.out, '.'); at != NULL; at = strchr(at + 1, '.')) {
      assert_true(strspn(at + 1, "0123456789") <= 7); /* 0.0416667 has six */
    }
    assert_null(strstr(outcome.out, "00000"));
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(columns_fit_the_longest_symbol),
      cmocka_unit_test(numbers_have_six_digits_at_most),
  };
  return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
