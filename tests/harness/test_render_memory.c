/* Memory of the program, resident, while it lands the demo's sheet: bounded, and the same for a
 * file of four times the length. */
#define _DEFAULT_SOURCE
#include "tests/harness/program_fixture.h"

#include <sys/resource.h>
#include <sys/wait.h>

enum { SHORT = 10, LONG = 40, MOST_MB = 150 };

/* MB at most while it rendered `seconds` of music. */
static double resident_over(int seconds)
{
  SF_INFO info = {.samplerate = RATE, .channels = 2, .format = WAV24};
  SNDFILE *file = sf_open(in_folder("mix.wav"), SFM_WRITE, &info);
  for (int done = 0; done < seconds; done += LENGTH / RATE) {
    sf_writef_float(file, music, LENGTH);
  }
  sf_close(file);
  const pid_t child = launch((const char *const[]){"planish", "render", "presets-demo/demo.yaml",
                                                   name("mix.wav"), name("out.wav"), NULL});
  int status = 0;
  struct rusage usage;
  assert_int_equal(wait4(child, &status, 0, &usage), child);
  assert_true(WIFEXITED(status) && WEXITSTATUS(status) <= 1);
  const double megabytes = (double)usage.ru_maxrss / 1024.0;
  print_message("%d s: %.1f MB resident\n", seconds, megabytes);
  return megabytes;
}

static void memory_does_not_grow_with_the_file(void **state)
{
  (void)state;
#ifdef __SANITIZE_ADDRESS__
  print_message("the sanitizer keeps what is freed: skipped\n");
  skip();
#endif
  const double one = resident_over(SHORT);
  const double four = resident_over(LONG);
  assert_true(one < MOST_MB);
  /* 30 s more are 11.5 MB; what threads take differs by 3 MB from run to run. */
  assert_true(four < one + 5.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(memory_does_not_grow_with_the_file)};
  return cmocka_run_group_tests(tests, open_all, close_all);
}
