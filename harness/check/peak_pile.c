#include "harness/check/peak_pile.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"

#define LOWEST_DB  (-60.0)
#define STEPS_A_DB 10.0
#define TOP_STEPS  2
#define LEAST_OVER 1.00115 /* 0.01 dB, which the reading may be off by */

void planish_peak_pile_add(void *pile, uint64_t step, double magnitude)
{
  PlanishPeakPile *to = pile;
  const double place = (planish_level_of(magnitude) - LOWEST_DB) * STEPS_A_DB;
  if (place >= 0.0) {
    to->step[(size_t)planish_min(place, PLANISH_PEAK_PILE_STEPS - 1)] += 1;
    to->sounding += 1;
  }
  if (magnitude > LEAST_OVER) {
    planish_places_add(&to->over, step);
  }
}

uint64_t planish_peak_pile_count(const PlanishPeakPile *pile)
{
  size_t top = PLANISH_PEAK_PILE_STEPS;
  while (top > 1 && pile->step[top - 1] == 0) {
    top -= 1;
  }
  uint64_t count = 0;
  for (size_t n = 0; n < TOP_STEPS && n < top; ++n) {
    count += pile->step[top - 1 - n];
  }
  return count;
}

double planish_peak_pile_share(const PlanishPeakPile *pile)
{
  return pile->sounding == 0 ? 0.0 : (double)planish_peak_pile_count(pile) / (double)pile->sounding;
}

void planish_sample_pile_reset(PlanishSamplePile *samples, double rate)
{
  *samples = (PlanishSamplePile){.rate = rate, .end = planish_loudness_step_end(rate, 1)};
}

void planish_sample_pile_process(PlanishSamplePile *samples, const float *interleaved,
                                 size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    const double left = fabs((double)interleaved[2 * n]);
    const double right = fabs((double)interleaved[2 * n + 1]);
    samples->largest = planish_max(samples->largest, planish_max(left, right));
    samples->frame += 1;
    if (samples->frame == samples->end) {
      planish_peak_pile_add(&samples->pile, samples->at, samples->largest);
      samples->at += 1;
      samples->end = planish_loudness_step_end(samples->rate, samples->at + 1);
      samples->largest = 0.0;
    }
  }
}
