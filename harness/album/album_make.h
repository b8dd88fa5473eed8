/* Makes the masters of a planned album, streams side by side on all processors: the same samples
 * however many there are. What is whole stands in its place, whatever becomes of the rest; what is
 * kept is measured only.
 *
 * Thread: main, with no other about. */
#ifndef PLANISH_HARNESS_ALBUM_MAKE_H
#define PLANISH_HARNESS_ALBUM_MAKE_H

#include "harness/album/album_plan.h"

#define PLANISH_ALBUM_REASON 480

/* What there is to tell of a stream. Plain bytes. */
typedef struct {
  bool kept;
  unsigned renders;
  double moved_to; /* the control that was moved; NAN: none was, or it was kept */
  bool has_drive;
  double extra_drive; /* dB */
  bool has_audible;
  double audible;  /* share of its loudest 30 s in which distortion is over the mask */
  double lowered;  /* dB, of the ceilings */
  double loudness; /* LUFS, of the stream as a whole */
  char reason[PLANISH_ALBUM_REASON]; /* why it has not landed; "": it has */
} PlanishAlbumStreamResult;

typedef struct {
  PlanishAlbumStreamResult *streams;
  bool *made;                 /* by stream: its masters stand in their places, now or before */
  PlanishMeasurement *tracks; /* the masters, where they were made */
  bool has_album;             /* all were */
  PlanishMeasurement album;   /* the masters joined */
} PlanishAlbumResult;

/* False also where only a part was made. `result` is given back by planish_album_result_free(). */
bool planish_album_make(const PlanishAlbumPlan *plan, const PlanishAlbumJob *job,
                        PlanishAlbumResult *result, PlanishError *error);
void planish_album_result_free(PlanishAlbumResult *result);

#endif
