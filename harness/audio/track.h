/* Stereo sound that a command keeps for a while: plain floats in a temporary file, so that memory
 * does not grow with its length (about 1.4 GB an hour at 48 kHz).
 *
 * The file stands beside the result that the command makes, has no name once it is open, and is
 * gone with the program however that ends.
 * Errors: PLANISH_BAD_FILE, in one line. Thread: one at a time an object; once it is written, any
 * may read at once. */
#ifndef PLANISH_HARNESS_TRACK_H
#define PLANISH_HARNESS_TRACK_H

#include "harness/base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct PlanishTrack PlanishTrack;

/* An empty track in the folder of `beside`, a path that need not exist. Fails where the folder has
 * no room for `frames` frames; 0 asks for no room. */
PlanishTrack *planish_track_new(const char *beside, uint64_t frames, PlanishError *error);
/* Whether the disk has room for `frames` more; true where the system does not tell. */
bool planish_track_has_room(const PlanishTrack *track, uint64_t frames);
/* NULL is allowed. */
void planish_track_free(PlanishTrack *track);

/* Appends frames, the samples of a frame side by side. Fits PlanishSink (render/tap.h). */
bool planish_track_write(void *track, const float *interleaved, size_t frames, PlanishError *error);

/* Reads `frames` frames from frame `first` on. What lies past the end is silence. */
bool planish_track_read(PlanishTrack *track, uint64_t first, float *interleaved, size_t frames,
                        PlanishError *error);

/* How many frames were written. */
uint64_t planish_track_frames(const PlanishTrack *track);

/* Ready to be written again, from frame 0. */
void planish_track_clear(PlanishTrack *track);

#endif
