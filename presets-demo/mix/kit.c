#include "presets-demo/mix/kit.h"

#include "presets-demo/mix/arithmetic.h"
#include "presets-demo/mix/struck.h"

void planish_demo_kick(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  planish_demo_skin(210.0, 52.0, 0.011, 0.42, 0.95 * force, sound, frames);
  planish_demo_skin(900.0, 170.0, 0.004, 0.05, 0.25 * force, sound, frames);
  /* The beater is heard more the harder it falls. */
  planish_demo_ring(3400.0, 0.025, 0.28 * force * force, sound, frames);
  planish_demo_hiss((PlanishDemoNoise){1200.0, 7000.0, 0.0, 0.03, 0.5 * force * force}, random,
                    sound, frames);
}

void planish_demo_snare(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  const double tuned = 1.0 + 0.01 * planish_demo_random_bell(random);
  planish_demo_skin(260.0 * tuned, 196.0 * tuned, 0.012, 0.26, 0.55 * force, sound, frames);
  planish_demo_ring(331.0 * tuned, 0.17, 0.26 * force, sound, frames);
  planish_demo_ring(478.0 * tuned, 0.11, 0.12 * force, sound, frames);
  planish_demo_hiss((PlanishDemoNoise){1800.0, 9500.0, 0.0, 0.02, 0.9 * force * force}, random,
                    sound, frames);
  planish_demo_hiss((PlanishDemoNoise){700.0, 11000.0, 0.002, 0.32, 0.55 * force}, random, sound,
                    frames);
}

/* Brass rings at many unrelated frequencies; one cymbal always at the same ones. */
static void brass(uint64_t seed, size_t count, double low, double high, double seconds,
                  double level, double *sound, size_t frames)
{
  PlanishDemoRandom cast = planish_demo_random(seed);
  for (size_t i = 0; i < count; ++i) {
    const double place = ((double)i + 0.5 + 0.45 * planish_demo_random_even(&cast)) / (double)count;
    const double hertz = low * planish_exp2(place * planish_log2(high / low));
    const double sign = planish_demo_random_even(&cast) < 0.0 ? -1.0 : 1.0;
    const double age = seconds * (1.25 - 0.8 * place);
    planish_demo_ring(hertz, age, sign * level, sound, frames);
  }
}

static void hats(double force, double seconds, PlanishDemoRandom *random, double *sound,
                 size_t frames)
{
  brass(11, 14, 2900.0, 12500.0, seconds, 0.035 * force, sound, frames);
  planish_demo_hiss((PlanishDemoNoise){6500.0, 19500.0, 0.0, 0.018, 0.5 * force * force}, random,
                    sound, frames);
  planish_demo_hiss((PlanishDemoNoise){7600.0, 19500.0, 0.001, seconds, 0.55 * force}, random,
                    sound, frames);
}

void planish_demo_closed_hats(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  hats(force, 0.075 + 0.05 * force, random, sound, frames);
}

void planish_demo_open_hats(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  /* Shut again by the foot, an eighth later. */
  hats(force, 0.75, random, sound, frames < 10800 ? frames : 10800);
}

static void cymbal(uint64_t seed, double force, double seconds, PlanishDemoRandom *random,
                   double *sound, size_t frames)
{
  brass(seed, 30, 420.0, 9500.0, seconds, 0.022 * force, sound, frames);
  planish_demo_hiss((PlanishDemoNoise){3500.0, 16000.0, 0.0, 0.06, 0.4 * force * force}, random,
                    sound, frames);
  planish_demo_hiss((PlanishDemoNoise){2600.0, 11000.0, 0.008, 0.8 * seconds, 0.22 * force}, random,
                    sound, frames);
  planish_demo_hiss((PlanishDemoNoise){8000.0, 19500.0, 0.004, 0.45 * seconds, 0.3 * force}, random,
                    sound, frames);
}

void planish_demo_crash(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  cymbal(23, force, 3.4, random, sound, frames);
}

void planish_demo_crash_edge(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  cymbal(37, force, 1.5, random, sound, frames);
}

static void tom(double hertz, double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  planish_demo_skin(1.7 * hertz, hertz, 0.03, 0.6, 0.85 * force, sound, frames);
  planish_demo_ring(1.59 * hertz, 0.25, 0.2 * force, sound, frames);
  planish_demo_hiss((PlanishDemoNoise){900.0, 6000.0, 0.0, 0.03, 0.5 * force * force}, random,
                    sound, frames);
}

void planish_demo_high_tom(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  tom(158.0, force, random, sound, frames);
}

void planish_demo_middle_tom(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  tom(118.0, force, random, sound, frames);
}

void planish_demo_floor_tom(double force, PlanishDemoRandom *random, double *sound, size_t frames)
{
  tom(82.0, force, random, sound, frames);
}
