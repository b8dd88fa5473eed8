/* Every allocation that a new measurement asks for fails in turn: nothing crashes, nothing leaks.
 * Linked with --wrap for the functions below. */
#include "harness/measure/measure.h"
#include "tests/unit/cmocka_headers.h"

#include <fftw3.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

void *__real_calloc(size_t count, size_t size);
void *__real_aligned_alloc(size_t alignment, size_t size);
void __real_free(void *block);
fftwf_complex *__real_fftwf_alloc_complex(size_t count);
float *__real_fftwf_alloc_real(size_t count);
void __real_fftwf_free(void *block);
fftwf_plan __real_fftwf_plan_dft_1d(int n, fftwf_complex *in, fftwf_complex *out, int sign,
                                    unsigned flags);
void __real_fftwf_destroy_plan(fftwf_plan plan);

void *__wrap_calloc(size_t count, size_t size);
void *__wrap_aligned_alloc(size_t alignment, size_t size);
void __wrap_free(void *block);
fftwf_complex *__wrap_fftwf_alloc_complex(size_t count);
float *__wrap_fftwf_alloc_real(size_t count);
void __wrap_fftwf_free(void *block);
fftwf_plan __wrap_fftwf_plan_dft_1d(int n, fftwf_complex *in, fftwf_complex *out, int sign,
                                    unsigned flags);
void __wrap_fftwf_destroy_plan(fftwf_plan plan);

static int until_failure; /* allocations that still succeed */
static int living;

static bool may_allocate(void)
{
  if (until_failure == 0) {
    return false;
  }
  --until_failure;
  ++living;
  return true;
}

void *__wrap_calloc(size_t count, size_t size)
{
  return may_allocate() ? __real_calloc(count, size) : NULL;
}

void *__wrap_aligned_alloc(size_t alignment, size_t size)
{
  return may_allocate() ? __real_aligned_alloc(alignment, size) : NULL;
}

void __wrap_free(void *block)
{
  living -= block != NULL;
  __real_free(block);
}

fftwf_complex *__wrap_fftwf_alloc_complex(size_t count)
{
  return may_allocate() ? __real_fftwf_alloc_complex(count) : NULL;
}

float *__wrap_fftwf_alloc_real(size_t count)
{
  return may_allocate() ? __real_fftwf_alloc_real(count) : NULL;
}

void __wrap_fftwf_free(void *block)
{
  living -= block != NULL;
  __real_fftwf_free(block);
}

fftwf_plan __wrap_fftwf_plan_dft_1d(int n, fftwf_complex *in, fftwf_complex *out, int sign,
                                    unsigned flags)
{
  return may_allocate() ? __real_fftwf_plan_dft_1d(n, in, out, sign, flags) : NULL;
}

void __wrap_fftwf_destroy_plan(fftwf_plan plan)
{
  living -= plan != NULL;
  __real_fftwf_destroy_plan(plan);
}

static void any_failure_leaves_nothing_behind(void **state)
{
  (void)state;
  int allowed = 0;
  PlanishMeasure *measure = NULL;
  while (measure == NULL) {
    assert_true(allowed < 100);
    until_failure = allowed;
    living = 0;
    measure = planish_measure_new(48000.0, 2);
    if (measure == NULL) {
      assert_int_equal(living, 0);
      ++allowed;
    }
  }
  printf("    %d allocations\n", allowed);
  assert_true(allowed >= 10);
  planish_measure_free(measure);
  assert_int_equal(living, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(any_failure_leaves_nothing_behind),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
