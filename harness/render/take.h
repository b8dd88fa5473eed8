/* One render on its way to a file that still has another name (audio_writer.h), and what was
 * measured on it as it was written: after dither, as it will be delivered.
 *
 * Thread: that of the host. */
#ifndef PLANISH_HARNESS_TAKE_H
#define PLANISH_HARNESS_TAKE_H

#include "harness/audio/audio_writer.h"
#include "harness/measure/measure.h"
#include "harness/render/renderer.h"

typedef struct {
  PlanishWriter *writer;     /* finished, not committed */
  PlanishMeasurement result; /* of the file */
  PlanishAccount *accounts;  /* one a stage */
  uint32_t account_count;
  uint32_t latency; /* of the chain, frames */
  uint64_t frames;  /* of the file */
} PlanishTake;

/* Renders to `out`. `take` is zeroed at first, and to be released also on failure. */
bool planish_take_render(PlanishTake *take, const PlanishRenderJob *job, const char *out,
                         PlanishWord word, PlanishError *error);

/* The file of `take` again with another gain in dB, to be committed as `out`; NULL on failure. */
PlanishWriter *planish_take_with_gain(const PlanishTake *take, double gain, const char *out,
                                      PlanishWord word, PlanishError *error);

/* What was not committed is gone. */
void planish_take_release(PlanishTake *take);

#endif
