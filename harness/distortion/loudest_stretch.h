/* Where a track is loudest: the stretch with the most K-weighted power (ITU-R BS.1770-4), found in
 * whole seconds. Thread: one at a time a track. */
#ifndef PLANISH_HARNESS_LOUDEST_STRETCH_H
#define PLANISH_HARNESS_LOUDEST_STRETCH_H

#include "harness/distortion/distortion.h"

/* At most `seconds` long; all of a track that is no longer. Errors: those of reading, interrupt,
 * memory (8 bytes a second). */
bool planish_loudest_stretch(PlanishTrack *track, double rate, double seconds,
                             PlanishStretch *stretch, PlanishError *error);

#endif
