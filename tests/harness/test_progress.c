/* The line of progress: words, share, time left. */
#include "harness/program/progress.h"
#include "tests/unit/cmocka_headers.h"

static void a_line_tells_the_time_that_is_left(void **state)
{
  (void)state;
  static const struct {
    const char *what;
    unsigned number;
    double share, seconds;
    const char *line;
  } cases[] = {
      {"render", 2, 0.25, 10.0, "render 2:  25 %, 0:30 left"},
      {"render", 0, 0.5, 65.0, "render:  50 %, 1:05 left"},
      {"a.wav", 0, 0.1, 1000.0, "a.wav:  10 %, 150:00 left"},
      {"a.wav", 0, 0.999, 10.0, "a.wav:  99 %, 0:01 left"},
      /* Too little is known. */
      {"a.wav", 0, 0.01, 10.0, "a.wav:   1 %"},
      {"a.wav", 0, 0.5, 0.9, "a.wav:  50 %"},
      /* Nothing is left. */
      {"a.wav", 0, 1.0, 10.0, "a.wav: 100 %"},
      {"a\nb", 0, 0.5, 2.0, "a?b:  50 %, 0:02 left"},
  };
  for (size_t n = 0; n < sizeof cases / sizeof *cases; ++n) {
    char line[128];
    planish_progress_line(line, sizeof line, cases[n].what, cases[n].number, cases[n].share,
                          cases[n].seconds);
    assert_string_equal(line, cases[n].line);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_line_tells_the_time_that_is_left),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
