#include "presets-demo/mix/struck.h"

#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/filter.h"

/* Under this, a sound is over. */
#define INAUDIBLE 1e-6

void planish_demo_ring(double hertz, double seconds, double level, double *sound, size_t frames)
{
  /* y[n] = 2 r cos(w) y[n-1] - r^2 y[n-2] is a falling sine. */
  const double turns = hertz / PLANISH_DEMO_RATE;
  const double r = planish_demo_fall(seconds);
  const double c1 = 2.0 * r * planish_demo_cosine(turns);
  const double c2 = r * r;
  double before = 0.0;
  double now = level * r * planish_demo_sine(turns);
  double envelope = fabs(level);
  for (size_t n = 0; n < frames && envelope > INAUDIBLE; ++n) {
    sound[n] += now;
    const double next = c1 * now - c2 * before;
    before = now;
    now = next;
    envelope *= r;
  }
}

void planish_demo_skin(double from, double hertz, double bend, double seconds, double level,
                       double *sound, size_t frames)
{
  const double straighten = planish_demo_approach(bend);
  const double r = planish_demo_fall(seconds);
  double pitch = from;
  double turns = 0.0;
  double envelope = level;
  for (size_t n = 0; n < frames && envelope > INAUDIBLE; ++n) {
    sound[n] += envelope * planish_demo_sine(turns);
    turns += pitch / PLANISH_DEMO_RATE;
    turns = turns >= 1.0 ? turns - 1.0 : turns;
    pitch += straighten * (hertz - pitch);
    envelope *= r;
  }
}

void planish_demo_hiss(PlanishDemoNoise noise, PlanishDemoRandom *random, double *sound,
                       size_t frames)
{
  PlanishDemoFilter high_pass = planish_demo_filter(PLANISH_DEMO_HIGH_PASS, noise.low, 0.7, 0.0);
  PlanishDemoFilter low_pass = planish_demo_filter(PLANISH_DEMO_LOW_PASS, noise.high, 0.7, 0.0);
  const double r = planish_demo_fall(noise.seconds);
  const double rise = noise.rise > 0.0 ? planish_demo_approach(noise.rise) : 1.0;
  double envelope = noise.level;
  double opened = 0.0;
  for (size_t n = 0; n < frames && envelope > INAUDIBLE; ++n) {
    opened += rise * (1.0 - opened);
    double x = planish_demo_random_even(random);
    x = planish_demo_filter_process(&high_pass, x);
    x = planish_demo_filter_process(&low_pass, x);
    sound[n] += opened * envelope * x;
    envelope *= r;
  }
}
