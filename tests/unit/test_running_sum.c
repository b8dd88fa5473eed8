/* Running sums against plain ones. */
#include "tests/unit/cmocka_headers.h"

#include "common/dsp/running_sum.h"

#include <math.h>
#include <stdlib.h>

enum { MOST = 75 };

/* Of every length, with a beginning that is not 0; and nothing is written behind. */
static void sums_are_plain_sums(void **state)
{
  (void)state;
  uint32_t seed = 9;
  for (uint32_t count = 0; count <= MOST; ++count) {
    float x[MOST];
    double up[MOST + 2] = {3.0};
    up[count + 1] = -1.0;
    for (uint32_t i = 0; i < count; ++i) {
      seed = seed * 1664525U + 1013904223U;
      x[i] = (float)(int32_t)seed / 4294967296.0F;
    }
    planish_running_sum(up, x, 0.25, count);
    double sum = 3.0;
    assert_true(up[0] == sum && up[count + 1] == -1.0);
    for (uint32_t i = 0; i < count; ++i) {
      sum += (double)x[i] + 0.25;
      assert_true(fabs(up[i + 1] - sum) <= 1e-14);
    }
  }
}

/* Sixteen at once give the bits of four at once: so it does not matter where a run begins. */
static void pieces_of_fours_are_the_whole(void **state)
{
  (void)state;
  float x[MOST];
  double whole[MOST + 1] = {0.0};
  double pieces[MOST + 1] = {0.0};
  for (uint32_t i = 0; i < MOST; ++i) {
    x[i] = 1.0F / (float)(i + 1);
  }
  planish_running_sum(whole, x, 1e-3, MOST);
  for (uint32_t at = 0; at < MOST; at += 4) {
    planish_running_sum(pieces + at, x + at, 1e-3, at + 4 <= MOST ? 4 : MOST - at);
  }
  assert_memory_equal(whole, pieces, sizeof whole);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(sums_are_plain_sums),
      cmocka_unit_test(pieces_of_fours_are_the_whole),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
