/* What comes out of a chain's first stages, kept while a later one is moved, so that further
 * renders begin there: the same samples in less time.
 *
 * The first render fills it on its way; those after it read it back in the same blocks, pre-roll
 * and latency included, so that every stage from there on meets what it met then. It is used by a
 * render of the same sheet whose chain is fed likewise; whoever moves a control of the stages that
 * are kept, or changes the mix, its part or its gain, releases it first.
 *
 * 8 bytes a frame, in a PlanishTrack (audio/track.h) beside a path. Where there is no room for it
 * nothing is kept, and every render begins at the start.
 *
 * Errors: those of PlanishTrack. Thread: that of the render. */
#ifndef PLANISH_HARNESS_CHECKPOINT_H
#define PLANISH_HARNESS_CHECKPOINT_H

#include "harness/audio/track.h"
#include "harness/render/chain.h"

/* How a chain is fed, in frames from its first. */
typedef struct {
  uint64_t preroll; /* of the mix's beginning come first */
  uint64_t lead;    /* from here on comes the mix, ... */
  uint64_t start;   /* ... from this frame of it on */
  uint64_t total;
} PlanishFeed;

typedef struct {
  uint32_t stages;    /* the first so many are kept; 0: there is nothing to keep */
  const char *beside; /* a path in the folder of which the track stands; must outlive it */
  uint64_t spare;     /* bytes that must be free beyond those of the track */
  bool no_room;       /* so nothing is kept */

  /* For the renderer. */
  bool filled;
  PlanishFeed feed;
  uint32_t latency; /* of the stages that are kept, frames */
  PlanishTrack *track;
  PlanishAccount *accounts; /* of the stages that are kept */
} PlanishCheckpoint;

/* Gives back what it holds: ready to be filled anew. */
void planish_checkpoint_release(PlanishCheckpoint *checkpoint);

/* The rest is for the renderer. Whether a render that is fed like this can begin here. NULL is
 * allowed. */
bool planish_checkpoint_fits(const PlanishCheckpoint *checkpoint, const PlanishFeed *feed);

/* Ready to be filled by planish_track_write(), where checkpoint->track is there then; it is not
 * where nothing is to be kept. */
bool planish_checkpoint_begin(PlanishCheckpoint *checkpoint, const PlanishFeed *feed,
                              PlanishError *error);

/* Everything was written: keeps the accounts of the stages, too, and their latency together. */
bool planish_checkpoint_finish(PlanishCheckpoint *checkpoint, const PlanishAccount *accounts,
                               uint32_t latency, PlanishError *error);

/* Copies the accounts that were kept into those of a render that began here. */
bool planish_checkpoint_account(const PlanishCheckpoint *checkpoint, PlanishAccount *accounts,
                                PlanishError *error);

#endif
