#include "harness/distortion/fit_plans.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

PlanishPair *planish_fit_buffer(size_t count)
{
  PlanishPair *buffer = fftw_malloc(count * sizeof *buffer);
  if (buffer != NULL) {
    memset(buffer, 0, count * sizeof *buffer);
  }
  return buffer;
}

void planish_fit_run(fftw_plan plan, PlanishPair *buffer)
{
  fftw_complex *complex = (fftw_complex *)buffer;
  fftw_execute_dft(plan, complex, complex);
}

/* Estimated plans alone give the same bits every time. */
static fftw_plan make(PlanishPair *buffer, size_t count, int sign)
{
  fftw_complex *complex = (fftw_complex *)buffer;
  return fftw_plan_dft_1d((int)count, complex, complex, sign, FFTW_ESTIMATE);
}

PlanishFitPlans *planish_fit_plans_new(double rate)
{
  PlanishFitPlans *plans = calloc(1, sizeof *plans);
  if (plans == NULL) {
    return NULL;
  }
  plans->rate = rate;
  plans->unit = (size_t)1 << lrint(8.0 + log2(rate / 48000.0));
  const size_t unit = plans->unit;
  PlanishPair *buffer = planish_fit_buffer(PLANISH_FIT_BLOCK * unit);
  if (buffer == NULL) {
    planish_fit_plans_free(plans);
    return NULL;
  }
  plans->block_forward = make(buffer, PLANISH_FIT_BLOCK * unit, FFTW_FORWARD);
  plans->block_back = make(buffer, PLANISH_FIT_BLOCK * unit, FFTW_BACKWARD);
  plans->filter_forward = make(buffer, (size_t)2 * PLANISH_FIT_TAPS * unit, FFTW_FORWARD);
  plans->filter_back = make(buffer, (size_t)2 * PLANISH_FIT_TAPS * unit, FFTW_BACKWARD);
  plans->level_forward = make(buffer, PLANISH_FIT_LEVEL_FRAME * unit, FFTW_FORWARD);
  plans->level_back = make(buffer, PLANISH_FIT_LEVEL_FRAME * unit, FFTW_BACKWARD);
  plans->mask_forward = make(buffer, PLANISH_FIT_MASK_FRAME * unit, FFTW_FORWARD);
  fftw_free(buffer);
  if (plans->block_forward == NULL || plans->block_back == NULL || plans->filter_forward == NULL ||
      plans->filter_back == NULL || plans->level_forward == NULL || plans->level_back == NULL ||
      plans->mask_forward == NULL) {
    planish_fit_plans_free(plans);
    return NULL;
  }
  return plans;
}

void planish_fit_plans_free(PlanishFitPlans *plans)
{
  if (plans == NULL) {
    return;
  }
  enum { COUNT = 7 };
  fftw_plan all[COUNT] = {plans->block_forward, plans->block_back,    plans->filter_forward,
                          plans->filter_back,   plans->level_forward, plans->level_back,
                          plans->mask_forward};
  for (size_t n = 0; n < COUNT; ++n) {
    if (all[n] != NULL) {
      fftw_destroy_plan(all[n]);
    }
  }
  free(plans);
}
