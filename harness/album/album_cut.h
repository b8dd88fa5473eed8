/* Cuts a stream's master into those of its tracks, each with its recall file: the files joined are
 * the stream's samples. All take their places together. Thread: that of the host. */
#ifndef PLANISH_HARNESS_ALBUM_CUT_H
#define PLANISH_HARNESS_ALBUM_CUT_H

#include "harness/album/album_plan.h"
#include "harness/render/master.h"

typedef struct {
  const PlanishAlbumPlan *plan;
  const PlanishAlbumStream *stream;
  PlanishMeasurement *tracks; /* what is measured of each */
  PlanishWriter *writers[PLANISH_ALBUM_TRACKS];
} PlanishAlbumCut;

/* A PlanishMasterJob's `made`, `user` being a PlanishAlbumCut. */
bool planish_album_cut(void *user, const PlanishMade *made, PlanishError *error);

bool planish_album_cut_commit(PlanishAlbumCut *cut, PlanishError *error);

/* What was not committed is gone. */
void planish_album_cut_release(PlanishAlbumCut *cut);

#endif
