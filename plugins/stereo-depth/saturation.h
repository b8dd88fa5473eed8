/* A trace of saturation that is the same at any level: of each band of the side, the cube against a
 * slow envelope of that band, as a residue to be taken off.
 *
 *   residue = sum over bands of amount DEPTH s^3 / e^2,   |s| <= e
 *
 * e is held (held_envelope.h), so that on a steady tone it stands still and the third harmonic is
 * all there is, amount DEPTH / 4 under the tone. A cube has no content beyond three times what it
 * is made of, so twice the rate is enough for it not to fold back into the band. The part of the
 * residue that is nothing but less of the side is given back: it is found by its correlation with
 * the side, over half a second, and the side keeps its level. What is learnt is its share in the
 * largest amount times the side, so that amounts may move without it being learnt anew.
 *
 * Thread: one at a time. All but set-up are real-time safe. */
#ifndef PLANISH_STEREO_DEPTH_SATURATION_H
#define PLANISH_STEREO_DEPTH_SATURATION_H

#include "common/dsp/held_envelope.h"
#include "common/dsp/oversampler.h"
#include "plugins/stereo-depth/band_split.h"

/* Frames by which the residue is late. */
#define PLANISH_SATURATION_DELAY PLANISH_OVERSAMPLER_DELAY

typedef struct {
  PlanishHeldEnvelope envelope;
  double power;                                             /* of the slow envelope, e^2 */
  double past[PLANISH_OVERSAMPLER_TAPS - 1 + PLANISH_GRID]; /* then the block */
} PlanishSaturatedBand;

typedef struct {
  PlanishOversampler filters;
  PlanishDecimator decimator;
  PlanishSaturatedBand bands[PLANISH_DEPTH_BANDS];
  uint32_t hold;   /* frames */
  double fall;     /* share of its way that the slow envelope falls in a frame */
  double settling; /* likewise of the correlation */
  /* Means of what is asked for, the largest amount times the side: with the residue, and squared.
   */
  double with_side;
  double side_power;
} PlanishSaturation;

void planish_saturation_setup(PlanishSaturation *saturation, PlanishArena *arena, double rate);
void planish_saturation_reset(PlanishSaturation *saturation);

/* What is to be taken off the side in 1..PLANISH_GRID frames, PLANISH_SATURATION_DELAY frames late.
 * `side`: by band and frame; `late`: the side as it was so many frames ago; amounts 0..1. Where all
 * amounts are 0, and have been for as long as the filters remember, exactly 0. */
void planish_saturation_process(PlanishSaturation *saturation, double (*side)[PLANISH_GRID],
                                const double amounts[PLANISH_DEPTH_BANDS], const double *late,
                                double *residue, uint32_t frames);

#endif
