/* Random numbers from integers alone (SplitMix64; Steele, Lea, Flood 2014): the same everywhere.
 * Every player owns one with a seed of its own, so that a change to one part leaves the others. */
#ifndef PLANISH_DEMO_RANDOM_H
#define PLANISH_DEMO_RANDOM_H

#include <stdint.h>

typedef struct {
  uint64_t state;
} PlanishDemoRandom;

static inline uint64_t planish_demo_random_next(PlanishDemoRandom *random)
{
  random->state += UINT64_C(0x9e3779b97f4a7c15);
  uint64_t z = random->state;
  z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
  z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
  return z ^ (z >> 31);
}

/* Neighbouring seeds give unrelated streams: each starts at a scrambled place. */
static inline PlanishDemoRandom planish_demo_random(uint64_t seed)
{
  PlanishDemoRandom scrambled = {seed};
  const PlanishDemoRandom random = {planish_demo_random_next(&scrambled)};
  return random;
}

/* Even within -1 .. 1. */
static inline double planish_demo_random_even(PlanishDemoRandom *random)
{
  return (double)(planish_demo_random_next(random) >> 11) * (1.0 / 4503599627370496.0) - 1.0;
}

/* Near a bell curve, within -1 .. 1, standard deviation 1/3: what a hand does to time and force. */
static inline double planish_demo_random_bell(PlanishDemoRandom *random)
{
  double sum = planish_demo_random_even(random);
  sum += planish_demo_random_even(random);
  sum += planish_demo_random_even(random);
  return sum * (1.0 / 3.0);
}

#endif
