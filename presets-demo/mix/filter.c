#include "presets-demo/mix/filter.h"

#include "presets-demo/mix/arithmetic.h"

#include <stdbool.h>

enum { BLOCK = 1024 };

typedef struct {
  double b0, b1, b2, a0, a1, a2;
} Raw;

static Raw shelf(double c, double alpha, double gain, double direction)
{
  const double a = planish_gain_of(0.5 * gain);
  const double up = a + 1.0;
  const double down = direction * (a - 1.0);
  const double root = 2.0 * sqrt(a) * alpha;
  return (Raw){a * (up - down * c + root), 2.0 * a * (down - up * c), a * (up - down * c - root),
               up + down * c + root,       -2.0 * (down + up * c),    up + down * c - root};
}

static Raw design(PlanishDemoBand band, double c, double alpha)
{
  const double a = planish_gain_of(0.5 * band.gain);
  switch (band.shape) {
  case PLANISH_DEMO_LOW_PASS:
    return (Raw){0.5 * (1.0 - c), 1.0 - c, 0.5 * (1.0 - c), 1.0 + alpha, -2.0 * c, 1.0 - alpha};
  case PLANISH_DEMO_HIGH_PASS:
    return (Raw){0.5 * (1.0 + c), -1.0 - c, 0.5 * (1.0 + c), 1.0 + alpha, -2.0 * c, 1.0 - alpha};
  case PLANISH_DEMO_BAND_PASS:
    return (Raw){alpha, 0.0, -alpha, 1.0 + alpha, -2.0 * c, 1.0 - alpha};
  case PLANISH_DEMO_PEAKING:
    return (Raw){1.0 + alpha * a, -2.0 * c, 1.0 - alpha * a,
                 1.0 + alpha / a, -2.0 * c, 1.0 - alpha / a};
  case PLANISH_DEMO_LOW_SHELF:
    return shelf(c, alpha, band.gain, 1.0);
  case PLANISH_DEMO_HIGH_SHELF:
    return shelf(c, alpha, band.gain, -1.0);
  case PLANISH_DEMO_ALL_PASS:
  default:
    return (Raw){1.0 - alpha, -2.0 * c, 1.0 + alpha, 1.0 + alpha, -2.0 * c, 1.0 - alpha};
  }
}

void planish_demo_filter_tune(PlanishDemoFilter *filter, PlanishDemoBand band, double rate)
{
  const double turns = band.hertz / rate;
  const double alpha = planish_demo_sine(turns) / (2.0 * band.q);
  const Raw raw = design(band, planish_demo_cosine(turns), alpha);
  filter->b0 = raw.b0 / raw.a0;
  filter->b1 = raw.b1 / raw.a0;
  filter->b2 = raw.b2 / raw.a0;
  filter->a1 = raw.a1 / raw.a0;
  filter->a2 = raw.a2 / raw.a0;
}

PlanishDemoFilter planish_demo_filter(PlanishDemoShape shape, double hertz, double q, double gain)
{
  PlanishDemoFilter filter = {0};
  planish_demo_filter_tune(&filter, (PlanishDemoBand){shape, hertz, q, gain}, PLANISH_DEMO_RATE);
  return filter;
}

static bool is_silent(const double *signal, size_t frames)
{
  size_t n = 0;
  while (n < frames && signal[n] == 0.0) {
    ++n;
  }
  return n == frames;
}

static void block(PlanishDemoFilter *filter, double *signal, size_t frames)
{
  if (filter->s1 == 0.0 && filter->s2 == 0.0 && is_silent(signal, frames)) {
    return;
  }
  for (size_t n = 0; n < frames; ++n) {
    signal[n] = planish_demo_filter_busy(filter, signal[n]);
  }
  planish_demo_filter_settle(filter);
}

void planish_demo_filter_all(const PlanishDemoBand *bands, size_t count, double *signal,
                             size_t frames)
{
  PlanishDemoFilter filters[PLANISH_DEMO_MOST_BANDS];
  for (size_t b = 0; b < count; ++b) {
    filters[b] = planish_demo_filter(bands[b].shape, bands[b].hertz, bands[b].q, bands[b].gain);
  }
  for (size_t at = 0; at < frames; at += BLOCK) {
    const size_t left = frames - at;
    for (size_t b = 0; b < count; ++b) {
      block(&filters[b], signal + at, left < BLOCK ? left : BLOCK);
    }
  }
}
