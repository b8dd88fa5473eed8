/* A sheet rendered as it stands, with the sound between its stages and what they reported kept: for
 * whoever tells what each stage did.
 *
 * Each boundary of the main path (tap.h) that is asked for becomes a PlanishTrack (audio/track.h)
 * beside a path, 8 bytes a frame, all lined up with the mix and of the same length; room for all of
 * them is checked before the render begins. A branch is one step of that path.
 *
 * Errors: those of planish_render() and of PlanishTrack. Thread: that of the host. */
#ifndef PLANISH_HARNESS_STAGE_TRACKS_H
#define PLANISH_HARNESS_STAGE_TRACKS_H

#include "harness/audio/track.h"
#include "harness/render/renderer.h"
#include "harness/render/value_series.h"

typedef struct {
  double rate;           /* Hz */
  uint64_t frames;       /* in each track */
  uint32_t count;        /* of boundaries: one more than the main path has stages and branches */
  PlanishTrack **tracks; /* by boundary; NULL where none was asked for */
  uint32_t *stages;      /* tracks[n + 1] is what came out of this stage of the sheet, by index */
  PlanishSeriesSet *series; /* what the stages reported */
  PlanishAccount *accounts; /* one a stage of the sheet */
  uint32_t account_count;
} PlanishStageTracks;

/* Renders job->sheet at its values of now: after planish_master() those are where it landed.
 * `wanted`: one flag a boundary; NULL: all of them. job->taps is not looked at. NULL on failure. */
PlanishStageTracks *planish_stage_tracks_new(const PlanishRenderJob *job, const char *beside,
                                             const bool *wanted, PlanishError *error);
/* NULL is allowed. */
void planish_stage_tracks_free(PlanishStageTracks *tracks);

#endif
