/* The level of one channel in dB: held peaks, the held mean square, or anything between.
 *
 * Both read a steady sine as its peak level (so the mean is 3.01 dB over the level of the plain
 * power), and the blend is one in dB: a threshold means the same for a tone at any blend, and music
 * reads lower by its own crest factor the more the mean counts.
 *
 * Both are constant on tones down to 500 / hold Hz (hold in ms): 12.5 ms reach down to 40 Hz, 25 ms
 * to 20 Hz. Peaks rise at once and fall after `hold`; the mean follows within three holds.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_DSP_LEVEL_DETECTOR_H
#define PLANISH_DSP_LEVEL_DETECTOR_H

#include "common/dsp/grid.h"
#include "common/dsp/held_envelope.h"
#include "common/dsp/held_mean_square.h"
#include "common/dsp/levels.h"

/* What silence reads. */
#define PLANISH_LEVEL_FLOOR_DB (-150.0)

typedef struct {
  PlanishHeldEnvelope envelope;
  PlanishHeldMeanSquare mean_square;
  PlanishKnownLevel peak;
  PlanishKnownLevel mean;
  double rate;
  uint32_t hold; /* frames, on its way to `hold_target` by one a frame */
  uint32_t hold_target;
} PlanishLevelDetector;

/* Rate > 0; `max_hold` in ms. */
void planish_level_detector_setup(PlanishLevelDetector *detector, PlanishArena *arena, double rate,
                                  double max_hold);

/* A past of silence; hold in ms, up to max_hold. */
void planish_level_detector_reset(PlanishLevelDetector *detector, double hold);

/* A new hold, reached by one frame a frame. */
void planish_level_detector_set(PlanishLevelDetector *detector, double hold);

/* Takes 1..PLANISH_GRID frames. `mean_share`: 0 for peaks, 1 for the mean. Gives at each the level
 * in dB, blended, and the power, dB of the plain mean square: for floors, which must not look at
 * peaks. */
void planish_level_detector_process(PlanishLevelDetector *detector, const double *x,
                                    double mean_share, double *level, double *power,
                                    uint32_t frames);

#endif
