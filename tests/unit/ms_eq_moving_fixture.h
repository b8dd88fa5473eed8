/* Moving bands under a driver, and a music that moves them. */
#ifndef PLANISH_TESTS_MS_EQ_MOVING_FIXTURE_H
#define PLANISH_TESTS_MS_EQ_MOVING_FIXTURE_H

#include "tests/unit/ms_eq_fixture.h"

enum { RATE = 48000 };

typedef struct {
  Band band;
  double move;
  double threshold;
  double attack; /* ms */
  double release;
} Moving;

/* At RATE, with band 1 moving. */
static inline StageDriver driver_with(const Moving *moving)
{
  StageDriver driver;
  stage_driver_new(&driver, &planish_stage, RATE);
  put_band(&driver, 0, moving->band);
  put_move(&driver, 0, moving->move, moving->threshold);
  driver.values[MS_EQ_MOVE_ATTACK] = (float)moving->attack;
  driver.values[MS_EQ_MOVE_RELEASE] = (float)moving->release;
  stage_driver_reset(&driver);
  return driver;
}

/* Plucked notes over noise, that the bands below rise to and fall from. */
static inline Signal music(size_t length)
{
  static const double notes[] = {55.0, 73.42, 110.0, 82.41, 61.74, 98.0};
  Signal signal = new_signal(length);
  uint32_t seed = 5;
  double phase = 0.0;
  for (size_t n = 0; n < length; ++n) {
    const size_t into = n % 12000;
    const double t = (double)into / RATE;
    phase += 2.0 * PLANISH_PI * notes[n / 12000 % 6] / RATE;
    const double swell = planish_smoothstep(t / 0.01) * exp(-t / 0.15);
    double note = 0.0;
    for (int k = 1; k <= 12; ++k) {
      note += sin(k * phase) / k;
    }
    const double value = 0.4 * swell * note + 0.002 * (uniform(&seed) - 0.5);
    signal.channel[0][n] = value;
    signal.channel[1][n] = 0.6 * value + 0.002 * (uniform(&seed) - 0.5);
  }
  return signal;
}

#endif
