/* Running quantiles against the C library's sort of the same values. */
#include "tests/unit/cmocka_headers.h"

#include "common/dsp/running_rank.h"
#include "tests/unit/arena_fixture.h"

#include <stdio.h>

enum { COLUMNS = 3 * PLANISH_RANK_LANES, MOST = 40, ROWS = 600 };

static int rising(const void *a, const void *b)
{
  const float x = *(const float *)a;
  const float y = *(const float *)b;
  return x < y ? -1 : x > y;
}

/* Of few values, so that many are equal; or of many. */
static float value(uint32_t *seed, uint32_t kinds)
{
  *seed = *seed * 1664525U + 1013904223U;
  return (float)((*seed >> 8) % kinds) - 0.5F * (float)kinds;
}

static float kept[ROWS][COLUMNS];

static float lower_median(uint32_t row, uint32_t column, uint32_t count)
{
  float values[MOST];
  for (uint32_t i = 0; i < count; ++i) {
    values[i] = kept[row - i][column];
  }
  qsort(values, count, sizeof(float), rising);
  return values[(count - 1) / 2];
}

/* The length is asked to jump; it goes there a row at a time, whatever happens underway. */
static void rows_of_changing_length(void **state)
{
  (void)state;
  static const uint32_t wanted[] = {21, 1, 40, 2, 37, 12, 12, 40, 7, 20};
  PlanishRankRows rows = {0};
  PlanishArena counting = planish_arena_counting();
  planish_rank_rows_setup(&rows, &counting, COLUMNS, MOST);
  PlanishArena arena = arena_for(counting);
  planish_rank_rows_setup(&rows, &arena, COLUMNS, MOST);
  for (uint32_t kinds = 5; kinds <= 1000000; kinds *= 200) {
    uint32_t seed = kinds;
    uint32_t length = 0;
    uint32_t compared = 0;
    planish_rank_rows_reset(&rows);
    for (uint32_t r = 0; r < ROWS; ++r) {
      const uint32_t target = wanted[r / 60];
      float *const row = planish_rank_rows_begin(&rows, target);
      for (uint32_t c = 0; c < COLUMNS; ++c) {
        row[c] = kept[r][c] = value(&seed, kinds);
      }
      planish_rank_rows_take(&rows, PLANISH_RANK_LANES, COLUMNS);
      planish_rank_rows_take(&rows, 0, PLANISH_RANK_LANES);
      length += length < target ? 1 : 0;
      length -= length > target ? 1 : 0;
      assert_int_equal(rows.count, length);
      for (uint32_t c = 0; c < COLUMNS; ++c) {
        const float found = planish_rank_rows_median(
            &rows, c / PLANISH_RANK_LANES * PLANISH_RANK_LANES)[c % PLANISH_RANK_LANES];
        assert_true(found == lower_median(r, c, length));
        assert_true(r < 5 || planish_rank_rows_ago(&rows, 5)[c] == kept[r - 5][c]);
        ++compared;
      }
    }
    printf("    %u medians along time, of %u values: all as sorted\n", compared, kinds);
  }
  free(arena.block);
}

static void windows_along_a_sequence(void **state)
{
  (void)state;
  static const uint32_t counts[] = {20, 32, 33, 256, 1000};
  static float sequence[1000];
  static float medians[1000];
  PlanishRankWindow window;
  uint32_t compared = 0;
  uint32_t seed = 3;
  for (uint32_t kind = 0; kind < 2; ++kind) {
    for (uint32_t n = 0; n < sizeof counts / sizeof *counts; ++n) {
      const int count = (int)counts[n];
      for (int i = 0; i < count; ++i) {
        sequence[i] = value(&seed, kind == 0 ? 7 : 1000000);
      }
      planish_rank_window_begin(&window, sequence, counts[n]);
      planish_rank_window_medians(&window, sequence, counts[n], medians, 0, 3);
      planish_rank_window_medians(&window, sequence, counts[n], medians, 3, counts[n]);
      for (int i = 0; i < count; ++i) {
        float values[PLANISH_RANK_WINDOW];
        for (int j = 0; j < PLANISH_RANK_WINDOW; ++j) {
          const int at = abs(i + j - PLANISH_RANK_WINDOW / 2);
          values[j] = sequence[at < count ? at : 2 * (count - 1) - at];
        }
        qsort(values, PLANISH_RANK_WINDOW, sizeof(float), rising);
        assert_true(medians[i] == values[PLANISH_RANK_WINDOW / 2]);
        ++compared;
      }
    }
  }
  printf("    %u medians along sequences: all as sorted\n", compared);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(rows_of_changing_length),
      cmocka_unit_test(windows_along_a_sequence),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
