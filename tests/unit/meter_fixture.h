/* The meter driven without LV2, and signals of the standards for it. */
#ifndef PLANISH_TESTS_METER_FIXTURE_H
#define PLANISH_TESTS_METER_FIXTURE_H

#include "common/dsp/maths.h"
#include "tests/unit/stage_driver.h"
#include "ttl/meter_ports.h"

#include <math.h>
#include <stdio.h>

#define METER_SILENCE (-1000.0)

typedef struct {
  StageDriver driver;
  double rate;
  uint64_t frame; /* of the signal, so that its phase runs on */
} Meter;

/* A stretch of sine, the same in both channels; a level of METER_SILENCE is none. */
typedef struct {
  double level;
  double seconds;
} Segment;

static inline Meter meter_new(double rate)
{
  Meter meter = {.rate = rate};
  stage_driver_new(&meter.driver, &planish_stage, rate);
  return meter;
}

static inline void meter_free(Meter *meter)
{
  stage_driver_free(&meter->driver);
}

static inline double meter_read(const Meter *meter, int port)
{
  return (double)meter->driver.values[port];
}

/* Runs two channels through it; what comes out is thrown away. */
static inline void meter_run(Meter *meter, const double *left, const double *right, size_t frames)
{
  enum { PIECE = 4096 };
  static double out[2][PIECE];
  for (size_t done = 0; done < frames; done += PIECE) {
    const size_t count = frames - done < PIECE ? frames - done : PIECE;
    stage_driver_run(&meter->driver, (const double *const[]){left + done, right + done},
                     (double *const[]){out[0], out[1]}, 2, count);
  }
}

/* The right channel is `side` times the left one. */
static inline void meter_play_beside(Meter *meter, double hz, Segment segment, double side)
{
  enum { PIECE = 480 };
  const double peak = segment.level == METER_SILENCE ? 0.0 : pow(10.0, segment.level / 20.0);
  uint64_t left = (uint64_t)(segment.seconds * meter->rate + 0.5);
  while (left > 0) {
    double audio[2][PIECE];
    const size_t frames = left < PIECE ? (size_t)left : PIECE;
    for (size_t n = 0; n < frames; ++n) {
      const double turns = hz * (double)(meter->frame + n) / meter->rate;
      audio[0][n] = peak * sin(2.0 * PLANISH_PI * turns);
      audio[1][n] = side * audio[0][n];
    }
    meter_run(meter, audio[0], audio[1], frames);
    meter->frame += frames;
    left -= frames;
  }
}

static inline void meter_play(Meter *meter, double hz, Segment segment)
{
  meter_play_beside(meter, hz, segment, 1.0);
}

#endif
