/* The fades of a master: after the last stage, ahead of dither.
 *
 * Frames count from the mix's first. Of a fade of L frames, frame n from its outer end has the gain
 * shape(n / L), so the outermost is 0 and the first beyond it untouched; no other is changed.
 * Thread: any. Real-time safe but for new. */
#ifndef PLANISH_HARNESS_FADES_H
#define PLANISH_HARNESS_FADES_H

#include "harness/base/error.h"
#include "harness/sheet/sheet.h"

#include <stddef.h>
#include <stdint.h>

typedef struct {
  PlanishFadeShape in_shape;
  PlanishFadeShape out_shape;
  uint64_t in;  /* frames */
  uint64_t out; /* frames */
  uint64_t end; /* of the result: the mix's frames and the tail's */
} PlanishFades;

/* For a mix of `frames` frames. Fails with PLANISH_BAD_USE where a fade is longer than mix and
 * tail. */
bool planish_fades_new(PlanishFades *fades, const PlanishSheet *sheet, double rate, uint64_t frames,
                       PlanishError *error);

/* Frames from `first` on, in place. */
void planish_fades_process(const PlanishFades *fades, uint64_t first, float *interleaved,
                           size_t frames);

#endif
