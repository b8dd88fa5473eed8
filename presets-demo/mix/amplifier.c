#include "presets-demo/mix/amplifier.h"

#include "presets-demo/mix/arithmetic.h"

enum { OVERSAMPLING = 4, SECTIONS = 4, PAUSE = 9600 };

/* An input under this for PAUSE frames is a pause: the clips stand still in it. */
#define NOTHING 1e-9

#define HIGH_RATE (PLANISH_DEMO_RATE * OVERSAMPLING)

typedef struct {
  PlanishDemoFilter up[SECTIONS];
  PlanishDemoFilter down[SECTIONS];
  PlanishDemoFilter between[2];
  double drive;
  double second;
  double offset;
} Clips;

static PlanishDemoFilter at_high_rate(PlanishDemoShape shape, double hertz, double q)
{
  PlanishDemoFilter filter = {0};
  planish_demo_filter_tune(&filter, (PlanishDemoBand){shape, hertz, q, 0.0}, HIGH_RATE);
  return filter;
}

static void set_up(Clips *clips, const PlanishDemoAmplifier *amplifier)
{
  /* Qs of an eighth-order Butterworth low pass: 1 / (2 cos((2k+1) pi / 16)). */
  static const double q[SECTIONS] = {0.50979557910416, 0.60134488693505, 0.89997622313642,
                                     2.56291544774151};
  for (size_t i = 0; i < SECTIONS; ++i) {
    clips->up[i] = at_high_rate(PLANISH_DEMO_LOW_PASS, 15000.0, q[i]);
    clips->down[i] = at_high_rate(PLANISH_DEMO_LOW_PASS, 15000.0, q[i]);
  }
  clips->between[0] = at_high_rate(PLANISH_DEMO_HIGH_PASS, 60.0, 0.7);
  clips->between[1] = at_high_rate(PLANISH_DEMO_LOW_PASS, 9000.0, 0.6);
  clips->drive = planish_gain_of(amplifier->drive);
  clips->second = planish_gain_of(amplifier->second);
  clips->offset = amplifier->offset;
}

static double clipped(Clips *clips, double x)
{
  double y = planish_demo_soft(clips->drive * x);
  y = planish_demo_filter_busy(&clips->between[0], y);
  y = planish_demo_filter_busy(&clips->between[1], y);
  /* Less what silence would give, so that a pause is silent. */
  const double rest = planish_demo_soft(clips->offset);
  return planish_demo_soft(clips->second * y + clips->offset) - rest;
}

static double frame(Clips *clips, double x)
{
  double kept = 0.0;
  for (size_t k = 0; k < OVERSAMPLING; ++k) {
    double y = k == 0 ? OVERSAMPLING * x : 0.0;
    for (size_t i = 0; i < SECTIONS; ++i) {
      y = planish_demo_filter_busy(&clips->up[i], y);
    }
    y = clipped(clips, y);
    for (size_t i = 0; i < SECTIONS; ++i) {
      y = planish_demo_filter_busy(&clips->down[i], y);
    }
    kept = k == 0 ? y : kept;
  }
  return kept;
}

void planish_demo_amplify(const PlanishDemoAmplifier *amplifier, double *signal, size_t frames)
{
  Clips clips;
  set_up(&clips, amplifier);
  planish_demo_filter_all(amplifier->before, amplifier->before_count, signal, frames);
  const Clips rest = clips;
  size_t still = PAUSE;
  for (size_t n = 0; n < frames; ++n) {
    still = fabs(signal[n]) < NOTHING ? still + 1 : 0;
    if (still < PAUSE) {
      signal[n] = frame(&clips, signal[n]);
    } else {
      clips = still == PAUSE ? rest : clips;
      signal[n] = 0.0;
    }
  }
  planish_demo_filter_all(amplifier->after, amplifier->after_count, signal, frames);
}
