#include "plugins/meter/peaks.h"

#include "common/dsp/loudness.h"
#include "common/dsp/maths.h"

/* A filter of so many taps at 50 kHz and less. At higher rates it spans the same time, as half the
 * rate lies the further beyond what there is to hear. */
enum { LONGEST = PLANISH_TRUE_PEAK_LONG_TAPS };
#define HIGHEST_RATE_OF_LONGEST 50000.0

_Static_assert(LONGEST / 2 == PLANISH_METER_PEAK_INTERVALS * PLANISH_GRID,
               "the longest delay fills the ring");

static uint32_t taps_for(double rate)
{
  uint32_t taps = LONGEST;
  double highest = HIGHEST_RATE_OF_LONGEST;
  while (rate > highest && taps > 2 * PLANISH_GRID) {
    taps /= 2;
    highest *= 2.0;
  }
  return taps;
}

void planish_meter_peaks_setup(PlanishMeterPeaks *peaks, PlanishArena *arena, double rate)
{
  const uint32_t taps = taps_for(rate);
  *peaks = (PlanishMeterPeaks){.delay = planish_true_peak_delay(taps) / PLANISH_GRID};
  for (int c = 0; c < 2; ++c) {
    planish_true_peak_setup(&peaks->detector[c], arena, taps);
  }
  planish_sliding_max_setup(&peaks->recent, arena, PLANISH_LOUDNESS_SHORTTERM_STEPS);
}

void planish_meter_peaks_reset(PlanishMeterPeaks *peaks)
{
  planish_true_peak_reset(&peaks->detector[0]);
  planish_true_peak_reset(&peaks->detector[1]);
  planish_sliding_max_reset(&peaks->recent);
  peaks->in_step = 0.0;
  peaks->recent_peak = 0.0;
  peaks->counting = true;
  peaks->owner_counts = false;
  peaks->interval = 0;
  peaks->at = 0;
  planish_meter_peaks_restart(peaks);
}

void planish_meter_peaks_count(PlanishMeterPeaks *peaks, bool counting)
{
  peaks->counting = counting;
}

void planish_meter_peaks_restart(PlanishMeterPeaks *peaks)
{
  peaks->true_peak = 0.0;
  peaks->sample_peak = 0.0;
  memset(peaks->counted, 0, sizeof peaks->counted);
}

/* A grid interval begins, and with it the peaks of the one `delay` intervals ago come out. */
static void begin_interval(PlanishMeterPeaks *peaks)
{
  peaks->owner_counts = peaks->counted[peaks->interval];
  peaks->counted[peaks->interval] = peaks->counting;
  peaks->interval = (peaks->interval + 1) % peaks->delay;
}

static double largest_true_peak(PlanishMeterPeaks *peaks, const double *const audio[2],
                                uint32_t frames)
{
  double found[PLANISH_GRID];
  double largest = 0.0;
  for (int c = 0; c < 2; ++c) {
    planish_true_peak_process(&peaks->detector[c], audio[c], found, frames);
    for (uint32_t i = 0; i < frames; ++i) {
      largest = planish_max(largest, found[i]);
    }
  }
  return largest;
}

static double largest_sample(const double *const audio[2], uint32_t frames)
{
  double largest = 0.0;
  for (uint32_t i = 0; i < frames; ++i) {
    largest = planish_max(largest, planish_max(fabs(audio[0][i]), fabs(audio[1][i])));
  }
  return largest;
}

void planish_meter_peaks_process(PlanishMeterPeaks *peaks, const double *const audio[2],
                                 uint32_t frames)
{
  if (peaks->at == 0) {
    begin_interval(peaks);
  }
  const double true_peak = largest_true_peak(peaks, audio, frames);
  peaks->in_step = planish_max(peaks->in_step, true_peak);
  if (peaks->owner_counts) {
    peaks->true_peak = planish_max(peaks->true_peak, true_peak);
  }
  if (peaks->counting) {
    peaks->sample_peak = planish_max(peaks->sample_peak, largest_sample(audio, frames));
  }
  peaks->at = (peaks->at + frames) % PLANISH_GRID;
}

void planish_meter_peaks_finish_step(PlanishMeterPeaks *peaks)
{
  peaks->recent_peak =
      planish_sliding_max_next(&peaks->recent, peaks->in_step, PLANISH_LOUDNESS_SHORTTERM_STEPS);
  peaks->in_step = 0.0;
}
