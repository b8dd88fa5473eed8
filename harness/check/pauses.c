#include "harness/check/pauses.h"

#include <math.h>

#define WINDOWS_PER_S 20.0
#define STILL         2.0 /* largest over smallest power: 3 dB */
#define OFFSET_HZ     5.0
#define LOW_HZ        300.0

static const double two_pi = 6.28318530717958647693;

static uint64_t end_of_window(const PlanishPauses *pauses)
{
  return (uint64_t)((double)(pauses->window + 1) * pauses->rate / WINDOWS_PER_S + 0.5);
}

void planish_pauses_reset(PlanishPauses *pauses, double rate)
{
  *pauses = (PlanishPauses){.rate = rate};
  pauses->pole = 1.0 - exp(-two_pi * OFFSET_HZ / rate);
  pauses->low_pole = 1.0 - exp(-two_pi * LOW_HZ / rate);
  pauses->window_end = end_of_window(pauses);
}

static void take_frame(PlanishPauses *pauses, const float *frame)
{
  for (int c = 0; c < 2; ++c) {
    pauses->offset[c] += pauses->pole * ((double)frame[c] - pauses->offset[c]);
    const double x = (double)frame[c] - pauses->offset[c];
    pauses->low[c] += pauses->low_pole * (x - pauses->low[c]);
    pauses->power += 0.5 * x * x;
    pauses->low_power += 0.5 * pauses->low[c] * pauses->low[c];
  }
}

static void judge(PlanishPauses *pauses)
{
  double largest = 0.0;
  double smallest = HUGE_VAL;
  double sum = 0.0;
  double low = 0.0;
  for (size_t n = 0; n < PLANISH_PAUSES_WINDOWS; ++n) {
    largest = fmax(largest, pauses->powers[n]);
    smallest = fmin(smallest, pauses->powers[n]);
    sum += pauses->powers[n];
    low += pauses->low_powers[n];
  }
  const double mean = sum / PLANISH_PAUSES_WINDOWS;
  if (smallest > 0.0 && largest <= STILL * smallest && !(pauses->found && mean >= pauses->floor)) {
    const double length = PLANISH_PAUSES_WINDOWS * pauses->rate / WINDOWS_PER_S;
    pauses->found = true;
    pauses->floor = mean;
    pauses->low_share = low / sum;
    pauses->at = (uint64_t)fmax(0.0, (double)pauses->frame - length);
  }
}

static void end_window(PlanishPauses *pauses)
{
  const double frames = (double)(pauses->window_end - pauses->window_from);
  pauses->powers[pauses->window % PLANISH_PAUSES_WINDOWS] = pauses->power / frames;
  pauses->low_powers[pauses->window % PLANISH_PAUSES_WINDOWS] = pauses->low_power / frames;
  pauses->power = 0.0;
  pauses->low_power = 0.0;
  pauses->window += 1;
  pauses->window_from = pauses->window_end;
  pauses->window_end = end_of_window(pauses);
  if (pauses->window >= PLANISH_PAUSES_WINDOWS) {
    judge(pauses);
  }
}

void planish_pauses_process(PlanishPauses *pauses, const float *interleaved, size_t frames)
{
  for (size_t n = 0; n < frames; ++n) {
    take_frame(pauses, interleaved + 2 * n);
    pauses->frame += 1;
    if (pauses->frame == pauses->window_end) {
      end_window(pauses);
    }
  }
}
