/* What is to be done for an album: streams, each one or several tracks that run on, what they are
 * to be made from, where they land, and how long what stands where. Everything that stands in the
 * way is told before anything is written.
 *
 * Thread: main, with no other about: mixes are looked at side by side (base/workers.h). */
#ifndef PLANISH_HARNESS_ALBUM_PLAN_H
#define PLANISH_HARNESS_ALBUM_PLAN_H

#include "harness/album/album.h"
#include "harness/measure/measure.h"
#include "harness/recall/digest.h"

/* A mix as it is. Plain bytes. */
typedef struct {
  PlanishSoundDigest digest;
  PlanishMeasurement measured; /* at the album's rate, as the sheet mends it */
} PlanishAlbumMix;

typedef struct {
  const PlanishAlbumTrack *track;
  PlanishAlbumMix mix;
  double file_rate; /* Hz, of the mix's file */
  double offset;    /* LU; of one that runs on: that of its stream */
  char *path;       /* of the master */
  uint64_t from;    /* frame of its stream's result where it begins */
  uint64_t frames;  /* of the master, with the silence at its end */
  uint64_t silence; /* frames of the gap that the master ends with */
  bool moved;       /* its beginning, to the nearest sector */
} PlanishAlbumPlanTrack;

typedef struct {
  size_t first; /* track */
  size_t count;
  PlanishSheet *sheet;              /* with target, rate and silence of its own; not owned */
  char origin[PLANISH_DIGEST_TEXT]; /* of all that it is made from, and of where it lands */
  PlanishAlbumMix mix;              /* its mixes as one */
  uint64_t frames;                  /* of the result */
  bool kept;                        /* its masters are there already, made from the same */
} PlanishAlbumStream;

typedef struct {
  PlanishAlbum *album;
  const char *folder;            /* where masters go */
  const char *program;           /* version */
  double rate;                   /* Hz, of all masters */
  double loudness;               /* LUFS, that offsets are from */
  PlanishAlbumPlanTrack *tracks; /* as many as the album has */
  PlanishAlbumStream *streams;
  size_t stream_count;
} PlanishAlbumPlan;

typedef struct {
  PlanishAlbum *album;
  PlanishHost *host;
  const char *folder;
  const char *program; /* version */
  bool force;          /* over masters that are there and were made from something else */
  unsigned cores;      /* base/workers.h */
  void (*told)(void *user, double share); /* may be NULL */
  void *told_user;
} PlanishAlbumJob;

/* Looks at the mixes and plans. The album's sheets get their targets. NULL with PLANISH_BAD_USE
 * where a file cannot be named or is there already, PLANISH_BAD_AUDIO of mixes that cannot be used,
 * and PLANISH_BAD_FILE. */
PlanishAlbumPlan *planish_album_plan_new(const PlanishAlbumJob *job, PlanishError *error);
/* NULL is allowed. */
void planish_album_plan_free(PlanishAlbumPlan *plan);

/* The mixes of a stream, in order: as many as it has tracks. */
void planish_album_mixes(const PlanishAlbumPlan *plan, const PlanishAlbumStream *stream,
                         const char *paths[PLANISH_ALBUM_TRACKS]);

#endif
