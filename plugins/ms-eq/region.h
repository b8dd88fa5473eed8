/* Hearing the region where a band works (eq_region.h), in the band's channels. Taken from the
 * stage's input, so that it can be heard before the band does anything. Changing the band listened
 * to cross-fades.
 *
 * All functions but setup are real-time safe. */
#ifndef PLANISH_MS_EQ_REGION_H
#define PLANISH_MS_EQ_REGION_H

#include "plugins/ms-eq/eq_band.h"

/* One filter; band 0 is the result itself. */
typedef struct {
  unsigned band;
  bool on;
  PlanishEqShape shape;
  PlanishSvf state;
  PlanishSvfCoefs coefs;
  PlanishSvfCoefs change;
} PlanishRegionVoice;

typedef struct {
  double rate;
  PlanishRegionVoice voice[2];
  unsigned current;
  unsigned wanted; /* band, from 1; 0: the result */
  PlanishCrossfade fade;
} PlanishRegion;

void planish_region_setup(PlanishRegion *region, double rate);

/* Forgets all history and stands on `band`, 0..count. */
void planish_region_jump(PlanishRegion *region, const PlanishEqBand *bands, unsigned band);

/* At every grid frame, after the bands. */
void planish_region_grid(PlanishRegion *region, const PlanishEqBand *bands);

/* True: the region is heard, or fades. */
static inline bool planish_region_is_sounding(const PlanishRegion *region)
{
  return planish_crossfade_is_moving(&region->fade) || region->voice[region->current].band != 0;
}

/* True: the region of `band` (from 1) is heard, or fades. */
static inline bool planish_region_watches(const PlanishRegion *region, unsigned band)
{
  return region->voice[region->current].band == band ||
         (planish_crossfade_is_moving(&region->fade) &&
          region->voice[1 - region->current].band == band);
}

/* Replaces the result in `audio` by the region of `input`. */
void planish_region_process(PlanishRegion *region, const PlanishTwo *input, PlanishTwo *audio,
                            uint32_t frames);

#endif
